"""Which way to bend it: resonances behind a sweep, too long or too short and by how much, and what then; by magnitudes too."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from chain.analyses.improvements import averaged_noise_db, improvements
from chain.analyses.recover import recover
from chain.arrays import Complex, Real
from chain.errors import ChainError, RangeError
from chain.reflection import magnitude_from_vswr, ohm_from_reflection, vswr
from chain.results import COVERAGE, SEED
from chain.setups import Setup, Sweep
from chain.sweeps.readings import Readings
from chain.tuning.crossings import (
    Crossing,
    Estimate,
    crossing_interval,
    ends,
    estimate,
    lowest,
    reading_fit,
    sure_crossings,
)
from chain.tuning.direction import NOT_STATED, DrawnAntenna, decide, operating, resonance_of, verdict_of
from chain.tuning.prediction import magnitude_ends, nominal_reading, predicted, trial_change, worst_of
from chain.tuning.records import Band, Curves, Narrowing, Prediction, Tuning, Wanted
from chain.tuning.spans import Valley, bandwidth, dip_of, inside, side_of, wanted_span, wanted_valley
from chain.tuning.trials import BATCHES, Antennas, BenchSweep, antennas, bench_of, prepared

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
    >>> from chain import load_setup, read_sweep_for, tune
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
    bench: BenchSweep, readings: Readings, wanted: Wanted, seed: int, progress: Callable[[float], None] | None = None
) -> Tuning:
    """Answer for a complex sweep, on a bench that keeps its drawn maps."""
    return _answer(bench, readings, wanted, _drawn(bench, readings, seed, progress), seed)


def _drawn(bench: BenchSweep, readings: Readings, seed: int, progress: Callable[[float], None] | None) -> DrawnAntenna:
    # What is reported is the antenna with every unknown at zero; the trials give its ends.
    nominal = antennas(bench, readings, None, seed)
    rows = []
    for batch in range(BATCHES):
        rows.append(antennas(bench, readings, batch, seed))
        if progress is not None:
            progress((batch + 1) / BATCHES)
    every = Antennas(*(np.concatenate([getattr(each, name) for each in rows]) for name in ("far", "element", "slope")))
    one = Antennas(nominal.far[0], nominal.element[0], nominal.slope[0])
    return DrawnAntenna(readings.freq_hz, bench.element_ohm, one, every)


def _answer(bench: BenchSweep, readings: Readings, wanted: Wanted, drawn: DrawnAntenna, seed: int) -> Tuning:
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
        # Foretold for a change as the answer prints it, which nobody cuts finer than a thousandth.
        share = round(decided.change.share.value, 3)
        after = predicted(bench, readings, wanted, share, drawn.every.far[:, chosen], seed)
    own = None if working is None else resonance_of(drawn, working).freq_hz
    verdict, reason = verdict_of(decided, own, wanted, after, now.vswr.value)
    undecided = verdict == "cannot tell"
    unresolved = undecided or (decided.change is None and verdict in ("too long", "too short"))
    return Tuning(
        title=setup.title,
        plane=setup.calibration.plane,
        element=setup.antenna.element,
        reading_ohm=bench.measurement.reading_ohm,
        far_ohm=setup.far.impedance_ohm,
        element_ohm=bench.element_ohm,
        limit_vswr=setup.far.limit_vswr or USUAL_LIMIT,
        limit_in_db=setup.far.limit_in_db,
        wanted=wanted,
        interpretation=readings.interpretation,
        sweep=_curves(bench, readings, drawn),
        dip=dip,
        other_dips_hz=(),
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
        trial=(
            trial_change(bench, readings, dip.value, decided.direction, wanted, seed)
            if unresolved and np.isfinite(dip.value)
            else None
        ),
        improvement=narrowing(bench, drawn.nominal.far, working, wanted, seed) if undecided else None,
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


def _curves(bench: BenchSweep, readings: Readings, drawn: DrawnAntenna) -> Curves:
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
    """Impedance of what gives out no power: a trial beyond that is taken for the nearest that does not, or X would come out small."""
    passive = reflection / np.maximum(np.abs(reflection), 1.0)
    found = ohm_from_reflection(passive, reference_ohm)
    found.real = np.maximum(found.real, 0.0)
    return found


SWEEPS = 4
WORTH = 0.9
"""A change is named where it leaves this share of the interval's width or less."""


def narrowing(bench: BenchSweep, far: Complex, chosen: Crossing | None, wanted: Wanted, seed: int) -> Narrowing | None:
    """The first change that resolves the direction, else the one that narrows most.

    Each is tried on the antenna as recovered: its nominal reading through the changed set-up, undone by drawn chains.
    """
    now = _width_hz(bench, far, chosen, seed)
    # An interval about the resonance resolves a side once half of it is shorter than the way to the wanted frequency.
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
        less = averaged_noise_db(noise_db, SWEEPS)
        yield f"the mean of {SWEEPS} sweeps", replace(setup, near=replace(setup.near, trace_noise_db=less))
    if setup.antenna.feed:
        known = tuple(replace(item, ideal=True) for item in setup.antenna.feed)
        names = " and ".join(f"'{item.id}'" for item in setup.antenna.feed)
        text = f"measure {names} as a two-port (chain learn two-port)"
        yield text, replace(setup, antenna=replace(setup.antenna, feed=known))
    for _, what, changed in improvements(setup):
        yield what, changed


