"""Interval of the difference of two readings in every band, all bands together, from figures drawn jointly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.comparisons.bands import BandValues, ChannelBand, values_with_phase, values_without_phase
from chain.comparisons.joint_trials import JointTrials

AIM = 0.965
"""Share of the trials that an interval holds: a little more than stated, for trials are finite and errors not quite linear."""
ALONE = (1 - AIM) / 2
"""Share to leave off at either end where one figure of one band is the whole question."""
PHASES = 8
"""Phases of each antenna, evenly spaced, where no phase was read: the worst pair of them counts."""
ROUNDING = 1e-9
"""A difference below this is none: it is rounding of the arithmetic."""


Halves = tuple[Real | None, Real | None]


@dataclass(frozen=True)
class Difference:
    """Second minus first reading in one band: of |G| at its worst point, and of the band's mismatch loss."""

    worst: float
    worst_low: float
    worst_high: float
    loss_db: float
    loss_low_db: float
    loss_high_db: float
    differs_alone: bool = False
    """Whether either figure would differ if this band were the only question."""

    def turned(self) -> Difference:
        """First minus second reading."""
        return Difference(
            -self.worst,
            -self.worst_high,
            -self.worst_low,
            -self.loss_db,
            -self.loss_high_db,
            -self.loss_low_db,
            self.differs_alone,
        )


def differences(
    trials: JointTrials,
    readings: tuple[tuple[int, Complex | Real], tuple[int, Complex | Real]],
    bands: Sequence[ChannelBand],
    together: bool = True,
    same_phase: bool = False,
    halves: Halves = (None, None),
) -> tuple[tuple[Difference, ...], tuple[BandValues, ...], tuple[BandValues, ...]]:
    """Differences of two readings, each given as (number of its trials, reading); complex or, where real, magnitudes.

    With `together` the intervals hold for all bands and both figures at once, else each for itself. Without a phase read, the
    two may stand at any; `same_phase` takes them for one antenna that has changed a little, at one unknown phase. `halves` are
    half a step of the last digit of either reading.

    Source: Propagation of distributions, JCGM 101:2008 (memory); simultaneous intervals by the smallest rank
    (min-p: Westfall and Young, Resampling-Based Multiple Testing, 1993; memory).
    """
    (one, first), (other, second) = readings
    if np.iscomplexobj(first) and np.iscomplexobj(second):
        before = values_with_phase(trials, one, np.asarray(first, dtype=complex), bands, halves[0])
        after = values_with_phase(trials, other, np.asarray(second, dtype=complex), bands, halves[1])
        rows = [_rows(a, b) for a, b in zip(before, after, strict=True)]
        # Bands hang together through chain and calibration; ranks over all of them use that, where dividing the tail by their number
        # would not.
        tail = _tail([row for pair in rows for row in pair]) if together else ALONE
        return (
            tuple(
                _difference(a, b, [_ends(row, tail) for row in pair], [_ends(row, ALONE) for row in pair])
                for a, b, pair in zip(before, after, rows, strict=True)
            ),
            before,
            after,
        )
    return _without_phase(
        trials, ((one, np.abs(first)), (other, np.abs(second))), bands, (together, same_phase), halves
    )


def _rows(before: BandValues, after: BandValues) -> tuple[Real, Real]:
    return after.worst_trials - before.worst_trials, after.loss_trials - before.loss_trials


def _tail(rows: Sequence[Real]) -> float:
    """Share to leave off at either end of every row, so that the stated share of trials lies inside all rows at once.

    Source: The smallest of a trial's ranks over all rows (min-p: Westfall and Young, 1993; memory).
    """
    count = rows[0].size
    least = np.full(count, count)
    for row in rows:
        # Ranks and not values, since the rows have different units and scales.
        rank = np.empty(count, dtype=int)
        rank[np.argsort(row, kind="stable")] = np.arange(1, count + 1)
        least = np.minimum(least, np.minimum(rank, count + 1 - rank))
    return float(np.quantile(least, 1 - AIM) / (count + 1))


