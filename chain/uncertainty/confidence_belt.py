"""Coverage intervals for a true reflection magnitude: a Neyman belt with likelihood-ratio ordering.

For each true magnitude on a grid, readings are simulated with the antenna's phase uniform. A reading x is accepted for a true
magnitude g if the likelihood of g, relative to the best magnitude for that reading, is among the larger ones that g
itself gives with the stated probability. The interval of a reading is every g that accepts it. Unlike
quantiles of a recovered magnitude this covers a perfect antenna (g = 0) and a fully reflecting end (g = 1) too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf.bilinear import Maps

__all__ = ["GRID", "Belt", "belt", "statistic"]


GRID: Real = np.unique(
    np.concatenate([np.linspace(0, 0.2, 17), np.linspace(0.2, 0.6, 25), np.linspace(0.6, 1.0, 21)]).round(6)
)
"""True magnitudes the belt is made for; closer together where a good antenna lies."""

BINS = 160
FINE, FEW_FINE, FEW_DRAWS = 8, 4, 4000
"""Fine bins in each bin, from which the threshold is taken; half as many tell as much where draws are few."""

COUNT_BITS = 28
PIECE = 64_000
SMOOTH = 1.5
"""Width of the kernel that smooths the simulated densities, in bins."""

LOW_BINS = 8

GUARD = 0.004
"""Added to the stated coverage: the threshold comes from a finite number of draws and must not fall short of it."""


@dataclass(frozen=True)
class Belt:
    """Belts of one statistic at several places (frequencies or channels).

    `edge` is the largest statistic tabulated at each place; `score` the log likelihood ratio, shape (places, grid,
    bins); `least` the smallest score accepted, `first` and `last` the lowest and highest statistic accepted, in bins, shape
    (places, grid) each.
    """

    edge: Real
    score: NDArray[np.float32]
    least: Real
    first: Real
    last: Real
    coverage: float

    def interval(self, observed: Real) -> tuple[Real, Real]:
        """Interval of the true magnitude for one observed statistic at each place; NaN where no magnitude accepts it."""
        position = np.clip(observed / self.edge, 0, 1) * BINS - 0.5
        left = np.clip(np.floor(position).astype(int), 0, BINS - 2)
        weight = np.clip(position - left, 0.0, 1.0)[:, None]
        rows = np.arange(observed.size)
        score = self.score[rows, :, left] * (1 - weight) + self.score[rows, :, left + 1] * weight
        margin = np.where((observed > self.edge)[:, None], -1.0, score - self.least)
        return _crossings(margin)

    def accepted(self, magnitude: float) -> tuple[Real, Real]:
        """Lowest and highest statistic accepted for one true magnitude, at each place: the hull, where there are gaps."""
        at = int(np.clip(np.searchsorted(GRID, magnitude) - 1, 0, GRID.size - 2))
        weight = (magnitude - GRID[at]) / (GRID[at + 1] - GRID[at])
        ends = [each[:, at] * (1 - weight) + each[:, at + 1] * weight for each in (self.first, self.last)]
        return self.edge * ends[0] / BINS, self.edge * ends[1] / BINS


def _crossings(margin: Real) -> tuple[Real, Real]:
    """Ends of the hull of the accepted magnitudes, by interpolation of where the margin passes zero."""
    inside = margin >= 0
    some = inside.any(axis=1)
    first = np.argmax(inside, axis=1)
    last = GRID.size - 1 - np.argmax(inside[:, ::-1], axis=1)
    rows = np.arange(margin.shape[0])

    def cross(inner: NDArray[np.intp], outer: NDArray[np.intp]) -> Real:
        here, there = margin[rows, inner], margin[rows, outer]
        step = np.where(here - there > 0, here / np.where(here - there > 0, here - there, 1), 0.0)
        return np.asarray(GRID[inner] + np.clip(step, 0, 1) * (GRID[outer] - GRID[inner]))

    low = cross(first, np.maximum(first - 1, 0))
    high = cross(last, np.minimum(last + 1, GRID.size - 1))
    return np.where(some, low, np.nan), np.where(some, high, np.nan)


def statistic(maps: Maps, known: Maps, far: Complex, complex_reading: bool) -> Real:
    """What is observed: the reading's magnitude, or the magnitude recovered from a complex reading.

    Source: The inverse of the nominal bilinear map.
    """
    reading = maps.reading(far)
    return np.abs(known.recovered(reading) if complex_reading else reading)


def belt(samples: NDArray[np.float32] | Real, coverage: float = 0.95, cap: float = 4.0) -> Belt:
    """Make the belt of one place, or of several, from simulated statistics.

    Source: Neyman construction with likelihood-ratio ordering; figures of coverage in DEVELOPERS.md.
    """
    places, grid, draws = samples.shape
    edge = np.empty(places)
    score = np.empty((places, grid, BINS), dtype=np.float32)
    least = np.empty((places, grid))
    first, last = np.empty((2, places, grid))
    for place in range(places):
        edge[place] = max(min(float(samples[place].max()), cap), 1e-6) * (1 + 1e-6)
        fine = _counts(samples[place], edge[place], FINE if draws >= FEW_DRAWS else FEW_FINE)
        counts = fine.reshape(grid, BINS, -1).sum(axis=2).astype(float)
        score[place] = _scores(counts, draws)
        least[place] = _least(score[place], fine, coverage)
        margin = score[place] - least[place][:, None]
        told = np.broadcast_to(counts.any(axis=0), counts.shape)
        first[place] = _outermost(margin, told)
        last[place] = BINS - _outermost(margin[:, ::-1], told[:, ::-1])
    return Belt(edge, score, least, first, last, coverage)


def _outermost(margin: Real, told: NDArray[np.bool_]) -> Real:
    """Lowest statistic accepted for each magnitude, in bins: where the margin passes zero between two of them.

    Where no magnitude has any draws every score is high: only bins that some magnitude has draws in count.
    """
    inside = told & (margin >= 0)
    rows, at = np.arange(len(margin)), inside.argmax(axis=1)
    outside = np.maximum(at - 1, 0)
    here, there = margin[rows, at], margin[rows, outside]
    falls = told[rows, outside] & (there < 0) & (here > there)
    return np.asarray(np.where(falls, at + 0.5 - here / np.where(falls, here - there, 1), at), dtype=float)


def _counts(samples: Real, edge: float, per_bin: int) -> NDArray[np.intp]:
    """Draws of each magnitude in each of the fine bins, those beyond the edge in the last."""
    grid, fine = samples.shape[0], BINS * per_bin
    counts = np.empty((grid, fine), dtype=np.intp)
    # A few rows at a time, so that values and counts stay in the cache.
    rows = max(1, PIECE // samples.shape[1])
    for start in range(0, grid, rows):
        scaled = samples[start : start + rows] * (fine / edge)
        np.minimum(scaled, fine - 1, out=scaled)
        for row, found in enumerate(scaled.astype(np.intp), start):
            counts[row] = np.bincount(found, minlength=fine)
    return counts


def _scores(counts: Real, draws: int) -> Real:
    """Log likelihood ratio of each magnitude against the best one, on the bins of the statistic."""
    smooth = _smoothed(counts, SMOOTH)
    # Few readings fall near zero, whatever the magnitude: a wider kernel there, left by degrees, for a step would show.
    wide = _smoothed(counts[:, : 6 * LOW_BINS], 3 * SMOOTH)[:, : 3 * LOW_BINS]
    share = np.clip(1.5 - np.arange(3 * LOW_BINS) / (2 * LOW_BINS), 0, 1)
    smooth[:, : 3 * LOW_BINS] += share * (wide - smooth[:, : 3 * LOW_BINS])
    density = np.log(smooth / draws + 1e-3 / draws)
    return np.asarray(density - density.max(axis=0))


def _smoothed(counts: Real, width: float) -> Real:
    """Counts smoothed by a normal kernel, mirrored at both ends: a magnitude has no values below zero to leak to."""
    half = int(np.ceil(3.5 * width))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / width) ** 2)
    kernel /= kernel.sum()
    padded = np.concatenate([counts[:, half - 1 :: -1], counts, counts[:, : -half - 1 : -1]], axis=1)
    bins = counts.shape[1]
    smooth = np.zeros(counts.shape)
    for shift, weight in enumerate(kernel):
        smooth += weight * padded[:, shift : shift + bins]
    return smooth


def _least(score: NDArray[np.float32], fine: NDArray[np.intp], coverage: float) -> Real:
    """Smallest score accepted for each magnitude, so that its own readings are accepted with the stated share."""
    # A fine bin counts by the lower score of its two edges: accepted is then all of it, not the better half.
    place = np.clip(np.arange(fine.shape[1] + 1, dtype=np.float32) * BINS / fine.shape[1] - 0.5, 0, BINS - 1.001)
    left = place.astype(np.intp)
    edges, after = score.take(left, axis=1), score.take(left + 1, axis=1)
    edges += (after - edges) * (place - left).astype(np.float32)
    own = np.minimum(edges[:, 1:], edges[:, :-1])
    # A non-negative float sorts as its bits do, so that a score and its number of draws fit into one sorted integer.
    worse = np.maximum(-own, 0).view(np.int32).astype(np.int64)
    keys = np.sort((worse << COUNT_BITS) | fine, axis=1)
    reached = np.cumsum(keys & ((1 << COUNT_BITS) - 1), axis=1)
    draws = reached[:, -1:]
    wanted = draws - np.floor((1 - coverage - GUARD) * draws).astype(int)
    at = np.argmax(reached >= wanted, axis=1)
    found = (keys[np.arange(len(keys)), at] >> COUNT_BITS).astype(np.int32).view(np.float32)
    return np.asarray(-found.astype(float))
