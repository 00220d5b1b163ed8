"""What makes the uncertainty and what would shrink it: contributions of the unknowns, and the cheapest improvement."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import NamedTuple

import numpy as np

from chain.arrays import Real
from chain.assembly.cascade import build
from chain.errors import ChainError
from chain.reflection import vswr
from chain.results import SEED
from chain.setups import Item, Setup, exact_values, figure_standings, standing
from chain.uncertainty.contributions import largest, linear_shares, names, only
from chain.uncertainty.intervals import interval_of
from chain.uncertainty.measurement import Measurement, measurement_of, recovering
from chain.uncertainty.streams import BATCH, halved
from library.frozen import dataclass
from library.parts import Library
from library.records import Adapter, Limit, Pad, Part

TYPICAL = ("memory", "practice")
"""Evidence that is a typical value and no document."""


MOST_FREQUENCIES = 21
MOST_POINTS = 11
"""Frequencies at which changes of a set-up are compared."""
DRAWS = 16_000
"""Simulated measurements for each interval that is compared."""
WORTH = 2 / 3
"""An improvement counts as enough if it leaves no more than this share of the interval's width."""

BETTER_DB = 32.3
"""Return loss of a precision adapter or a good pad (VSWR 1.05)."""

REPLACED = ("adapter", "pad")
"""Kinds of change that put a better part in an item's place."""
FREE = ("free", "joints", "plane")
"""Kinds of change that cost care and no money: the best of all of them is named."""
SWEEPS = 4
PILOTS = ((500, 8), (4_000, 1))
"""Of more changes of one kind than the second figure, so many trials pick those that go on."""
MOST_ALONE = 24
"""Unknowns that are drawn alone; the rest of a long chain goes by its linear shares."""
MOST_SWEEPS = (4, 9, 16)
"""Numbers of sweeps that are worth averaging by hand."""
GOOD_LOAD_DB = 40.0
TIED = 0.012
"""Widths of intervals closer than this have no order that another seed keeps; such changes are named together [-]."""
RESOLVED = 0.004
"""Widths of intervals closer than this count as equal: the simulation resolves them no better [-]."""


@dataclass(frozen=True)
class Share:
    """An unknown's share of the mean square error of the recovered reflection, taken alone."""

    id: str
    share: float


@dataclass(frozen=True)
class SetupChange:
    """A change of the set-up with the interval it would give, as VSWR; `now_low` and `now_high` are today's."""

    what: str
    low: float
    high: float
    now_low: float
    now_high: float
    ways: tuple[str, ...] = ()
    """The changes one by one, where several do as well as each other and `what` names them all."""
    items: tuple[str, ...] = ()
    """Ids of the items that would be replaced, any of them."""


