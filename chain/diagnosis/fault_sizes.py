"""Sizes of a fault that the readings leave: one span of them, or two where only a small and a large one would do."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from library.frozen import dataclass

COVERED = (0.025, 0.5, 0.975)
BINS = 40
"""Equal parts of the span of all sizes, in which a gap is looked for."""
EMPTY = 0.02
"""Share of the weight that a gap may hold; own choice."""
WIDE = 0.25
"""Share of the whole span from which on a gap parts it; own choice."""
LEAST_SIDE = 0.05
"""Share of the weight that either side of a gap holds, else it is a tail; own choice."""
LEAST_DRAWS = 40.0
"""Trials that the weights must be worth before a gap is believed."""


@dataclass(frozen=True)
class SizeSpan:
    """One hump of a fault's size: 95 % of its trials lie from `low` to `high`, half below `middle`; `share` of all."""

    low: float
    middle: float
    high: float
    share: float


def weighted_quantiles(values: Real, weights: Real) -> Real:
    """Quantiles 0.025, 0.5 and 0.975 of weighted values (inverse of the weighted empirical distribution)."""
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    return np.asarray(values[order][np.minimum(np.searchsorted(share, COVERED), values.size - 1)])


def size_spans(values: Real, weights: Real) -> tuple[SizeSpan, ...]:
    """Sizes of a fault as one span, or as two where hardly any lies between them; the commoner first."""
    if not values.size or not weights.sum():
        return ()
    cut = _gap(values, weights)
    sides = [np.isfinite(values)] if cut is None else [values > cut, values <= cut]
    found = []
    for side in sides:
        low, middle, high = map(float, weighted_quantiles(values[side], weights[side]))
        found.append(SizeSpan(low, middle, high, float(weights[side].sum() / weights.sum())))
    return tuple(sorted(found, key=lambda each: -each.share))


def _gap(values: Real, weights: Real) -> float | None:
    """Middle of a gap that parts the sizes, where there is one."""
    low, _, high = map(float, weighted_quantiles(values, weights))
    # So many equal trials the weights are worth (Kish's effective size): a gap among fewer is chance.
    if weights.sum() ** 2 / np.square(weights).sum() < LEAST_DRAWS or high <= low:
        return None
    share, edges = np.histogram(values, BINS, (low, high), weights=weights / weights.sum())
    below = np.concatenate([[0.0], np.cumsum(share)])
    # Longest run of parts that together hold next to nothing; a tail has nothing behind it and parts nothing.
    runs = [
        (last - first, first, last)
        for first in range(BINS)
        for last in range(first + 1, BINS + 1)
        if below[last] - below[first] < EMPTY and min(below[first], below[-1] - below[last]) >= LEAST_SIDE
    ]
    length, first, last = max(runs, default=(0, 0, 0))
    return float((edges[first] + edges[last]) / 2) if length >= WIDE * BINS else None
