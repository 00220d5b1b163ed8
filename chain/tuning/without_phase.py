"""Tuning by VSWR or return loss alone: where the dip lies against the wanted channels, and what to try."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chain.analyses.recover import recover
from chain.arrays import Real
from chain.reflection import magnitude_from_vswr, vswr
from chain.setups import Setup, Sweep
from chain.sweeps.readings import Readings
from chain.tuning.crossings import COVERAGE, Estimate, lowest
from chain.tuning.direction import NOT_STATED
from chain.tuning.draws import bench_of
from chain.tuning.prediction import trial_of
from chain.tuning.records import Band, Curves, Tuning, Wanted
from chain.tuning.smoothing import local_fit
from chain.tuning.spans import inside, side_of

__all__ = ["dip_interval", "tune_magnitudes"]

DIRECTIONS = {
    "below": "too long",
    "below the middle": "too long",
    "above": "too short",
    "above the middle": "too short",
}


def dip_interval(freq_hz: Real, low: Real, high: Real, value_hz: float) -> Estimate:
    """Frequencies where the least reflection may lie: no other reading is surely smaller.

    An end that is the sweep's own is open: the dip may lie beyond it.

    Source: f may hold the least of the true magnitudes only if low(f) <= the least of high.
    """
    may = np.flatnonzero(low <= high.min())
    first, last = int(may[0]), int(may[-1])
    least = -np.inf if first == 0 else float(freq_hz[first - 1] + freq_hz[first]) / 2
    most = np.inf if last == freq_hz.size - 1 else float(freq_hz[last] + freq_hz[last + 1]) / 2
    return Estimate(value_hz, least, most)


def tune_magnitudes(
    setup: Setup, readings: Readings, wanted: Wanted, seed: int, progress: Callable[[float], None] | None
) -> Tuning:
    """Answer for readings without a phase."""
    # The whole of a sweep that reaches past the wanted channels is asked for here, and no channel is judged.
    freq = readings.freq_hz
    whole = replace(setup, sweep=Sweep(float(freq[0]), float(freq[-1]), freq.size))
    found = recover(whole, readings, seed=seed, progress=progress)
    bench = bench_of(setup, readings.freq_hz)
    smooth, _ = local_fit(bench.freq_hz, bench.freq_hz, bench.narrowest_q)
    value = float(lowest(bench.freq_hz, (smooth @ magnitude_from_vswr(found.true_vswr))[None])[0])
    low, high = (np.asarray(magnitude_from_vswr(np.nan_to_num(end, nan=np.inf))) for end in (found.low, found.high))
    dip = dip_interval(bench.freq_hz, low, high, value)
    side = side_of(dip, wanted)
    chosen = inside(bench.freq_hz, wanted)
    worst = int(np.flatnonzero(chosen)[np.argmax(found.true_vswr[chosen])])
    trial = trial_of(bench, readings, value, wanted, seed) if np.isfinite(value) and side != "within" else None
    direction = DIRECTIONS.get(side, "")
    return Tuning(
        title=setup.title,
        plane=setup.calibration.plane,
        element=setup.antenna.element,
        reading_ohm=bench.measurement.reading_ohm,
        far_ohm=setup.far.impedance_ohm,
        element_ohm=bench.element_ohm,
        limit_vswr=setup.far.limit_vswr or 2.0,
        wanted=wanted,
        interpretation=readings.interpretation,
        sweep=Curves(bench.freq_hz, vswr(readings.magnitude), found.true_vswr, found.low, found.high),
        dip=dip,
        dip_side=side,
        resonances=(),
        bandwidth=None,
        direction=direction,
        verdict="in tune" if side == "within" else direction or "cannot tell",
        suspected=bool(direction),
        reason=_reason(side),
        change=None,
        by_slope=None,
        now=Band(_worst(found.true_vswr[worst], low[chosen], high[chosen]), float(bench.freq_hz[worst])),
        after=None,
        trial=trial,
        improvement=None,
        coverage=COVERAGE,
        seed=seed,
        draws=found.draws,
        assumed=(*setup.assumed, *(() if setup.antenna.element else (NOT_STATED,))),
        warnings=found.warnings,
    )


def _worst(value: float, low: Real, high: Real) -> Estimate:
    return Estimate(float(value), float(vswr(low.max())), float(vswr(high.max())))


def _reason(side: str) -> str:
    if side == "within":
        return "the dip lies inside the wanted span"
    if side:
        return "without a phase the side of the dip is all there is to go by"
    return "without a phase, and with this uncertainty, the dip may lie on either side"
