"""How many draws an interval needs, so that its ends are right to the number of digits wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.uncertainty.confidence_belt import Belt
from chain.uncertainty.intervals import PER_CHUNK, SEED, belts_of, drawn_terms
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.parallel import in_order

__all__ = ["Accuracy", "draws_needed", "tolerance"]


MOST_DRAWS = {1: 64_000, 2: 1_024_000}
MOST_DRAWN_POINTS = 20_000_000
"""Draws times frequencies that a second digit may cost: about ten seconds."""
PLACES = 5
"""Frequencies at which batches are compared."""
GROUPS = 4
BATCHES_APART = 1_000_000


@dataclass(frozen=True)
class Accuracy:
    """How many draws an interval takes and how well its ends are then known, as reflection magnitudes."""

    draws: int
    digits: int
    """Significant digits wanted of the uncertainty, a quarter of the interval's width."""
    end_tolerance: float
    """Half a unit of the last of them: how far off an end may be by the draws alone."""
    end_error: float
    """Two standard deviations of an end over runs of so many draws."""
    settled: bool
    """Every end keeps its tolerance; otherwise the most draws were reached."""


def tolerance(low: float, high: float, digits: int) -> float:
    """Numerical tolerance of an interval's ends.

    Source: JCGM 101:2008, 7.9.2 (memory): u = c 10^l with c of the wanted digits, tolerance 10^l / 2.
    """
    spread = max((high - low) / 4, 1e-6)
    leading = int(np.floor(np.log10(spread) + 1e-12))
    return float(0.5 * 10.0 ** (leading - digits + 1))


def draws_needed(
    measurement: Measurement,
    ends: Callable[[Belt, slice], tuple[Real, Real]],
    complex_reading: bool = False,
    digits: int = 1,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Accuracy:
    """Draws for which the ends, repeated, keep within the tolerance, judged at up to five of the frequencies.

    Source: JCGM 101:2008, 7.9.4 (memory): batches, and twice the standard deviation of what is wanted against the
    tolerance. An end from n times as many draws has a standard deviation smaller by the root of n.
    """
    places = slice(0, None, max(1, -(-measurement.freq_hz.size // PLACES)))
    thin = measurement.at(places)
    groups: list[list[NDArray[np.float32]]] = [[] for _ in range(GROUPS)]
    most = MOST_DRAWS[1] if digits == 1 else _affordable(measurement.freq_hz.size)
    drawn, batches = 0, 1

    def ends_of(group: int) -> tuple[Real, Real]:
        # Batch by batch the same draws again, and more of them: chunk numbers tell them apart.
        own = range(group * BATCHES_APART + drawn, group * BATCHES_APART + batches)
        groups[group].append(drawn_terms(thin, complex_reading, own, seed))
        return ends(belts_of(np.concatenate(groups[group], axis=2))[0], places)

    while True:
        if progress is not None:
            progress(0.0)
        found = _judged(np.array(list(in_order(ends_of, range(GROUPS)))), batches, digits, most)
        if found.settled or GROUPS * batches * PER_CHUNK >= most:
            return found
        drawn, batches = batches, GROUPS * batches


def _affordable(frequencies: int) -> int:
    return int(np.clip(MOST_DRAWN_POINTS // frequencies, MOST_DRAWS[1], MOST_DRAWS[2]))


def _judged(ends: Real, batches: int, digits: int, most: int) -> Accuracy:
    """Accuracy from the ends of batches of so many chunks, shape (batches, 2, places); NaN where one gives no interval.

    No more draws are proposed than the batches have together: beyond them one would guess, and larger batches are drawn.
    """
    known = ends[:, :, ~np.isnan(ends).any(axis=(0, 1))]
    if not known.size:
        return Accuracy(PER_CHUNK, digits, 0.0, 0.0, True)
    wanted = np.array([tolerance(low, high, digits) for low, high in known.mean(axis=0).T])
    variance = known.var(axis=0, ddof=1)
    # Pooled over the places, for the low and the high ends apart: the spread of four batches alone says little.
    short = 2 * float(np.sqrt((variance / wanted**2).mean(axis=1)).max())
    error = 2 * float(np.sqrt(variance.mean(axis=1)).max())
    needed = max(1, int(np.ceil(short**2 * batches)))
    taken = min(needed, GROUPS * batches, most // PER_CHUNK)
    error *= np.sqrt(batches / taken)
    return Accuracy(taken * PER_CHUNK, digits, float(wanted.max()), float(error), needed <= taken)
