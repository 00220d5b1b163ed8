"""Whether a series has stepped, and when: at most the stated share of series without a step are reported to have one.

The stated uncertainties are checked against the scatter of the series itself: where that is larger it counts, so that a
set-up that repeats worse than it says raises no more false alarms.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from chain.arrays import Real

FALSE_ALARMS = 0.05
SIDE = 2
"""Records that must stand on either side of a step: one alone is no more than one odd record."""
LEAST_RECORDS = 2 * SIDE
SEED = 20260
MARGIN = 0.95
"""Share of the stated rate that is kept: a threshold from finite trials has an error of its own."""
TRIALS, MOST_FIGURES = 8000, 4_000_000
SCATTERS = (1.0, 1.5, 2.0, 3.0, 6.0, 10.0, 30.0)
"""True scatter over stated uncertainty: the threshold holds for all of them."""
POWER = 1.25
"""How steeply an excess of scatter lowers the statistic: between too blind and too trusting."""
NORMAL_95 = 1.959964
LONG_SERIES, TRIMMED = 12, 2
"""From so many records on a series may have two steps: scatter is then judged without the two largest differences too."""


@dataclass(frozen=True)
class SeriesStep:
    """A step of a series before record `index`: its size, its standard uncertainty, and the statistic over its threshold."""

    index: int
    size: float
    uncertainty: float
    score: float


def steps(
    values: Real, uncertainties: Real, false_alarms: float = FALSE_ALARMS, seed: int = SEED
) -> tuple[SeriesStep, ...]:
    """Steps of a series in the order of its records.

    Source: Largest standardised difference of means before and after (Page 1955, Hawkins 1977; memory), over the scatter
    about them; threshold by simulation; further steps by binary segmentation.
    """
    found = _split(np.asarray(values, dtype=float), np.asarray(uncertainties, dtype=float), 0, (false_alarms, seed))
    ordered = sorted(found)
    edges = [0, *ordered, values.size]
    out = []
    for before, at, after in zip(edges, ordered, edges[2:], strict=False):
        first, last = slice(before, at), slice(at, after)
        (a, u), (b, w) = (_mean(values[each], uncertainties[each]) for each in (first, last))
        excess = max(1.0, _excess(values, uncertainties, edges))
        out.append(SeriesStep(at, b - a, float(np.hypot(u, w)) * excess, found[at]))
    return tuple(out)


def _split(values: Real, sizes: Real, start: int, run: tuple[float, int]) -> dict[int, float]:
    if values.size < LEAST_RECORDS:
        return {}
    statistic, at = _statistic(values[None, :], sizes)
    # What matters of the uncertainties is how they compare with each other: one shape serves all series of a length.
    limit = _threshold(values.size, *run)
    if statistic[0] <= limit:
        return {}
    cut = int(at[0]) + 1
    left = _split(values[:cut], sizes[:cut], start, run)
    right = _split(values[cut:], sizes[cut:], start + cut, run)
    return {**left, start + cut: float(statistic[0] / limit), **right}


def _statistic(values: Real, sizes: Real) -> tuple[Real, np.ndarray[tuple[int], np.dtype[np.intp]]]:
    """Largest standardised step of each row over its excess of scatter, and where it is.

    Source: z = (m2 - m1)/sqrt(1/W1 + 1/W2) with W sums of 1/u^2; excess: Birge ratio of the residuals (Phys. Rev. 40, 1932;
    memory).
    """
    weights = 1 / sizes**2
    total = np.cumsum(weights)
    sums = np.cumsum(weights * values, axis=1)
    w1, w2 = total[:-1], total[-1] - total[:-1]
    s1 = sums[:, :-1]
    s2 = sums[:, -1:] - s1
    z = np.abs(s2 / w2 - s1 / w1) / np.sqrt(1 / w1 + 1 / w2)
    left = np.sum(weights * values**2, axis=1, keepdims=True) - s1**2 / w1 - s2**2 / w2
    ratio = np.maximum(left, 0) / max(values.shape[1] - 2, 1)
    if values.shape[1] >= LONG_SERIES:
        ratio = np.minimum(ratio, _from_neighbours(values / sizes))
    score = z / np.maximum(1.0, ratio) ** (POWER / 2)
    score[:, : SIDE - 1] = score[:, score.shape[1] - SIDE + 1 :] = 0.0
    at = score.argmax(axis=1)
    return score[np.arange(at.size), at], at


def _from_neighbours(values: Real) -> Real:
    """Mean square scatter from the differences of neighbours but the two largest, so that a second step hides no first one.

    Source: Mean square successive difference (von Neumann 1941, memory); trimmed, its bias taken off by simulation.
    """
    return _trimmed(values) / _trimmed_mean(values.shape[1])


def _trimmed(values: Real) -> Real:
    squares = np.sort(np.diff(values, axis=1) ** 2, axis=1)
    return np.asarray(squares[:, :-TRIMMED].mean(axis=1, keepdims=True) / 2)


@lru_cache(maxsize=256)
def _trimmed_mean(count: int) -> float:
    trials = int(np.clip(MOST_FIGURES // count, 400, TRIALS))
    return float(_trimmed(np.random.default_rng([SEED, count, 1]).standard_normal((trials, count))).mean())


@lru_cache(maxsize=256)
def _threshold(count: int, false_alarms: float, seed: int) -> float:
    """Value that the statistic of a series without a step passes in the stated share of series, at the worst scatter."""
    trials = int(np.clip(MOST_FIGURES // count, 400, TRIALS))
    rng = np.random.default_rng([seed, count])
    noise = rng.standard_normal((trials, count))
    flat = np.ones(count)
    return max(float(np.quantile(_statistic(noise * each, flat)[0], 1 - MARGIN * false_alarms)) for each in SCATTERS)


def apart(values: Real, uncertainties: Real, false_alarms: float = FALSE_ALARMS, seed: int = SEED) -> SeriesStep | None:
    """The first or the last record of a series without a step, where it stands apart from all others.

    One record alone cannot tell a step from a fluke, so this is no step: it asks for another record. Together with `steps`
    it is reported in at most the stated share of series that scatter as stated; of those that scatter more, in up to a sixth.

    Source: Difference of one record and the mean of the others over its standard uncertainty, the others' excess of scatter in
    it (Birge ratio); threshold by simulation, for what `steps` leaves of the rate.
    """
    count = values.size
    if count < LEAST_RECORDS:
        return None
    scores = _ends_score(np.asarray(values, dtype=float)[None, :], np.asarray(uncertainties, dtype=float))[:, 0]
    score = float(scores.max()) / _apart_threshold(count, false_alarms, seed)
    if score <= 1:
        return None
    at = count - 1 if scores[1] >= scores[0] else 1
    edges = [0, at, count]
    (a, u), (b, w) = (_mean(values[first:last], uncertainties[first:last]) for first, last in pairwise(edges))
    return SeriesStep(at, b - a, float(np.hypot(u, w)) * max(1.0, _excess(values, uncertainties, edges)), score)


def _ends_score(values: Real, sizes: Real) -> Real:
    """How far the first and the last record of each row lie from the others, shape (2, rows)."""
    weights = 1 / sizes**2
    out = []
    for place, others in ((0, slice(1, None)), (-1, slice(None, -1))):
        own, rest = weights[others], values[:, others]
        mean = np.sum(own * rest, axis=1) / own.sum()
        ratio = np.sum(own * (rest - mean[:, None]) ** 2, axis=1) / (own.size - 1)
        away = np.abs(values[:, place] - mean) / np.sqrt(1 / weights[place] + 1 / own.sum())
        out.append(away / np.sqrt(np.maximum(1.0, ratio)))
    return np.array(out)


@lru_cache(maxsize=256)
def _apart_threshold(count: int, false_alarms: float, seed: int) -> float:
    """Value that the score of either end passes in series that scatter as stated and show no step, so often as is left."""
    trials = int(np.clip(MOST_FIGURES // count, 400, TRIALS))
    flat = np.ones(count)
    noise = np.random.default_rng([seed, count, 2]).standard_normal((trials, count))
    stepped = _statistic(noise, flat)[0] > _threshold(count, false_alarms, seed)
    left = max(MARGIN * false_alarms - float(stepped.mean()), 0.0) * trials
    scores = np.sort(_ends_score(noise, flat).max(axis=0)[~stepped])[::-1]
    return float(scores[min(int(left), scores.size - 1)])


def _mean(values: Real, sizes: Real) -> tuple[float, float]:
    weights = 1 / sizes**2
    return float(np.sum(weights * values) / np.sum(weights)), float(1 / np.sqrt(np.sum(weights)))


def _excess(values: Real, sizes: Real, edges: list[int]) -> float:
    """Scatter about the means of all stretches, over what was stated."""
    left = 0.0
    for first, last in pairwise(edges):
        mean, _ = _mean(values[first:last], sizes[first:last])
        left += float(np.sum(((values[first:last] - mean) / sizes[first:last]) ** 2))
    free = values.size - len(edges) + 1
    return float(np.sqrt(left / free)) if free > 0 else 1.0


def slope(times: Real, values: Real, uncertainties: Real) -> tuple[float, float]:
    """Straight trend of a series per unit of time, and the half width of its 95 % interval.

    Source: Weighted least squares; scatter above what is stated widens it (Birge ratio), by Student's factor for few records.
    """
    weights = 1 / uncertainties**2
    centre = float(np.sum(weights * times) / np.sum(weights))
    away = times - centre
    spread = float(np.sum(weights * away**2))
    if values.size < LEAST_RECORDS or spread <= 0:
        return float("nan"), float("nan")
    rise = float(np.sum(weights * away * values) / spread)
    mean = float(np.sum(weights * values) / np.sum(weights))
    free = values.size - 2
    excess = float(np.sqrt(np.sum(weights * (values - mean - rise * away) ** 2) / free))
    # The stated uncertainties are as good as many records; scatter seen in few of them is worth less.
    factor = NORMAL_95 * max(1.0, excess * (1 + 2.0 / free))
    return rise, factor / float(np.sqrt(spread))
