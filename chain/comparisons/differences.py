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


TURNED = {"better": "worse", "worse": "better"}
Halves = tuple[Real | None, Real | None]


Pair = tuple[float, float]


@dataclass(frozen=True)
class Difference:
    """Second minus first reading in one band: of |G| at its worst point, and of the band's mismatch loss.

    `first_ends` and `second_ends` are what each reading by itself leaves of |G|. The verdicts are had from trials that go on past
    a full reflection, where the intervals end: two readings of which the larger is surely that of more reflection differ, even
    where neither leaves out a full one.
    """

    worst: float
    worst_low: float
    worst_high: float
    loss_db: float
    loss_low_db: float
    loss_high_db: float
    match_verdict: str
    loss_verdict: str
    first_ends: Pair
    second_ends: Pair
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
            TURNED.get(self.match_verdict, self.match_verdict),
            TURNED.get(self.loss_verdict, self.loss_verdict),
            self.second_ends,
            self.first_ends,
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
            tuple(_with_phase(a, b, pair, tail) for a, b, pair in zip(before, after, rows, strict=True)),
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
        # Ranks and not values, since the rows have different units and scales. Trials that are alike lie all inside an end that
        # is one of them: each has the rank of the innermost.
        ordered = np.sort(row)
        below = np.searchsorted(ordered, row, side="right")
        above = count - np.searchsorted(ordered, row, side="left")
        least = np.minimum(least, np.minimum(below, above))
    return float(np.quantile(least, 1 - AIM) / (count + 1))


def simultaneous_ends(rows: Sequence[Real]) -> list[tuple[float, float]]:
    """Intervals of rows of trials that hold for all rows at once."""
    tail = _tail(rows)
    return [_ends(row, tail) for row in rows]


def _ends(row: Real, tail: float) -> tuple[float, float]:
    low, high = np.quantile(row, [tail, 1 - tail])
    return float(low), float(high)


def _with_phase(before: BandValues, after: BandValues, rows: tuple[Real, Real], tail: float) -> Difference:
    """Difference of two complex readings in one band."""
    worst, loss = (_ends(row, tail) for row in rows)
    own_worst, own_loss = (_ends(row, ALONE) for row in rows)
    # Noise may have lifted the worst point of either reading: the truth then lies on the other side.
    sides = [(low - after.lift, high + before.lift) for low, high in (worst, own_worst)]
    own = [
        (max(low - each.lift, 0.0), min(high, 1.0))
        for each, (low, high) in ((each, _ends(each.worst_trials, tail)) for each in (before, after))
    ]
    reported = max(sides[0][0], -1.0), min(sides[0][1], 1.0)
    return _difference((before, after), (reported, loss), (sides[0], loss), (sides[1], own_loss), (own[0], own[1]))


def _difference(
    values: tuple[BandValues, BandValues],
    ends: tuple[Pair, Pair],
    judged: tuple[Pair, Pair],
    alone: tuple[Pair, Pair],
    own: tuple[Pair, Pair],
) -> Difference:
    """Difference by intervals of |G| and loss: as reported, as judged, and as if the band were the only question."""
    before, after = values
    return Difference(
        after.worst - before.worst,
        *ends[0],
        after.loss_db - before.loss_db,
        *ends[1],
        verdict_of(*judged[0]),
        verdict_of(*judged[1]),
        *own,
        any(verdict_of(*each) != "can't tell" for each in alone),
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
    first, second = (tuple(_middle(each, number) for number in range(len(bands))) for each in (before, after))
    out = []
    for number in range(len(bands)):
        worst, loss = (
            (_stacked(before, number, name), _stacked(after, number, name)) for name in ("worst_trials", "loss_trials")
        )
        within = tuple((np.minimum(low, 1), np.minimum(high, 1)) for low, high in worst)
        match, match_alone = _hull(worst, tail, same_phase)
        lost, lost_alone = _hull(loss, tail, same_phase)
        ends, judged, alone = (_hull(within, tail, same_phase)[0], lost), (match, lost), (match_alone, lost_alone)
        own = [(float(_at(low, tail).min()), float(_at(high, 1 - tail).max())) for low, high in within]
        out.append(_difference((first[number], second[number]), ends, judged, alone, (own[0], own[1])))
    return tuple(out), first, second


Trials = NDArray[np.float32]


def _at(trials: Trials, share: float) -> Real:
    return np.asarray(np.quantile(trials, share, axis=-1))


def _hull(trials: tuple[tuple[Trials, Trials], ...], tail: float, same_phase: bool) -> tuple[Pair, Pair]:
    """Ends of the difference over all pairs of phases, with a tail left off and as if it were the only question."""
    before, after = trials
    # Least of the second less the most of the first, and the other way round, for every pair of phases at once.
    if same_phase:
        lows, highs = after[0] - before[1], after[1] - before[0]
    else:
        lows, highs = after[0][:, None] - before[1][None, :], after[1][:, None] - before[0][None, :]
    # Quantiles first and the worst pair then: the worst phase of each trial would change from trial to trial, and an antenna has
    # one.
    low, own_low = np.quantile(lows, (tail, ALONE), axis=-1).reshape(2, -1).min(axis=1)
    high, own_high = np.quantile(highs, (1 - tail, 1 - ALONE), axis=-1).reshape(2, -1).max(axis=1)
    return (float(low), float(high)), (float(own_low), float(own_high))


def _stacked(
    by_phase: Sequence[tuple[tuple[BandValues, BandValues], ...]], number: int, name: str
) -> tuple[Trials, Trials]:
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
