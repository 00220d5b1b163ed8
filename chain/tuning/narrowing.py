"""The change of the set-up that would let a sweep tell what it cannot tell now, cheapest kind first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from chain.analyses.improvements import improvements
from chain.arrays import Complex, Real
from chain.errors import ChainError
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.tuning.crossings import Crossing, crossing_interval, estimate, lowest
from chain.tuning.draws import Bench, antennas, bench_of
from chain.tuning.prediction import nominal_reading
from chain.tuning.records import Narrowing, Wanted

__all__ = ["narrowing"]

SWEEPS = 4
WORTH = 0.9
"""A change is named where it leaves this share of the interval's width or less."""


def narrowing(bench: Bench, far: Complex, chosen: Crossing | None, wanted: Wanted, seed: int) -> Narrowing | None:
    """The first change that tells the direction, else the one that narrows most.

    Each is tried on the antenna as recovered: its nominal reading through the changed set-up, undone by drawn chains.
    """
    now = _width_hz(bench, far, chosen, seed)
    # An interval about the resonance tells a side once half of it is shorter than the way to the wanted frequency.
    enough = 2 * abs((chosen.freq_hz if chosen else wanted.aim_hz) - wanted.aim_hz)
    best: Narrowing | None = None
    for what, changed in _changes(bench.setup):
        try:
            then = _width_hz(bench_of(changed, bench.freq_hz), far, chosen, seed)
        except ChainError:
            continue
        if best is None or then < best.then_hz:
            best = Narrowing(what, now, then)
        if then < enough:
            break
    return best if best is not None and best.then_hz <= WORTH * now else None


def _changes(setup: Setup) -> Iterator[tuple[str, Setup]]:
    """Single changes: the mean of several sweeps, a measured feed, then those that serve every reading."""
    noise_db = setup.near.trace_noise_db
    if noise_db:
        # Noise of n dB is a deviation of 10^(n/20) - 1, which falls with the root of the number of sweeps.
        less = 20 * np.log10(1 + (10 ** (noise_db / 20) - 1) / SWEEPS**0.5)
        yield f"the mean of {SWEEPS} sweeps", replace(setup, near=replace(setup.near, trace_noise_db=float(less)))
    if setup.antenna.feed:
        known = tuple(replace(item, ideal=True) for item in setup.antenna.feed)
        names = " and ".join(f"'{item.id}'" for item in setup.antenna.feed)
        text = f"measure {names} as a two-port (chain learn two-port)"
        yield text, replace(setup, antenna=replace(setup.antenna, feed=known))
    for _, what, changed in improvements(setup):
        yield what, changed


def _width_hz(bench: Bench, far: Complex, chosen: Crossing | None, seed: int) -> float:
    """Whole width of the interval of the resonance, or of the dip; the sweep's own span where it is open."""
    freq: Real = bench.freq_hz
    seen = nominal_reading(bench, far)
    drawn = antennas(bench, Readings(freq, np.abs(seen), seen, "foretold"), 0, seed)
    if chosen is None:
        ends = estimate(0.0, lowest(freq, np.abs(drawn.far)))
    else:
        ends = crossing_interval(freq, drawn.element.imag, chosen)
    low, high = np.clip((ends.low, ends.high), freq[0], freq[-1])
    return float(high - low)
