"""A sweep judged as one question: is its worst point worse than the limit? A max-T test over jointly drawn sweeps.

With the antenna just at the limit at every frequency, whole sweeps are drawn: errors common to all of it, noise new at
every point. What the largest deviation of such a sweep, in units of each point's own spread, exceeds in 2.5 % of the trials
is the edge. A denser sweep has more points and a higher edge, so it fails no more often.

Source: "Resampling-Based Multiple Testing", Wiley 1993 (memory): single-step maxT.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real, quantiles
from chain.results import COVERAGE, SEED
from chain.rf.twoport import Maps
from chain.uncertainty.intervals import (
    Kept,
    Observation,
    Progress,
    SweepTest,
    blocks,
    drawn_terms,
    rounded,
    whole_batches,
)
from chain.uncertainty.measurement import Measurement, nominal_maps
from chain.uncertainty.one_sided_tests import AROUND
from chain.uncertainty.streams import BATCH
from library.frozen import dataclass

Floats = NDArray[np.float32]

DRAWS, DRAWS_OF_LONG, LONG = 8_000, 4_000, 1_000
STANDING = np.arange(6) * 2 * np.pi / 12
"""Phases of an antenna at the limit, where none was read; each of them half a turn on as well."""
SCALING = 2_000
"""The first of the trials, which show each point's median and scale: any scale makes a valid test, a fair one a sharp test."""
PART = 500
TURN_S = 20e-9
"""Delay with which the same phases turn over the sweep as well: the antenna behind a few metres of its own lead."""
QUARTERS = np.arange(4)[:, None] * np.pi / 2
UPPER = int((1 + COVERAGE) / 2 * BATCH)
LOST = 0.8
"""Upper spread of the statistic, over the limit, from which on one recovered phase in twenty is off by 45 degrees or more."""
LEAST_SCALE = 1e-7
ROUNDING = 1e-6


@dataclass(frozen=True)
class _SweepBlock:
    """Median and scale of the statistic, shape (courses, frequencies), and the largest deviation of each trial, all and by group."""

    median: Real
    scale: Real
    largest: Floats
    by_group: dict[int, Floats]


def judged_sweep(
    measurement: Measurement,
    seen: Observation,
    limit: float,
    groups: Sequence[slice] = (),
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
    kept: Kept | None = None,
) -> SweepTest:
    """Test what was observed over a sweep against an antenna that is at the limit at every frequency."""
    count = measurement.freq_hz.size
    drawn = whole_batches(draws or (DRAWS if count <= LONG else DRAWS_OF_LONG))
    courses = _courses(measurement, seen, limit, seed)
    opposite = seen.phase_rad is None
    lift = _between(measurement, limit, courses) if opposite else np.zeros(count)

    def run(chosen: slice) -> _SweepBlock:
        here = seen.at(chosen)
        terms = kept.take(chosen, drawn) if kept is not None else None
        if terms is None:
            terms = drawn_terms(measurement, chosen, drawn, seed, here)
        inside = {
            number: slice(max(span.start - chosen.start, 0), span.stop - chosen.start)
            for number, span in enumerate(groups)
            if span.start < chosen.stop and span.stop > chosen.start
        }
        return _drawn_block(
            terms.squares(limit, courses[:, chosen], opposite), rounded(here, drawn, seed, chosen.start), inside
        )

    parts: list[tuple[Real, Real]] = []
    by_group: dict[int, Floats] = {}
    largest = np.full((len(courses) * (2 if opposite else 1), drawn), -np.inf, dtype=np.float32)
    for made in blocks(run, count, drawn, progress):
        parts.append((made.median, made.scale))
        # A trial is the same chain in every block, so its largest deviation is taken over all of them.
        np.maximum(largest, made.largest, out=largest)
        for number, found in made.by_group.items():
            by_group[number] = np.maximum(by_group[number], found) if number in by_group else found
    median, scale = (np.concatenate(each, axis=1) for each in zip(*parts, strict=True))
    shown = (seen.size - lift - median) / scale
    # One side only: a sweep fails by what reads too much, at a risk of 2.5 %.
    threshold = quantiles(largest.T, (1 + COVERAGE) / 2)
    return SweepTest(
        # How the antenna's phase runs over the sweep is not known, so the highest edge of all courses counts.
        (median + threshold[:, None] * scale).max(axis=0) + lift + ROUNDING,
        _chance(largest, shown),
        tuple(_chance(by_group[number], shown[:, span]) for number, span in enumerate(groups)),
        drawn,
    )