def simultaneous_ends(rows: Sequence[Real]) -> list[tuple[float, float]]:
    """Intervals of rows of trials that hold for all rows at once."""
    tail = _tail(rows)
    return [_ends(row, tail) for row in rows]


def _ends(row: Real, tail: float) -> tuple[float, float]:
    low, high = np.quantile(row, [tail, 1 - tail])
    return float(low), float(high)


def _difference(
    before: BandValues, after: BandValues, ends: list[tuple[float, float]], alone: list[tuple[float, float]]
) -> Difference:
    (worst_low, worst_high), (loss_low, loss_high) = ends
    # Noise may have lifted the worst point of either reading: the truth then lies on the other side.
    own = verdict_of(alone[0][0] - after.lift, alone[0][1] + before.lift), verdict_of(*alone[1])
    return Difference(
        after.worst - before.worst,
        max(worst_low - after.lift, -1.0),
        min(worst_high + before.lift, 1.0),
        after.loss_db - before.loss_db,
        loss_low,
        loss_high,
        any(each != "can't tell" for each in own),
    )


def _without_phase(
    trials: JointTrials,
    readings: tuple[tuple[int, Real], tuple[int, Real]],
    bands: Sequence[ChannelBand],
    how: tuple[bool, bool],
    halves: Halves,
) -> tuple[tuple[Difference, ...], tuple[BandValues, ...], tuple[BandValues, ...]]:
    """Both phases unknown: the hull over all pairs, so that what both readings share does not cancel of itself."""
    together, same_phase = how
    turns = np.exp(2j * np.pi * np.arange(PHASES) / PHASES)
    before, after = (
        [values_without_phase(trials, which, size, complex(turn), bands, half) for turn in turns]
        for (which, size), half in zip(readings, halves, strict=True)
    )
    tail = ALONE
    if together:
        # One pair of phases shows how the rows hang together; the hull below takes the ends from all pairs.
        other = after[0] if same_phase else after[PHASES // 2]
        tail = _tail([row for number in range(len(bands)) for row in _rows(before[0][number][0], other[number][0])])
    out = []
    for number in range(len(bands)):
        ends, alone = [], []
        for name in ("worst_trials", "loss_trials"):
            # Least of the second less the most of the first, and the other way round, for every pair of phases at once.
            a, b = (_stacked(each, number, name) for each in (before, after))
            if same_phase:
                lows, highs = b[0] - a[1], b[1] - a[0]
            else:
                lows, highs = b[0][:, None] - a[1][None, :], b[1][:, None] - a[0][None, :]
            # Quantiles first and the worst pair then: the worst phase of each trial would change from trial to trial, and an antenna has
            # one.
            low, own_low = np.quantile(lows, (tail, ALONE), axis=-1).reshape(2, -1).min(axis=1)
            high, own_high = np.quantile(highs, (1 - tail, 1 - ALONE), axis=-1).reshape(2, -1).max(axis=1)
            ends.append((float(low), float(high)))
            alone.append((float(own_low), float(own_high)))
        first, second = _middle(before, number), _middle(after, number)
        out.append(_difference(first, second, ends, alone))
    return (
        tuple(out),
        tuple(_middle(before, number) for number in range(len(bands))),
        tuple(_middle(after, number) for number in range(len(bands))),
    )


def _stacked(
    by_phase: Sequence[tuple[tuple[BandValues, BandValues], ...]], number: int, name: str
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Trials of one figure of one band, from the smallest and from the largest |G| that fit; shape (phases, trials) each."""
    least, most = (
        np.array([getattr(each[number][end], name) for each in by_phase], dtype=np.float32) for end in (0, 1)
    )
    return least, most


def _middle(by_phase: Sequence[tuple[tuple[BandValues, BandValues], ...]], number: int) -> BandValues:
    """The nominal figures at the phase that stands in the middle of all."""
    found = sorted((each[number][0] for each in by_phase), key=lambda each: each.worst)
    return found[len(found) // 2]


def verdict_of(low: float, high: float) -> str:
    """Word for the interval of a difference of which less is better."""
    if high < -ROUNDING:
        return "better"
    return "worse" if low > ROUNDING else "can't tell"