def _width_hz(bench: BenchSweep, far: Complex, chosen: Crossing | None, seed: int) -> float:
    """Whole width of the interval of the resonance, or of the dip; the sweep's own span where it is open."""
    freq: Real = bench.freq_hz
    seen = nominal_reading(bench, far)
    # The same trials behind every change, so that what they have in common takes no part in which width is the smaller.
    drawn = antennas(bench, Readings(freq, np.abs(seen), seen, "foretold"), 0, seed)
    if chosen is None:
        ends = estimate(0.0, lowest(freq, np.abs(drawn.far)))
    else:
        ends = crossing_interval(freq, drawn.element.imag, chosen)
    low, high = np.clip((ends.low, ends.high), freq[0], freq[-1])
    return float(high - low)


DIRECTIONS = {
    "below": "too long",
    "below the middle": "too long",
    "above": "too short",
    "above the middle": "too short",
}


def dip_interval(freq_hz: Real, low: Real, high: Real, value_hz: float, own: Valley | None = None) -> Estimate:
    """Frequencies where the least reflection may lie: no other reading is surely smaller.

    An end that is the sweep's own is open: the dip may lie beyond it. Of several dips `own` is the one that is asked for: it
    reaches as far either way as no reading in between is surely larger than its least.

    Source: f may hold the least of the true magnitudes only if low(f) <= the least of high.
    """
    if own is None:
        may = np.flatnonzero(low <= high.min())
        first, last = int(may[0]), int(may[-1])
    else:
        apart = np.flatnonzero(low > high[own.first : own.last + 1].min())
        first = int(apart[apart < own.at].max(initial=-1)) + 1
        last = int(apart[apart > own.at].min(initial=freq_hz.size)) - 1
    # Between readings nothing was seen: up to half way the nearer of the two speaks for the antenna.
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
    # A reading beyond every passive antenna's has no true value: for the dip it is as far from one as can be.
    size = np.where(np.isnan(found.true_vswr), 1.0, magnitude_from_vswr(found.true_vswr))
    curve = reading_fit(freq, bench.narrowest_q) @ size
    own, others = wanted_valley(freq, curve, wanted)
    value = _dip_hz(freq, curve, size, own)
    # Where no true magnitude gives the reading, both ends are a full reflection.
    low, high = (np.asarray(magnitude_from_vswr(np.nan_to_num(end, nan=np.inf))) for end in (found.low, found.high))
    dip = dip_interval(bench.freq_hz, low, high, value, own if others else None)
    side = side_of(dip, wanted)
    direction = DIRECTIONS.get(side, "")
    chosen = inside(bench.freq_hz, wanted)
    worst = int(np.flatnonzero(chosen)[np.argmax(size[chosen])])
    asked = np.isfinite(value) and side != "within"
    trial = trial_change(bench, readings, value, direction, wanted, seed, own if others else None) if asked else None
    return Tuning(
        title=setup.title,
        plane=setup.calibration.plane,
        element=setup.antenna.element,
        reading_ohm=bench.measurement.reading_ohm,
        far_ohm=setup.far.impedance_ohm,
        element_ohm=bench.element_ohm,
        limit_vswr=setup.far.limit_vswr or USUAL_LIMIT,
        limit_in_db=setup.far.limit_in_db,
        wanted=wanted,
        interpretation=readings.interpretation,
        sweep=Curves(bench.freq_hz, vswr(readings.magnitude), found.true_vswr, found.low, found.high),
        dip=dip,
        other_dips_hz=tuple(float(freq[each.at]) for each in others),
        dip_side=side,
        resonances=(),
        bandwidth=None,
        direction=direction,
        verdict="in tune" if side == "within" else direction or "cannot tell",
        suspected=bool(direction),
        reason=_reason(side),
        change=None,
        by_slope=None,
        now=Band(_worst(float(vswr(size[worst])), low[chosen], high[chosen]), float(bench.freq_hz[worst])),
        after=None,
        trial=trial,
        improvement=None,
        coverage=COVERAGE,
        seed=seed,
        draws=found.draws,
        assumed=(*setup.assumed, *(() if setup.antenna.element else (NOT_STATED,))),
        warnings=(*found.warnings, *_impossible(len(found.refused))),
        could_show_phase=setup.near.has_phase,
    )


def _dip_hz(freq_hz: Real, curve: Real, size: Real, own: Valley) -> float:
    """Where a dip lies lowest; infinite only where the smoothed curve and its readings both fall to that end of the sweep."""
    ends = (0, freq_hz.size - 1)
    if own.at not in ends:
        part = slice(own.at - 1, own.at + 2)
        return float(lowest(freq_hz[part], curve[None, part])[0])
    best = own.first + int(size[own.first : own.last + 1].argmin())
    return float(freq_hz[best]) if best not in ends else (-np.inf, np.inf)[own.at > 0]


def _impossible(count: int) -> tuple[str, ...]:
    """A remark where readings are none of this chain, whatever hangs on it."""
    if not count:
        return ()
    what = "reading" if count == 1 else "readings"
    return (f"{count} {what} cannot come through this chain: test it ('chain prove') before you change the antenna",)


def _worst(value: float, low: Real, high: Real) -> Estimate:
    return Estimate(float(value), float(vswr(low.max())), float(vswr(high.max())))


def _reason(side: str) -> str:
    if side == "within":
        return "the dip lies inside the wanted span"
    if side:
        return "without a phase the side of the dip is all there is to go by"
    return "without a phase, and with this uncertainty, the dip may lie on either side"
