"""How well the draws alone settle the ends of intervals, and how many more it takes for a wanted number of digits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chain.uncertainty.intervals import Intervals

__all__ = ["Accuracy", "settled_intervals", "tolerance"]

MOST_DRAWS = 1_024_000
MOST_DRAWN_POINTS = 20_000_000
"""Draws times frequencies that a second digit may cost: about ten seconds."""
SPARE = 1.2


@dataclass(frozen=True)
class Accuracy:
    """How many draws an interval takes and how well its ends are then known, as reflection magnitudes."""

    draws: int
    digits: int
    """Significant digits wanted of the uncertainty, a quarter of the interval's width."""
    end_tolerance: float
    """Half a unit of the last of them: how far off an end may be by the draws alone."""
    end_error: float
    """By how much another seed moves the ends: twice the standard deviation of the difference of two seeds."""
    settled: bool
    """Every end keeps its tolerance; otherwise the most draws were reached."""


def tolerance(low: float, high: float, digits: int) -> float:
    """Numerical tolerance of an interval's ends.

    Source: JCGM 101:2008, 7.9.2 (memory): u = c 10^l with c of the wanted digits, tolerance 10^l / 2.
    """
    spread = max((high - low) / 4, 1e-6)
    leading = int(np.floor(np.log10(spread) + 1e-12))
    return float(0.5 * 10.0 ** (leading - digits + 1))


def settled_intervals(
    make: Callable[[int | None], Intervals], draws: int | None = None, digits: int = 1
) -> tuple[Intervals, Accuracy | None]:
    """Intervals by a given number of draws; or by the usual one, or as many as a second digit needs, and how well known they are."""
    found = make(draws)
    if draws is not None:
        return found, None
    known, short = _judged(found, digits)
    most = min(MOST_DRAWS, MOST_DRAWN_POINTS // found.ends.low.size)
    if digits == 1 or known.settled or found.draws >= most:
        return found, known
    # The error of an order statistic falls with the root of the number of draws.
    found = make(min(most, int(np.ceil(SPARE * short**2 * found.draws))))
    return found, _judged(found, digits)[0]


def _judged(found: Intervals, digits: int) -> tuple[Accuracy, float]:
    """Accuracy of the ends, and by how many times the least settled of them misses its tolerance."""
    ends = found.ends
    wanted = np.array([tolerance(low, high, digits) for low, high in zip(ends.low, ends.high, strict=True)])
    error = np.maximum(ends.low_error, ends.high_error)
    short = float((error / wanted).max())
    return Accuracy(found.draws, digits, float(wanted.max()), float(error.max()), short <= 1), short
