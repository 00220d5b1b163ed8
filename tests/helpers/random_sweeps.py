"""Sweeps of benches nobody chose: antennas just at the limit, of fixed phase, turning by a delay, with a dip, a slope, one bad point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from coverage_world import Screen, World
from random_benches import bench

SHAPES = ("fixed", "turning", "dip", "slope", "one bad point")
LONGEST_DELAY_S = 20e-9


def swept(seed, points, **given):
    """A random bench over a random span of up to 40 % of its frequency."""
    one = bench(seed, **given)
    rng = np.random.default_rng([seed, 91])
    low_hz = one.case.freq_hz[0]
    freq_hz = tuple(np.linspace(low_hz, low_hz * rng.uniform(1.05, 1.4), points))
    return replace(one, case=replace(one.case, freq_hz=freq_hz))


def antennas(one, shape, limit, count, rng):
    """True reflections (count, points), nowhere beyond the limit and somewhere at it; the phase stands, or turns by a delay."""
    freq_hz = np.array(one.case.freq_hz)
    along = np.linspace(0, 1, freq_hz.size)
    size = {
        "fixed": np.ones(freq_hz.size),
        "turning": np.ones(freq_hz.size),
        "dip": 1 - 0.9 / (1 + ((along - 0.4) / 0.05) ** 2),
        "slope": 1 - 0.3 * along,
        "one bad point": np.where(np.arange(freq_hz.size) == freq_hz.size // 2, 1.0, 0.2),
    }[shape]
    start = np.full((count, 1), rng.random()) if shape == "fixed" else rng.random((count, 1))
    delay_s = 0.0 if shape == "fixed" else rng.random((count, 1)) * LONGEST_DELAY_S
    return limit * size * np.exp(2j * np.pi * (start - freq_hz * delay_s))


def measured_sweeps(one, shape, limit, count, seed):
    """(true reflections, complex readings), both (count, points): every row a chain, a calibration and noise of its own."""
    rng = np.random.default_rng([one.seed, seed, 17])
    screen = Screen(World(one.case, count, rng), one.cut)
    truth = antennas(one, shape, limit, count, rng)
    return truth, screen.reading(truth)