def _chance(largest: Floats, shown: Real) -> float:
    return float(np.mean(largest >= shown.max(axis=1)[:, None], axis=1).max())


def _courses(measurement: Measurement, seen: Observation, limit: float, seed: int) -> Real:
    """Phases of the antenna over the sweep, shape (courses, frequencies); those that none was read for stand for their opposites too."""
    turning = STANDING[:, None] - 2 * np.pi * TURN_S * measurement.freq_hz
    if seen.phase_rad is None:
        return np.concatenate([np.broadcast_to(STANDING[:, None], turning.shape), turning])
    recovered = np.asarray(seen.phase_rad + AROUND[:, None])
    if not _is_lost(measurement, seen, limit, seed):
        return recovered
    # Of errors as large as the limit each point has its own, and the antenna's one course is not among them. Of what is
    # recovered the size hardly turns on the phase: quarter turns are enough.
    return np.concatenate([recovered, np.broadcast_to(QUARTERS, (4, recovered.shape[1]))])


def _between(measurement: Measurement, limit: float, courses: Real) -> Real:
    """By how much an antenna at the limit can show more, without any error, at a phase that lies between those tried.

    Behind a known mismatch the reading swings with the phase; where the errors are smaller than what the steps miss of that
    swing, the edge would lie below what a sound antenna shows.
    """
    known = nominal_maps(measurement)
    tried = np.asarray(limit * np.exp(1j * np.concatenate([courses, courses + np.pi])), dtype=complex)
    most = Maps(known.p * limit, known.q, known.r * limit).ceiling()[0]
    return np.asarray(np.maximum(most - np.abs(known.reading(tried)).max(axis=0), 0))


def _is_lost(measurement: Measurement, seen: Observation, limit: float, seed: int) -> bool:
    """Whether, of an antenna at the limit, recovered phases say next to nothing, by a batch at either end and in the middle."""
    assert seen.phase_rad is not None
    count = measurement.freq_hz.size
    for at in {0, count // 2, count - 1}:
        here = slice(at, at + 1)
        shown = drawn_terms(measurement, here, BATCH, seed, seen.at(here)).shown(limit, seen.phase_rad[here])[0]
        middle, upper = np.partition(shown, (BATCH // 2, UPPER))[[BATCH // 2, UPPER]]
        if upper - middle > LOST * limit:
            return True
    return False


def _quantiles(shown: Floats) -> tuple[Floats, Floats]:
    """Median and upper end of the coverage at each frequency: means of those of parts of the trials."""
    # numpy sorts up to 512 numbers in a fraction of the time that it takes to part 2,000 at two places.
    ordered = np.sort(shown.reshape(len(shown), -1, PART), axis=2)
    return ordered[:, :, PART // 2].mean(axis=1), ordered[:, :, int((1 + COVERAGE) / 2 * PART)].mean(axis=1)


def _drawn_block(squares: Iterator[Floats], rounding: Floats | None, inside: dict[int, slice]) -> _SweepBlock:
    """Deviations of drawn sweeps in one block of frequencies, from the squares of the statistic for each course."""
    medians, scales, largest = [], [], []
    by_group: dict[int, list[Floats]] = {number: [] for number in inside}
    for square in squares:
        shown = np.sqrt(np.maximum(square, 0, out=square), out=square)
        if rounding is not None:
            shown -= rounding
        middle, upper = _quantiles(shown[:, :SCALING])
        # The upper half alone: near a known mismatch magnitudes are lopsided, and only what lies above counts.
        scale = np.maximum(upper - middle, LEAST_SCALE)
        shown -= middle[:, None]
        shown /= scale[:, None]
        medians.append(middle)
        scales.append(scale)
        largest.append(shown.max(axis=0))
        for number, span in inside.items():
            by_group[number].append(shown[span].max(axis=0))
    groups = {number: np.stack(each) for number, each in by_group.items()}
    return _SweepBlock(np.array(medians, dtype=float), np.array(scales, dtype=float), np.stack(largest), groups)
