"""Installations drawn whole: every unknown at once, so that margins at different outlets and channels go together.

One channel after another is solved for all draws, a block at a time; what is kept are the ends of intervals and, for each
draw, whether everything works. Memory does not grow with the number of channels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.reception.elements import Compiled, DrawStock, compile_tree
from chain.reception.formulas import DBUV_OF_DBM, T0_K, antenna_noise_k, noise_dbuv
from chain.reception.levels import Nominal, amplifier_ports, nominal_levels, on_the_way, receiver_factors
from chain.reception.network import Plan, plan_of, solve
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet
from chain.reception.sections import reflection_at
from chain.rf.elements import limit_radius
from chain.uncertainty.parallel import go_on, in_order, thread_count
from library.reception import Amplifier

__all__ = ["DRAWS", "TAIL", "DrawnMargins", "draw_margins", "drawn_rooms", "room_ends"]

DRAWS = 4000
TAIL = 0.025
"""Share of the draws left out at either end: two-sided 95 %."""
VALUES_AT_ONCE = 320_000
"""Ports times draws solved at once: a block that the processor's caches hold."""
OUTLETS_AT_ONCE = 32
LEAST = np.float32(1e-20)
"""Power below which nothing is distinguished: single precision ends near it."""
Array = NDArray[Any]


@dataclass(frozen=True)
class DrawnMargins:
    """Ends over the draws; arrays of shape (2, outlets, channels) hold the low end and the high end."""

    level_dbuv: Real
    cni_db: Real
    probability: Real
    """Share of the draws in which the channel works at the outlet, shape (outlets, channels)."""
    outlet_probability: Real
    """Share in which every channel works at the outlet."""
    joint_probability: float
    """Share in which every channel works at every outlet with a receiver."""
    total_dbuv: Real
    """Total at each outlet, shape (2, outlets)."""
    draws: int
    seed: int
    worst_room_db: Real
    """In each draw the least room to any limit, over all outlets with a receiver and all channels."""
    end_error_db: float
    """By how much another seed moves the low ends of margins, at most."""


@dataclass(frozen=True)
class _Common:
    """What the draws of all channels share, in single precision."""

    field_db: Array
    """Shape (sources, draws)."""
    antenna_db: Array
    turn: Array
    disc: Array
    starts: Array
    """Where each outlet's draws begin in the stock: of its reflection, of its noise figure; shape (2, outlets)."""
    products: dict[tuple[str, ...], Array]
    """By the amplifiers on the way: products over carrier as a ratio of powers, shape (channels, draws)."""


@dataclass(frozen=True)
class _Ends:
    """What is kept of one channel: low and high ends of level and ratio (as powers), and per draw what works and adds up."""

    level: Array
    ratio: Array
    probability: Array
    works: Array
    power: Array
    room: Array
    """Least room in each draw over the outlets with a receiver, as a ratio of powers."""
    shift: float


def draw_margins(
    nominal: Nominal, draws: int = DRAWS, seed: int = 0, progress: Callable[[float], None] | None = None
) -> DrawnMargins:
    """Margins over draws of everything that is not known.

    Field spread normal, once a signal; gains, losses, noise figures and cables rectangular; junctions uniform in their
    discs; one outdoor temperature. Source: JCGM 101 (propagation of distributions).
    """
    installation = nominal.compiled.installation
    channels, outlets = installation.channels, installation.outlets
    compiled = compile_tree(installation, np.array([channel.centre_hz for channel in channels]))
    stock = DrawStock(draws, len(installation.items), len(compiled.types), seed)
    common = _common(nominal, compiled, stock)
    shape = (len(outlets), len(channels))
    level, ratio, probability = np.empty((2, *shape)), np.empty((2, *shape)), np.empty(shape)
    works = np.ones((len(outlets), draws), dtype=bool)
    strong = 10 ** (nominal.total_dbuv / 10) - (10 ** (nominal.level_dbuv / 10)).sum(axis=1)
    total = np.repeat(strong[:, None].astype(np.float32), draws, axis=1)
    room = np.full(draws, np.inf, dtype=np.float32)
    shift = 0.0
    # A few channels at a time: what waits to be added up stays small.
    together = 2 * thread_count()
    for first in range(0, len(channels), together):
        some = range(first, min(first + together, len(channels)))
        for number, found in zip(
            some, in_order(lambda n: _channel(nominal, compiled, n, stock, common), some), strict=True
        ):
            level[:, :, number], ratio[:, :, number] = found.level, found.ratio
            probability[:, number] = found.probability
            works &= np.unpackbits(found.works, axis=1, count=draws).view(bool)
            total += found.power
            room = np.minimum(room, found.room)
            shift = max(shift, found.shift)
        if progress:
            progress(some[-1] / len(channels))
    limits = [outlet.receiver.overload_dbm + DBUV_OF_DBM if outlet.receiver else 300.0 for outlet in outlets]
    most = (10 ** (np.array(limits, dtype=np.float32) / 10))[:, None]
    works &= total <= most
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
        shift,
    )


