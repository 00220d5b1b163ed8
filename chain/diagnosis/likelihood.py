"""Trials that agree with readings: for each, the exact chance that noise puts every reading inside the span of its digits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.diagnosis import normal
from chain.diagnosis.faults import FaultKind, SuspectedFault
from chain.diagnosis.proposal import Proposal, proposal_for
from chain.diagnosis.sampling import FaultPlan, Predicted, plan, predict
from chain.diagnosis.session import Session, draw_block
from chain.diagnosis.terminations import TerminationReading

Meter = Callable[[SuspectedFault, Real], Real | float]
"""Likelihood of an ohmmeter's reading under a fault with the sizes of its trials."""
Windows = Sequence[Sequence[tuple[float, float]]]
"""For each kind and fault the part of its range of sizes that is drawn from; nothing for a kind that is left out."""
Agreeing = tuple[NDArray[np.int64], NDArray[np.int64], Real, Real]
"""Of the trials that agree: index of the fault, row in its trials, size, chance."""

BLOCK = 20_000
REACH = 12.0
"""How many standard deviations of noise and digits count as near."""
LEAST_HALF = 0.002
"""Spans narrower than twice this are taken as that wide [-]."""
LEAST_CHANCE = 1e-12
BEYOND = 7.2
"""How many standard deviations from a span its chance is less than the least: it need not be worked out."""


def spans_of(readings: Sequence[TerminationReading]) -> list[tuple[float, float]]:
    """Spans of reflection magnitude that readings stand for, none narrower than the trials can resolve."""
    out = []
    for each in readings:
        middle, half = (each.low + each.high) / 2, max((each.high - each.low) / 2, LEAST_HALF)
        out.append((max(middle - half, 0.0), middle + half) if np.isfinite(middle) else (each.low, each.high))
    return out


def span_probability(level: Real, noise: Real, low: float, high: float) -> Real:
    """Chance that noise puts a magnitude inside a span.

    Source: Normal distribution about sqrt(|x|^2 + s^2), to which the magnitude of a complex reading with noise tends.
    """
    # No magnitude lies below zero, where the normal tail would have some; off the scale the span has no upper end.
    below = 0.0 if low <= 0 else normal.below((low - level) / noise)
    up_to = 1.0 if np.isinf(high) else normal.below((high - level) / noise)
    return np.asarray(up_to - below)


def strata(kind: FaultKind, count: int) -> list[slice]:
    """Trials of a block divided among the faults of a kind by their weights (stratified sampling in proportion)."""
    # Sums are rounded, not parts, so that the strata fill the block exactly.
    edges = np.rint(np.cumsum([0.0, *(fault.weight for fault in kind.faults)]) * count).astype(int)
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


@dataclass(frozen=True)
class FaultWork:
    """Readings and the kinds of fault they are held against, laid out."""

    of: Session
    kinds: tuple[FaultKind, ...]
    plans: tuple[tuple[FaultPlan, ...], ...]
    spans: Sequence[tuple[float, float]]
    seen: Sequence[int]
    """Which of the session's ends were read."""
    meter: Meter | None
    seed: int

    def predicted(self, number: int, windows: Windows, proposal: Proposal | None = None) -> list[list[Predicted]]:
        """Readings of one block, for every fault of the kinds that have windows; from a proposal by two of them where that is asked."""
        drawn = draw_block(self.of, number, BLOCK, self.seed)
        kept: dict[tuple[str, int], Any] = {}
        return [
            [
                predict(self.of, laid, drawn, rows, window, proposal, kept)
                for laid, rows, window in zip(plans, strata(kind, BLOCK), own, strict=True)
            ]
            if own
            else []
            for kind, plans, own in zip(self.kinds, self.plans, windows, strict=True)
        ]

    @property
    def proposal(self) -> Proposal | None:
        """The two readings that a proposal may take."""
        return proposal_for(self.seen, self.spans)

    def chances(self, index: int, block: Sequence[Predicted], widened: float = 1.0) -> Agreeing:
        """Trials of one kind that may give the readings, and the chance that each does."""
        found = []
        for place, (fault, predicted) in enumerate(zip(self.kinds[index].faults, block, strict=True)):
            left = np.arange(predicted.uniform.size)
            chance = np.ones(left.size)
            for column, (low, high) in zip(self.seen, self.spans, strict=True):
                level, noise = predicted.magnitude[left, column], predicted.noise[left, column]
                if widened != 1.0:
                    noise = widened * _spread(noise, low, high)
                reach = BEYOND * noise
                near = (level > low - reach) & (level < high + reach)
                left, level, noise, chance = left[near], level[near], noise[near], chance[near]
                chance = chance * span_probability(level, noise, low, high)
                # Most trials fail at the first readings already; the later ones need not be worked out for them.
                kept = chance > LEAST_CHANCE
                left, chance = left[kept], chance[kept]
            size = predicted.size[left]
            # Trials of the proposal agree more often than they should, which their weight takes back.
            chance = chance * predicted.weight[left]
            if self.meter is not None:
                chance = chance * self.meter(fault, size)
            found.append((np.full(left.size, place), left, size, chance))
        return tuple(np.concatenate(each) for each in zip(*found, strict=True))  # type: ignore[return-value]

    def window(self, blocks: Sequence[Predicted]) -> tuple[float, float] | None:
        """Part of a fault's range of sizes that comes near the readings; None where nothing does."""
        near = []
        for predicted in blocks:
            close = np.ones(predicted.uniform.size, dtype=bool)
            for column, (low, high) in zip(self.seen, self.spans, strict=True):
                reach = REACH * _spread(predicted.noise[:, column], low, high)
                level = predicted.magnitude[:, column]
                close &= (level > low - reach) & (level < high + reach)
            near.append(predicted.uniform[close])
        sizes = np.concatenate(near)
        if not sizes.size:
            return None
        low, high = float(sizes.min()), float(sizes.max())
        # A few trials show the edges badly: more room is left the fewer there are.
        room = (high - low) * (0.1 + 2 / sizes.size) + 0.02
        return max(low - room, 0.0), min(high + room, 1.0)


def _spread(noise: Real, low: float, high: float) -> Real:
    width = 0.0 if np.isinf(high) else high - low
    # A span of equally likely values has the variance width^2/12 (JCGM 100, equation 6).
    return np.asarray(np.sqrt(noise**2 + width**2 / 12))


def work_of(
    of: Session, kinds: Sequence[FaultKind], readings: Sequence[TerminationReading], meter: Meter | None, seed: int
) -> FaultWork:
    """Lay out every fault of some kinds."""
    places = [of.ends.index((each.end, each.seating)) for each in readings]
    plans = tuple(tuple(plan(of, fault) for fault in kind.faults) for kind in kinds)
    return FaultWork(of, tuple(kinds), plans, spans_of(readings), places, meter, seed)
