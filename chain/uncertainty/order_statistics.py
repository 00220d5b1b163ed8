"""Order statistics and counts of sorted stretches, one row for each place: what both one-sided tests are read from."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real

Floats = NDArray[np.float32]

NOWHERE = np.float32(-9)
"""Both ends of an empty stretch: begun and ended before every magnitude, so that every count cancels it."""
GROUPS = 50
"""Groups of trials whose scatter shows how far phases that reach about as far move together."""
CHUNK = 250
"""Numbers sorted at a time where only the outermost are wanted: few enough for a sorting network."""

STRIDE = 8
"""Of so many trials one shows about where a quantile of all of them lies."""


def outside(first: Floats, last: Floats, inverted: NDArray[np.bool_], none: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Stretches where A < 0: all but what lies between the roots, as two stretches of one trial; without roots, all."""
    infinite = np.float32(np.inf)
    # Counts of what has begun less what has ended add up, so that one trial may hold two stretches as well as one.
    begin, end = np.full_like(first, NOWHERE), np.full_like(last, NOWHERE)
    begin[inverted], end[inverted] = np.maximum(first, last)[inverted], infinite
    lower = np.minimum(first, last)
    first[inverted], last[inverted] = -infinite, lower[inverted]
    every = inverted & none
    first[every], last[every], begin[every], end[every] = -infinite, infinite, NOWHERE, NOWHERE
    return np.concatenate([first, begin], axis=1), np.concatenate([last, end], axis=1)


def reach(least: NDArray[np.intp], draws: int) -> NDArray[np.intp]:
    """Two deviations of the number of trials beyond an end."""
    # A count of trials beyond an end is binomial: its variance is n p (1 - p), and no end is known better than to a place.
    return np.maximum(1, np.round(2 * np.sqrt(least * (1 - least / draws)))).astype(int)


def by_group(found: NDArray[np.bool_]) -> NDArray[np.int16]:
    """How many of each row are true in each group of draws, shape (rows, groups)."""
    return np.asarray(found.view(np.uint8).reshape(len(found), GROUPS, -1).sum(axis=2, dtype=np.int16))


def count(found: NDArray[np.bool_]) -> NDArray[np.intp]:
    """In how many of its trials each row is true."""
    # As bytes: twice as fast as along an axis of truth values.
    return np.asarray(np.add.reduce(found.view(np.uint8), axis=1, dtype=np.int32).astype(np.intp))


def rank(values: Floats, share: float) -> int:
    """Place of the quantile of a share among the trials in order."""
    draws = len(values.T)
    return min(int(share * draws), draws - 1)


def quantile(values: Floats, share: float) -> Real:
    """The value that a share of the trials does not exceed, along the last axis, which is put out of order."""
    at = rank(values, share)
    values.partition(at, axis=-1)
    return values[..., at].astype(float)


def before(ordered: Floats, values: Floats, side: Literal["left", "right"] = "left") -> NDArray[np.intp]:
    """How many of each row, which is in order, lie before a value; with "right" those equal to it as well."""
    return np.array([row.searchsorted(value, side) for row, value in zip(ordered, values, strict=True)], dtype=np.intp)


def highest(first: Floats, last: Floats, least: NDArray[np.intp], draws: int) -> Real:
    """Highest magnitude up to 1 that neither test contradicts; below zero where there is none.

    At g the trials that show it at or below the statistic are those begun less those ended; it moves down to the next
    order statistic that could have enough of them, as long as either test contradicts it.
    """
    rows, many = np.arange(len(least)), last.shape[1]
    g = np.ones(len(least), dtype=np.float32)
    while True:
        at = before(first, g, "right") - least
        lower = np.minimum(g, np.where(at < 0, NOWHERE, last[rows, np.clip(at, 0, many - 1)]))
        # At or above: at most trials - least may hold it strictly inside.
        at = draws - least + before(last, lower, "right")
        lower = np.where(at < many, np.minimum(lower, first[rows, np.clip(at, 0, many - 1)]), lower)
        moved = (lower < g) & (lower >= 0)
        g = lower
        if not moved.any():
            return g.astype(float)


def lowest(first: Floats, last: Floats, least: NDArray[np.intp], draws: int) -> Real:
    """Lowest magnitude from 0 that neither test contradicts; infinite where there is none up to 1."""
    rows, many = np.arange(len(least)), last.shape[1]
    infinite = np.float32(np.inf)
    g = np.zeros(len(least), dtype=np.float32)
    while True:
        at = least + before(last, g) - 1
        higher = np.maximum(g, np.where(at >= many, infinite, first[rows, np.clip(at, 0, many - 1)]))
        at = before(first, higher) - draws + least - 1
        higher = np.where(at >= 0, np.maximum(higher, last[rows, np.clip(at, 0, many - 1)]), higher)
        moved = (higher > g) & (higher <= 1)
        g = higher
        if not moved.any():
            return np.where(g > 1, np.inf, g.astype(float))


def smallest(values: Floats, least: int, bound: Floats | None = None) -> Floats:
    """Of each row the value that `least` are no larger than, itself among them.

    Only what lies at or below a bound is put in order: one that is known to hold so many, else what every eighth shows.
    """
    if bound is None:
        some = values[:, ::STRIDE]
        # Three deviations of a count more than their share: seldom too few, and hardly more than needed.
        at = int(least / STRIDE + 3 * np.sqrt(least / STRIDE)) + 1
        if at >= some.shape[1]:
            return np.asarray(np.partition(values, least - 1, axis=1)[:, least - 1])
        bound = np.partition(some, at, axis=1)[:, at]
    held = values <= bound[:, None]
    counts = count(held)
    room = np.full((len(values), max(least, int(counts.max(initial=0)))), np.inf, dtype=np.float32)
    room[np.arange(room.shape[1]) < counts[:, None]] = values[held]
    short = counts < least
    room.partition(least - 1, axis=1)
    found = room[:, least - 1]
    if short.any():
        found[short] = np.partition(values[short], least - 1, axis=1)[:, least - 1]
    return found


def largest(values: Floats, least: int, bound: Floats | None = None) -> Floats:
    """Of each row the value that `least` are no smaller than, itself among them."""
    return np.negative(smallest(np.negative(values), least, None if bound is None else np.negative(bound)))


def tails(values: Floats, least: int) -> tuple[Floats, Floats]:
    """Of each row the number that `least` are no larger than, itself among them, and the one that `least` are no smaller than.

    Those are among the outermost `least` of any part of the row.
    """
    rows, many = values.shape
    if many % CHUNK or 2 * least > CHUNK:
        ordered = np.sort(values, axis=1)
        return ordered[:, least - 1], ordered[:, -least]
    parts = np.sort(values.reshape(rows, -1, CHUNK), axis=2)
    low, high = parts[:, :, :least].reshape(rows, -1), parts[:, :, -least:].reshape(rows, -1)
    return np.sort(low, axis=1)[:, least - 1], np.sort(high, axis=1)[:, -least]


def ends_of_begun(last: Floats, least: int) -> tuple[Real, Real]:
    """What `lowest` and `highest` find where every trial's stretch has begun before zero: only where it ends matters then.

    At or below the statistic are the trials that have not ended, at or above it those that have.
    """
    few, most = tails(last, least)
    low = np.where((most >= 0) & (few <= 1), np.maximum(few, 0), np.inf)
    high = np.where(few <= 1, np.minimum(most, 1), NOWHERE)
    return low.astype(float), high.astype(float)
