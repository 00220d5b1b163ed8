"""What the screen may show of a true magnitude, and the highest reading that still proves a limit: the same tests, forwards."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from chain.uncertainty.intervals import COVERAGE, SEED, Progress, blocks, draw_count, drawn_terms, whole_batches
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.one_sided_tests import PHASES, Terms, invert

__all__ = ["proving_everywhere", "reading_range", "reading_ranges"]


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


def proving_everywhere(
    measurement: Measurement,
    limit: float,
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
) -> tuple[float, int]:
    """Highest reading that proves a limit at every frequency, and the frequency's place that needs it so low.

    NaN where some frequency has none.
    """
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> tuple[float, int]:
        value, place = _least_proving(drawn_terms(measurement, chosen, drawn, seed), limit)
        return value, chosen.start + place

    found = list(blocks(run, measurement.freq_hz.size, drawn, progress))
    return min(found, key=lambda each: -1.0 if np.isnan(each[0]) else each[0])


def _least_proving(terms: Terms, limit: float) -> tuple[float, int]:
    """The least over the places: found at the likeliest one, and then only where that reading does not prove the limit."""
    guess = _first_guess(terms, limit)
    place = int(guess.argmin())
    value = float(_settled(terms.rows(np.arange(guess.size) == place), guess[place : place + 1], limit)[0])
    if np.isnan(value):
        return value, place
    tried = np.full(guess.shape, value)
    short = invert(terms, tried, coverage=COVERAGE, above=limit).high > limit + ROUNDING
    short[place] = False
    if not short.any():
        return value, place
    lower = _settled(terms.rows(short), tried[short], limit)
    least = int(np.nan_to_num(lower, nan=-1.0).argmin())
    return float(lower[least]), int(np.flatnonzero(short)[least])


def _first_guess(terms: Terms, limit: float) -> Real:
    """No higher reading proves the limit: at most 2.5 % of the draws may show the limit at or below it, in any phase."""
    places, draws = terms.square.shape
    least = _least(draws)
    found = np.full(places, np.inf)
    for phase in _phases(terms, limit, STEPS):
        shown = terms.shown(limit, phase)
        for row in np.flatnonzero(np.count_nonzero(shown < found.astype(np.float32)[:, None], axis=1) >= least):
            found[row] = np.partition(shown[row], least - 1)[least - 1]
    # A reading within float32 of the edge must not be told as proving.
    return np.maximum(found - ROUNDING, 0)


def _settled(terms: Terms, found: Real, limit: float) -> Real:
    """Guesses where no magnitude beyond the limit is accepted either, else what is; NaN where nothing is."""
    found = found.copy()
    ends = _upper_end(terms, found)
    short = ends > limit + ROUNDING
    if short.any():
        found[short] = _narrowed(terms.rows(short), found[short], ends[short], limit)
    return found


def _upper_end(terms: Terms, reading: Real) -> Real:
    return invert(terms, reading, coverage=COVERAGE, above=-1.0).high


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
        # Regula falsi creeps where the curve is bent; each step takes a sixteenth of what is open at least.
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
