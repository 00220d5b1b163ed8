"""Coverage intervals over a sweep: belts for every frequency and every channel, from one run of simulated measurements."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.belt import BINS, GRID, Belt, belt
from chain.maps import Maps, compose, inverse
from chain.simulate import CHUNK, Measurement, nominal_maps, simulate

__all__ = ["COVERAGE", "DRAWS", "SEED", "Table", "highest_proving", "table"]

Real = NDArray[np.float64]
Progress = Callable[[float], None]

COVERAGE = 0.95
DRAWS = 4000
SEED = 20260
LONGEST_DELAY_S = 10e-9
"""Delay of an antenna's reflection over a channel, rectangular from zero: the antenna and a metre or two around it."""

BLOCK_BYTES = 24_000_000


@dataclass(frozen=True)
class Table:
    """Belts of a measurement: one per frequency, and one per channel for the worst point inside it."""

    freq_hz: Real
    complex_reading: bool
    points: Belt
    channels: Belt | None
    members: tuple[slice, ...]
    """Frequencies that belong to each channel."""
    coverage: float
    seed: int
    draws: int


def table(
    way: Measurement,
    complex_reading: bool = False,
    channels: Sequence[tuple[float, float]] = (),
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Progress | None = None,
) -> Table:
    """Simulate a measurement and make its belts.

    Parameters
    ----------
    way : the measurement.
    complex_reading : whether readings have a phase.
    channels : (lower, upper) edges of the channels to judge by their worst point [Hz].
    draws : simulated measurements for each true magnitude, rounded up to whole chunks.
    seed : seed of the run; the same seed gives the same table.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Table.

    Examples
    --------
    >>> way = Measurement(np.array([1e8]), 75.0, 75.0, (), (), noise=0.02)
    >>> low, high = table(way, seed=1).points.interval(np.array([0.5]))
    >>> bool(abs(low[0] - 0.461) < 0.01), bool(abs(high[0] - 0.539) < 0.01)
    (True, True)

    Source
    ------
    `chain.belt`; antenna's phase uniform, turning over a channel by a delay of up to 10 ns.
    """
    chunks = max(1, -(-draws // CHUNK))
    count = way.freq_hz.size
    members = tuple(_members(way.freq_hz, low, high) for low, high in channels)
    block = max(1, BLOCK_BYTES // (GRID.size * chunks * CHUNK * 4))
    starts = list(range(0, count, block))
    done = 0

    def run(start: int) -> tuple[Belt, dict[int, NDArray[np.float32]]]:
        chosen = slice(start, min(start + block, count))
        samples = _samples(way.at(chosen), complex_reading, chunks, seed, start)
        worst: dict[int, NDArray[np.float32]] = {}
        for channel, span in enumerate(members):
            inside = slice(max(span.start, chosen.start) - start, min(span.stop, chosen.stop) - start)
            if inside.stop > inside.start:
                worst[channel] = samples[inside].max(axis=0)
        return belt(samples, COVERAGE), worst

    belts: list[Belt] = []
    worst: dict[int, NDArray[np.float32]] = {}
    with ThreadPoolExecutor(max_workers=min(4, os.cpu_count() or 1)) as pool:
        for made, maxima in pool.map(run, starts):
            belts.append(made)
            for channel, values in maxima.items():
                worst[channel] = np.maximum(worst[channel], values) if channel in worst else values
            done += 1
            if progress is not None:
                progress(done / len(starts))
    judged = belt(np.stack([worst[index] for index in range(len(members))]), COVERAGE) if members else None
    return Table(way.freq_hz, complex_reading, _joined(belts), judged, members, COVERAGE, seed, chunks * CHUNK)


def _members(freq_hz: Real, low: float, high: float) -> slice:
    """Frequencies of the sweep inside a channel; the nearest one where none is."""
    first, last = int(np.searchsorted(freq_hz, low)), int(np.searchsorted(freq_hz, high, side="right"))
    if last > first:
        return slice(first, last)
    nearest = int(np.argmin(np.abs(freq_hz - (low + high) / 2)))
    return slice(nearest, nearest + 1)


def _samples(
    way: Measurement, complex_reading: bool, chunks: int, seed: int, first: int
) -> NDArray[np.float32]:
    """Statistic of every draw for every true magnitude, shape (frequencies, grid, draws)."""
    known = nominal_maps(way)
    out = np.empty((way.freq_hz.size, GRID.size, chunks * CHUNK), dtype=np.float32)
    for chunk in range(chunks):
        maps = simulate(way, chunk, seed, first)
        if complex_reading:
            maps = compose(inverse(known), maps)
        turn = _antenna(way.freq_hz, chunk, seed)
        out[:, :, chunk * CHUNK : (chunk + 1) * CHUNK] = _magnitudes(maps, turn)
    return out


def _antenna(freq_hz: Real, chunk: int, seed: int) -> NDArray[np.complex128]:
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, 0, chunk])))
    start, delay = rng.random((2, CHUNK, 1))
    return np.asarray(np.exp(2j * np.pi * (start - freq_hz * delay * LONGEST_DELAY_S)))


def _magnitudes(maps: Maps, turn: NDArray[np.complex128]) -> NDArray[np.float32]:
    """|reading| for every magnitude of the grid: a ratio of two real quadratics in g, shape (frequencies, grid, draws)."""
    p, r = maps.p * turn, maps.r * turn
    terms = (np.abs(p) ** 2, 2 * (p * np.conj(maps.q)).real, np.abs(maps.q) ** 2, np.abs(r) ** 2, 2 * r.real)
    a, b, c, d, e = (term.T.astype(np.float32)[:, None, :] for term in terms)
    g = GRID.astype(np.float32)[None, :, None]
    top = (a * g + b) * g + c
    down = (d * g + e) * g + 1
    return np.asarray(np.sqrt(np.maximum(top, 0) / np.maximum(down, 1e-12)), dtype=np.float32)


def _joined(belts: Sequence[Belt]) -> Belt:
    return Belt(
        np.concatenate([made.edge for made in belts]),
        np.concatenate([made.score for made in belts]),
        np.concatenate([made.least for made in belts]),
        np.concatenate([made.first for made in belts]),
        np.concatenate([made.last for made in belts]),
        COVERAGE,
    )


def highest_proving(points: Belt, limit: float) -> Real:
    """Highest statistic whose interval ends at or below a limit, with every lower one proving it too, at each place.

    Parameters
    ----------
    points : belts.
    limit : largest true reflection magnitude wanted [-].

    Returns
    -------
    shape (places,); NaN where no reading proves the limit [-].

    Examples
    --------
    >>> way = Measurement(np.array([1e8]), 75.0, 75.0, (), (), noise=0.02)
    >>> bool(0.26 < highest_proving(table(way, seed=1).points, 1 / 3)[0] < 1 / 3)
    True

    Source
    ------
    Pass where the upper end of the two-sided interval is at or below the limit.
    """
    shares = (np.arange(BINS) + 0.5) / BINS
    proves = np.ones(points.edge.size, dtype=bool)
    found = np.full(points.edge.size, np.nan)
    for share in shares:
        observed = points.edge * share
        high = points.interval(observed)[1]
        # A statistic that no magnitude gives says nothing about the limit either way.
        impossible = np.isnan(high)
        proves &= impossible | (high <= limit)
        found = np.where(proves & ~impossible, observed, found)
    return found
