"""Levels, noise and intermodulation with every unknown at zero: what the trials spread about, and what explains them."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from chain.arrays import Complex, Real
from chain.reception.elements import Compiled, compile_tree, described_hz
from chain.reception.formulas import (
    DBUV_OF_DBM,
    T0_K,
    antenna_noise_k,
    combined_db,
    cross_modulation_db,
    level_dbuv,
    noise_dbuv,
    products_dbuv,
)
from chain.reception.network import solve
from chain.reception.records import ANTENNA, AntennaMatch, Installation, Outlet
from chain.reception.sections import reflection_at
from library.frozen import dataclass
from library.reception import Amplifier
from library.records import Coax

POINTS = 9
"""Frequencies in each channel, the middle one its centre."""
CENTRE = POINTS // 2
SAMPLES_AT_ONCE = 100_000
"""Ports times frequencies solved at once."""


@dataclass(frozen=True)
class Nominal:
    """Everything nominal. Arrays run over outlets and channels, those `at_port` over ports and channels; levels in dBuV."""

    compiled: Compiled
    other_k: Real
    """As of a `Solution`, at the centre of each channel."""
    antenna_dbuv: Real
    """Available level at the antenna's terminals, per channel."""
    at_port: Real
    """Available level at each port, at the centre of each channel."""
    level_dbuv: Real
    """Into 75 ohm at each outlet."""
    ripple_db: Real
    """Highest less lowest level within a channel."""
    tilt_db_per_mhz: Real
    cn_db: Real
    cim_db: Real
    noise_factor_db: Real
    """System noise figure referred to the antenna's terminals, its own noise counted."""
    total_dbuv: Real
    """Total at each outlet, strong neighbours counted."""
    amplifier_total_dbuv: dict[str, float]
    """Total at the output of each amplifier."""
    amplifier_distance_db: dict[str, Real]
    """Carrier to the products of each amplifier, per channel."""
    amplifier_levels_dbuv: dict[str, Real]
    """Level of each channel at the output of each amplifier, then of each strong neighbour."""

    @cached_property
    def cni_db(self) -> Real:
        """Carrier to noise and intermodulation [dB]."""
        return combined_db(self.cn_db, self.cim_db)


def frequencies(installation: Installation) -> Real:
    """Points of every channel across what its signal fills, then the strong neighbours [Hz]."""
    steps = np.linspace(-0.5, 0.5, POINTS)
    points = [channel.centre_hz + channel.bandwidth_hz * steps for channel in installation.channels]
    low, high = _described(installation)
    return np.concatenate([*points, [min(max(each.freq_hz, low), high) for each in installation.interferers]])


def _described(installation: Installation) -> tuple[float, float]:
    """Span that every part is described for: a strong neighbour outside it is taken at its edge [Hz]."""
    low, high = 0.0, 1e12
    for item in installation.items:
        if isinstance(item.part, Coax) or item.span_hz:
            first, last = described_hz(item)
            low, high = max(low, first), min(high, last)
    return low, high


def end_reflections(installation: Installation) -> Real:
    """Nominal reflection at each outlet: a receiver's unknown counts as none, an open as 1."""
    return np.array(
        [
            1.0 if outlet.end == "open" else (outlet.end_ohm - 75) / (outlet.end_ohm + 75) if outlet.end else 0.0
            for outlet in installation.outlets
        ]
    )[:, None]


def nominal_source(match: AntennaMatch, freq_hz: Real) -> Complex:
    """Reflection of the antenna with its phase left out of account: in quadrature, root mean square of a disc."""
    found, _ = reflection_at(match, freq_hz)
    if match.kind == "known":
        return np.asarray(found)
    # In quadrature neither the sum nor the difference with another reflection is favoured.
    return np.asarray(1j * np.abs(found) * (np.sqrt(0.5) if match.kind == "disc" else 1.0))


def matched_antenna(installation: Installation, size: float | None = None) -> Installation:
    """The same installation with an antenna of a given reflection magnitude at every frequency (none: 0)."""
    match = AntennaMatch("ring", (0.0,), (complex(size or 0.0),))
    return replace(installation, antenna=replace(installation.antenna, match=match))


def on_the_way(compiled: Compiled, port: int) -> list[int]:
    """Items between the antenna and a port, from the antenna on."""
    plan, way = compiled.plan, []
    while port > 0:
        way.append(int(plan.owner[port]))
        port = int(plan.parent[port])
    return way[::-1]


def amplifier_ports(compiled: Compiled) -> dict[int, int]:
    """Output port of each amplifier, by the number of its item."""
    items = compiled.installation.items
    return {
        int(owner): port
        for port, owner in enumerate(compiled.plan.owner)
        if owner >= 0 and isinstance(items[owner].part, Amplifier)
    }


