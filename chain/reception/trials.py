"""Installations drawn whole: every unknown at once, so that margins at different outlets and channels go together.

A few channels at a time are solved, block by block of the trials, so that what a block draws serves them all. What is kept are
the ends of intervals and, for each trial, whether everything works. Memory does not grow with the number of channels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.reception.drawn_network import Arrived, solve_trials
from chain.reception.elements import Compiled, RandomPool, TrialBlock, compile_tree
from chain.reception.formulas import T0_K, antenna_noise_k, noise_dbuv
from chain.reception.levels import (
    Nominal,
    amplifier_ports,
    most_in_all_dbuv,
    nominal_levels,
    on_the_way,
    receiver_factors,
)
from chain.reception.network import Plan, plan_of
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet
from chain.reception.sections import reflection_at
from chain.rf.elements import limit_radius
from chain.uncertainty.parallel import go_on, in_order
from library.frozen import dataclass
from library.reception import Amplifier

DRAWS = 4000
TAIL = 0.025
"""Share of the trials left out at either end: two-sided 95 %."""
VALUES_AT_ONCE = 420_000
"""Ports times trials solved at once: a block that the processor's caches hold."""
KEPT_BYTES = 64_000_000
"""Room for what the channels solved together show at all outlets."""
LEAST = np.float32(1e-20)
"""Power below which nothing is distinguished: single precision ends near it."""
MOST_DBUV = np.float32(220)
"""Level at the antenna where any other overload begins to be the same: single precision holds it behind two amplifiers."""
Array = NDArray[Any]


@dataclass(frozen=True)
class DrawnMargins:
    """Ends over the trials; arrays of shape (2, outlets, channels) hold the low end and the high end."""

    level_dbuv: Real
    cni_db: Real
    probability: Real
    """Share of the trials in which the channel works at the outlet, shape (outlets, channels)."""
    outlet_probability: Real
    """Share in which every channel works at the outlet."""
    joint_probability: float
    """Share in which every channel works at every outlet with a receiver."""
    total_dbuv: Real
    """Total at each outlet, shape (2, outlets)."""
    draws: int
    seed: int
    worst_room_db: Real
    """In each trial the least room to any limit, over all outlets with a receiver and all channels."""
    end_error_db: float
    """By how much another seed moves the low ends of margins, at most."""


@dataclass(frozen=True)
class _CommonTrials:
    """What the trials of all channels share, in single precision."""

    field_db: Array
    """Shape (sources, trials)."""
    antenna_db: Array
    turn: Array
    disc: Array
    starts: Array
    """Where each outlet's trials begin in the pool: of its reflection, of its noise figure; shape (2, outlets)."""
    ways: dict[tuple[str, ...], Array]
    """Outlets by the amplifiers on the way."""
    products: dict[tuple[str, ...], Array]
    """By the amplifiers on the way: products over carrier as a ratio of powers, shape (channels, trials)."""


@dataclass(frozen=True)
class _Tally:
    """What adds up over channels: whether an outlet works and its total power in each trial, and the least room of all."""

    works: Array
    total: Array
    room: Array
    fine: Array
    """Whether each channel by itself works at each outlet, a bit a trial; shape (channels, outlets, trials / 8)."""


@dataclass(frozen=True)
class _DrawWork:
    """What every block of trials needs."""

    nominal: Nominal
    compiled: Compiled
    pool: RandomPool
    common: _CommonTrials
    reach: Array
    """How far the reflections of receivers go, shape (outlets, channels)."""
    tally: _Tally


