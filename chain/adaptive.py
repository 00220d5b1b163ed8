"""How many draws an interval needs, so that its ends are right to the number of digits wanted."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.intervals import DRAWS, SEED, belts_of, drawn_terms
from chain.simulate import CHUNK, Measurement
from chain.threads import in_order

__all__ = ["MOST_DRAWS", "draws_needed", "tolerance"]

Real = NDArray[np.float64]

MOST_DRAWS = 64_000
LEAST_CHUNKS = DRAWS // CHUNK
PLACES = 5
"""Frequencies at which two independent runs are compared."""


def tolerance(low: float, high: float, digits: int) -> float:
    """Numerical tolerance of an interval's ends.

    Parameters
    ----------
    low, high : ends of the interval, reflection magnitudes [-].
    digits : significant digits wanted of a quarter of its width, which stands for the standard uncertainty.

    Returns
    -------
    float, half a unit of the last digit [-].

    Examples
    --------
    >>> tolerance(0.2, 0.6, 2), tolerance(0.2, 0.6, 1)
    (0.005, 0.05)

    Source
    ------
    JCGM 101:2008, 7.9.2 (memory): u = c 10^l with c of the wanted digits, tolerance 10^l / 2.
    """
    spread = max((high - low) / 4, 1e-6)
    leading = int(np.floor(np.log10(spread) + 1e-12))
    return float(0.5 * 10.0 ** (leading - digits + 1))


def draws_needed(
    way: Measurement, observed: Real, complex_reading: bool = False, digits: int = 1, seed: int = SEED
) -> int:
    """Draws for which two independent runs agree within the tolerance, at up to five of the frequencies.

    Parameters
    ----------
    way : the measurement.
    observed : shape (frequencies,), statistic seen (see `chain.belt.statistic`) [-].
    complex_reading : whether readings have a phase.
    digits : significant digits wanted, 1 or 2.
    seed : seed of the first run; the second uses the next.

    Returns
    -------
    int, between 4,000 and 64,000, doubled until the runs agree.

    Examples
    --------
    >>> draws_needed(Measurement(np.array([1e8]), 75.0, 75.0, (), (), noise=0.02), np.array([0.5]))
    4000

    Source
    ------
    Adaptive procedure in the spirit of JCGM 101:2008, 7.9 (memory).
    """
    step = max(1, -(-way.freq_hz.size // PLACES))
    thin, seen = way.at(slice(0, None, step)), observed[::step]
    runs: list[list[NDArray[np.float32]]] = [[], []]
    chunks = LEAST_CHUNKS

    def ends_of(run: int) -> tuple[Real, Real]:
        runs[run].append(drawn_terms(thin, complex_reading, range(drawn, chunks), seed + run))
        return belts_of(np.concatenate(runs[run], axis=2))[0].interval(seen)

    drawn = 0
    while chunks * CHUNK < MOST_DRAWS:
        ends = np.stack([end for pair in in_order(ends_of, (0, 1)) for end in pair])
        settled = [
            max(abs(a - c), abs(b - d)) <= 2 * tolerance(a, b, digits)
            for a, b, c, d in ends.T
            if not np.isnan([a, b, c, d]).any()
        ]
        if all(settled):
            break
        drawn, chunks = chunks, 2 * chunks
    return chunks * CHUNK
