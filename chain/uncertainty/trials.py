"""Monte Carlo of the recovered reflection over a sweep: quantiles of its magnitude, in blocks, with flat memory.

This is the spread that the unknowns give to what is recovered from one reading, in the sense of JCGM 101. It is not the coverage
interval of a magnitude, which quantiles do not give near 0 and 1 (see `chain.uncertainty.confidence_belt`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chain.uncertainty.intervals import COVERAGE, SEED
from chain.uncertainty.measurement import CHUNK, Measurement, simulate
from chain.uncertainty.monte_carlo import tolerance
from chain.uncertainty.parallel import go_on, in_order, thread_count

__all__ = ["MOST_DRAWS", "RecoveredQuantiles", "recovered_quantiles"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

BLOCK_FREQUENCIES = 64
BLOCK_BYTES = 32_000_000
"""Magnitudes that one thread holds: as many frequencies at once as fit, with every draw of each."""
BATCH = 10_000
MOST_DRAWS = 1_000_000
PLACES = 5
"""Frequencies at which the number of draws is settled."""
PHASES = 8


@dataclass(frozen=True)
class RecoveredQuantiles:
    """Quantiles of the recovered magnitude: `magnitude` has shape (probabilities, frequencies) and may pass 1."""

    freq_hz: Real
    probabilities: tuple[float, ...]
    magnitude: Real
    draws: int
    seed: int


def recovered_quantiles(
    way: Measurement,
    reading: Complex | Real,
    probabilities: Sequence[float] = ((1 - COVERAGE) / 2, 0.5, (1 + COVERAGE) / 2),
    draws: int | None = None,
    seed: int = SEED,
    digits: int = 1,
    progress: Callable[[float], None] | None = None,
) -> RecoveredQuantiles:
    """Quantiles of the reflection magnitude that drawn measurements recover from a reading.

    Source: JCGM 101:2008, 7 (memory): propagation of distributions; each drawn bilinear map inverted.
    """
    count = draws if draws is not None else _draws_needed(way, reading, probabilities, seed, digits)
    chunks = max(1, -(-count // CHUNK))
    blocks = _blocks(way.freq_hz.size, chunks * CHUNK, thread_count())
    out = np.empty((len(probabilities), way.freq_hz.size))

    def run(chosen: slice) -> slice:
        samples = _magnitudes(way.at(chosen), reading[chosen], (0, chunks), seed, chosen.start)
        out[:, chosen] = _quantiles(samples, probabilities)
        return chosen

    for chosen in in_order(run, blocks):
        if progress is not None:
            progress(chosen.stop / way.freq_hz.size)
    return RecoveredQuantiles(way.freq_hz, tuple(probabilities), out, chunks * CHUNK, seed)


def _blocks(frequencies: int, draws: int, threads: int) -> list[slice]:
    """Blocks of frequencies: as many for each thread, alike but for one frequency, none larger than fits."""
    largest = int(np.clip(BLOCK_BYTES // (4 * draws), 1, BLOCK_FREQUENCIES))
    rounds = -(-frequencies // (largest * threads))
    edges = np.linspace(0, frequencies, min(rounds * threads, frequencies) + 1).astype(int).tolist()
    return [slice(first, last) for first, last in pairwise(edges)]


def _magnitudes(
    way: Measurement, reading: Complex | Real, chunks: tuple[int, int], seed: int, first: int
) -> NDArray[np.float32]:
    """|recovered reflection| of every draw, shape (frequencies, draws)."""
    out = np.empty((way.freq_hz.size, (chunks[1] - chunks[0]) * CHUNK), dtype=np.float32)
    for index, chunk in enumerate(range(*chunks)):
        go_on()
        seen = reading
        if not np.iscomplexobj(reading):
            rng = np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, PHASES, chunk])))
            seen = reading * np.exp(2j * np.pi * rng.random((CHUNK, 1)))
        found = simulate(way, chunk, seed, first).recovered(np.asarray(seen, dtype=complex))
        out[:, index * CHUNK : (index + 1) * CHUNK] = np.abs(found).T
    return out


def _quantiles(samples: NDArray[np.float32], probabilities: Sequence[float]) -> Real:
    """Order statistics nearest to the quantiles, shape (probabilities, frequencies)."""
    draws = samples.shape[1]
    ranks = np.clip(np.round(np.asarray(probabilities) * draws - 0.5), 0, draws - 1).astype(int)
    return np.partition(samples, np.unique(ranks), axis=1)[:, ranks].T.astype(float)


def _draws_needed(
    way: Measurement, reading: Complex | Real, probabilities: Sequence[float], seed: int, digits: int
) -> int:
    """Draws after which batches agree: twice the standard deviation of their mean is within the tolerance of either end."""
    step = max(1, -(-way.freq_hz.size // PLACES))
    thin, seen = way.at(slice(0, None, step)), reading[::step]
    per_batch = BATCH // CHUNK
    ends: list[Real] = []
    while len(ends) * BATCH < MOST_DRAWS:
        chunks = (len(ends) * per_batch, (len(ends) + 1) * per_batch)
        samples = _magnitudes(thin, seen, chunks, seed, 0)
        ends.append(_quantiles(samples, (probabilities[0], probabilities[-1])))
        if len(ends) < 2:
            continue
        stack = np.stack(ends)
        wanted = np.array([tolerance(low, high, digits) for low, high in stack.mean(axis=0).T])
        if np.all(2 * stack.std(axis=0, ddof=1) / np.sqrt(len(ends)) <= wanted):
            break
    return len(ends) * BATCH
