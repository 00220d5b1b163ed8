"""The same work by general-purpose libraries: scikit-rf with plain Python loops over draws, GTC for the linear answer.

Both take the boathouse's chain (adapter, pad, lead) at the points of its sweep. They leave out what the program adds (the
joints' verdicts, bounds, improvements); the program is timed by its public functions, all of that included.
"""

from __future__ import annotations

import os

import numpy as np
import skrf
from skrf.media import DefinedGammaZ0
from timing import ROOT, call_s, imports_s

import chain

LIGHT_M_PER_S = 299_792_458.0
NEPER_PER_DB = np.log(10) / 20
LOOPS = 10
"""Draws that scikit-rf is given; its time is in proportion to them."""
DRAWS = 4_000


def by_scikit_rf(freq_hz: np.ndarray, draws: int) -> np.ndarray:
    """Readings of drawn chains, one Network per part and draw, joined by `**`."""
    rng, freq = np.random.default_rng(1), skrf.Frequency.from_f(freq_hz, unit="hz")
    seen = np.empty((draws, freq_hz.size), complex)

    def disc(radius: float) -> complex:
        return radius * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())

    def line(ohm: float, length_m: float, velocity: float, loss_db_per_m: np.ndarray) -> skrf.Network:
        gamma = loss_db_per_m * NEPER_PER_DB + 2j * np.pi * freq_hz / (velocity * LIGHT_M_PER_S)
        return DefinedGammaZ0(freq, gamma=gamma, z0=ohm, z0_port=ohm).line(length_m, "m")

    def two_port(s11: complex, s21: float, s22: complex, near_ohm: float, far_ohm: float) -> skrf.Network:
        s = np.tile(np.array([[s11, s21], [s21, s22]]), (freq_hz.size, 1, 1))
        return skrf.Network(frequency=freq, s=s, z0=[near_ohm, far_ohm])

    def junction(radius: float, ohm: float) -> skrf.Network:
        rho = disc(radius)
        return two_port(rho, np.sqrt(1 - abs(rho) ** 2), -np.conj(rho), ohm, ohm)

    for index in range(draws):
        adapter = line(50.0, rng.uniform(0.0375, 0.0625), 1.0, 0.9 * np.sqrt(freq_hz / 1e9))
        adapter = junction(0.05, 50.0) ** adapter
        loss_db = rng.uniform(5.52, 5.92)
        pad = two_port(disc(0.05), 10 ** (-loss_db / 20), disc(0.05), 50.0, 75.0)
        loss = rng.uniform(0.88, 1.12) * (0.0665 + 1.035 * np.sqrt(freq_hz / 1e6) + 0.00725 * freq_hz / 1e6) / 100
        lead = junction(0.05, 75.0) ** line(75.0, 0.6, 0.66, loss) ** junction(0.05, 75.0)
        load = skrf.Network(frequency=freq, s=np.full((freq_hz.size, 1, 1), 0.2 + 0j), z0=75.0)
        seen[index] = (adapter**pad**lead**load).s[:, 0, 0]
    return seen


def by_gtc(freq_hz: np.ndarray, readings: np.ndarray) -> list[float]:
    """Standard uncertainty of the recovered magnitude at each point: readings taken back through the same chain."""
    import GTC

    def disc(radius: float) -> object:
        return GTC.ucomplex(0j, (radius / 2, radius / 2))

    def through(rho, seen):
        """What lies behind a junction, from what is seen in front of it."""
        return (seen - rho) / (1 - rho.conjugate() * seen)

    found = []
    for freq, seen in zip(freq_hz, readings, strict=True):
        length = GTC.ureal(0.05, 0.0125 / np.sqrt(3))
        x = through(disc(0.05), complex(seen)) * GTC.exp(4j * np.pi * freq / LIGHT_M_PER_S * length)
        loss_db, near, far = GTC.ureal(5.719, 0.2 / np.sqrt(3)), disc(0.05), disc(0.05)
        product = 10 ** (-loss_db / 10)
        x = (x - near) / (product + far * (x - near))
        stretch = GTC.ureal(1.0, 0.12 / np.sqrt(3))
        loss = 0.6 / 100 * (0.0665 + 1.035 * np.sqrt(freq / 1e6) + 0.00725 * freq / 1e6) * NEPER_PER_DB * stretch
        x = through(disc(0.05), x) * GTC.exp(2 * loss + 4j * np.pi * freq / (0.66 * LIGHT_M_PER_S) * 0.6)
        found.append(GTC.uncertainty(GTC.magnitude(through(disc(0.05), x))))
    return found


def measure() -> list[dict[str, object]]:
    """One row per library: what it takes for this chain, and the program's whole answer over the same points."""
    os.chdir(ROOT)
    imports = imports_s()
    setup, sweep = chain.load_setup("demo/boathouse.toml"), chain.read_sweep("demo/boathouse.s1p")
    freq_hz, reflection = sweep.freq_hz, sweep.reflection
    loop = call_s(lambda: by_scikit_rf(freq_hz, LOOPS), 3) * DRAWS / LOOPS
    linear = call_s(lambda: by_gtc(freq_hz, reflection), 3)
    expected = call_s(lambda: chain.expect(setup, draws=DRAWS), 3)
    recovered = call_s(lambda: chain.recover(setup, sweep, draws=DRAWS), 3)
    works = {
        f"scikit-rf, loop over {DRAWS} draws x {freq_hz.size} points": loop,
        f"chain.expect, whole answer, {DRAWS} draws": expected,
        f"GTC, linear propagation at {freq_hz.size} points": linear,
        f"chain.recover, whole answer, linear answer included, {DRAWS} draws": recovered,
    }
    return [{"what": name, "function_s": taken, "function_ratio": taken / imports} for name, taken in works.items()]
