"""What the antenna truly is: readings taken back through the chain, with interval, bound and a verdict against the limit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chain.analyses.impedances import items_to_turn
from chain.analyses.improvements import (
    SetupChange,
    Share,
    averaging_that_settles,
    best_improvement,
    contributions,
    typical_share,
)
from chain.analyses.judgement import Judgement, channel_members, judge, middles, strict_shares
from chain.analyses.possible import BLOCK, bounded
from chain.analyses.recovery import Recovery, worst_first
from chain.arrays import Complex, Real, median
from chain.assembly.cascade import build
from chain.reflection import magnitude_from_vswr, mismatch_loss_db, vswr
from chain.results import SEED
from chain.rf.twoport import Maps
from chain.setups import Setup
from chain.sweeps.readings import Readings, averaged
from chain.uncertainty.contributions import only
from chain.uncertainty.intervals import (
    Intervals,
    Kept,
    Observation,
    draw_count,
    draws_remark,
    intervals,
    recovered_observation,
    settled_intervals,
)
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps, recovering, simulate
from chain.uncertainty.parallel import in_order
from chain.uncertainty.streams import BATCH
from library.frozen import dataclass

if TYPE_CHECKING:
    from chain.uncertainty.coverage_region import Ellipse
    from chain.uncertainty.linear import Linear

PHASES = np.exp(2j * np.pi * (np.arange(72) + 0.5) / 72)
MIDDLE = slice(PHASES.size // 2 - 1, PHASES.size // 2 + 1)
MAGNITUDES = np.linspace(0, 1, 101)
HALVINGS = 30
ROUNDING = 1e-12
LONG = 1_000_000
"""Trials times frequencies from which on intervals take long enough for other work to be done beside them."""
MOST_FREQUENCIES = 21
FEW = 64
"""Frequencies at which a batch of noise is drawn at a time."""
MOST_REGIONS = 801
FEWEST_STEPS = 12
"""Steps from which on readings are a sweep, and not a few places of it."""


def nominal_truth(known: Maps, readings: Readings) -> tuple[Real, Complex | None]:
    """True reflection of readings with every unknown at zero (inverse of the bilinear map)."""
    if readings.reflection is not None:
        far = known.recovered(readings.reflection)[0]
        return np.minimum(np.abs(far), 1.0), far
    p, q, r = (value[0][:, None] for value in (known.p, known.q, known.r))
    # |p G + q|^2 = |p|^2 m^2 + 2 m Re(p q* e^(j phi)) + |q|^2: what turns with the phase is made once, for every magnitude.
    above, below = 2 * (p * q.conj() * PHASES).real, 2 * (r * PHASES).real
    parts = tuple(np.abs(each) ** 2 for each in (p, q, r))

    def away(magnitude: Real) -> Real:
        far = magnitude[:, None]
        square = above * far
        square += parts[0] * far**2 + parts[1]
        square /= below * far + (parts[2] * far**2 + 1)
        square.sort(axis=1)
        # The two in the middle of an even number of phases.
        return np.asarray(np.sqrt(np.maximum(square[:, MIDDLE], 0)).mean(axis=1) - readings.magnitude)

    # Behind a chain that is far off its impedances the median falls before it rises: the smallest magnitude that fits counts.
    off = np.stack([away(np.full(readings.freq_hz.shape, magnitude)) for magnitude in MAGNITUDES])
    off[np.abs(off) < ROUNDING] = 0
    crossed = off[1:] * off[:-1] <= 0
    nearest = np.abs(off).argmin(axis=0)
    first = np.where(crossed.any(axis=0), crossed.argmax(axis=0), np.minimum(nearest, MAGNITUDES.size - 2))
    at = np.arange(readings.freq_hz.size)
    low, high, rises = MAGNITUDES[first], MAGNITUDES[first + 1], off[first + 1, at] > off[first, at]
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        beyond = (away(middle) > 0) == rises
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return np.where(crossed.any(axis=0), (low + high) / 2, MAGNITUDES[nearest]), None


def recover(
    setup: Setup,
    readings: Readings,
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
    digits: int = 1,
) -> Recovery:
    """Recover the true match from readings taken with a set-up.

    Parameters
    ----------
    setup : the set-up the readings were taken with.
    readings : the readings, in the plane's reference.
    draws : simulated measurements for the interval, rounded up to whole thousands, at least 1000; as many as `digits` needs if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.
    digits : significant digits wanted of the interval's ends, 1 or 2.

    Returns
    -------
    Recovery.

    Raises
    ------
    RangeError : every reading lies above what any passive antenna can give with this chain.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import load_setup, recover
    >>> found = recover(load_setup("demo/boathouse.toml"), "VSWR 1.15 at 210 MHz")
    >>> bool(found.low[0] < found.true_vswr[0] < found.high[0] <= found.bound_high[0]), found.verdict
    (True, 'not proven')

    Source
    ------
    Interval: `chain.uncertainty.one_sided_tests`; sweep: `chain.uncertainty.whole_sweep`. Bound: `chain.uncertainty.bounds`.
    Mismatch loss: -10 log10(1 - m^2).
    """
    measurement = measurement_of(setup, build(setup, readings.freq_hz))
    if readings.repeats > 1:
        # The mean of n complex readings has a root of n less noise; every other error is common to them and stays.
        measurement = replace(measurement, noise_factor=1 / np.sqrt(readings.repeats))
    known, bounds = nominal_maps(measurement), partial(bounded, measurement, readings, in_db=_in_db(setup, readings))
    magnitude, far = _nominal(known, readings)
    seen = _observed(known, readings)
    remarks: tuple[str, ...] = ()
    if far is not None and setup.far.antenna_q and measurement.noise:
        measurement, seen, remarks = _averaged(measurement, known, far, seen, setup.far.antenna_q)
        # Noise may take a mean out of the unit disc, where no passive antenna is.
        magnitude = np.minimum(seen.size, 1.0)
        assert seen.phase_rad is not None
        far = seen.size * np.exp(1j * seen.phase_rad)
    limit = None if setup.far.limit_vswr is None else float(magnitude_from_vswr(setup.far.limit_vswr))
    members = [span for _, span in channel_members(setup, readings.freq_hz)]
    strict = strict_shares(readings.freq_hz.size, members)

    kept = Kept()

    def make(count: int | None) -> Intervals:
        return intervals(measurement, seen, limit, strict, count, seed, progress, kept)

    works = bounds, partial(settled_intervals, make, draws, digits)
    (bound, refused), (found, accuracy) = _both(works, readings.freq_hz.size, draws)
    low, high = _inside(found, bound, magnitude)
    judged = judge(setup, measurement, readings, seen, found, (low, high), magnitude, seed, progress, kept)
    decides = np.zeros(high.shape, bool) if members else np.ones(high.shape, bool)
    for span in members:
        decides[span] = True
    possible = [at for at in worst_first(judged.verdicts, magnitude, high) if not np.isnan(high[at])]
    worst = next((at for at in possible if decides[at]), possible[0])
    sizes = _Sizes(magnitude, far, low, high, decides, worst, limit)
    explained = _explained(setup, measurement, readings, sizes, seed)
    return Recovery(
        **_judged(setup, (low, high), judged),
        **_identity(
            setup,
            measurement,
            readings,
            (*remarks, *judged.remarks, *_coarse(known, readings, sizes), *draws_remark(draws)),
        ),
        true_vswr=np.where(np.isnan(bound[0]), np.nan, vswr(magnitude)),
        true_reflection=far,
        true_ohm=None if far is None else _ohm(far, measurement.far_ohm),
        bound_low=vswr(bound[0]),
        bound_high=vswr(bound[1]),
        mismatch_loss_db=mismatch_loss_db(magnitude),
        ceiling_vswr=float(vswr(known.ceiling().max())),
        coverage=found.coverage,
        excluded_share=_excluded(measurement, readings, seed),
        seed=found.seed,
        draws=found.draws,
        accuracy=accuracy,
        **vars(explained),
        refused=refused,
    )


def _both(works: tuple[Callable[[], Any], Callable[[], Any]], points: int, draws: int | None) -> Iterable[Any]:
    """Bounds and intervals: many small steps beside few long ones."""
    # Where those are short, threads wait for one another longer than the work takes; of many points both want much memory.
    beside = points <= BLOCK and points * (draws or draw_count(points)) >= LONG
    return (in_order if beside else map)(lambda work: work(), works)


@dataclass(frozen=True)
class _Sizes:
    """True reflections found and their intervals, which points decide, the worst of them, and the limit."""

    magnitude: Real
    far: Complex | None
    low: Real
    high: Real
    decides: NDArray[np.bool_]
    worst: int
    limit: float | None


COARSE = 0.5
"""Share of an interval's width from which its reading's last digit is spoken of: without it a seventh would be gone."""


def _coarse(known: Maps, readings: Readings, sizes: _Sizes) -> tuple[str, ...]:
    """What to say where the digits of the worst reading make much of its interval.

    Source: dG/dM = (p - q r)/(p - r M)^2 of the inverse map, times half a step either way.
    """
    at = sizes.worst
    if readings.rounding is None:
        return ()
    p, q, r = (complex(each[0, at]) for each in (known.p, known.q, known.r))
    read = readings.magnitude[at] if readings.reflection is None else readings.reflection[at]
    wide = 2 * float(readings.rounding[at]) * abs(p - q * r) / abs(p - r * complex(read)) ** 2
    if wide < COARSE * (sizes.high[at] - sizes.low[at]):
        return ()
    return ("its last digit makes much of the interval: give one digit more, if the screen shows it",)


@dataclass(frozen=True)
class _Explained:
    """What is reported besides the interval itself, under the names of `Recovery`."""

    contributions: tuple[Share, ...]
    typical_share: float
    improvement: SetupChange | None
    linear: Linear | None
    region: Ellipse | None


def _explained(setup: Setup, measurement: Measurement, readings: Readings, sizes: _Sizes, seed: int) -> _Explained:
    """Causes, improvement, linear answer and region."""
    far, size = sizes.far, float(sizes.magnitude[sizes.worst])

    def improvement() -> SetupChange | None:
        return _settled_by_averaging(setup, measurement, sizes, seed) or _improvement(setup, readings, sizes, seed)

    def causes() -> tuple[tuple[Share, ...], float]:
        shares = contributions(measurement, size, seed)
        return shares, typical_share(setup, measurement, shares, size, seed)

    def shape() -> tuple[Linear | None, Ellipse | None]:
        if far is None:
            return None, None
        return _linear(measurement, far), _region(measurement, far, seed) if far.size <= MOST_REGIONS else None

    works: tuple[Callable[[], Any], ...] = improvement, causes, shape
    # Threads would only slow down small steps; those of a long sweep are none.
    share = in_order if far is not None and far.size > BLOCK else map
    better, (shares, typical), (line, region) = share(lambda work: work(), works)
    return _Explained(shares, typical, better, line, region)


def _settled_by_averaging(setup: Setup, measurement: Measurement, sizes: _Sizes, seed: int) -> SetupChange | None:
    """Averaging, where at a far plane noise alone may keep the worst of many points from being proven."""
    far, worst, limit = sizes.far, sizes.worst, sizes.limit
    if far is None or limit is None or not measurement.noise or measurement.standards is None:
        return None
    size = np.abs(far)
    if not size[worst] <= limit < sizes.high[worst]:
        return None
    here = slice(worst, worst + 1)
    # Of n points the largest of a normal error lies about sqrt(2 ln n) deviations up.
    lift = _noise_at_antenna(measurement.at(here), far[here])[0] * np.sqrt(2 * np.log(np.count_nonzero(sizes.decides)))
    several = float(size[worst]), float(median(size[sizes.decides])), float(lift)
    now = float(sizes.low[worst]), float(sizes.high[worst])
    return averaging_that_settles(setup, float(measurement.freq_hz[worst]), several, limit, now, seed)


def _improvement(setup: Setup, readings: Readings, sizes: _Sizes, seed: int) -> SetupChange | None:
    """Improvement of the worst reading, of which the true magnitude and its interval have been found."""
    at, has_phase = sizes.worst, readings.reflection is not None
    now = (sizes.low[at], sizes.high[at])
    # What the digits leave open stays open whatever is changed.
    half = None if readings.rounding is None else float(readings.rounding[at])
    size = float(sizes.magnitude[at])
    return best_improvement(setup, float(readings.freq_hz[at]), size, has_phase, seed, now, half)


def _observed(known: Maps, readings: Readings) -> Observation:
    if readings.reflection is not None:
        return recovered_observation(known, readings.reflection, readings.rounding)
    return Observation(readings.magnitude, None, readings.rounding)


def _inside(found: Intervals, bound: tuple[Real, Real], magnitude: Real) -> tuple[Real, Real]:
    """Intervals that hold their own nominal value and lie within the bound; NaN where nothing possible gives the reading."""
    low, high = np.minimum(found.ends.low, magnitude), np.maximum(found.ends.high, magnitude)
    # An average of several readings may lie outside what one of them alone allows.
    low, high = np.minimum(np.clip(low, *bound), magnitude), np.maximum(np.clip(high, *bound), magnitude)
    return low, high


def _linear(measurement: Measurement, far: Complex) -> Linear:
    from chain.uncertainty.linear import linear

    return linear(measurement, far)


def _region(measurement: Measurement, far: Complex, seed: int) -> Ellipse:
    """Region of the true reflection: the drawn errors about the recovered value, turned round."""
    from chain.uncertainty.coverage_region import ellipse, recovered_trials

    drawn = recovered_trials(measurement, far, BATCH, seed)
    return ellipse(2 * far - drawn)


def _nominal(known: Maps, readings: Readings) -> tuple[Real, Complex | None]:
    """`nominal_truth` of a long sweep, some frequencies at a time."""
    count = readings.freq_hz.size
    if readings.reflection is not None or count <= BLOCK:
        return nominal_truth(known, readings)
    sizes = []
    for start in range(0, count, BLOCK):
        chosen = slice(start, start + BLOCK)
        here = Maps(*(each[:, chosen] for each in (known.p, known.q, known.r)))
        sizes.append(nominal_truth(here, readings.at(chosen))[0])
    return np.concatenate(sizes), None


def _in_db(setup: Setup, readings: Readings) -> bool:
    """Whether this user thinks in return loss: by the limit, without one by what was read."""
    return setup.far.limit_in_db if setup.far.limit_vswr is not None else readings.in_db


def _noise_at_antenna(measurement: Measurement, far: Complex) -> Real:
    """Standard deviation that noise gives either part of a recovered reflection, through pad, standards and correction."""
    found = []
    for start in range(0, far.size, FEW):
        here = slice(start, start + FEW)
        noisy = only(measurement.at(here), "noise")
        maps = recovering(noisy, 0, SEED, start)
        # A complex mean square is that of both parts together, hence the half.
        found.append(np.sqrt(np.mean(np.abs(maps.reading(far[here]) - far[here]) ** 2, axis=0) / 2))
    return np.concatenate(found)


def _averaged(
    measurement: Measurement, known: Maps, far: Complex, seen: Observation, antenna_q: float
) -> tuple[Measurement, Observation, tuple[str, ...]]:
    """The recovered reflections averaged within a third of the narrowest resonance, unless they move more than their noise."""
    # Derivative of (p G + q) / (r G + 1): what averaging adds at the antenna is added to the digits on the screen.
    slope = np.abs((known.p - known.q * known.r) / (known.r * far + 1) ** 2)[0]
    made = averaged(measurement.freq_hz, far, _noise_at_antenna(measurement, far), antenna_q)
    if not made.accepted:
        remarks = f"antenna_q = {antenna_q:g}: the sweep moves by more than its noise, so that nothing is averaged"
        return measurement, seen, (remarks,)
    digits = np.zeros(far.shape) if seen.rounding is None else seen.rounding
    narrower = replace(measurement, noise_factor=measurement.noise_factor * made.noise_factor)
    added = digits + made.error * slope
    return narrower, Observation(np.abs(made.reflection), np.angle(made.reflection), added), ()


def _judged(setup: Setup, ends: tuple[Real, Real], judged: Judgement) -> dict[str, Any]:
    """Interval as VSWR with the verdicts that follow; channels, where there are any, decide."""
    return {
        "low": vswr(ends[0]),
        "high": vswr(ends[1]),
        "verdicts": judged.verdicts,
        "grades": judged.grades,
        "chance_at_limit": judged.chance_at_limit,
        "verdict": judged.verdict,
        "grade": judged.grade,
        "level": judged.level,
        "channels": judged.channels,
        "limit_vswr": setup.far.limit_vswr,
        "limit_in_db": setup.far.limit_in_db,
    }


def _identity(setup: Setup, measurement: Measurement, readings: Readings, remarks: tuple[str, ...]) -> dict[str, Any]:
    """What was measured, where and in which references."""
    return {
        "title": setup.title,
        "plane": setup.calibration.plane,
        "reading_ohm": measurement.reading_ohm,
        "far_ohm": measurement.far_ohm,
        "interpretation": readings.interpretation + _digits(readings),
        "turned": items_to_turn(setup),
        "freq_hz": readings.freq_hz,
        "reading_vswr": vswr(readings.magnitude),
        "reading_reflection": readings.reflection,
        "middle_of": middles(setup, readings.freq_hz),
        "setup_channels": tuple(name for name, _, _ in setup.sweep.channels),
        "whole": _whole(setup, readings.freq_hz),
        "named": tuple(float(each) in readings.channel_hz for each in readings.freq_hz),
        "assumed": setup.assumed,
        "warnings": (*setup.warnings, *readings.warnings, *setup.sweep.without(readings.freq_hz), *remarks),
    }


def _digits(readings: Readings) -> str:
    """What the digits of the readings were taken for, which differs between a typed reading and a column."""
    if readings.rounding is None or not readings.rounding.any():
        return ""
    most = float(readings.rounding.max())
    return (
        f"; half a step of the last digit either way counts, a typed reading by its own digits, a column by its finest: up to "
        f"{most:.1g} in |reflection|"
    )


def _whole(setup: Setup, freq_hz: Real) -> bool:
    """Whether every channel of a set-up was read, or without channels its sweep from end to end."""
    if setup.sweep.channels:
        members = {name for (name, _, _), _ in channel_members(setup, freq_hz)}
        return {name for name, _, _ in setup.sweep.channels} <= members | set(middles(setup, freq_hz))
    widest = (setup.sweep.stop_hz - setup.sweep.start_hz) / FEWEST_STEPS
    return bool(np.diff(freq_hz, prepend=setup.sweep.start_hz, append=setup.sweep.stop_hz).max() <= widest)


def _ohm(far: Complex, far_ohm: float) -> Complex:
    # An open antenna has no finite impedance, which is no error.
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(far_ohm * (1 + far) / (1 - far))


def _excluded(measurement: Measurement, readings: Readings, seed: int) -> float:
    """Share of the recovered reflections, over drawn chains, that lie outside the unit disc: a diagnostic, never a filter."""
    step = max(1, -(-readings.freq_hz.size // MOST_FREQUENCIES))
    chosen = slice(0, None, step)
    maps = simulate(measurement.at(chosen), 0, seed)
    if readings.reflection is not None:
        seen = np.broadcast_to(readings.reflection[chosen], maps.p.shape)
    else:
        turn = np.random.default_rng(seed).random((BATCH, 1))
        seen = readings.magnitude[chosen] * np.exp(2j * np.pi * turn)
    return float(np.mean(np.abs(maps.recovered(seen)) > 1))