def nominal_levels(installation: Installation) -> Nominal:
    """Solve the tree at nine points of every channel, nominally.

    Source: `C/N = U - kTB - F`, available gain throughout; `U(75) = U_av + 10 log(Ga (1-|Gs|^2))`.
    """
    channels = installation.channels
    freq = frequencies(installation)
    compiled = compile_tree(installation, freq)
    antenna = installation.antenna
    source = nominal_source(antenna.match, freq)
    hot = antenna_noise_k(antenna.noise, antenna.noise_k, freq)
    # Noise and products are taken at the centre: across a channel the level ripples, the noise of the tree hardly does.
    count = len(channels) * POINTS
    middle = np.array([*range(CENTRE, count, POINTS), *range(count, freq.size)])
    found = _solved(compiled, source, hot, middle)
    # Columns over all these frequencies take tens of megabytes in a large tree, and nobody asks for them again.
    compiled.stacked.clear()
    outlets = compiled.plan.outlets
    # Available gain becomes a level across 75 ohm by the mismatch of what the outlet looks like as a source.
    into_db = found.gain_db + 10 * np.log10(1 - np.abs(found.source) ** 2)
    available = _available_dbuv(installation, freq, source, into_db, count)
    level = available + into_db[:, :count]
    across = level.reshape(len(outlets), len(channels), POINTS)
    span_mhz = np.array([channel.bandwidth_hz for channel in channels]) / 1e6
    middle = middle[: len(channels)]
    noise, factor = _noise(installation, found, middle)
    strong = np.array([each.level_dbuv for each in installation.interferers])
    at_port = np.concatenate([available[middle], strong]) + found.port_gain_db
    totals, distances, levels = _amplifiers(compiled, at_port)
    cim = np.stack(
        [_worst_of(compiled, int(port), distances, len(channels)) for port in outlets] or [np.zeros(len(channels))]
    )
    total = 10 * np.log10(
        (10 ** (across[:, :, CENTRE] / 10)).sum(axis=1) + (10 ** ((strong + into_db[:, count:]) / 10)).sum(axis=1)
    )
    return Nominal(
        compiled,
        found.other_k,
        available[middle],
        at_port[:, : len(channels)],
        across[:, :, CENTRE],
        np.ptp(across, axis=2),
        (across[:, :, -1] - across[:, :, 0]) / span_mhz,
        available[middle] + found.gain_db[:, middle] - noise,
        cim,
        factor,
        total,
        totals,
        distances,
        levels,
    )


@dataclass(frozen=True)
class _Solved:
    """What is kept of the nominal solution: at the outlets for every sample, at every port for the centres."""

    gain_db: Real
    source: Complex
    kelvin: Real
    port_gain_db: Real
    other_k: Real