def _ends(values: Array, error: bool = False) -> Array:
    """Low and high end along draws: the k-th smallest and largest, k = 2.5 % of them.

    With `error` also the values one standard deviation of a rank either side of the low end: `sqrt(N p (1 - p))`, binomial.
    """
    count = values.shape[-1]
    low = max(int(np.floor(TAIL * count)) - 1, 0)
    at = [low, count - 1 - low]
    if error:
        step = int(np.ceil(np.sqrt(count * TAIL * (1 - TAIL))))
        at += [max(low - step, 0), low + step]
    # A full sort of single precision runs in vector instructions and beats a partition.
    return np.asarray(np.sort(values, axis=-1)[..., at]).transpose(1, 0)


def _common(nominal: Nominal, compiled: Compiled, stock: DrawStock) -> _Common:
    installation, rng, count = compiled.installation, stock.rng, stock.count
    spread = np.array([[source.spread_db] for source in installation.sources])
    tolerance = installation.antenna.gain_tolerance_db
    field = (spread * rng.standard_normal((len(installation.sources), count))).astype(np.float32)
    antenna = (tolerance * rng.uniform(-1, 1, count)).astype(np.float32)
    turn = np.exp(2j * np.pi * rng.random(count)).astype(np.complex64)
    disc = (np.sqrt(rng.random(count)) * np.exp(2j * np.pi * rng.random(count))).astype(np.complex64)
    outlets = len(installation.outlets)
    starts = rng.permutation(stock.SIZE)[: 2 * outlets].reshape(2, outlets)
    found = _Common(field, antenna, turn, disc, starts, {})
    ratios: dict[str, Array] = {}
    for number, port in amplifier_ports(compiled).items():
        name = installation.items[number].id
        steps, shift = _amplifier_steps(nominal, compiled, stock, found, number, port)
        distance = nominal.amplifier_distance_db[name].astype(np.float32)[:, None] + steps - 3 * shift
        ratios[name] = 10 ** (np.clip(-distance, -200, 200) / 10)
    nothing = np.full((len(installation.channels), 1), 1e-20, dtype=np.float32)
    for way in {_amplifiers_before(compiled, int(port)) for port in compiled.plan.outlets}:
        found.products[way] = np.asarray(sum((ratios[name] for name in way), nothing), dtype=np.float32)
    return found


def _amplifiers_before(compiled: Compiled, port: int) -> tuple[str, ...]:
    """Amplifiers between the antenna and a port."""
    items = compiled.installation.items
    way = [items[number] for number in on_the_way(compiled, port)]
    return tuple(item.id for item in way if isinstance(item.part, Amplifier))


def _amplifier_steps(
    nominal: Nominal, compiled: Compiled, stock: DrawStock, common: _Common, number: int, port: int
) -> tuple[Array, Array]:
    """How the carriers at an amplifier's output, and their total, depart from nominal in each draw [dB].

    Into 75 ohm, as outputs are rated. The way from the antenna is solved with the draws that the whole tree takes, all
    other branches ended in 75 ohm.
    """
    installation, block = compiled.installation, stock.block(0, stock.count)
    way = on_the_way(compiled, port)
    items = [installation.items[each] for each in way]
    alone = replace(compiled, plan=_plan_along(items, way), fixed={}, stacked={})
    plan = alone.plan
    ends = np.zeros((len(plan.outlets), 1), dtype=np.complex64)
    nothing = np.zeros((len(plan.ports), 1), dtype=np.float32)
    cold = np.zeros(stock.count, dtype=np.float32)
    nominal_db = nominal.amplifier_levels_dbuv[installation.items[number].id]
    steps = np.empty((len(installation.channels), stock.count), dtype=np.float32)
    for row, channel in enumerate(installation.channels):
        go_on()
        found, spread = installation.sources[channel.signal], common.field_db[channel.signal]
        if found.kind == "level" and found.at != ANTENNA:
            # Measured behind: what the way to the amplifier does is in the level already.
            steps[row] = spread
            continue
        source = _source(installation, np.array([channel.centre_hz]), common, 0, stock.count)
        solved = solve(plan, alone.drawn(row, block), source, cold, ends, nothing)
        out = plan.outlets[0]
        into = solved.gain[out] * (1 - np.abs(solved.source[out]) ** 2)
        available = _at_antenna(nominal, row, common, into, np.ones_like(into), source)
        steps[row] = 10 * np.log10(np.maximum(into * available, LEAST)) - nominal_db[row]
    power = 10 ** (nominal_db / 10)
    count = len(installation.channels)
    total = power[:count] @ 10 ** (steps / 10) + power[count:].sum()
    return steps, (10 * np.log10(total / power.sum())).astype(np.float32)