def draw_margins(
    nominal: Nominal, draws: int = DRAWS, seed: int = 0, progress: Callable[[float], None] | None = None
) -> DrawnMargins:
    """Margins over trials of everything that is not known.

    Field spread normal, once a signal; gains, losses, noise figures and cables rectangular; junctions uniform in their
    discs; one outdoor temperature. Source: JCGM 101 (propagation of distributions).
    """
    installation = nominal.compiled.installation
    channels, outlets = installation.channels, installation.outlets
    compiled = compile_tree(installation, np.array([channel.centre_hz for channel in channels]))
    # One stock for all channels: a physical installation does not change from one channel to the next.
    pool = RandomPool(draws, len(installation.items), len(compiled.types), seed)
    # Strong neighbours are no channel and are not drawn: what the nominal total has beyond the channels is theirs.
    strong = np.maximum(10 ** (nominal.total_dbuv / 10) - (10 ** (nominal.level_dbuv / 10)).sum(axis=1), 0)
    total = np.repeat(strong[:, None].astype(np.float32), draws, axis=1)
    room = np.full(draws, np.inf, dtype=np.float32)
    works = np.ones((len(outlets), draws), dtype=bool)
    reach = np.array([_end_radii(outlet, compiled.freq_hz) for outlet in outlets], dtype=np.float32)
    shape = (len(outlets), len(channels))
    bits = np.empty((*shape[::-1], -(-draws // 8)), dtype=np.uint8)
    work = _DrawWork(nominal, compiled, pool, _common(nominal, compiled, pool), reach, _Tally(works, total, room, bits))
    level, ratio, probability = np.empty((2, *shape)), np.empty((2, *shape)), np.empty(shape)
    blocks = _blocks(compiled, draws)
    together = int(np.clip(KEPT_BYTES // (8 * max(works.size, 1)), 1, len(channels)))
    shift = 0.0
    for first in range(0, len(channels), together):
        some = range(first, min(first + together, len(channels)))
        kept = np.empty((2, len(some), len(outlets), draws), dtype=np.float32)
        fine = sum(in_order(lambda part: _block(work, some, part, kept[..., part]), blocks))  # noqa: B023
        probability[:, some] = np.transpose(fine) / draws
        for number, found in zip(some, in_order(lambda n: _channel_ends(kept[:, n]), range(len(some))), strict=True):  # noqa: B023
            level[:, :, number], ratio[:, :, number], moved = found
            shift = max(shift, moved)
        if progress:
            progress(some[-1] / len(channels))
    most = (10 ** (most_in_all_dbuv(installation).astype(np.float32) / 10))[:, None]
    # Overload is of all channels together, so it is judged when the last has been added.
    borne = total <= most
    works &= borne
    overloaded = ~borne.all(axis=1)
    probability[overloaded] = _shares(bits[:, overloaded], borne[overloaded])
    listened = np.array([not outlet.end for outlet in outlets])
    if listened.any():
        room = np.minimum(room, (most[listened] / np.maximum(total[listened], LEAST)).min(axis=0))
    joint = float(works[listened].all(axis=0).mean()) if listened.any() else 1.0
    total_ends = 10 * np.log10(_ends(total))
    return DrawnMargins(
        10 * np.log10(level),
        10 * np.log10(ratio),
        probability,
        works.mean(axis=1),
        joint,
        total_ends,
        draws,
        seed,
        10 * np.log10(np.maximum(room, 1e-30)),
        # Two seeds differ by sqrt 2 times the standard deviation of one; twice that is reported.
        float(np.sqrt(2)) * shift,
    )


def _blocks(compiled: Compiled, draws: int) -> list[slice]:
    """The trials in parts of about equal size."""
    size = np.clip(VALUES_AT_ONCE / len(compiled.plan.ports), 100, draws)
    # Whole bytes of a bit a trial, so that two threads never write to one.
    edges = np.linspace(0, draws, int(np.ceil(draws / size)) + 1).astype(int) // 8 * 8
    edges[-1] = draws
    return [slice(int(first), int(last)) for first, last in pairwise(edges)]


def _shares(bits: Array, borne: Array) -> Array:
    """Share of the trials in which a channel is fine and its outlet's total is borne, shape (outlets, channels)."""
    rows = [np.unpackbits(each, axis=1, count=borne.shape[1]).astype(bool) & borne for each in bits]
    return np.array([row.mean(axis=1) for row in rows]).reshape(len(bits), len(borne)).T


def _ends(values: Array, error: bool = False) -> Array:
    """Low and high end along trials, which are left in order: the k-th smallest and largest, k = 2.5 % of them.

    With `error` also the values one standard deviation of a rank either side of the low end: `sqrt(N p (1 - p))`, binomial.
    """
    count = values.shape[-1]
    # The floor takes the outer of two trial: an interval from few trials is too wide rather than too narrow.
    low = max(int(np.floor(TAIL * count)) - 1, 0)
    at = [low, count - 1 - low]
    if error:
        step = int(np.ceil(np.sqrt(count * TAIL * (1 - TAIL))))
        at += [max(low - step, 0), low + step]
    # A full sort of single precision runs in vector instructions and beats a partition.
    values.sort(axis=-1)
    return np.asarray(values[..., at]).transpose(1, 0)


def _channel_ends(kept: Array) -> tuple[Array, Array, float]:
    """Ends of level and of carrier-to-disturbance ratio at every outlet, as powers, and by how many dB a rank moves the lower."""
    *ratio, below, above = _ends(kept[1], error=True)
    return _ends(kept[0]), np.array(ratio), float(10 * np.log10(above / below).max(initial=0.0))


@lru_cache(maxsize=4)
def _common_numbers(sources: int, count: int, places: int, seed: int) -> tuple[Array, Array, Array, Array, Array]:
    """What is drawn for all channels, before it is spread: many alternatives of one installation ask for the same."""
    rng = np.random.default_rng([seed, 3])
    field, antenna = rng.standard_normal((sources, count)), rng.uniform(-1, 1, count)
    turn = np.exp(2j * np.pi * rng.random(count)).astype(np.complex64)
    # One unknown phase for all channels: the leads, whose lengths are known, turn it from channel to channel.
    disc = (np.sqrt(rng.random(count)) * np.exp(2j * np.pi * rng.random(count))).astype(np.complex64)
    return field, antenna, turn, disc, rng.permutation(places).astype(np.int32)


def _common(nominal: Nominal, compiled: Compiled, pool: RandomPool) -> _CommonTrials:
    installation = compiled.installation
    spread = np.array([[source.spread_db] for source in installation.sources])
    tolerance = installation.antenna.gain_tolerance_db
    field, antenna, turn, disc, places = _common_numbers(len(spread), pool.count, pool.SIZE, pool.seed)
    # Spread over places is log-normal, and so normal in decibels (Rec. ITU-R P.1546); the gain of an antenna is only known to lie in a
    # range.
    field = (spread * field).astype(np.float32)
    antenna = (tolerance * antenna).astype(np.float32)
    outlets = len(installation.outlets)
    starts = places[: 2 * outlets].reshape(2, outlets)
    rows: dict[tuple[str, ...], list[int]] = {}
    for row, port in enumerate(compiled.plan.outlets):
        rows.setdefault(_amplifiers_before(compiled, int(port)), []).append(row)
    ways = {way: np.array(each) for way, each in rows.items()}
    found = _CommonTrials(field, antenna, turn, disc, starts, ways, {})
    ratios: dict[str, Array] = {}
    for number, port in amplifier_ports(compiled).items():
        name = installation.items[number].id
        steps, shift = _amplifier_steps(nominal, compiled, pool, found, number, port)
        # Third order: a carrier's own step raises it, three times the step of the total raises its products.
        distance = nominal.amplifier_distance_db[name].astype(np.float32)[:, None] + steps - 3 * shift
        ratios[name] = 10 ** (np.clip(-distance, -200, 200) / 10)
    for way in ways:
        if way:
            found.products[way] = np.asarray(sum(ratios[name] for name in way), dtype=np.float32)
    return found


def _amplifiers_before(compiled: Compiled, port: int) -> tuple[str, ...]:
    """Amplifiers between the antenna and a port."""
    items = compiled.installation.items
    way = [items[number] for number in on_the_way(compiled, port)]
    return tuple(item.id for item in way if isinstance(item.part, Amplifier))


def _amplifier_steps(
    nominal: Nominal, compiled: Compiled, pool: RandomPool, common: _CommonTrials, number: int, port: int
) -> tuple[Array, Array]:
    """How the carriers at an amplifier's output, and their total, depart from nominal in each trial [dB].

    Into 75 ohm, as outputs are rated. The way from the antenna is solved with the trials that the whole tree takes, all
    other branches ended in 75 ohm.
    """
    installation = compiled.installation
    way = on_the_way(compiled, port)
    items = [installation.items[each] for each in way]
    # Groups are known by their identity, so what is kept for the whole tree's groups must not serve those of the way.
    alone = replace(compiled, plan=_plan_along(items, way), fixed={}, stacked={})
    nominal_db = nominal.amplifier_levels_dbuv[installation.items[number].id]
    steps = np.empty((len(installation.channels), pool.count), dtype=np.float32)
    for _ in in_order(
        lambda part: _block_steps(nominal, alone, pool.block(part), common, nominal_db, steps),
        _blocks(alone, pool.count),
    ):
        pass
    power = 10 ** (nominal_db / 10)
    count = len(installation.channels)
    # Products come from the total, and the total varies less than a carrier: spreads of channels even out.
    total = power[:count] @ 10 ** (steps / 10) + power[count:].sum()
    return steps, (10 * np.log10(total / power.sum())).astype(np.float32)


def _block_steps(
    nominal: Nominal, alone: Compiled, block: TrialBlock, common: _CommonTrials, nominal_db: Real, steps: Array
) -> None:
    """Fill in how carriers behind a way alone depart from nominal, for a block of trials."""
    installation, plan = alone.installation, alone.plan
    ends = np.zeros((len(plan.outlets), 1), dtype=np.complex64)
    nothing = np.zeros((len(plan.ports), 1), dtype=np.float32)
    cold = np.zeros(block.size, dtype=np.float32)
    for row, channel in enumerate(installation.channels):
        go_on()
        found, spread = installation.sources[channel.signal], common.field_db[channel.signal, block.part]
        if found.kind == "level" and found.at != ANTENNA:
            # Measured behind: what the way to the amplifier does is in the level already.
            steps[row, block.part] = spread
            continue
        source = _source(installation, np.array([channel.centre_hz]), common, block.part)
        solved = solve_trials(plan, alone.drawn(row, block), source, cold, ends, nothing)
        # Outputs are rated into 75 ohm, so available power is taken down by the mismatch of the output.
        into = solved.gain[:1] * solved.rest[:1]
        available = _at_antenna(nominal, row, common, solved, source, block.part)
        steps[row, block.part] = 10 * np.log10(np.maximum(into[0] * available, LEAST)) - nominal_db[row]


def _plan_along(items: Sequence[InstalledItem], way: Sequence[int]) -> Plan:
    """Order of solution of a way alone, its items numbered as in the whole; its last output is the first outlet."""
    used = {item.after for item in items}
    idle = [each for item in items for each in item.outputs if each not in used]
    found = plan_of(items, [Outlet(each, each, None, "load") for each in reversed(idle)])
    numbers = np.array(way)
    return replace(found, groups=tuple(replace(each, items=numbers[each.items]) for each in found.groups))


def _block(work: _DrawWork, some: range, part: slice, kept: Array) -> Array:
    """Some channels in a block of trials: level and ratio filled in, as powers; in how many trials each outlet works."""
    installation, plan = work.compiled.installation, work.compiled.plan
    block = work.pool.block(part)
    outlets, starts = installation.outlets, work.common.starts
    discs = block.disc(starts[0])
    spread = np.array([[each.receiver.noise_figure_tolerance_db if each.receiver else 0.0] for each in outlets])
    # A figure in decibels is off evenly in decibels, so its factor is off by an exponential.
    tilt = block.flat(starts[1]) * (spread * np.log(10) / 10).astype(np.float32)
    factor = receiver_factors(installation).astype(np.float32) * np.exp(tilt)
    fixed = np.array([_end(outlet) for outlet in outlets], dtype=np.complex64)[:, None]
    fine = np.empty((len(some), len(outlets)), dtype=np.int64)
    for row, number in enumerate(some):
        go_on()
        freq = np.array([installation.channels[number].centre_hz])
        ends = fixed + work.reach[:, [number]] * discs
        hot = antenna_noise_k(installation.antenna.noise, installation.antenna.noise_k, freq)[0]
        source = _source(installation, freq, work.common, part)
        source_k = np.full(block.size, hot, dtype=np.float32)
        others = work.nominal.other_k[:, [number]].astype(np.float32)
        found = solve_trials(plan, work.compiled.drawn(number, block), source, source_k, ends, others)
        carrier = _at_antenna(work.nominal, number, work.common, found, source, part)
        fine[row] = _judged(work, number, part, found, carrier, factor, kept[:, row])
    return fine


def _judged(
    work: _DrawWork, number: int, part: slice, found: Arrived, carrier: Array, factor: Array, kept: Array
) -> Array:
    """Level and ratio of a channel in a block of trials, filled in and added up; in how many of them each outlet works.

    All in powers: an end of an interval is the same trial in decibels.
    """
    channel, tally = work.nominal.compiled.installation.channels[number], work.tally
    arrived, quality = kept
    noise = np.float32(10 ** (noise_dbuv(channel.bandwidth_hz) / 10))
    low, high = (_power(each) for each in (channel.window_low_dbuv, channel.window_high_dbuv))
    enough = np.float32(10 ** ((channel.need_db + channel.margin_db) / 10))
    # Carrier and noise both available, so that the receiver's own mismatch takes no part in their ratio.
    np.multiply(found.gain, carrier, out=arrived)
    # Noise over carrier, and the products of the amplifiers on the way over carrier.
    # F(Gs) + T/T0 - 1: the receiver's factor counts its source at T0, which the tree's own temperature replaces.
    disturbed = factor / found.rest
    disturbed += found.kelvin / np.float32(T0_K)
    disturbed -= 1
    disturbed *= noise
    disturbed /= np.maximum(arrived, LEAST)
    for way, products in work.common.products.items():
        disturbed[work.common.ways[way]] += products[number, part]
    np.reciprocal(disturbed, out=quality)
    arrived *= found.rest
    np.maximum(arrived, LEAST, out=arrived)
    room = np.divide(quality, enough, out=disturbed)
    if low is not None:
        np.minimum(room, arrived / low, out=room)
    if high is not None:
        np.minimum(room, high / arrived, out=room)
    listened = np.array([not outlet.end for outlet in work.nominal.compiled.installation.outlets])
    if listened.any():
        np.minimum(tally.room[part], room[listened].min(axis=0), out=tally.room[part])
    fine = room >= 1
    tally.works[:, part] &= fine
    tally.total[:, part] += arrived
    tally.fine[number, :, part.start // 8 : -(-part.stop // 8)] = np.packbits(fine, axis=1)
    return np.asarray(fine.sum(axis=1))


def _power(dbuv: float | None) -> Any:
    return None if dbuv is None else np.float32(10 ** (dbuv / 10))


def _end(outlet: Outlet) -> float:
    return 1.0 if outlet.end == "open" else (outlet.end_ohm - 75) / (outlet.end_ohm + 75) if outlet.end else 0.0


def _end_radii(outlet: Outlet, freq: Real) -> Real:
    found = limit_radius(outlet.receiver.limit, freq) if outlet.receiver and not outlet.end else None
    return np.zeros(freq.shape) if found is None else found


def _source(installation: Installation, freq: Real, common: _CommonTrials, part: slice) -> Array:
    """The antenna's reflection in a block of trials."""
    match = installation.antenna.match
    found, high = reflection_at(match, freq)
    if match.kind == "known":
        return np.asarray(found + (high - np.abs(found)) * common.disc[part], dtype=np.complex64)
    if match.kind == "ring":
        # The size within what it was found to, its phase free.
        size = np.abs(found) + (high - np.abs(found)) * common.disc[part].real
        return np.asarray(size * common.turn[part], dtype=np.complex64)
    return np.asarray(np.abs(found) * common.disc[part], dtype=np.complex64)


def _at_antenna(
    nominal: Nominal, number: int, common: _CommonTrials, arrived: Arrived, source: Array, part: slice
) -> Array:
    """Available power at the antenna in each trial; a level measured at an outlet takes the way there off again."""
    installation = nominal.compiled.installation
    channel = installation.channels[number]
    found = installation.sources[channel.signal]
    spread = common.field_db[channel.signal, part]
    if found.kind != "level":
        return _available(np.float32(nominal.antenna_dbuv[number]) + common.antenna_db[part] + spread)
    measured = _available(np.float32(found.value) + spread)
    if found.at == ANTENNA:
        # A meter of 75 ohm at the antenna read what gets through its mismatch; available is more.
        return np.asarray(measured / (1 - np.abs(source) ** 2), dtype=np.float32)
    place = [outlet.id for outlet in installation.outlets].index(found.at)
    # Where nothing arrives no level at the antenna is high enough; the highest there is stands for it.
    least = np.maximum(measured / _power(float(MOST_DBUV)), LEAST)
    return np.asarray(measured / np.maximum(arrived.gain[place] * arrived.rest[place], least), dtype=np.float32)


def _available(dbuv: Array) -> Array:
    """Power of a level, as high as levels are told apart."""
    return np.asarray(10 ** (np.minimum(dbuv, MOST_DBUV) / 10))


SHARED_WORK = 3e7
"""Ports times channels times trials spent on all alternatives together."""
FEWEST, MOST = 250, 2000


def drawn_rooms(installations: Sequence[Installation], seed: int = 0) -> list[Real]:
    """The least room of several installations in the same trials, so that they may be held against each other [dB]."""
    if not installations:
        return []
    size = max((len(each.items) + len(each.outlets) + 1) * len(each.channels) for each in installations)
    draws = int(np.clip(SHARED_WORK / (size * len(installations)), FEWEST, MOST))
    return [draw_margins(nominal_levels(each), draws, seed).worst_room_db for each in installations]


def room_ends(rooms_db: Real) -> tuple[float, float]:
    """Ends that hold 95 % of drawn figures [dB]."""
    low, high = _ends(np.array(rooms_db)[None, :])[:, 0]
    return float(low), float(high)