def _solved(compiled: Compiled, source: Complex, hot: Real, middle: Real) -> _Solved:
    """Solve a stretch of frequencies at a time, so that a large tree takes little room."""
    ends, outlets = end_reflections(compiled.installation), compiled.plan.outlets
    kept: list[list[Any]] = [[], [], [], [], []]
    step = max(POINTS, SAMPLES_AT_ONCE // len(compiled.plan.ports))
    for first in range(0, source.size, step):
        part = slice(first, first + step)
        found = solve(compiled.plan, compiled.nominal(part), source[part], hot[part], ends)
        # At inner ports only the centres are asked for; all samples of all ports would not fit.
        here = middle[(middle >= first) & (middle < first + step)] - first
        gain_db = 10 * np.log10(np.maximum(found.gain, 1e-30))
        rows = (
            gain_db[outlets],
            found.source[outlets],
            found.kelvin[outlets],
            gain_db[:, here],
            found.other_k[:, here],
        )
        for store, each in zip(kept, rows, strict=True):
            store.append(each)
    return _Solved(*(np.concatenate(each, axis=1) for each in kept))


def _available_dbuv(installation: Installation, freq: Real, source: Complex, into_db: Real, count: int) -> Real:
    """Available level at the antenna for every point of every channel [dBuV]."""
    antenna = installation.antenna
    gain = np.interp(freq[:count], antenna.gain_hz, antenna.gain_dbi)
    lost = -10 * np.log10(1 - np.abs(source[:count]) ** 2)
    places = [outlet.id for outlet in installation.outlets]
    out = np.empty(count)
    for number, channel in enumerate(installation.channels):
        at = slice(number * POINTS, (number + 1) * POINTS)
        found = installation.sources[channel.signal]
        if found.kind != "level":
            # One field strength is stated for a channel: across it only the antenna's gain changes.
            out[at] = level_dbuv(found.value, gain[at], channel.centre_hz)
        elif found.at == ANTENNA:
            out[at] = found.value + lost[at]
        else:
            # Measured at an outlet and in the channel's middle: what
            # the tree does to that place is taken off all of it.
            out[at] = found.value - into_db[places.index(found.at), at][CENTRE]
    return out


def receiver_factors(installation: Installation) -> Real:
    """Noise factor of what hangs on each outlet; an end without a receiver counts as one of 7 dB."""
    values = [outlet.receiver.noise_figure_db if outlet.receiver else 7.0 for outlet in installation.outlets]
    return 10 ** (np.array(values)[:, None] / 10)


def _noise(installation: Installation, found: _Solved, middle: Real) -> tuple[Real, Real]:
    """Noise of the whole system at each outlet [dBuV], and referred to the antenna's terminals [dB]."""
    # A receiver behind a mismatch as an amplifier: F(Gs) = F/(1 - |Gs|^2).
    factor = receiver_factors(installation) / (1 - np.abs(found.source[:, middle]) ** 2)
    # Available noise at the outlet, the receiver's own referred to its input: F - 1, for the source's kT is in the first term.
    kelvin = found.kelvin[:, middle] + T0_K * (factor - 1)
    bandwidth = np.array([channel.bandwidth_hz for channel in installation.channels])
    return noise_dbuv(bandwidth, kelvin), 10 * np.log10(kelvin / T0_K) - found.gain_db[:, middle]


def _amplifiers(compiled: Compiled, at_port: Real) -> tuple[dict[str, float], dict[str, Real], dict[str, Real]]:
    """Total, carrier-to-products distance and levels at the output of each amplifier."""
    installation = compiled.installation
    channels = installation.channels
    centre = np.array([*(c.centre_hz for c in channels), *(each.freq_hz for each in installation.interferers)])
    width = np.array([*(c.bandwidth_hz for c in channels), *(each.bandwidth_hz for each in installation.interferers)])
    totals, distances, levels = {}, {}, {}
    for number, port in amplifier_ports(compiled).items():
        item = installation.items[number]
        assert isinstance(item.part, Amplifier)
        products, total = products_dbuv(at_port[port], centre - width / 2, centre + width / 2, item.part.intercept_dbuv)
        totals[item.id] = total
        distances[item.id] = (at_port[port] - products)[: len(channels)]
        levels[item.id] = at_port[port]
    return totals, distances, levels


def _worst_of(compiled: Compiled, port: int, distances: dict[str, Real], count: int) -> Real:
    """Carrier to the products of all amplifiers on the way to a port: powers add [dB]."""
    items = compiled.installation.items
    way = [items[number].id for number in on_the_way(compiled, port)]
    # Products of amplifiers far apart have no common phase, so powers add.
    ratio = sum((10 ** (-distances[name] / 10) for name in way if name in distances), np.zeros(count))
    return np.asarray(-10 * np.log10(np.maximum(ratio, 1e-20)))


def cross_modulation(nominal: Nominal) -> list[float | None]:
    """Carrier to cross-modulation at each outlet, worst channel; None without an amplifier on its way [dB].

    Source: Amplifiers behind one another add as voltages: `-20 log sum 10^(-CM/20)`.
    """
    compiled, found = nominal.compiled, []
    count = len(compiled.installation.channels)
    for port in compiled.plan.outlets:
        total = np.zeros(count)
        for number in on_the_way(compiled, int(port)):
            item = compiled.installation.items[number]
            if isinstance(item.part, Amplifier):
                levels = nominal.amplifier_levels_dbuv[item.id]
                # Every carrier at the output takes part, strong neighbours included.
                ratio = cross_modulation_db(levels, item.part.max_output_dbuv, item.part.intermodulation_db)
                total += 10 ** (-ratio[:count] / 20)
        found.append(float(-20 * np.log10(total.max())) if total.any() else None)
    return found


@dataclass(frozen=True)
class Worth:
    """Cost in dB of carrier-to-noise ratio at the worst outlet and channel, each thing taken away alone."""

    outlet: str
    channel: str
    vswr: float
    match_db: float
    items: tuple[tuple[str, str, float], ...]
    """Id, what it is, and what it costs; negative for an amplifier that pays."""

    def to_dict(self) -> dict[str, object]:
        """Give it as plain values."""
        rows = [{"id": name, "part": part, "cost_db": cost} for name, part, cost in self.items]
        return {**vars(self), "items": rows}


def without_item(installation: Installation, name: str, port: str) -> Installation:
    """The installation without one item: what follows its port `port` takes its place, other branches go."""
    gone = next(item for item in installation.items if item.id == name)
    items = [
        replace(item, after=gone.after) if item.after == port else item
        for item in installation.items
        if item is not gone
    ]
    ends = [replace(end, after=gone.after) if end.after == port else end for end in installation.outlets]
    followers = {item.after: item for item in items}
    reached, todo = {ANTENNA}, [ANTENNA]
    while todo:
        below = followers.get(todo.pop())
        outputs = below.outputs if below else ()
        reached.update(outputs)
        todo += outputs
    kept = tuple(item for item in items if item.after in reached)
    return replace(installation, items=kept, outlets=tuple(end for end in ends if end.after in reached), supplies=())


def _one_way(installation: Installation, end: Outlet) -> Installation:
    """A large tree cut down to the way of one outlet, every other branch ended in 75 ohm where it leaves it."""
    homes = {item.id: item for item in installation.items}
    way, port = [], end.after
    while port != ANTENNA:
        way.append(homes[port.partition(".")[0]])
        port = way[-1].after
    used = {item.after for item in way} | {end.after}
    idle = [each for item in way for each in item.outputs if each not in used]
    ended = tuple(Outlet(f"end of {each}", each, None, "load") for each in idle)
    return replace(installation, items=tuple(way[::-1]), outlets=(end, *ended))


def worth_of(installation: Installation, outlet: int, channel: int) -> Worth:
    """Costs at one outlet and channel.

    Source: Differences of nominal C/N, available gain throughout: what a thing costs depends on what stands before it.
    """
    wanted, end = installation.channels[channel], installation.outlets[outlet]
    # The level at the terminals is held: a change must not be paid for by the source.
    source = replace(installation.sources[wanted.signal], kind="field", value=0.0)
    alone = replace(installation, channels=(replace(wanted, signal=0),), sources=(source,), interferers=())
    if len(alone.items) > MOST_ITEMS:
        alone, outlet = _one_way(alone, end), 0
    found, _ = reflection_at(installation.antenna.match, wanted.centre_hz)
    size = min(abs(complex(found)), 0.99)
    base = nominal_levels(matched_antenna(alone, size))
    row = float(base.cn_db[outlet, 0])
    matched = float(nominal_levels(matched_antenna(alone)).cn_db[outlet, 0])
    items: list[tuple[str, str, float]] = []
    port = end.after
    while port != ANTENNA and len(items) < MOST_ITEMS:
        item = next(each for each in alone.items if each.id == port.partition(".")[0])
        less = without_item(matched_antenna(alone, size), item.id, port)
        at = [each.id for each in less.outlets].index(end.id)
        cost = float(nominal_levels(less).cn_db[at, 0]) - row
        what = (
            "amplifier" if isinstance(item.part, Amplifier) else "lead" if item.part.kind == "coax" else item.part.kind
        )
        items.append((item.id, what, cost))
        port = item.after
    return Worth(end.id, wanted.name, (1 + size) / (1 - size), matched - row, tuple(items[::-1]))


MOST_ITEMS = 40
"""Most items on the way of one outlet whose cost is computed; a larger tree is cut down to that way."""


LIMITS = ("noise", "level", "overload", "overload")
"""What each room is measured to: the carrier-to-noise ratio asked for, the least level, the highest level, the highest total."""


def rooms_db(installation: Installation, cni: Real, lowest: Real, highest: Real, total: Real) -> Real:
    """Room to every limit of each outlet and channel, below zero beyond it, shape (4, outlets, channels) [dB].

    `cni` is the carrier-to-disturbance ratio [dB], `lowest` and `highest` the level [dBuV] held against the least and the
    highest one, `total` that of each outlet [dBuV].
    """
    channels = installation.channels
    asked = np.array([each.need_db + each.margin_db for each in channels])
    low = np.array([-np.inf if each.window_low_dbuv is None else each.window_low_dbuv for each in channels])
    high = np.array([np.inf if each.window_high_dbuv is None else each.window_high_dbuv for each in channels])
    over = most_in_all_dbuv(installation)
    return np.stack(
        np.broadcast_arrays(cni - asked, lowest - low, high - highest, over[:, None] - np.asarray(total)[:, None])
    )


def most_in_all_dbuv(installation: Installation) -> Real:
    """Highest total that each outlet's receiver takes [dBuV]."""
    receivers = [each.receiver for each in installation.outlets]
    return np.array([each.overload_dbm + DBUV_OF_DBM if each else np.inf for each in receivers])


def words_of(first: Any, cim_db: Real, cn_db: Real) -> Any:
    """Word of the limit that comes first; noise that is mostly products of an amplifier is overload."""
    words = np.array(LIMITS, dtype=object)[first]
    return np.where((np.asarray(first) == 0) & (cim_db < cn_db), "overload", words)
