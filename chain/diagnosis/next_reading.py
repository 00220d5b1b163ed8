"""Which further reading would distinguish two kinds of fault, and what it would show under each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chain.arrays import Real, distinct, quantiles
from chain.diagnosis.evidence import PILOT_BLOCKS, windows_of
from chain.diagnosis.faults import FaultKind
from chain.diagnosis.likelihood import FaultWork, Windows, work_of
from chain.diagnosis.session import LOAD50_OHM, Session, session
from chain.diagnosis.terminations import ENDS, TerminationReading
from chain.reflection import vswr

BLOCKS = 6
WIDENED = 2.0
"""The readings so far are held against spans twice as wide as they are, so that more trials agree."""
LEAST_AGREEING, ENOUGH_AGREEING = 20, 500
BINS = 24
COVERED = (0.05, 0.95)
OHMMETER = "ohmmeter"
HARDLY = 0.6
"""Two distributions that overlap more than this are hardly distinguished: the ohmmeter, where it was not used, says more."""


@dataclass(frozen=True)
class NextReading:
    """A further reading: of which termination, re-seated or not, its VSWR under two kinds (90 %), and how far the two overlap.

    `end` may be the ohmmeter. The limits are None where no trial of the kinds agrees with the readings so far.
    """

    end: str
    reseated: bool
    first: str
    second: str
    first_low: float | None = None
    first_high: float | None = None
    second_low: float | None = None
    second_high: float | None = None
    overlap: float = 1.0


def next_reading(
    of: Session,
    pair: tuple[FaultKind, FaultKind],
    readings: Sequence[TerminationReading],
    seed: int,
    may_meter: bool = False,
    windows: Windows | None = None,
) -> NextReading:
    """Further reading that best distinguishes two kinds of fault; the ohmmeter where no other does and it `may_meter`.

    `windows`: sizes worth drawing of both, where first trials have shown them already.

    Source: Distribution of each reading not yet taken over the trials that agree with those that were; shared area of
    the two.
    """
    best = _best(of, pair, readings, seed, windows)
    if may_meter and best.overlap > HARDLY:
        return NextReading(OHMMETER, False, pair[0].what, pair[1].what)
    return best


def _best(
    of: Session,
    pair: tuple[FaultKind, FaultKind],
    readings: Sequence[TerminationReading],
    seed: int,
    windows: Windows | None,
) -> NextReading:
    candidates = _candidates(readings, of.measurement.far_ohm == LOAD50_OHM)
    best = NextReading(candidates[0][0], candidates[0][1] > 0, pair[0].what, pair[1].what)
    more = session(of.setup, of.measurement.freq_hz, [*of.ends, *candidates], of.load_db, of.load50_db)
    work = work_of(more, pair, readings, None, seed)
    whole = [[(0.0, 1.0)] * len(each) for each in work.plans]
    if windows is None:
        windows = windows_of(work, [work.predicted(number, whole) for number in range(PILOT_BLOCKS)])
    elif not any(windows):
        windows = whole
    if not all(windows):
        return best
    sides = _readings(work, windows)
    if any(weight.size < LEAST_AGREEING for weight, _ in sides):
        return best
    for place, (end, seating) in enumerate(candidates):
        column = len(of.ends) + place
        values = [levels[:, column] for _, levels in sides]
        overlap = _overlap(values, [weight for weight, _ in sides])
        if best.first_low is None or overlap < best.overlap:
            one, two = (_quantiles(value, weight) for value, (weight, _) in zip(values, sides, strict=True))
            best = NextReading(end, seating > 0, pair[0].what, pair[1].what, *one, *two, overlap)
    return best


def _candidates(readings: Sequence[TerminationReading], one_load: bool) -> list[tuple[str, int]]:
    """Ends not read yet, and one that was read, once more after the connectors are re-seated."""
    read = {each.end for each in readings}
    seatings = 1 + max((each.seating for each in readings), default=0)
    again = [(end, seatings) for end in ("load", "load50", "short", "open") if end in read]
    # An antenna of 50 ohm has one load of its own and for the other.
    known = read | ({"load50"} if one_load else set()) | ({"load"} if one_load and "load50" in read else set())
    return [(end, 0) for end in ENDS if end not in known] + again[:1]


def _readings(work: FaultWork, windows: Sequence[Sequence[tuple[float, float]]]) -> list[tuple[Real, Real]]:
    """For each of two kinds, weights and readings of the trials that agree."""
    weights: tuple[list[Real], list[Real]] = ([], [])
    levels: tuple[list[Real], list[Real]] = ([], [])
    for number in range(BLOCKS):
        for index, block in enumerate(work.predicted(PILOT_BLOCKS + number, windows)):
            fault, row, _, chance = work.chances(index, block, WIDENED)
            for place, ((low, high), predicted) in enumerate(zip(windows[index], block, strict=True)):
                own = fault == place
                # A trial from a narrow window stands for less of the range of sizes.
                weights[index].append(chance[own] * (high - low))
                levels[index].append(predicted.magnitude[row[own]])
        if min(sum(each.size for each in side) for side in weights) >= ENOUGH_AGREEING:
            break
    return [(np.concatenate(weight), np.concatenate(level)) for weight, level in zip(weights, levels, strict=True)]


def _overlap(values: Sequence[Real], weights: Sequence[Real]) -> float:
    """Area that two weighted distributions share."""
    # Bins of equal content of both together: neither a narrow distribution nor a tail falls into one bin.
    edges = quantiles(np.concatenate(values), np.linspace(0, 1, BINS + 1))
    edges[-1] += 1e-12
    shares = [np.histogram(v, distinct(edges), weights=w)[0] / w.sum() for v, w in zip(values, weights, strict=True)]
    return float(np.minimum(*shares).sum())


def _quantiles(values: Real, weights: Real) -> tuple[float, float]:
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    places = np.minimum(np.searchsorted(share, COVERED), values.size - 1)
    low, high = (float(vswr(min(values[order[place]], 1.0))) for place in places)
    return low, high
