"""Spans of frequency: what the antenna is wanted for, where its dip lies against that, and how wide it is within a limit."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.reflection import magnitude_from_vswr
from chain.setups import Setup
from chain.tuning.crossings import Estimate, estimate, lowest
from chain.tuning.records import Bandwidth, Wanted


def wanted_span(setup: Setup, low_hz: float | None = None, high_hz: float | None = None) -> Wanted:
    """What the antenna is wanted for: the span given, else the set-up's channels, else its sweep."""
    if low_hz is not None and high_hz is not None:
        return Wanted("", low_hz, high_hz)
    channels = setup.sweep.channels
    if channels:
        names = [name for name, _, _ in channels]
        name = f"channels {names[0]} to {names[-1]}" if len(names) > 1 else f"channel {names[0]}"
        return Wanted(name, min(low for _, low, _ in channels), max(high for _, _, high in channels))
    return Wanted("", setup.sweep.start_hz, setup.sweep.stop_hz)


def inside(freq_hz: Real, wanted: Wanted) -> NDArray[np.bool_]:
    """Recognise which frequencies lie in the wanted span; of one narrower than the steps of the sweep, the nearest."""
    # Edges typed in MHz come back a rounding away from those of the sweep.
    edge = 1e-9 * wanted.high_hz
    found = np.asarray((freq_hz >= wanted.low_hz - edge) & (freq_hz <= wanted.high_hz + edge))
    if not found.any() and freq_hz[0] <= wanted.aim_hz <= freq_hz[-1]:
        found[int(np.abs(freq_hz - wanted.aim_hz).argmin())] = True
    return found


def side_of(dip: Estimate, wanted: Wanted) -> str:
    """Side of the wanted span, or at least of its middle, on which a dip surely lies."""
    if dip.high < wanted.low_hz:
        return "below"
    if dip.low > wanted.high_hz:
        return "above"
    if wanted.low_hz <= dip.low and dip.high <= wanted.high_hz:
        return "within"
    if dip.high < wanted.aim_hz:
        return "below the middle"
    return "above the middle" if dip.low > wanted.aim_hz else ""


LEAST_RISE, LEAST_RISE_SHARE = 0.05, 0.25
"""How far a curve rises between two dips, in reflection and as a share of its whole span; own choice."""


@dataclass(frozen=True)
class Valley:
    """A dip of a curve: index of its least, and of the readings from `first` up to `last` that belong to it."""

    at: int
    first: int
    last: int


def valleys(size: Real) -> tuple[Valley, ...]:
    """Dips of a curve that rises well between them, in the order of frequency."""
    least = max(LEAST_RISE, LEAST_RISE_SHARE * float(size.max() - size.min()))
    padded = np.concatenate([[np.inf], size, [np.inf]])
    found = np.flatnonzero((padded[1:-1] <= padded[:-2]) & (padded[1:-1] < padded[2:])).tolist()
    while len(found) > 1:
        rises = [float(size[one:two].max() - size[[one, two]].max()) for one, two in pairwise(found)]
        weakest = int(np.argmin(rises))
        if rises[weakest] >= least:
            break
        pair = found[weakest], found[weakest + 1]
        found.remove(max(pair, key=lambda place: size[place]))
    tops = [one + int(size[one:two].argmax()) for one, two in pairwise(found)]
    return tuple(Valley(*each) for each in zip(found, [0, *tops], [*tops, size.size - 1], strict=True))


def wanted_valley(freq_hz: Real, size: Real, wanted: Wanted) -> tuple[Valley, tuple[Valley, ...]]:
    """The dip that counts, the deepest in the wanted span or else the nearest to it, and the others."""
    every = valleys(size)
    within = inside(freq_hz, wanted)
    edges = np.log([wanted.low_hz, wanted.high_hz])

    def away(each: Valley) -> tuple[float, float]:
        # By ratio, which is how an antenna is stretched.
        at = float(np.log(freq_hz[each.at]))
        return 0.0 if within[each.at] else max(edges[0] - at, at - edges[1]), float(size[each.at])

    chosen = min(every, key=away)
    return chosen, tuple(each for each in every if each is not chosen)


def dip_of(freq_hz: Real, nominal: Complex, drawn: Complex) -> Estimate:
    """Frequency of the least reflection."""
    return estimate(float(lowest(freq_hz, np.abs(nominal)[None])[0]), lowest(freq_hz, np.abs(drawn)))


def bandwidth(freq_hz: Real, nominal: Complex, drawn: Complex, limit_vswr: float) -> Bandwidth | None:
    """The stretch about the dip within a limit; None where not even the dip is."""
    limit = float(magnitude_from_vswr(limit_vswr))
    if np.abs(nominal).min() > limit:
        return None
    low, high = (ends[0] for ends in _edges(freq_hz, np.abs(nominal)[None], limit))
    low_drawn, high_drawn = _edges(freq_hz, np.abs(drawn), limit)
    return Bandwidth(
        limit_vswr,
        estimate(float(low), low_drawn),
        estimate(float(high), high_drawn),
        # Trial by trial: edges that move together leave the width as it is.
        estimate(float(high - low), high_drawn - low_drawn),
    )


def _edges(freq_hz: Real, curves: Real, limit: float) -> tuple[Real, Real]:
    """Where each curve leaves the limit on either side of its least; infinite where the sweep ends first."""
    count, rows = freq_hz.size, np.arange(curves.shape[0])
    at, index = curves.argmin(axis=1), np.arange(count)
    above = curves > limit
    left = np.where(above & (index < at[:, None]), index, -1).max(axis=1)
    right = np.where(above & (index > at[:, None]), index, count).min(axis=1)

    def between(outer: NDArray[np.int64], step: int) -> Real:
        one = np.clip(outer, 0, count - 1)
        two = np.clip(one + step, 0, count - 1)
        rise = curves[rows, one] - curves[rows, two]
        share = np.divide(curves[rows, one] - limit, rise, out=np.zeros(rows.size), where=rise > 0)
        return np.asarray(freq_hz[one] + np.clip(share, 0, 1) * (freq_hz[two] - freq_hz[one]))

    low = np.where(left < 0, -np.inf, between(left, 1))
    high = np.where(right >= count, np.inf, between(right, -1))
    nowhere = curves[rows, at] > limit
    return np.where(nowhere, freq_hz[at], low), np.where(nowhere, freq_hz[at], high)
