"""What the screen may show of a true magnitude, and the highest reading that still proves a limit: the same tests, forwards."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.uncertainty.intervals import COVERAGE, SEED, Progress, blocks, draw_count, drawn_terms, whole_batches
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.one_sided_tests import PHASES, Terms, invert

__all__ = ["highest_proving", "reading_range", "reading_ranges"]


STEPS = np.arange(PHASES) * 2 * np.pi / PHASES
QUARTERS = STEPS[::4]
HALVINGS = 20
ROUNDING = 1e-6


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
    short = ~_proves(terms, found, limit)
    if short.any():
        found[short] = _halved(terms.rows(short), found[short], limit)
    return found


def _proves(terms: Terms, reading: Real, limit: float) -> NDArray[np.bool_]:
    return np.asarray(invert(terms, reading, coverage=COVERAGE).high <= limit + ROUNDING)


def _halved(terms: Terms, most: Real, limit: float) -> Real:
    """Where some magnitude beyond the limit reads less than the limit itself: the highest reading that proves it, by halving."""
    proving, failing = np.zeros(most.shape), most.copy()
    none = ~_proves(terms, proving, limit)
    for _ in range(HALVINGS):
        middle = (proving + failing) / 2
        good = _proves(terms, middle, limit)
        proving, failing = np.where(good, middle, proving), np.where(good, failing, middle)
    return np.where(none, np.nan, proving)


def _least(draws: int) -> int:
    return max(1, int((1 - COVERAGE) / 2 * draws + 1e-6))


def _phases(terms: Terms, magnitude: float, steps: Real) -> list[Real]:
    """Phases to try of a magnitude, from the one that reads most."""
    means = terms.means()
    square = (means.square * magnitude**2 + means.constant) / (means.down_square * magnitude**2 + 1)
    start = means.most_phase(np.sqrt(square))
    return [start + step for step in steps]