def contributions(measurement: Measurement, magnitude: float, seed: int = SEED) -> tuple[Share, ...]:
    """Shares of the unknowns in the error of the recovered reflection, over the band, largest first.

    Source: Mean square deviation with one unknown at a time (JCGM 101, 5.10, one-at-a-time form).
    """
    step = max(1, -(-measurement.freq_hz.size // MOST_FREQUENCIES))
    thin = measurement.at(slice(0, None, step))
    alone = largest(thin, magnitude, MOST_ALONE)
    found = {name: _mean_square(only(thin, name), magnitude, seed) for name in alone}
    if len(alone) < len(names(thin)):
        linear = linear_shares(thin, magnitude)
        # Unknowns that are not drawn alone get their linear shares, on the scale of those that are.
        scale = sum(found.values()) / (sum(linear[name] for name in alone) or 1.0)
        found |= {name: scale * share for name, share in linear.items() if name not in found}
    total = sum(found.values())
    if not total:
        return ()
    shares = (Share(name, value / total) for name, value in found.items())
    return tuple(sorted(shares, key=lambda each: -each.share))


def typical_share(
    setup: Setup, measurement: Measurement, shares: Sequence[Share], magnitude: float, seed: int
) -> float:
    """Share of the error that rests on figures of memory or common practice, which no document backs.

    An unknown that is made of such figures and of better ones is split by what either make of it.
    """
    total = 0.0
    for each in shares:
        found = figure_standings(setup, each.id)
        typical = [figure for figure, kind in found.items() if kind in TYPICAL]
        known = [figure for figure in found if figure not in typical]
        if standing(setup, each.id) not in TYPICAL:
            continue
        if not typical or not known:
            total += each.share
            continue
        # Either kind of figure is drawn with the other exact; what both make together cannot be split otherwise.
        one, other = (_alone(setup, measurement, each.id, values, magnitude, seed) for values in (known, typical))
        total += each.share * (one / (one + other) if one + other else 1.0)
    return total


def _alone(
    setup: Setup, measurement: Measurement, name: str, exact: Sequence[str], magnitude: float, seed: int
) -> float:
    """Mean square error by an unknown of which some figures are exact."""
    freq_hz = measurement.freq_hz[:: max(1, -(-measurement.freq_hz.size // MOST_FREQUENCIES))]
    changed = exact_values(setup, name, exact)
    here = measurement_of(changed, build(changed, freq_hz, fit=False))
    return _mean_square(only(here, name), magnitude, seed) if name in names(here) else 0.0


def _mean_square(measurement: Measurement, magnitude: float, seed: int) -> float:
    maps = recovering(measurement, 0, seed)
    # Which error weighs most depends on the phase of the antenna, which nobody knows beforehand.
    phase = np.exp(2j * np.pi * np.random.default_rng(seed).random((BATCH, 1)))
    far = halved(magnitude * phase, True)
    return float(np.mean(np.abs(maps.reading(far) - far) ** 2))


def interval_at(
    setup: Setup,
    freq_hz: float,
    magnitude: float,
    has_phase: bool,
    seed: int = SEED,
    draws: int = DRAWS,
    rounding: float | None = None,
) -> tuple[float, float]:
    """Interval that the nominal reading of a true magnitude would give, at one frequency, read with digits as rounded."""
    measurement = measurement_of(setup, build(setup, np.array([freq_hz]), fit=False))
    low, high = interval_of(measurement, magnitude, has_phase, draws, seed, rounding)
    return float(low[0]), float(high[0])


def widest_interval(
    setup: Setup, freq_hz: Real, magnitude: float, seed: int, draws: int = DRAWS, library: Library | None = None
) -> tuple[float, float]:
    """The widest interval that the nominal reading of a true magnitude would give at any of some frequencies."""
    measurement = measurement_of(setup, build(setup, freq_hz, library, fit=False))
    low, high = interval_of(measurement, magnitude, setup.near.has_phase, draws, seed)
    worst = int(np.argmax(high - low))
    return float(low[worst]), float(high[worst])


def over_sweep(setup: Setup, change: SetupChange, magnitude: float, seed: int) -> SetupChange:
    """A change with what it gives at the worst of the sweep, before it and after, wherever that is then."""
    points = min(MOST_POINTS, setup.sweep.points)
    freq_hz = np.linspace(setup.sweep.start_hz, setup.sweep.stop_hz, points)
    ways = change.ways or (change.what,)
    changed = [each for _, what, each in improvements(setup) if what in ways] or [setup]
    ends = [widest_interval(each, freq_hz, magnitude, seed) for each in changed]
    now = widest_interval(setup, freq_hz, magnitude, seed)
    then = min(low for low, _ in ends), max(high for _, high in ends)
    low, high, now_low, now_high = (float(vswr(value)) for value in (*then, *now))
    return replace(change, low=low, high=high, now_low=now_low, now_high=now_high)


def improvements(setup: Setup) -> Iterator[tuple[str, str, Setup]]:
    """Single changes that could narrow the interval, cheapest kind first (practice; precision parts keep VSWR 1.05)."""
    calibration, near = setup.calibration, setup.near
    yield from _free(setup)
    if near.repeatability_db is not None and near.repeatability_db < 60:
        steady = replace(near, repeatability_db=60.0)
        text = "clean the joints that are opened and tighten them to torque (repeatability 60 dB)"
        yield "joints", text, replace(setup, near=steady)
    load_db = calibration.load_db
    for item in setup.places_to_calibrate():
        if item.id != calibration.plane:
            # Another plane takes another load: that of the item's end.
            moved = replace(calibration, plane=item.id, load_impedance_ohm=None)
            yield "plane", f"calibrate after '{item.id}'", replace(setup, calibration=moved)
    for index, item in enumerate(setup.items):
        part = item.part
        if isinstance(part, Adapter) and _limit_db(part.limit) < BETTER_DB:
            text = f"a precision adapter (return loss {BETTER_DB:g} dB) in place of '{item.id}'"
            yield "adapter", text, _swapped(setup, index, replace(part, limit=Limit((0.0,), (BETTER_DB,))))
    if calibration.plane != "near" and load_db is not None and load_db < GOOD_LOAD_DB:
        better = replace(calibration, load_db=GOOD_LOAD_DB)
        text = f"a load of {GOOD_LOAD_DB:g} dB return loss for the calibration, all else as it is"
        yield "load", text, replace(setup, calibration=better)
    for index, item in enumerate(setup.items):
        part = item.part
        if isinstance(part, Pad) and part.model == "specification" and _limit_db(part.near_limit) < BETTER_DB:
            limit = Limit((0.0,), (BETTER_DB,))
            better_pad = replace(part, near_limit=limit, far_limit=limit)
            text = f"a better pad (return loss {BETTER_DB:g} dB) in place of '{item.id}'"
            yield "pad", text, _swapped(setup, index, better_pad)


def _free(setup: Setup) -> Iterator[tuple[str, str, Setup]]:
    """Changes that cost nothing but care: no swap, a lead held still, several sweeps averaged."""
    calibration, near = setup.calibration, setup.near
    if calibration.plane != "near" and calibration.swap_adapter:
        kept = replace(calibration, swap_adapter="")
        yield "free", "do not swap the adapter after the calibration", replace(setup, calibration=kept)
    if calibration.plane != "near" and (calibration.flex_deg or calibration.flex_deg_at_1ghz):
        still = replace(calibration, flex_deg=0.0, flex_deg_at_1ghz=0.0)
        yield "free", "hold the lead still from the calibration to the reading", replace(setup, calibration=still)
    if near.trace_noise_db and near.has_phase:
        yield "free", _averaging(setup, SWEEPS), _quiet(setup, SWEEPS)
    yield from _learnt(setup)


def _averaging(setup: Setup, sweeps: int) -> str:
    """What is averaged: behind a far plane the noise of the standards stays in every reading."""
    of = "the same state" if setup.calibration.plane == "near" else "the antenna and of each standard"
    return f"average {sweeps} sweeps of {of}"


def _quiet(setup: Setup, sweeps: int) -> Setup:
    assert setup.near.trace_noise_db is not None
    return replace(setup, near=replace(setup.near, trace_noise_db=averaged_noise_db(setup.near.trace_noise_db, sweeps)))


def averaged_noise_db(noise_db: float, sweeps: int) -> float:
    """Trace noise of the mean of some sweeps; noise of n dB is a deviation of 10^(n/20) - 1, which falls with their root."""
    return float(20 * np.log10(1 + (10 ** (noise_db / 20) - 1) / np.sqrt(sweeps)))


def averaging_that_settles(
    setup: Setup, freq_hz: float, sizes: tuple[float, float, float], limit: float, now: tuple[float, float], seed: int
) -> SetupChange | None:
    """The fewest sweeps whose average would bring the worst of many points within the limit; None where noise is not the reason.

    `sizes`: magnitude of that point, that of a usual one, and by how much noise lifts the worst of so many.

    Source: Independent noise: 1/sqrt(n) of it is left, and of what it lifts the worst point by.
    """
    worst, usual, lift = sizes
    for sweeps in MOST_SWEEPS:
        size = max(min(usual, worst), worst - lift * (1 - sweeps**-0.5))
        low, high = interval_at(_quiet(setup, sweeps), freq_hz, size, True, seed)
        if high <= limit:
            low, high, now_low, now_high = (float(vswr(each)) for each in (low, high, *now))
            return SetupChange(_averaging(setup, sweeps), low, high, now_low, now_high)
    return None


def _learnt(setup: Setup) -> Iterator[tuple[str, str, Setup]]:
    """A pad measured with the analyzer at hand instead of taken by its specification: as good as the analyzer then."""
    near = setup.near
    if not near.has_phase or near.directivity_db is None or near.tracking_db is None:
        return
    for index, item in enumerate(setup.items):
        part = item.part
        if isinstance(part, Pad) and part.model == "specification" and _limit_db(part.near_limit) < near.directivity_db:
            limit = Limit((0.0,), (near.directivity_db,))
            loss_db = min(part.loss_tolerance_db, near.tracking_db)
            known = replace(part, near_limit=limit, far_limit=limit, loss_tolerance_db=loss_db)
            text = (
                f"measure '{item.id}' with this analyzer (chain learn): its reflections are then known to "
                f"{near.directivity_db:g} dB and its loss to {loss_db:g} dB"
            )
            yield "free", text, _swapped(setup, index, known)


def _limit_db(limit: Limit | None) -> float:
    return min(limit.return_loss_db) if limit is not None else 99.0


def _swapped(setup: Setup, index: int, part: Part) -> Setup:
    item: Item = replace(setup.items[index], part=part)
    return replace(setup, items=(*setup.items[:index], item, *setup.items[index + 1 :]))


_Change = tuple[str, str, Setup]


class _Tried(NamedTuple):
    """A change that was tried: the width of its interval, its words, its ends, and the set-up that it makes."""

    width: float
    what: str
    ends: tuple[float, float]
    setup: Setup


def _likeliest(changes: list[_Change], after: Callable[..., tuple[float, float]]) -> list[_Change]:
    """Those of some changes of one kind that narrow most by pilots of few trials."""
    for draws, most in PILOTS:
        if len(changes) > most:
            # On threads this takes longer: single places are many small steps, for which they would only queue.
            widths = [high - low for low, high in (after(change, draws) for change in changes)]
            # Back in their order, in which the cheaper stands first among equals.
            changes = [changes[index] for index in sorted(np.argsort(widths, kind="stable")[:most])]
    return changes


def best_improvement(
    setup: Setup,
    freq_hz: float,
    magnitude: float,
    has_phase: bool,
    seed: int = SEED,
    now: tuple[float, float] | None = None,
    rounding: float | None = None,
) -> SetupChange | None:
    """The cheapest kind of change that takes a third off the interval, the best of its kind; else what takes most.

    `rounding` is half a step of the reading's last digit, as a magnitude.
    """
    low, high = now or interval_at(setup, freq_hz, magnitude, has_phase, seed, DRAWS, rounding)
    best: tuple[float, str, tuple[float, float]] | None = None
    tried: dict[str, _Tried] = {}

    def after(change: _Change, draws: int = DRAWS) -> tuple[float, float]:
        try:
            return interval_at(change[2], freq_hz, magnitude, has_phase, seed, draws, rounding)
        except ChainError:
            return 0.0, np.inf

    for kind, group in groupby(improvements(setup), key=lambda each: "" if each[0] in FREE else each[0]):
        # A dearer kind that does as well but for the simulation is none better.
        enough = np.inf if best is None else best[0] - RESOLVED
        for change in _likeliest(list(group), after):
            what, then = change[1], after(change)
            if kind in REPLACED and then[1] - then[0] < (tried[kind].width if kind in tried else np.inf):
                tried[kind] = _Tried(then[1] - then[0], what, then, change[2])
            if then[1] < np.inf and then[1] - then[0] < enough:
                best = (then[1] - then[0], what, then)
                enough = best[0]
        # A dearer kind is not worth looking at where a cheaper one helps enough.
        if best is not None and best[0] <= WORTH * (high - low):
            break
    if best is None or best[0] >= 0.98 * (high - low):
        return None
    least, most, now_least, now_most = (float(vswr(value)) for value in (*best[2], low, high))
    found = SetupChange(best[1], least, most, now_least, now_most)
    equal = [each for each in tried.values() if abs(each.width - best[0]) <= TIED]
    if best[1] not in [each.what for each in equal]:
        return found
    found = replace(found, items=tuple(_replaced(setup, each.setup) for each in equal))
    return found if len(equal) < 2 else _either(found, equal)


def _either(found: SetupChange, equal: Sequence[_Tried]) -> SetupChange:
    """Changes that do as well as each other, named together; what any of them gives lies within the ends."""
    both = " or ".join(f"'{item}'" for item in found.items)
    return replace(
        found,
        what=f"a better {both} (return loss {BETTER_DB:g} dB)",
        low=float(vswr(min(each.ends[0] for each in equal))),
        high=float(vswr(max(each.ends[1] for each in equal))),
        ways=tuple(each.what for each in equal),
    )


def _replaced(setup: Setup, changed: Setup) -> str:
    """Id of the item that a change replaces."""
    pairs = zip(setup.items, changed.items, strict=True)
    return next((one.id for one, other in pairs if one.part != other.part), "")
