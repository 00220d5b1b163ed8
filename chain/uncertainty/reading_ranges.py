"""What the screen may show of a true magnitude, and the highest reading that still proves a limit: the same tests, forwards."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from chain.uncertainty.intervals import COVERAGE, SEED, Progress, blocks, draw_count, drawn_terms, whole_batches
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.one_sided_tests import PHASES, Terms, invert

__all__ = ["highest_proving", "reading_range", "reading_ranges"]


STEPS = np.arange(PHASES) * 2 * np.pi / PHASES
QUARTERS = STEPS[::4]
ROUNDING = 1e-6
NARROW = 1e-5
"""Readings this close to one another are one, as a magnitude."""
MOST_STEPS = 40


def reading_ranges(
    measurement: Measurement,
    magnitudes: Real,
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
) -> tuple[Real, Real]:
    """Lowest and highest reading that true magnitudes are accepted for, shape (magnitudes, frequencies).

    The 2.5 % quantile at the phase that reads least, the 97.5 % quantile at the one that reads most.
    """
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> tuple[Real, Real]:
        terms = drawn_terms(measurement, chosen, drawn, seed)
        found = [reading_range(terms, float(each)) for each in magnitudes]
        return np.stack([low for low, _ in found]), np.stack([high for _, high in found])

    parts = blocks(run, measurement.freq_hz.size, drawn, progress)
    low, high = (np.concatenate(each, axis=1) for each in zip(*parts, strict=True))
    return low, high


def reading_range(terms: Terms, magnitude: float) -> tuple[Real, Real]:
    """Lowest and highest reading of one true magnitude at each place of drawn measurements."""
    places, draws = terms.square.shape
    least = _least(draws)
    low, high = np.full(places, np.inf), np.full(places, -np.inf)
    for phase in _phases(terms, magnitude, QUARTERS if magnitude else QUARTERS[:1]):
        shown = terms.shown(magnitude, phase)
        # Most phases cannot move an end, which counting alone tells.
        lower = np.count_nonzero(shown < low.astype(np.float32)[:, None], axis=1) >= least
        higher = np.count_nonzero(shown > high.astype(np.float32)[:, None], axis=1) >= least
        for row in np.flatnonzero(lower | higher):
            ordered = np.partition(shown[row], (least - 1, draws - least))
            low[row] = min(low[row], ordered[least - 1])
            high[row] = max(high[row], ordered[draws - least])
    return low, high


def highest_proving(
    measurement: Measurement,
    limit: float,
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
) -> Real:
    """Highest reading whose interval ends at or below a limit, at each frequency; NaN where none does."""
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> Real:
        return _highest_proving(drawn_terms(measurement, chosen, drawn, seed), limit)

    return np.concatenate(list(blocks(run, measurement.freq_hz.size, drawn, progress)))


def _highest_proving(terms: Terms, limit: float) -> Real:
    """At most 2.5 % of the draws may show the limit at or below it, in any phase; and no magnitude beyond the limit either."""
    places, draws = terms.square.shape
    least = _least(draws)
    found = np.full(places, np.inf)
    for phase in _phases(terms, limit, STEPS):
        shown = terms.shown(limit, phase)
        for row in np.flatnonzero(np.count_nonzero(shown < found.astype(np.float32)[:, None], axis=1) >= least):
            found[row] = np.partition(shown[row], least - 1)[least - 1]
    # A reading within float32 of the edge must not be told as proving.
    found = np.maximum(found - ROUNDING, 0)
    ends = _upper_end(terms, found)
    short = ends > limit + ROUNDING
    if short.any():
        found[short] = _narrowed(terms.rows(short), found[short], ends[short], limit)
    return found


def _upper_end(terms: Terms, reading: Real) -> Real:
    return invert(terms, reading, coverage=COVERAGE, upper_only=True).high


def _narrowed(terms: Terms, failing: Real, ends: Real, limit: float) -> Real:
    """Where some magnitude beyond the limit reads less than the limit itself: the highest reading that proves it.

    The end of the interval falls nearly in step with the reading, so a step by what it stands too high, and a little
    more, mostly lands where the limit is proven; what lies between is then closed by regula falsi.
    """
    failing, proving = failing.copy(), np.full(failing.shape, np.nan)
    below = np.full(failing.shape, -1.0)
    over, reach = ends - limit, np.ones(failing.shape)
    for _ in range(MOST_STEPS):
        known = ~np.isnan(proving)
        open_ = ~known | (failing - proving > NARROW)
        if not open_.any():
            break
        step = np.where(known, (failing - proving) * over / (over - below), reach * over * failing / limit + NARROW)
        half = np.where(known, (failing - proving) / 2, failing)
        tried = np.maximum(failing - np.where(known, np.clip(step, half / 8, half * 15 / 8), step), 0.0)
        rows = np.flatnonzero(open_)
        excess = _upper_end(terms.rows(open_), tried[rows]) - limit
        good = excess <= ROUNDING
        proving[rows[good]], below[rows[good]] = tried[rows[good]], np.minimum(excess[good], 0)
        bad = rows[~good]
        # Nothing that is shown proves the limit.
        hopeless = tried[bad] <= 0
        failing[bad], over[bad], reach[bad] = tried[bad], excess[~good], 2 * reach[bad]
        proving[bad[hopeless]], failing[bad[hopeless]] = -1.0, -1.0
    return np.where(proving >= 0, proving, np.nan)


def _least(draws: int) -> int:
    return max(1, int((1 - COVERAGE) / 2 * draws + 1e-6))


def _phases(terms: Terms, magnitude: float, steps: Real) -> list[Real]:
    """Phases to try of a magnitude, from the one that reads most."""
    means = terms.means()
    square = (means.square * magnitude**2 + means.constant) / (means.down_square * magnitude**2 + 1)
    start = means.most_phase(np.sqrt(square))
    return [start + step for step in steps]
