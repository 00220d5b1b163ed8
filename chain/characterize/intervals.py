"""From repeats and drawn errors to intervals: one way for every figure of a part that is learnt."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.results import COVERAGE

Traces = Mapping[str, Complex]
Figures = Callable[[Traces], dict[str, Real]]
Disturb = Callable[[Traces, np.random.Generator, int, bool], Mapping[str, Complex]]

DRAWS = 4000
SEED = 20240501
APART, TURNED = "_apart", "_turned"
ENDS = ((1 - COVERAGE) / 2, (1 + COVERAGE) / 2)
TINY = 1e-300
BLOCK_ELEMENTS = 200_000
"""Trials times frequencies that are worked on at once."""


@dataclass(frozen=True)
class Interval:
    """A figure (or an array of them) with the ends of its interval."""

    value: Real
    low: Real
    high: Real

    @property
    def half(self) -> Real:
        """The larger of the distances to the two ends."""
        return np.maximum(self.high - self.value, self.value - self.low)

    def scaled(self, factor: float) -> Interval:
        """The same in another unit."""
        return Interval(self.value * factor, self.low * factor, self.high * factor)

    def widened(self, by: Real) -> Interval:
        """The same with an independent error of that half-width added as a root sum of squares."""
        low, high = self.value - self.low, self.high - self.value
        return Interval(self.value, self.value - np.hypot(low, by), self.value + np.hypot(high, by))


def intervals(
    figures: Figures, traces: Traces, disturb: Disturb, draws: int = DRAWS, seed: int = SEED
) -> dict[str, Interval]:
    """Figures of the mean sweep, each with its interval.

    Source: Drawn errors: JCGM 101. Repeats: mean, s/sqrt(n), Student's t with n - 1 degrees of freedom (JCGM 100, 4.2
    and G.3). Where both count, half-way between Student's deviates added to the errors (JCGM 101, 6.4.9), which holds
    the truth too often, and the effective degrees of freedom (JCGM 100, G.4), which hold it too seldom where repeats
    are few: own simulation.
    """
    repeats = len(next(iter(traces.values())))
    mean = {name: trace.mean(axis=0) for name, trace in traces.items()}
    rng = np.random.default_rng(seed)
    value = {name: each[0] for name, each in figures({name: trace[None] for name, trace in mean.items()}).items()}
    size = max(next(iter(mean.values())).shape[0], 1)
    block = max(1, min(draws, BLOCK_ELEMENTS // size))
    counts = [min(block, draws - start) for start in range(0, draws, block)]
    blocks = [figures(disturb(mean, rng, count, repeats == 1)) for count in counts]
    # Against the figures of the mean sweep: what errors shift on the average (a size is never below zero) moves the interval back.
    error = {name: np.concatenate([each[name] for each in blocks]) - value[name] for name in value}
    if repeats == 1:
        error |= {name: 0 * each for name, each in error.items() if name.endswith(APART)}
        return {name: _interval(name, value, error) for name in value if not name.endswith((APART, TURNED))}
    # One trial serves all figures and frequencies: a repeat that is off is off in all of them, and a curve moves as a whole.
    student, normal = rng.standard_t(repeats - 1, draws), rng.standard_normal(draws)
    found = {}
    scatter = {name: _scatter(name, each) / np.sqrt(repeats) for name, each in figures(traces).items()}
    for name in (each for each in value if not each.endswith((APART, TURNED))):
        if name + TURNED in value:
            error[name + APART] = np.multiply.outer(np.abs(student), scatter[name + APART])
            found[name] = _interval(name, value, error)
            continue
        by_trials = _interval(name, value, {name: error[name] + np.multiply.outer(student, scatter[name])})
        by_normal = _interval(name, value, {name: error[name] + np.multiply.outer(normal, scatter[name])})
        found[name] = _between(by_trials, by_normal, _factor(error[name].std(axis=0), scatter[name], repeats - 1))
    return found


def _scatter(name: str, each: Real) -> Real:
    """Standard deviation over the repeats; of distances from the mean, their root mean square."""
    if name.endswith(APART):
        return np.asarray(np.sqrt((each**2).sum(axis=0) / (len(each) - 1)))
    return np.asarray(each.std(axis=0, ddof=1))


def _factor(steady: Real, scatter: Real, freedom: int) -> Real:
    """Coverage factor at the effective degrees of freedom, over that of a normal distribution."""
    from scipy.special import ndtri, stdtrit

    # Welch-Satterthwaite (JCGM 100, G.4.1) with infinite freedom for the steady part: freedom/share^2.
    share = np.maximum(scatter**2 / np.maximum(scatter**2 + steady**2, TINY), 1e-6)
    return np.asarray(stdtrit(freedom / share**2, ENDS[1]) / ndtri(ENDS[1]))


def _between(first: Interval, second: Interval, factor: Real) -> Interval:
    """Half-way between two intervals, the second expanded by a factor."""
    value = first.value
    low, high = (
        (a + value + (b - value) * factor) / 2 for a, b in ((first.low, second.low), (first.high, second.high))
    )
    return Interval(value, np.asarray(low), np.asarray(high))


def _interval(name: str, values: Mapping[str, Real], errors: Mapping[str, Real]) -> Interval:
    value, error = values[name], errors[name]
    if name + TURNED in errors:
        # Errors can only add to a size near zero: the cloud of drawn points, turned round the measured one, shows the true.
        low, high = np.quantile(errors[name + TURNED], ENDS, axis=0)
        scatter = np.quantile(errors[name + APART], COVERAGE, axis=0)
        down, up = (np.hypot(np.maximum(side, 0.0), scatter) for side in (-low, high))
        return Interval(np.asarray(value), np.maximum(value - down, 0.0), value + up)
    low, high = np.quantile(error, ENDS, axis=0)
    # What was drawn is measured minus true: its upper end shows how far the truth may lie below.
    return Interval(np.asarray(value), np.asarray(value - high), np.asarray(value - low))
