"""What the screen may show of a true magnitude, and the highest reading that still proves a limit: the same tests, forwards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real, distinct
from chain.results import COVERAGE, SEED
from chain.uncertainty.intervals import (
    BLOCK,
    MOST_DRAWN_POINTS,
    Progress,
    blocks,
    draw_count,
    drawn_terms,
    whole_batches,
)
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.one_sided_tests import PHASES, MeanTerms, Terms, invert
from chain.uncertainty.order_statistics import count, largest, smallest
from library.frozen import dataclass

STEPS = np.arange(PHASES) * 2 * np.pi / PHASES
QUARTERS = STEPS[::4]
ROUNDING = 1e-6
NARROW = 1e-5
"""Readings this close to one another are one, as a magnitude."""
MOST_STEPS = 40
PILOT = 1000
"""The first of the trials, which show what phases and places may set an end; four times as many must follow."""
MOST_LIKELY = 8
MOST_PLACES = 12
PARTS = 2
FAR_BEYOND = 1.15
"""Times the limit that a few thousand trials do not miss an end by."""


def reading_ranges(
    measurement: Measurement,
    magnitudes: Real,
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
    only: slice | None = None,
) -> tuple[Real, Real]:
    """Lowest and highest reading that true magnitudes are accepted for, shape (magnitudes, frequencies).

    The 2.5 % quantile at the phase that reads least, the 97.5 % quantile at the one that reads most. `only` some of the
    frequencies, with what is drawn for them among all.
    """
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> tuple[Real, Real]:
        return _ranges(drawn_terms(measurement, chosen, drawn, seed), magnitudes)

    if only is not None:
        return run(only)
    parts = list(blocks(run, measurement.freq_hz.size, drawn, progress))
    low, high = (np.concatenate(each, axis=1) for each in zip(*parts, strict=True))
    return low, high


def reading_grid(
    measurement: Measurement,
    magnitudes: Real,
    exact: NDArray[np.bool_],
    places: NDArray[np.intp],
    draws: int,
    seed: int = SEED,
    progress: Progress | None = None,
) -> tuple[Real, Real]:
    """`reading_ranges` at some places for magnitudes in order, of which only the exact ones take all the trials.

    The others take the first quarter of them (1,000 at least) and the two phases that mostly set the ends, and are moved by
    what all of them move the exact ones on either side by.
    """
    drawn = whole_batches(draws)
    known = magnitudes[exact]
    between = np.stack([np.interp(magnitudes, known, row) for row in np.eye(known.size)], axis=1)

    def run(part: slice) -> tuple[Real, Real]:
        terms = drawn_terms(measurement, places[part], drawn, seed)
        few = terms.first(max(PILOT, drawn // 4))
        pairs = zip(_ranges(few, magnitudes, QUARTERS[:1]), _ranges(terms, known), strict=True)
        low, high = (rough + between @ (full - rough[exact]) for rough, full in pairs)
        return np.maximum(low, 0), high

    parts = list(blocks(run, places.size, drawn, progress))
    low, high = (np.concatenate(each, axis=1) for each in zip(*parts, strict=True))
    return low, high


def proving_everywhere(
    measurement: Measurement, limit: float, draws: int | None = None, seed: int = SEED, roughly: bool = False
) -> tuple[float, int]:
    """Highest reading that proves a limit at every frequency, and the frequency's place that needs it so low.

    NaN where some frequency has none. `roughly` leaves it at the reading that no higher one proves the limit, mostly the same.
    """
    points = measurement.freq_hz.size
    drawn = whole_batches(draws or draw_count(points))
    return _over_places(measurement, limit, np.arange(points), drawn, seed, roughly)[1]


def hardest_places(
    measurement: Measurement, limit: float, draws: int | None = None, seed: int = SEED, progress: Progress | None = None
) -> tuple[int, tuple[float, int]]:
    """Where the readings of the limit range widest, and the highest reading that proves it everywhere, with the place of that.

    Of a sweep the first of the trials show which places may be either; only those are drawn in full.
    """
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))
    report = progress or (lambda _: None)
    places = _likely_places(measurement, limit, drawn, seed, lambda done: report(done / 2))
    width, proof = _over_places(measurement, limit, places, drawn, seed, False, lambda done: report((1 + done) / 2))
    return int(places[width.argmax()]), proof


def proving_by_more_trials(measurement: Measurement, limit: float, seed: int = SEED) -> tuple[float, int]:
    """Highest reading that proves a limit, and its place, where the trials of a sweep showed none; NaN where none does.

    With the trials of a single reading, at the few places where a perfect reading proves least: an end that is set by few
    trials scatters by some percent, and what a reading by itself proves would be denied.
    """
    few = int(np.clip(MOST_DRAWN_POINTS // measurement.freq_hz.size, PILOT, 4 * PILOT))

    def run(chosen: slice) -> Real:
        return _upper_end(drawn_terms(measurement, chosen, few, seed), np.zeros(measurement.freq_hz[chosen].size))

    ends = np.concatenate(list(blocks(run, measurement.freq_hz.size, few)))
    if ends.max() > FAR_BEYOND * limit:
        return float("nan"), int(ends.argmax())
    places = np.sort(np.argsort(-ends)[:MOST_LIKELY])
    return _over_places(measurement, limit, places, draw_count(1), seed, False)[1]


@dataclass(frozen=True)
class _ProofSearch:
    """A reading that proves the limit at some places, and the place that needs it so low.

    `unsettled` are the drawn terms of that place where no more is known than that no higher reading proves it there.
    """

    reading: float
    place: int
    unsettled: Terms | None = None


def _over_places(
    measurement: Measurement,
    limit: float,
    places: NDArray[np.intp],
    draws: int,
    seed: int,
    roughly: bool,
    progress: Progress | None = None,
) -> tuple[Real, tuple[float, int]]:
    """Width of the range of readings at each place, and the reading that proves the limit at all of them with its place."""
    # Blocks that memory holds, and enough of them that every processor has work.
    size = max(1, min(BLOCK // draws, -(-places.size // PARTS)))

    def run(part: slice) -> tuple[Real, _ProofSearch]:
        chosen = places[part]
        terms = drawn_terms(measurement, chosen, draws, seed)
        low, high = reading_range(terms, limit)
        made = _least_proving(terms, limit)
        return high - low, replace(made, place=int(chosen[made.place]))

    parts = list(blocks(run, places.size, BLOCK // size, progress))
    least = min((made for _, made in parts), key=lambda each: np.nan_to_num(each.reading, nan=-1.0))
    reading = least.reading
    if least.unsettled is not None and not roughly:
        reading = float(_settled(least.unsettled, np.array([reading]), limit)[0])
    return np.concatenate([width for width, _ in parts]), (reading, least.place)


def _likely_places(
    measurement: Measurement, limit: float, draws: int, seed: int, progress: Progress
) -> NDArray[np.intp]:
    """Places that may range widest, or need the lowest reading, by the first of the trials; all where there are few."""
    points = measurement.freq_hz.size
    # A pilot pays where it leaves most of the work out.
    if points <= 2 * MOST_PLACES or draws < 4 * PILOT:
        return np.arange(points)

    def run(chosen: slice) -> tuple[Real, Real, NDArray[np.bool_]]:
        # The first of the very trials that follow, so that what they rank high the full trials mostly do.
        terms = drawn_terms(measurement, chosen, PILOT, seed)
        low, high = reading_range(terms, limit)
        guess = _first_guess(terms, limit)
        return high - low, guess, _ends(terms, np.full(guess.shape, guess.min()), limit) > limit

    width, guess, further = (
        np.concatenate(each) for each in zip(*blocks(run, points, 4 * PILOT, progress), strict=True)
    )
    if further.any():
        # Where a larger magnitude may read less than the limit itself, one place shows nothing of another.
        return np.arange(points)
    return distinct(np.concatenate([np.argsort(-width)[:MOST_PLACES], np.argsort(guess)[:MOST_PLACES]]))


def _ranges(terms: Terms, magnitudes: Real, steps: Real = QUARTERS[:2]) -> tuple[Real, Real]:
    low, high = np.empty((2, len(magnitudes), len(terms.square)))
    means = terms.means()
    for row, each in enumerate(magnitudes):
        low[row], high[row] = reading_range(terms, float(each), means, steps)
    return low, high


def reading_range(
    terms: Terms, magnitude: float, means: MeanTerms | None = None, steps: Real = QUARTERS[:2]
) -> tuple[Real, Real]:
    """Lowest and highest reading of one true magnitude at each place of drawn measurements, whose means may be given.

    Tried are the phase that reads most, others by `steps` from it, and half a turn on from each.
    """
    least = _least(terms.square.shape[1])
    # No reflection has no phase: one stands for all.
    phases = _phases(means or terms.means(), magnitude, steps if magnitude else QUARTERS[:1])
    squares = terms.squares(magnitude, phases)
    most, nearest = next(squares), next(squares)
    # The first reads most and the one half a turn on least: the others can seldom move an end, which counting alone shows.
    low, high = smallest(nearest, least), largest(most, least)
    for shown in (most, nearest, *squares):
        lower = shown is not nearest and count(shown < low[:, None]) >= least
        if np.any(lower):
            low[lower] = smallest(shown[lower], least, low[lower])
        higher = shown is not most and count(shown > high[:, None]) >= least
        if np.any(higher):
            high[higher] = largest(shown[higher], least, high[higher])
    return np.sqrt(np.maximum(low, 0)).astype(float), np.sqrt(np.maximum(high, 0)).astype(float)


def _least_proving(terms: Terms, limit: float) -> _ProofSearch:
    """The least over the places: found at the likeliest ones, and then only where that reading does not prove the limit."""
    likely = _likely(terms, limit)
    chosen = terms.rows(likely)
    guess = _first_guess(chosen, limit)
    one = np.arange(guess.size) == guess.argmin()
    value, place = float(guess[one][0]), int(np.flatnonzero(likely)[one][0])
    few = terms.first(PILOT)
    if few is not terms and not (_ends(few, np.full(likely.shape, value), limit) > limit).any():
        return _ProofSearch(value, place, chosen.rows(one))
    # What proves the limit at the hardest place is tried at all others at once; only where it fails is anything searched again.
    value = float(_settled(chosen.rows(one), guess[one], limit)[0])
    if np.isnan(value):
        return _ProofSearch(value, place)
    tried = np.full(likely.shape, value)
    short = invert(terms, tried, coverage=COVERAGE, above=limit, errors=False).high > limit + ROUNDING
    short[place] = False
    if not short.any():
        return _ProofSearch(value, place)
    lower = _settled(terms.rows(short), tried[short], limit)
    least = int(np.nan_to_num(lower, nan=-1.0).argmin())
    return _ProofSearch(float(lower[least]), int(np.flatnonzero(short)[least]))


def _ends(few: Terms, reading: Real, limit: float) -> Real:
    """Where the interval of a reading ends at the least, at or beyond the limit, as far as few trials show."""
    ends = invert(few, reading, coverage=COVERAGE, above=limit)
    return np.asarray(ends.high - ends.high_error)


def _likely(terms: Terms, limit: float) -> NDArray[np.bool_]:
    """The few places that read least at the limit, each in the phase that reads least by the first of the trials."""
    places, draws = terms.square.shape
    few = terms.first(PILOT)
    if few is terms or places <= MOST_LIKELY:
        return np.ones(places, dtype=bool)
    phases = _phases(terms.means(), limit, STEPS[: PHASES // 2])
    least = _least(PILOT)
    found = [smallest(square, least) for square in few.squares(limit, phases)]
    every = np.stack([phases, phases + np.pi], axis=1).reshape(-1, places)
    shown = terms.shown(limit, every[np.argmin(found, axis=0), np.arange(places)])
    least = _least(draws)
    guess = smallest(shown, least)
    return np.asarray(guess <= np.partition(guess, MOST_LIKELY - 1)[MOST_LIKELY - 1])


def _first_guess(terms: Terms, limit: float) -> Real:
    """No higher reading proves the limit: at most 2.5 % of the trials may show the limit at or below it, in any phase."""
    least = _least(terms.square.shape[1])
    means = terms.means()
    shown = terms.shown(limit, _most_phase(means, limit) + np.pi)
    # Laid as the interval of such a reading lays them: between two of sixteen phases the least may lie lower by a thousandth.
    start = means.most_phase(smallest(shown, least).astype(float))
    found = np.full(start.shape, np.inf, dtype=np.float32)
    for square in terms.squares(limit, start + np.pi + STEPS[: PHASES // 2, None]):
        rows = count(square < found[:, None]) >= least
        if rows.any():
            # The first phase has no end to start from.
            found[rows] = smallest(square[rows], least, found[rows] if np.isfinite(found).all() else None)
    found = np.sqrt(np.maximum(found, 0))
    # A reading within float32 of the edge must not be reported as proving.
    return np.maximum(found.astype(float) - ROUNDING, 0)


def _settled(terms: Terms, found: Real, limit: float) -> Real:
    """Guesses where no magnitude beyond the limit is accepted either, else what is; NaN where nothing is."""
    found = found.copy()
    ends = _upper_end(terms, found)
    short = ends > limit + ROUNDING
    if short.any():
        found[short] = _narrowed(terms.rows(short), found[short], ends[short], limit)
    return found


def _upper_end(terms: Terms, reading: Real) -> Real:
    return invert(terms, reading, coverage=COVERAGE, above=-1.0, errors=False).high


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
        # Of a limit of no reflection at all a step is no share: it goes down to a reading of nothing at once.
        share = failing / max(limit, ROUNDING)
        step = np.where(known, (failing - proving) * over / (over - below), reach * over * share + NARROW)
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


def _phases(means: MeanTerms, magnitude: float, steps: Real) -> Real:
    """Phases to try of a magnitude, from the one that reads most."""
    return np.asarray(_most_phase(means, magnitude) + steps[:, None])


def _most_phase(means: MeanTerms, magnitude: float) -> Real:
    """Phase that reads most of a magnitude, by what the trials show of it in the mean over all phases."""
    square = (means.square * magnitude**2 + means.constant) / (means.down_square * magnitude**2 + 1)
    return means.most_phase(np.sqrt(square))
