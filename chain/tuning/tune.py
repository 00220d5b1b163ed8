"""Which way to bend it: resonances of the antenna behind a sweep, too long or too short and by how much, and what then."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.arrays import Complex
from chain.errors import RangeError
from chain.reflection import vswr
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.tuning.crossings import COVERAGE, ends, sure_crossings
from chain.tuning.direction import Drawn, decide, operating, resonance_of, verdict_of
from chain.tuning.draws import BATCHES, Antennas, Bench, antennas, bench_of, prepared
from chain.tuning.narrowing import narrowing
from chain.tuning.prediction import magnitude_ends, predicted, trial_of
from chain.tuning.records import Curves, Prediction, Tuning, Wanted
from chain.tuning.spans import bandwidth, dip_of, inside, side_of, wanted_span, worst_of
from chain.tuning.without_phase import tune_magnitudes
from chain.uncertainty.intervals import SEED

__all__ = ["tune"]

USUAL_LIMIT = 2.0
"""VSWR that bandwidths count to where the set-up names no limit."""


def tune(
    setup: Setup,
    readings: Readings,
    wanted_low_hz: float | None = None,
    wanted_high_hz: float | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Tuning:
    """Say whether an antenna is too long or too short for the wanted channels, and what a change would do.

    Parameters
    ----------
    setup : the set-up the readings were taken with; its table `antenna` says what is known of the antenna's make.
    readings : a sweep in the plane's reference, reaching past the wanted span on either side.
    wanted_low_hz, wanted_high_hz : wanted span; the set-up's channels, else its sweep, if left out [Hz].
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Tuning.

    Raises
    ------
    RangeError : fewer than five readings, or none inside the wanted span.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain.assembly.plane import read_sweep_for
    >>> from chain.files.setup_file import load_setup
    >>> setup = load_setup("demo/loops.toml")
    >>> found = tune(setup, read_sweep_for(setup, "demo/loops.s1p"))
    >>> found.verdict, round(found.change.share.value, 2)
    ('too long', -0.04)

    Source
    ------
    dL/L = df/f from the resonance to the middle of the wanted span; intervals by whole drawn sweeps that undo the reading.
    """
    readings = prepared(readings)
    wanted = wanted_span(setup, wanted_low_hz, wanted_high_hz)
    if not inside(readings.freq_hz, wanted).any():
        span = f"{wanted.low_hz / 1e6:g} to {wanted.high_hz / 1e6:g} MHz"
        raise RangeError(f"no reading lies inside the wanted {span}", "sweep across the wanted channels")
    if readings.reflection is None:
        return tune_magnitudes(setup, readings, wanted, seed, progress)
    return tune_with(bench_of(setup, readings.freq_hz), readings, wanted, seed, progress)


def tune_with(
    bench: Bench, readings: Readings, wanted: Wanted, seed: int, progress: Callable[[float], None] | None = None
) -> Tuning:
    """Answer for a complex sweep, on a bench that keeps its drawn maps."""
    return _answer(bench, readings, wanted, _drawn(bench, readings, seed, progress), seed)


def _drawn(bench: Bench, readings: Readings, seed: int, progress: Callable[[float], None] | None) -> Drawn:
    nominal = antennas(bench, readings, None, seed)
    rows = []
    for batch in range(BATCHES):
        rows.append(antennas(bench, readings, batch, seed))
        if progress is not None:
            progress((batch + 1) / BATCHES)
    every = Antennas(*(np.concatenate([getattr(each, name) for each in rows]) for name in ("far", "element", "slope")))
    one = Antennas(nominal.far[0], nominal.element[0], nominal.slope[0])
    return Drawn(readings.freq_hz, bench.element_ohm, one, every)


def _answer(bench: Bench, readings: Readings, wanted: Wanted, drawn: Drawn, seed: int) -> Tuning:
    setup, freq = bench.setup, readings.freq_hz
    chosen = inside(freq, wanted)
    dip = dip_of(freq, drawn.nominal.far, drawn.every.far)
    sure = sure_crossings(freq, drawn.nominal.element.imag, drawn.every.element.imag)
    working = operating(sure, drawn, setup.antenna.element, dip.value)
    resonances = tuple(resonance_of(drawn, each) for each in (sure or ([working] if working else [])))
    decided = decide(drawn, setup.antenna, wanted, working, len(sure))
    now = worst_of(freq[chosen], drawn.nominal.far[chosen], drawn.every.far[:, chosen])
    after = None
    if decided.change is not None and decided.direction and decided.change.share.closed:
        share = round(decided.change.share.value, 3)
        after = predicted(bench, readings, wanted, share, drawn.every.far[:, chosen], seed)
    own = None if working is None else resonance_of(drawn, working).freq_hz
    verdict, reason = verdict_of(decided, own, wanted, after, now.vswr.value)
    unsure = verdict == "cannot tell"
    untold = unsure or (decided.change is None and verdict in ("too long", "too short"))
    return Tuning(
        title=setup.title,
        plane=setup.calibration.plane,
        element=setup.antenna.element,
        reading_ohm=bench.measurement.reading_ohm,
        far_ohm=setup.far.impedance_ohm,
        element_ohm=bench.element_ohm,
        limit_vswr=setup.far.limit_vswr or USUAL_LIMIT,
        wanted=wanted,
        interpretation=readings.interpretation,
        sweep=_curves(bench, readings, drawn),
        dip=dip,
        dip_side=side_of(dip, wanted),
        resonances=resonances,
        bandwidth=bandwidth(freq, drawn.nominal.far, drawn.every.far, setup.far.limit_vswr or USUAL_LIMIT),
        direction=decided.direction,
        verdict=verdict,
        suspected=decided.suspected,
        reason=reason,
        change=decided.change,
        by_slope=decided.by_slope,
        now=now,
        after=after,
        trial=trial_of(bench, readings, dip.value, wanted, seed) if untold and np.isfinite(dip.value) else None,
        improvement=narrowing(bench, drawn.nominal.far, working, wanted, seed) if unsure else None,
        coverage=COVERAGE,
        seed=seed,
        draws=drawn.every.far.shape[0],
        assumed=(*setup.assumed, *decided.assumed),
        warnings=(*setup.warnings, *readings.warnings, *_too_narrow(decided.change is not None, after)),
    )


def _too_narrow(changed: bool, after: Prediction | None) -> tuple[str, ...]:
    """A remark where the sweep ends before the frequencies that the prediction needs."""
    if not changed or after is None or after.covered:
        return ()
    return ("the sweep is too narrow to foretell all wanted channels: let it reach further past them on either side",)


def _curves(bench: Bench, readings: Readings, drawn: Drawn) -> Curves:
    """The sweep at the antenna's connector and at its element, with pointwise intervals."""
    assert readings.reflection is not None
    far = magnitude_ends(drawn.nominal.far, drawn.every.far)
    ohm, many = (_passive_ohm(each.element, bench.element_ohm) for each in (drawn.nominal, drawn.every))
    return Curves(
        readings.freq_hz,
        vswr(readings.magnitude),
        vswr(drawn.nominal.far),
        vswr(far[0]),
        vswr(far[1]),
        drawn.nominal.far,
        ohm.real,
        *ends(many.real),
        ohm.imag,
        *ends(many.imag),
    )


def _passive_ohm(reflection: Complex, reference_ohm: float) -> Complex:
    """Impedance of what gives out no power: a draw beyond that is taken for the nearest that does not, or X would come out small."""
    passive = reflection / np.maximum(np.abs(reflection), 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.asarray(reference_ohm * (1 + passive) / (1 - passive))
    found.real = np.maximum(found.real, 0.0)
    return found
