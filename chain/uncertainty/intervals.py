"""Coverage intervals over a sweep: belts for every frequency and every channel, from one run of simulated measurements."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.rf.bilinear import compose, inverse
from chain.uncertainty.confidence_belt import BINS, GRID, Belt, belt
from chain.uncertainty.measurement import BATCH, Measurement, nominal_maps, simulate
from chain.uncertainty.parallel import go_on, in_order, thread_count

__all__ = ["COVERAGE", "DRAWS", "SEED", "ReadingTable", "belts_of", "drawn_terms", "highest_proving", "table"]

Samples = NDArray[np.float32]
Progress = Callable[[float], None]

COVERAGE = 0.95
DRAWS = 4000
SEED = 20260
LONGEST_DELAY_S = 10e-9
"""Delay of an antenna's reflection over a channel, rectangular from zero: the antenna and a metre or two around it."""

BLOCK_BYTES = 24_000_000
"""Terms of the statistic that one thread holds at a time."""
BLOCKS_PER_THREAD = 3
LEAST_BLOCK = 8
TERMS = 7
TURNS = 4
"""Phases of the antenna, a quarter turn apart, in which each drawn measurement is read: as good as drawing four times."""
PER_CHUNK = TURNS * BATCH
PIECE = BATCH
LEAST_DOWN, ONE = np.float32(1e-12), np.float32(1)


@dataclass(frozen=True)
class ReadingTable:
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
    measurement: Measurement,
    complex_reading: bool = False,
    channels: Sequence[tuple[float, float]] = (),
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Progress | None = None,
) -> ReadingTable:
    """Simulate a measurement and make its belts."""
    batches = max(1, -(-draws // PER_CHUNK))
    turns = min(TURNS, max(1, -(-draws // BATCH)))
    count = measurement.freq_hz.size
    members = tuple(_members(measurement.freq_hz, low, high) for low, high in channels)
    largest = max(1, BLOCK_BYTES // (TERMS * 4 * batches * BATCH))
    block = min(largest, max(LEAST_BLOCK, -(-count // (BLOCKS_PER_THREAD * thread_count()))))
    starts = range(0, count, block)

    def run(start: int) -> tuple[Belt, dict[int, Samples]]:
        chosen = slice(start, min(start + block, count))
        terms = drawn_terms(measurement.at(chosen), complex_reading, range(batches), seed, start)
        return belts_of(terms, {n: _inside(span, chosen) for n, span in enumerate(members)}, turns)

    belts: list[Belt] = []
    worst: dict[int, Samples] = {}
    judged: dict[int, Belt] = {}
    for start, (made, maxima) in zip(starts, in_order(run, starts), strict=True):
        belts.append(made)
        for channel, values in maxima.items():
            worst[channel] = np.maximum(worst[channel], values) if channel in worst else values
            if members[channel].stop <= start + block:
                judged[channel] = belt(worst.pop(channel)[None], COVERAGE)
        if progress is not None:
            progress(len(belts) / len(starts))
    of_channels = _joined([judged[n] for n in range(len(members))]) if members else None
    return ReadingTable(
        measurement.freq_hz,
        complex_reading,
        _joined(belts),
        of_channels,
        members,
        COVERAGE,
        seed,
        batches * turns * BATCH,
    )


def _members(freq_hz: Real, low: float, high: float) -> slice:
    """Frequencies of the sweep inside a channel; the nearest one where none is."""
    first, last = int(np.searchsorted(freq_hz, low)), int(np.searchsorted(freq_hz, high, side="right"))
    if last > first:
        return slice(first, last)
    nearest = int(np.argmin(np.abs(freq_hz - (low + high) / 2)))
    return slice(nearest, nearest + 1)


def _inside(span: slice, chosen: slice) -> slice:
    """What of a channel lies in a block of frequencies, counted from the block's start."""
    return slice(max(span.start, chosen.start) - chosen.start, min(span.stop, chosen.stop) - chosen.start)


def belts_of(
    terms: Samples, members: dict[int, slice] | None = None, turns: int = TURNS
) -> tuple[Belt, dict[int, Samples]]:
    """Belts of drawn measurements."""
    worst: dict[int, Samples] = {}
    belts = []
    for place in range(terms.shape[1]):
        go_on()
        values = _magnitudes(terms[:, place], turns)
        belts.append(belt(values[None], COVERAGE))
        for channel, span in (members or {}).items():
            if span.start <= place < span.stop:
                worst[channel] = np.maximum(worst[channel], values) if channel in worst else values
    return _joined(belts), worst


def drawn_terms(measurement: Measurement, complex_reading: bool, batches: range, seed: int, first: int = 0) -> Samples:
    """What the statistic of every draw is made of: |(p G + q)/(r G + 1)|^2 is a ratio of two real quadratics in |G|."""
    undo = inverse(nominal_maps(measurement))
    out = np.empty((TERMS, measurement.freq_hz.size, len(batches) * BATCH), dtype=np.float32)
    for index, batch in enumerate(batches):
        go_on()
        maps = simulate(measurement, batch, seed, first)
        if complex_reading:
            maps = compose(undo, maps)
        turn = _antenna(measurement.freq_hz, batch, seed)
        p, r = maps.p * turn, maps.r * turn
        mixed = 2 * p * np.conj(maps.q)
        found = (_square(p), mixed.real, -mixed.imag, _square(maps.q), _square(r), 2 * r.real, -2 * r.imag)
        for part, term in zip(out, found, strict=True):
            part[:, index * BATCH : (index + 1) * BATCH] = term.T
    return out


def _square(value: NDArray[np.complex128]) -> Real:
    return np.asarray(value.real**2 + value.imag**2)


def _antenna(freq_hz: Real, batch: int, seed: int) -> NDArray[np.complex128]:
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, 0, batch])))
    start, delay = rng.random((2, BATCH, 1))
    return np.asarray(np.exp(2j * np.pi * (start - freq_hz * delay * LONGEST_DELAY_S)))


def _magnitudes(terms: Samples, turns: int) -> Samples:
    """|reading| for every magnitude of the grid, shape (grid, draws), a piece at a time that stays in the cache."""
    g = GRID.astype(np.float32)[:, None]
    out = np.empty((GRID.size, turns * terms.shape[1]), dtype=np.float32)
    for start in range(0, terms.shape[1], PIECE):
        square, near, near_on, constant, down_square, far, far_on = terms[:, start : start + PIECE]
        top_even, down_even = square * g * g + constant, down_square * g * g + ONE
        at, end = turns * start, turns * min(start + PIECE, terms.shape[1])
        # Half a turn on, the single terms change their sign.
        for single, down_single in ((near, far), (near_on, far_on)):
            top_odd, down_odd = single * g, down_single * g
            for step in (np.add, np.subtract):
                if at == end:
                    break
                top, down = step(top_even, top_odd), step(down_even, down_odd)
                np.maximum(top, 0, out=top)
                np.maximum(down, LEAST_DOWN, out=down)
                np.divide(top, down, out=top)
                np.sqrt(top, out=out[:, at : at + top.shape[1]])
                at += top.shape[1]
    return out


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

    Source: Pass where the upper end of the two-sided interval is at or below the limit.
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
