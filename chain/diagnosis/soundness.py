"""Do the readings lie where a sound chain puts them? Ranges that hold all of them together, and a test of how they go together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real, quantiles
from chain.diagnosis import normal
from chain.diagnosis.terminations import TerminationReading
from chain.reflection import vswr
from chain.results import COVERAGE

TOGETHER, UNLIKELY_TOGETHER = 0.01, 0.05
"""Sound chains whose readings go together worse than those at which a contradiction is stated; the second where the readings
make a sound chain less probable than that as well. Own choice."""
REPRODUCED = 0.99
"""Chains with a fault whose readings its ranges hold; own choice."""
NEXT_TO_NOTHING = 0.2
"""A range whose lower end is below this part of its upper one begins at no reflection; own choice."""
LEAST_SPREAD = 1e-6
COVERED = (0.025, 0.975)
NEAREST = 0.02
"""Part of a sound chain's trials that lie nearest to a reading, and stand for chains that show it; own choice."""


@dataclass(frozen=True)
class Contradiction:
    """Readings that a sound chain shows one by one, and hardly together.

    Where two of them show it: of sound chains that show reading number `given`, 95 % show reading number `other` from
    `low_vswr` to `high_vswr`, without what was read. All four are None where it takes more than two.
    """

    given: int | None
    other: int | None
    low_vswr: float | None
    high_vswr: float | None


@dataclass(frozen=True)
class Soundness:
    """Ranges of magnitude, one for each reading, that hold all readings of 95 % of sound chains; `inside` where they do.

    `together` is the part of sound chains whose readings go together no better than these.
    """

    low: Real
    high: Real
    inside: bool
    together: float
    contradicted: bool = False
    contradiction: Contradiction | None = None

    @property
    def holds(self) -> bool:
        """Whether a sound chain may well show such readings."""
        return self.inside and not self.contradicted


def soundness(trials: Real, readings: Sequence[TerminationReading], seed: int, probability: float = 1.0) -> Soundness:
    """Hold readings against magnitudes that a sound chain shows, shape (trials, readings); `probability` is that of such a chain.

    Source: Ranges: quantiles at the level whose smallest tail over all readings holds the coverage (max-T); together:
    squared distance of normal scores from their mean, its own distribution taken from the trials.
    """
    if not readings:
        return Soundness(np.zeros(0), np.zeros(0), True, 1.0)
    held = _held(trials, readings, seed)
    # What may well reflect nothing at all is never too good.
    least, greatest = quantiles(held.trials, COVERED)
    any_less = least < NEXT_TO_NOTHING * greatest
    low, high, inside = _ranges(held, any_less, COVERAGE)
    shown, seen = np.minimum(held.trials, held.most), np.minimum([each.magnitude for each in readings], held.most)
    together = _together(held.ranks, np.sort(shown, axis=0), seen, any_less)
    if not inside or together >= (UNLIKELY_TOGETHER if probability < UNLIKELY_TOGETHER else TOGETHER):
        return Soundness(low, high, inside, together)
    return Soundness(low, high, inside, together, True, _contradiction(shown, readings, seen))


def reproduced(trials: Real, readings: Sequence[TerminationReading], seed: int) -> Soundness:
    """Hold readings against magnitudes that a kind of fault shows, as far as nearly all chains with it go.

    Source: As `soundness`, at a level that only one in a hundred such chains misses; of the span that digits leave, the
    value that such a chain shows most readily.
    """
    if not readings:
        return Soundness(np.zeros(0), np.zeros(0), True, 1.0)
    held = _held(trials, readings, seed)
    never = np.zeros(held.low.size, dtype=bool)
    low, high, inside = _ranges(held, never, REPRODUCED)
    shown = np.minimum(held.trials, held.most)
    seen = np.minimum(np.clip(np.median(shown, axis=0), held.low, held.high), held.most)
    together = _together(held.ranks, np.sort(shown, axis=0), seen, never)
    return Soundness(low, high, inside, together, together < (1 - REPRODUCED) / 2)


@dataclass(frozen=True)
class _Held:
    """Trials as a screen would round them, their ranks, spans of the readings, and from where a reading is off the scale."""

    trials: Real
    ranks: Real
    low: Real
    high: Real
    most: Real


def _held(trials: Real, readings: Sequence[TerminationReading], seed: int) -> _Held:
    lows, highs = (np.array([getattr(each, end) for each in readings]) for end in ("low", "high"))
    closed = np.isfinite(highs)
    # A screen rounds what a chain shows, and from some VSWR on shows no more than that it is off its scale.
    half = np.where(closed, (np.where(closed, highs, lows) - lows) / 2, 0.0)
    rng = np.random.default_rng([seed, 77])
    trials = np.abs(trials + half * rng.uniform(-1, 1, trials.shape))
    ranks = (np.argsort(np.argsort(trials, axis=0), axis=0) + 0.5) / len(trials)
    return _Held(trials, ranks, lows, highs, np.where(closed, np.inf, lows))


def _ranges(held: _Held, any_less: NDArray[np.bool_], coverage: float) -> tuple[Real, Real, bool]:
    """Ranges that hold all readings of so many chains together, and whether they hold those that were seen."""
    nearer = np.where(any_less, 1 - held.ranks, np.minimum(held.ranks, 1 - held.ranks))
    tail = float(quantiles(nearer.min(axis=1), 1 - coverage))
    low, high = quantiles(held.trials, (tail, 1 - tail))
    low = np.where(any_less, 0.0, low)
    return low, high, bool(np.all((held.high >= low) & (held.low <= high)))


def _together(ranks: Real, ordered: Real, seen: Real, any_less: NDArray[np.bool_]) -> float:
    """Part of the trials whose normal scores lie as far from their mean as those of what was seen."""
    count = len(ranks)
    scores = normal.quantile(ranks)
    # Equal values, as off the scale, share their middle rank.
    places = [
        (np.searchsorted(column, value) + np.searchsorted(column, value, side="right")) / 2
        for column, value in zip(ordered.T, seen, strict=True)
    ]
    own = normal.quantile(np.clip(np.array(places) / count, 0.5 / count, 1 - 0.5 / count))
    own = np.where(any_less, np.maximum(own, -1.0), own)
    # Two readings that always agree leave no spread of their difference; a little is given to it.
    inverse = np.linalg.inv(np.atleast_2d(np.cov(scores, rowvar=False)) + LEAST_SPREAD * np.eye(scores.shape[1]))
    distance = np.einsum("ni,ij,nj->n", scores, inverse, scores)
    return float(np.mean(distance >= own @ inverse @ own))


def _contradiction(trials: Real, readings: Sequence[TerminationReading], seen: Real) -> Contradiction:
    """The two readings that least go together at a sound chain (conditional distribution by nearest trials)."""
    worst, found = 0.0, Contradiction(None, None, None, None)
    count = max(1, round(NEAREST * trials.shape[0]))
    for given, other in permutations(range(seen.size), 2):
        near = np.argpartition(np.abs(trials[:, given] - seen[given]), count - 1)[:count]
        first, middle, last = quantiles(trials[near, other], (COVERED[0], 0.5, COVERED[1]))
        span = readings[other]
        # Digits that reach into the interval are no contradiction.
        off = max(first - span.high, span.low - last) / max(last - middle, middle - first, 1e-9)
        if off > worst:
            worst = off
            found = Contradiction(given, other, *(float(vswr(min(value, 1.0))) for value in (first, last)))
    return found
