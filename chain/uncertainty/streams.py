"""Random numbers of a measurement: a stream of their own for each unknown and batch, drawn once and then handed out again.

The numbers of an unknown do not depend on the frequency, on what else is unknown, or on how the work is divided. So blocks of
frequencies, a set-up with one part exchanged, and one with an unknown taken away all ask for the same ones. Noise is new at every
frequency: its stream is entered at the frequency's place, and nothing of it is kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from threading import Lock
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real

BATCH = 1000
STREAMS = {
    "noise": 1,
    "drift": 2,
    "near mating": 3,
    "plane mating": 4,
    "standards": 5,
    "flex": 6,
    "swap": 7,
    "rounding": 8,
    "elements": 100,
}
MOST_KEPT = 1024
"""Streams of one batch whose numbers are kept, some 40 kB each."""
STEP = np.float32(2.0**-24)


class RandomSource(Protocol):
    """What trials are made from: a generator of numpy, or one that has been drawn from before."""

    def random(self, shape: tuple[int, ...]) -> Real:
        """Uniform numbers from 0 to 1."""

    def uniform(self, low: float, high: float, shape: tuple[int, ...]) -> Real:
        """Uniform numbers between two."""


class RoughPhases(np.random.Generator):
    """A generator from which unknown phases come with 24 bits, in full precision otherwise."""


def unit_reflections(rng: RandomSource, count: int, shape: str) -> Complex:
    """Complex numbers of unknown phase: uniform in the unit disc, on its rim (ring), or of uniform radius.

    Source: Radius sqrt(u), 1 or u; standard deviation on each axis 1/2, 1/sqrt 2, 1/sqrt 6.
    """
    if isinstance(rng, RowSource | _KeptBatch):
        return rng.unit(count, shape)
    turns = rng.random((count, 1))
    radius = None if shape == "ring" else rng.random((count, 1))
    return _unit(turns, radius, shape, rough=isinstance(rng, RoughPhases))


def _unit(turns: Real, radius: Real | None, shape: str, single: bool = False, rough: bool = False) -> Complex:
    # Sines and cosines in half the precision take a tenth of the time.
    angle = halved(2 * np.pi * turns, single or rough)
    out = np.empty(angle.shape, dtype=np.complex64 if single else complex)
    np.cos(angle, out=out.real)
    np.sin(angle, out=out.imag)
    if radius is not None:
        # Area grows with the square of the radius: its root makes the disc even.
        out *= halved(radius if shape == "uniform-radius" else np.sqrt(radius), single)
    return out


class _Batch:
    """What one stream gives in one batch, in the order in which it is asked for."""

    def __init__(self, words: tuple[int, ...]) -> None:
        self._rng = _generator(words)
        self._lock = Lock()
        self._uniform: list[Real] = []
        self._units: dict[tuple[int, str, bool], Complex] = {}

    def uniform(self, place: int) -> Real:
        """Uniform numbers from 0 to 1: those asked for first, second and so on."""
        if len(self._uniform) <= place:
            # Numbers come in the order of the stream, whichever thread asks first.
            with self._lock:
                while len(self._uniform) <= place:
                    self._uniform.append(self._rng.random((BATCH, 1)))
        return self._uniform[place]

    def unit(self, place: int, shape: str, single: bool) -> Complex:
        """`unit_reflections` of the uniform numbers from a place on."""
        key = place, shape, single
        if key not in self._units:
            radius = None if shape == "ring" else self.uniform(place + 1)
            self._units[key] = _unit(self.uniform(place), radius, shape, single)
        return self._units[key]


class _KeptBatch:
    """The numbers of a stream in several batches, one batch after the other, from the first one on."""

    def __init__(self, batches: Sequence[_Batch]) -> None:
        self._batches = batches
        self._place = 0

    def random(self, shape: tuple[int, ...]) -> Real:
        """As of a generator; one number for each trial."""
        assert shape == (BATCH * len(self._batches), 1)
        self._place += 1
        return _joined([each.uniform(self._place - 1) for each in self._batches])

    def uniform(self, low: float, high: float, shape: tuple[int, ...]) -> Real:
        """As of a generator; one number for each trial."""
        return low + (high - low) * self.random(shape)

    def unit(self, count: int, shape: str, single: bool = False) -> Complex:
        """As `unit_reflections`, in half the precision if so wanted."""
        assert count == BATCH * len(self._batches)
        place = self._place
        self._place += 1 if shape == "ring" else 2
        return _joined([each.unit(place, shape, single) for each in self._batches])


class RowSource:
    """A source whose numbers stand in a row, for arrays whose last axis runs over the trials; in half the precision if so wanted."""

    def __init__(self, rng: RandomSource, single: bool = False) -> None:
        self._rng = rng
        self.single = single

    def random(self, shape: tuple[int, ...]) -> Real:
        """As of a generator, turned."""
        return halved(self._rng.random(shape).T, self.single)

    def uniform(self, low: float, high: float, shape: tuple[int, ...]) -> Real:
        """As of a generator, turned."""
        return halved(self._rng.uniform(low, high, shape).T, self.single)

    def unit(self, count: int, shape: str) -> Complex:
        """As `unit_reflections`, turned."""
        if isinstance(self._rng, _KeptBatch):
            return self._rng.unit(count, shape, self.single).T
        return halved(unit_reflections(self._rng, count, shape).T, self.single)


Array = TypeVar("Array", Real, Complex)


def halved(values: Array, single: bool) -> Array:
    """Numbers in half the precision, or as they are."""
    if not single or values.dtype == np.complex64:
        return values
    return values.astype(np.complex64 if np.iscomplexobj(values) else np.float32, copy=False)


def _joined(parts: list[Array]) -> Array:
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def source(seed: int, key: int, batches: range, repeat: int = 0, rows: int = BATCH) -> RandomSource:
    """Random numbers of their own for one key and some batches of so many draws, from the first one on."""
    if rows != BATCH:
        assert len(batches) == 1
        return _generator(_words(seed, key, batches.start, repeat))
    return _KeptBatch([_batch(_words(seed, key, batch, repeat)) for batch in batches])


def stream(seed: int, what: str, batch: int, which: int) -> np.random.Generator:
    """Random numbers of their own for one of `STREAMS`, a batch and a number within it."""
    return _generator(_words(seed, STREAMS[what], batch, which + 1))


def complex_normals(
    seed: int, batches: range, which: int, columns: Sequence[int], repeat: int = 0, rows: int = BATCH
) -> NDArray[np.complex64]:
    """Normal numbers of standard deviation 1 on either part, shape (columns, trials), each column where it always is in its stream.

    Source: G. E. P. Box, M. E. Muller, "A note on the generation of random normal deviates", Ann. Math. Stat. 29 (1958).
    """
    # A step of the counter gives four numbers: a column takes whole steps.
    steps = -(-rows // 4)
    raw = np.empty((len(columns), len(batches), rows), dtype=np.uint64)
    for place, batch in enumerate(batches):
        bits = np.random.Philox(np.random.SeedSequence([seed, STREAMS["noise"], batch, repeat, which + 1]))
        done = 0
        for first, last in _runs(columns):
            # A counter-based generator goes to any place at once: noise of one frequency is the same whichever others are asked for.
            bits.advance((columns[first] - done) * steps)
            raw[first:last, place] = bits.random_raw((last - first) * 4 * steps).reshape(last - first, -1)[:, :rows]
            done = columns[first] + last - first
    # The upper and the lower 24 bits of one number do not overlap:
    # two uniform ones, as fine as half precision can hold.
    size = (raw >> np.uint64(40)).astype(np.float32)
    # From 1 to 2^24: no logarithm of nothing.
    size += 1
    size *= STEP
    np.log(size, out=size)
    size *= -2
    np.sqrt(size, out=size)
    angle = (raw & np.uint64(0xFFFFFF)).astype(np.float32)
    angle *= np.float32(2 * np.pi) * STEP
    out = np.empty(raw.shape, dtype=np.complex64)
    np.multiply(size, np.cos(angle), out=out.real)
    np.multiply(size, np.sin(angle), out=out.imag)
    return out.reshape(len(columns), -1)


def _runs(columns: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Places of columns that follow one another, rising, without a gap."""
    first = 0
    for place in range(1, len(columns) + 1):
        if place == len(columns) or columns[place] != columns[place - 1] + 1:
            yield first, place
            first = place


def _words(seed: int, key: int, batch: int, repeat: int) -> tuple[int, ...]:
    return (seed, key, batch, repeat) if repeat else (seed, key, batch)


def _generator(words: tuple[int, ...]) -> np.random.Generator:
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(words)))


@lru_cache(MOST_KEPT)
def _batch(words: tuple[int, ...]) -> _Batch:
    return _Batch(words)
