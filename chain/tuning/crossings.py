"""Local quadratic fits along a sweep; where a curve over frequency crosses zero, in every drawn sweep, and where it lies lowest."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from chain.arrays import Real, distinct
from library.frozen import dataclass

USUAL_Q = 30.0
"""Narrowest resonance taken for granted where the set-up states none: readings within a third of f/Q are one piece of curve."""
FEWEST = 5
"""Least readings of a local fit, two more than a parabola has coefficients."""


def local_fit(freq_hz: Real, at_hz: Real, narrowest_q: float = USUAL_Q) -> tuple[Real, Real]:
    """Weights of every reading in the value and in the slope at the wanted frequencies, shape (wanted, readings) each.

    The span is fixed beforehand: readings never choose how much they are averaged. Where the steps are too wide for it, the
    nearest readings are taken, so that a coarse sweep is fitted rather than refused.

    Source: Least squares of a + b u + c u^2 over the readings within f/(6 Q) either side; a is the value, b the slope.
    """
    value, slope = np.zeros((2, at_hz.size, freq_hz.size))
    apart = np.abs(freq_hz - at_hz[:, None])
    nearest = np.argsort(apart, axis=1, kind="stable")
    counts = np.maximum((apart <= at_hz[:, None] / (6 * narrowest_q)).sum(axis=1), min(FEWEST, freq_hz.size))
    # Rows of as many readings are solved together.
    for count in distinct(counts):
        rows = np.flatnonzero(counts == count)[:, None]
        near = np.sort(nearest[rows[:, 0], :count], axis=1)
        scale = np.maximum(apart[rows, near].max(axis=1, keepdims=True), 1.0)
        u = (freq_hz[near] - at_hz[rows]) / scale
        solved = np.linalg.pinv(np.stack([np.ones_like(u), u, u * u], axis=-1))
        value[rows, near], slope[rows, near] = solved[:, 0], solved[:, 1] / scale
    return value, slope


def reading_fit(freq_hz: Real, narrowest_q: float = USUAL_Q) -> Real:
    """Weights of every reading in the value at each of them, shape (readings, readings), for readings without a phase.

    As smooth as the narrowest antenna leaves it, or the noise of single readings would make several dips of one. Where the
    readings of a fit reach over more than its width, they are no one piece of curve, and each stands for itself.
    """
    value, _ = local_fit(freq_hz, freq_hz, narrowest_q)
    reach = np.array([np.ptp(freq_hz[row != 0]) for row in value])
    return np.where((reach > freq_hz / narrowest_q)[:, None], np.eye(freq_hz.size), value)


TAIL = 0.022
"""Share of the trials left out at either end: a little less than 2.5 %, since some thousand trials know their own tails so well
only; with this intervals hold what is promised in an independent world (`tests/tuning/test_world.py`)."""


ONE_ZERO = 0.1
"""Zeros of one trial as near as this, relative, are one resonance: of one element the next series resonance is three times as high,
and noise, or a reflection that turns along a lead, makes several crossings of a flat one."""


@dataclass(frozen=True)
class Estimate:
    """A value with the ends of its interval; an infinite end lies outside what the sweep covers."""

    value: float
    low: float
    high: float

    @property
    def closed(self) -> bool:
        """Whether both ends are known."""
        return bool(np.isfinite(self.low) and np.isfinite(self.high))


@dataclass(frozen=True)
class Crossing:
    """A zero that the trials agree on: `rising` from negative to positive, between two points whose sign is sure."""

    freq_hz: float
    rising: bool


def estimate(value: float, drawn: Real) -> Estimate:
    """Value with the interval of its trials."""
    low, high = ends(drawn)
    return Estimate(float(value), float(low), float(high))


def ends(drawn: Real) -> tuple[Real, Real]:
    """Ends of the interval of trials (rows), ends taken outward so that infinite trials stay what they are.

    Source: Order statistics at 2.5 and 97.5 % (JCGM 101:2008, 7.7; memory).
    """
    # Order statistics and no interpolation: between a finite trial and an infinite one nothing lies.
    tail = int(TAIL * (drawn.shape[0] - 1))
    ordered = np.partition(drawn, (tail, drawn.shape[0] - 1 - tail), axis=0)
    return ordered[tail], ordered[drawn.shape[0] - 1 - tail]


def crossings_of(freq_hz: Real, curve: Real) -> list[Crossing]:
    """Zeros of one curve, straight between its points."""
    # Zero counts as positive, so that a zero that stands on a point is found once.
    at = np.flatnonzero((curve[:-1] < 0) != (curve[1:] < 0))
    # Straight between points: a sweep that shows an antenna at all has many of them over a bend of its X.
    share = curve[at] / (curve[at] - curve[at + 1])
    found = freq_hz[at] + share * (freq_hz[at + 1] - freq_hz[at])
    return [Crossing(float(freq), bool(curve[index] < 0)) for freq, index in zip(found, at, strict=True)]


def sure_crossings(freq_hz: Real, nominal: Real, drawn: Real) -> list[Crossing]:
    """Zeros of a curve between points on whose sign nearly all trials agree, either side."""
    share = np.mean(drawn < 0, axis=0)
    # The same tails as an interval: a sign counts as known where the interval of the curve there leaves zero out.
    sign = np.where(share >= 1 - TAIL, -1, np.where(share <= TAIL, 1, 0))
    known = np.flatnonzero(sign)
    out = []
    for left, right in pairwise(known):
        if sign[left] == sign[right]:
            continue
        rising = bool(sign[left] < 0)
        inside = [
            each.freq_hz
            for each in crossings_of(freq_hz[left : right + 1], nominal[left : right + 1])
            if each.rising == rising
        ]
        if inside:
            # Noise may cross several times between two points whose sign is sure; the middle one stands for them.
            out.append(Crossing(float(np.median(inside)), rising))
    return out


def nearest_crossing(freq_hz: Real, drawn: Real, wanted: Crossing) -> Real:
    """The zero of each drawn curve that lies nearest to a known one and runs the same way; infinite beyond the sweep.

    A trial without one has its zero outside: below where the curve has already the sign it takes behind the zero.
    """
    return _nearest(freq_hz, drawn, wanted, _zeros(freq_hz, drawn, wanted.rising))


def crossing_interval(freq_hz: Real, drawn: Real, found: Crossing) -> Estimate:
    """A zero with the interval of the trials; of the zeros of a trial that errors make of one the outermost count.

    The nearest of them lies nearer to the zero seen than the true one may, and an interval of these would be too narrow.

    Source: Inverted test: where the true curve is zero, quantiles of the drawn ones lie either side of zero. A trial above zero
    at f, and below it far before, has a rising zero below f, so the outermost zeros hold what that test holds.
    """
    zeros = _zeros(freq_hz, drawn, found.rising)
    nearest = _nearest(freq_hz, drawn, found, zeros)
    inside = np.isfinite(nearest)
    with np.errstate(invalid="ignore"):
        one = np.abs(zeros - nearest[:, None]) <= ONE_ZERO * found.freq_hz
    first, last = np.where(one, zeros, np.inf).min(axis=1), np.where(one, zeros, -np.inf).max(axis=1)
    low, _ = ends(np.where(inside, first, nearest))
    _, high = ends(np.where(inside, last, nearest))
    return Estimate(found.freq_hz, min(float(low), found.freq_hz), max(float(high), found.freq_hz))


def _zeros(freq_hz: Real, drawn: Real, rising: bool) -> Real:
    """Zeros of each curve that run one way, straight between its points: one place for each step, infinite where it has none."""
    before = drawn[:, :-1] < 0 if rising else drawn[:, :-1] >= 0
    after = drawn[:, 1:] >= 0 if rising else drawn[:, 1:] < 0
    # Equal neighbours divide by nothing, and cross nothing either.
    with np.errstate(divide="ignore", invalid="ignore"):
        share = drawn[:, :-1] / (drawn[:, :-1] - drawn[:, 1:])
    return np.where(before & after, freq_hz[:-1] + share * np.diff(freq_hz), np.inf)


def _nearest(freq_hz: Real, drawn: Real, wanted: Crossing, zeros: Real) -> Real:
    """Of the zeros of each curve the nearest to a known one; infinite, on the side where it must be, where there is none."""
    at = np.abs(zeros - wanted.freq_hz).argmin(axis=1)
    nearest = zeros[np.arange(drawn.shape[0]), at]
    here = drawn[:, int(np.abs(freq_hz - wanted.freq_hz).argmin())]
    # A rising curve that is above zero already crossed it below the sweep.
    beyond = np.where((here > 0) == wanted.rising, -np.inf, np.inf)
    return np.where(np.isfinite(nearest), nearest, beyond)


def lowest(freq_hz: Real, curves: Real) -> Real:
    """Frequency at which each curve lies lowest, refined by a parabola; infinite where that is an end of the sweep.

    Source: Vertex of the parabola through three neighbouring points.
    """
    at = curves.argmin(axis=1)
    last = freq_hz.size - 1
    middle, rows = np.clip(at, 1, last - 1), np.arange(curves.shape[0])
    one, two, three = (curves[rows, middle + step] for step in (-1, 0, 1))
    bend = one - 2 * two + three
    shift = np.divide(one - three, 2 * bend, out=np.zeros_like(two), where=bend > 0)
    step_hz = (freq_hz[middle + 1] - freq_hz[middle - 1]) / 2
    # Three points all but in line have their vertex anywhere; the least lies between the neighbours.
    found = freq_hz[middle] + np.clip(shift, -1, 1) * step_hz
    return np.where(at == 0, -np.inf, np.where(at == last, np.inf, found))