def _plan_along(items: Sequence[InstalledItem], way: Sequence[int]) -> Plan:
    """Order of solution of a way alone, its items numbered as in the whole; its last output is the first outlet."""
    used = {item.after for item in items}
    idle = [each for item in items for each in item.outputs if each not in used]
    found = plan_of(items, [Outlet(each, each, None, "load") for each in reversed(idle)])
    numbers = np.array(way)
    return replace(found, groups=tuple(replace(each, items=numbers[each.items]) for each in found.groups))


def _channel(nominal: Nominal, compiled: Compiled, number: int, stock: DrawStock, common: _Common) -> _Ends:
    """One channel at every outlet in every draw: solved in blocks of draws, then judged a few outlets at a time."""
    installation, plan = compiled.installation, compiled.plan
    freq = np.array([installation.channels[number].centre_hz])
    radii = [0.0 if outlet.end else _end_radius(outlet.receiver, freq) for outlet in installation.outlets]
    fixed = np.array([_end(outlet) for outlet in installation.outlets], dtype=np.complex64)[:, None]
    reach = np.array(radii, dtype=np.float32)[:, None]
    hot = np.float32(antenna_noise_k(installation.antenna.noise, installation.antenna.noise_k, freq)[0])
    others = nominal.other_k[:, [number]].astype(np.float32)
    gain = np.empty((len(installation.outlets), stock.count), dtype=np.float32)
    rest, kelvin = np.empty_like(gain), np.empty_like(gain)
    size = int(np.clip(VALUES_AT_ONCE // max(len(plan.ports), 1), 100, stock.count))
    for first in range(0, stock.count, size):
        go_on()
        last = min(first + size, stock.count)
        source = _source(installation, freq, common, first, last)
        ends = fixed + reach * stock.disc_runs[common.starts[0], first:last]
        values = compiled.drawn(number, stock.block(first, last))
        found = solve(plan, values, source, np.full(last - first, hot, dtype=np.float32), ends, others)
        gain[:, first:last] = found.gain[plan.outlets]
        seen = found.source[plan.outlets]
        rest[:, first:last] = 1 - np.abs(seen) ** 2
        kelvin[:, first:last] = found.kelvin[plan.outlets]
    return _judged(nominal, number, stock, common, (gain, rest, kelvin))


def _judged(
    nominal: Nominal, number: int, stock: DrawStock, common: _Common, solved: tuple[Array, Array, Array]
) -> _Ends:
    """Ends of level and carrier-to-disturbance ratio at every outlet, and the draws in which the channel works there.

    All in powers: an end of an interval is the same draw in decibels.
    """
    installation, channel = nominal.compiled.installation, nominal.compiled.installation.channels[number]
    gain, rest, kelvin = solved
    freq = np.array([channel.centre_hz])
    ways = [_amplifiers_before(nominal.compiled, int(port)) for port in nominal.compiled.plan.outlets]
    factors = receiver_factors(installation).astype(np.float32)
    spread = [[each.receiver.noise_figure_tolerance_db if each.receiver else 0.0] for each in installation.outlets]
    tolerance = np.array(spread, dtype=np.float32)
    source = _source(installation, freq, common, 0, stock.count)
    carrier = _at_antenna(nominal, number, common, gain, rest, source)
    noise = np.float32(10 ** (noise_dbuv(channel.bandwidth_hz) / 10))
    low, high = (_power(each) for each in (channel.window_low_dbuv, channel.window_high_dbuv))
    enough = np.float32(10 ** ((channel.need_db + channel.margin_db) / 10))
    outlets = len(installation.outlets)
    level, ratio, works = np.empty((2, outlets)), np.empty((2, outlets)), []
    shift = 0.0
    probability = np.empty(outlets)
    listened = np.array([not outlet.end for outlet in installation.outlets])
    least = np.full(stock.count, np.inf, dtype=np.float32)
    for first in range(0, outlets, OUTLETS_AT_ONCE):
        some = slice(first, min(first + OUTLETS_AT_ONCE, outlets))
        tilt = stock.flat_runs[common.starts[1, some]]
        factor = factors[some] * np.exp(tolerance[some] * np.float32(np.log(10) / 10) * tilt) / rest[some]
        # Noise over carrier, and the products of the amplifiers on the way over carrier.
        disturbed = noise * (kelvin[some] / np.float32(T0_K) + factor - 1) / np.maximum(carrier * gain[some], LEAST)
        for row, way in enumerate(ways[some]):
            disturbed[row] += common.products[way][number]
        quality = np.reciprocal(disturbed)
        arrived = rest[some]
        arrived *= gain[some]
        arrived *= carrier
        np.maximum(arrived, LEAST, out=arrived)
        room = quality / enough
        if low is not None:
            np.minimum(room, arrived / low, out=room)
        if high is not None:
            np.minimum(room, high / arrived, out=room)
        if listened[some].any():
            np.minimum(least, room[listened[some]].min(axis=0), out=least)
        fine = room >= 1
        probability[some] = fine.mean(axis=1)
        works.append(np.packbits(fine, axis=1))
        level[:, some] = _ends(arrived)
        *ratio[:, some], below, above = _ends(quality, error=True)
        shift = max(shift, float(10 * np.log10(above / below).max()))
    # Two seeds differ by sqrt 2 times the standard deviation of one; twice that is reported.
    return _Ends(level, ratio, probability, np.concatenate(works), rest, least, float(np.sqrt(2)) * shift)


def _power(dbuv: float | None) -> Any:
    return None if dbuv is None else np.float32(10 ** (dbuv / 10))


def _end(outlet: Any) -> float:
    return 1.0 if outlet.end == "open" else (outlet.end_ohm - 75) / (outlet.end_ohm + 75) if outlet.end else 0.0


def _end_radius(receiver: Any, freq: Real) -> float:
    found = limit_radius(receiver.limit, freq) if receiver else None
    return 0.0 if found is None else float(found[0])


def _source(installation: Installation, freq: Real, common: _Common, first: int, last: int) -> Array:
    """The antenna's reflection in a block of draws."""
    match = installation.antenna.match
    found, high = reflection_at(match, freq)
    part = slice(first, last)
    if match.kind == "known":
        return np.asarray(found + (high - np.abs(found)) * common.disc[part], dtype=np.complex64)
    if match.kind == "ring":
        size = np.minimum(np.abs(found) + (high - np.abs(found)) * common.disc[part].real, 0.99)
        return np.asarray(size * common.turn[part], dtype=np.complex64)
    return np.asarray(np.abs(found) * common.disc[part], dtype=np.complex64)


def _at_antenna(nominal: Nominal, number: int, common: _Common, gain: Array, rest: Array, source: Array) -> Array:
    """Available power at the antenna in each draw; a level measured at an outlet takes the way there off again."""
    installation = nominal.compiled.installation
    channel = installation.channels[number]
    found = installation.sources[channel.signal]
    spread = common.field_db[channel.signal]
    if found.kind != "level":
        return np.asarray(10 ** ((np.float32(nominal.antenna_dbuv[number]) + common.antenna_db + spread) / 10))
    measured = 10 ** ((np.float32(found.value) + spread) / 10)
    if found.at == ANTENNA:
        return np.asarray(measured / (1 - np.abs(source) ** 2), dtype=np.float32)
    place = [outlet.id for outlet in installation.outlets].index(found.at)
    return np.asarray(measured / (gain[place] * rest[place]), dtype=np.float32)


SHARED_WORK = 3e7
"""Ports times channels times draws spent on all alternatives together."""
FEWEST, MOST = 250, 2000


def drawn_rooms(installations: Sequence[Installation], seed: int = 0) -> list[Real]:
    """The least room of several installations in the same draws, so that they may be held against each other [dB].

    Source: `draw_margins`; common random numbers: field, antenna, weather and cables are the same in all of them.
    """
    if not installations:
        return []
    size = max((len(each.items) + len(each.outlets) + 1) * len(each.channels) for each in installations)
    draws = int(np.clip(SHARED_WORK / (size * len(installations)), FEWEST, MOST))
    return [draw_margins(nominal_levels(each), draws, seed).worst_room_db for each in installations]


def room_ends(rooms_db: Real) -> tuple[float, float]:
    """Ends that hold 95 % of drawn figures [dB]."""
    low, high = _ends(np.asarray(rooms_db)[None, :])[:, 0]
    return float(low), float(high)
