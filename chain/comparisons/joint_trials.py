"""Readings through one chain, drawn together: what the readings share is drawn once, what is new at each reading for each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.rf.twoport import Maps, compose
from chain.setups import Setup
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps, simulate
from chain.uncertainty.streams import BATCH, unit_reflections

FAR_MATING, DIGITS = 9, 11
"""Random stream of the joint at the antenna, which is opened when antennas are exchanged."""


@dataclass(frozen=True)
class JointTrials:
    """Maps of readings over the same frequencies, one `Maps` of shape (trials, frequencies) for each; row n is one chain.

    `known` is the map with every unknown at zero. `repeats` says whether the set-up has anything that differs from one
    reading to the next; without it nothing can be stated of a difference.
    """

    freq_hz: Real
    known: Maps
    readings: tuple[Maps, ...]
    repeats: bool
    seed: int

    @property
    def draws(self) -> int:
        """Number of drawn chains."""
        return int(self.readings[0].p.shape[0])


def draw_jointly(
    setup: Setup,
    freq_hz: Real,
    count: int,
    batches: int,
    seed: int,
    progress: Callable[[float], None] | None = None,
    exchanged: bool = True,
) -> JointTrials:
    """Draw the maps of `count` readings, taken one after another with one chain and one calibration.

    Chain, residual errors and standards are common. Noise, drift, flexed lead, the joint at the plane and, where antennas are
    `exchanged`, the joint at the antenna are drawn for each reading.
    """
    measurement = measurement_of(setup, build(setup, freq_hz))
    steps = batches * count
    parts: list[list[Maps]] = [[] for _ in range(count)]
    for batch in range(batches):
        for number in range(count):
            # repeat 0 shares the joint that the standards were read with; a reading to compare comes after it was opened.
            maps = simulate(measurement, batch, seed, 0, number + 1)
            parts[number].append(_remade_at_antenna(maps, measurement, (seed, batch, number)) if exchanged else maps)
            if progress is not None:
                progress((batch * count + number + 1) / steps)
    differs = bool(measurement.noise or measurement.drift or measurement.mating or measurement.turn_rad.any())
    return JointTrials(
        measurement.freq_hz, nominal_maps(measurement), tuple(_joined(each) for each in parts), differs, seed
    )


def _remade_at_antenna(maps: Maps, measurement: Measurement, run: tuple[int, int, int]) -> Maps:
    """A joint at the far end, opened and closed again: a lossless junction of the stated repeatability.

    Source: S11 = t, S22 = -conj(t), S12 S21 = 1 - |t|^2, as a bilinear map: p = 1, q = t, r = conj(t).
    """
    if not measurement.mating:
        return maps
    seed, batch, number = run
    # A stream of its own: whether that joint is opened changes no other draw.
    rng = np.random.default_rng([seed, FAR_MATING, batch, number])
    t = measurement.mating * unit_reflections(rng, BATCH, measurement.mating_kind)
    return compose(maps, Maps(np.ones_like(t), t, np.conj(t)))


def _joined(parts: list[Maps]) -> Maps:
    """Half the precision is plenty for trials, and takes half the memory."""
    whole = (np.concatenate([getattr(each, name) for each in parts]).astype(np.complex64) for name in "pqr")
    p, q, r = (np.asarray(each, dtype=np.complex64) for each in whole)
    return Maps(p, q, r)  # type: ignore[arg-type]


def with_digits(trials: JointTrials, which: int, reading: Complex | Real, half: Real | None) -> Complex | Real:
    """A reading with what its digits may hide at most, shape (trials, frequencies); as it is where they hide nothing.

    All points are off alike, half a step either way: two readings of one thing that stands between two steps may show either,
    again and again, and at every point. So no step of the last digit alone is ever a difference.
    """
    if half is None or not half.any():
        return reading[None, :]
    rng = np.random.default_rng([trials.seed, DIGITS, which])
    off = half * rng.choice([-1.0, 1.0], (trials.draws, 1))
    if not np.iscomplexobj(reading):
        return np.asarray(np.abs(reading + off))
    return np.asarray(reading + off + 1j * half * rng.choice([-1.0, 1.0], (trials.draws, 1)))


def recovered_reflections(
    trials: JointTrials, which: int, reading: Complex, half: Real | None = None
) -> tuple[Complex, Complex]:
    """Antenna's reflection as every drawn chain takes it back, shape (trials, frequencies), and nominally.

    `half` is half a step of the reading's last digit.
    """
    seen = np.asarray(with_digits(trials, which, reading, half), dtype=complex)
    return trials.readings[which].recovered(seen), trials.known.recovered(reading)[0]


BEYOND = 4.0
"""Magnitude up to which a trial of a reading is told apart from another: past a full reflection, where no antenna is."""


def recovered_magnitudes(
    maps: Maps, size: Real, turn: complex, most: float = 1.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Smallest and largest |G| of an antenna of a given phase that gives a reading of a magnitude, in every trial.

    `size` has the shape (frequencies,) or (trials, frequencies). A `most` above 1 keeps apart two readings that a trial takes
    beyond a full reflection: cut off there, both would come out as one, and no difference could be shown of readings near it.

    Source: |(p g t + q)/(r g t + 1)| = x is A g^2 + 2 B g + C = 0 with A = |p|^2 - x^2 |r|^2,
    B = Re((p conj(q) - x^2 r) t), C = |q|^2 - x^2. Without a root in [0, most] the nearest g counts.
    """
    x2 = np.atleast_2d(size) ** 2
    a = np.abs(maps.p) ** 2 - x2 * np.abs(maps.r) ** 2
    # Half the linear coefficient, so that the discriminant is b^2 - a c.
    b = ((maps.p * np.conj(maps.q) - x2 * maps.r) * turn).real
    c = np.abs(maps.q) ** 2 - x2
    # Without a real root the reading is out of this chain's reach at that phase; the vertex is the size that comes nearest.
    root = np.sqrt(np.maximum(b * b - a * c, 0))
    first, last = (-b - root) / a, (-b + root) / a
    low, high = np.minimum(first, last), np.maximum(first, last)
    # One root below zero is none of a magnitude: the other one is the only answer.
    return np.clip(np.where(low < 0, high, low), 0, most), np.clip(high, 0, most)
