"""An installation's items as arrays over frequency, nominal or drawn, in the order that the tree is solved.

Losses are of the matched core; a joint of unequal impedances and every unknown reflection is a lossless junction at a port.
One trial holds one attenuation error per type of cable, one outdoor temperature, one error for each amplifier's gain and
splitter's loss, and one junction for each port: constants of a physical installation, the same in all channels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.errors import RangeError
from chain.reception.formulas import T0_K, most_wave
from chain.reception.network import DepthGroup, Plan, PortValues, ThroughValues, plan_of
from chain.reception.records import Installation, InstalledItem
from chain.rf.elements import end_radius, limit_radius
from chain.rf.matrix import TwoPort, two_port
from chain.rf.parts import COPPER_PER_K, attenuation_db_per_100m
from library.formulas import LIGHT_M_PER_S
from library.frozen import dataclass
from library.reception import Amplifier, Inline, default
from library.records import Adapter, Coax, Limit, Measured, Network, Pad, SectionLine, Splitter, Transformer

OHM = 75.0
ZERO_C = 273.15
Array = NDArray[Any]
Made = TypeVar("Made")


@dataclass(frozen=True)
class _Core:
    """One item over frequency: loss apart by conductor and rest [dB], gain [dB], phase [rad], radii of its junctions."""

    conductor_db: Real
    rest_db: Real
    gain_db: Real
    phase_rad: Real
    near_radius: Real
    far_radius: Real
    step: float
    """Reflection of the item's impedance in 75 ohm, the same at both ends."""


@dataclass(frozen=True)
class Compiled:
    """All of an installation's items over a set of frequencies."""

    installation: Installation
    plan: Plan
    freq_hz: Real
    cores: tuple[_Core, ...]
    types: tuple[str, ...]
    """Types of cable, each with one error of attenuation."""
    fixed: dict[int, _Fixed] = field(default_factory=dict, compare=False)
    stacked: dict[tuple[int, str], Array] = field(default_factory=dict, compare=False)
    boxes: dict[int, TwoPort] = field(default_factory=dict, compare=False)

    def nominal(self, at: slice | Real = slice(None)) -> list[ThroughValues | PortValues]:
        """Values of all groups with every unknown at zero, samples along frequency."""
        return [self._group(group, at, None) for group in self.plan.groups]

    def drawn(self, at: int, trials: TrialBlock) -> list[ThroughValues | PortValues]:
        """Values of all groups at one frequency, samples along trials."""
        return [self._group(group, slice(at, at + 1), trials) for group in self.plan.groups]

    def _group(self, group: DepthGroup, at: Any, trials: TrialBlock | None) -> ThroughValues | PortValues:
        if not group.branching:
            return self._through(group, at, trials)
        return (self._boxes if int(group.items[0]) in self.boxes else self._splitters)(group, at, trials)

    def _stack(self, group: DepthGroup, name: str, at: Any = slice(None)) -> Array:
        key = (id(group), name)
        if key not in self.stacked:
            self.stacked[key] = np.stack([getattr(self.cores[number], name) for number in group.items])
        return self.stacked[key][:, at]

    def _single(self, group: DepthGroup, name: str, at: Any, make: Callable[[], Array]) -> Array:
        """What trials take at one frequency of what is made once for all of them, in single precision."""
        key = (id(group), f"single {name}")
        if key not in self.stacked:
            found = make()
            self.stacked[key] = found.astype(np.complex64 if np.iscomplexobj(found) else np.float32)
        return self.stacked[key][:, at]

    def _through(self, group: DepthGroup, at: Any, trials: TrialBlock | None) -> ThroughValues:
        fixed = self._fixed(group)
        near = far = fixed.step if fixed.step.any() else None
        if trials is None:
            # Nothing is drawn, so losses stand as stated: what the junctions of a part lose is in its figure already.
            loss_db = self._stack(group, "conductor_db", at) + self._stack(group, "rest_db", at)
            gain = 10 ** ((self._stack(group, "gain_db", at) - loss_db) / 10)
            kelvin, factor = fixed.kelvin, fixed.noise_factor
            wave = np.exp(-2j * self._stack(group, "phase_rad", at))
        else:
            kelvin, gain = self._drawn_gain(group, at, trials)
            factor = fixed.noise_factor
            if fixed.amplified:
                # A noise figure is stated in decibels and off by decibels: its error multiplies.
                factor = factor * _ten_to(fixed.noise_tolerance_db * trials.noise(group))
            wave = self._single(group, "wave", at, lambda: np.exp(-2j * self._stack(group, "phase_rad")))
            near = _junction(near, self._core(group, "near_radius", at), trials, group, 0)
            far = _junction(far, self._core(group, "far_radius", at), trials, group, 1)
        # Once there and once back at the same loss each way: the wave keeps sqrt(gain) twice.
        turn = wave * gain
        if fixed.amplified:
            # An amplifier's way back is its reverse loss, not its gain: |S12 S21| is what an echo meets, and no amplifier that is
            # sold rings by itself.
            turn = np.where(fixed.reverse > 0, wave * np.sqrt(np.minimum(gain * fixed.reverse, 1)), turn)
        return ThroughValues(gain, turn, near, far, kelvin, factor if fixed.amplified else None)

    def _drawn_gain(self, group: DepthGroup, at: Any, trials: TrialBlock) -> tuple[Array, Array]:
        """Temperature and power gain of two-ports, drawn, in single precision."""
        fixed = self._fixed(group)
        kelvin, warm, cable, own_db = trials.once((id(group), "gain"), lambda: _drawn_loss(fixed, trials, group))
        conductor, rest = (self._core(group, name, at) for name in ("conductor_db", "rest_db"))
        shift = self._single(
            group, "gain", at, lambda: self._stack(group, "gain_db") + self._stated_with_mismatch_db(group)
        )
        # One error for the whole loss of a type of cable, for every length alike: pieces of one reel are off together.
        gain_db = -(conductor * warm + rest) * cable
        if shift.any():
            gain_db = gain_db + shift
        if own_db is not None:
            gain_db = gain_db - own_db
        if own_db is not None or shift.any():
            # A loss that is smaller than its tolerance and the mismatch it holds must not make an amplifier of a passive part.
            gain_db = np.minimum(gain_db, np.where(fixed.reverse > 0, np.float32(np.inf), np.float32(0)))
        return kelvin, _ten_to(gain_db)

    def _fixed(self, group: DepthGroup) -> _Fixed:
        if id(group) not in self.fixed:
            items = [self.installation.items[number] for number in group.items]
            steps = [self.cores[number].step for number in group.items]
            self.fixed[id(group)] = _fixed_values(items, steps, self.types)
        return self.fixed[id(group)]

    def _core(self, group: DepthGroup, name: str, at: Any) -> Array:
        return self._single(group, name, at, lambda: self._stack(group, name))

    def _stated_with_mismatch_db(self, group: DepthGroup) -> Array:
        """Mean loss of the junctions at both ends, which a loss or gain stated for a whole part holds already.

        Source: `-10 log10(1 - r^2)` with the mean of r^2 in a disc, half the square of its radius. Leads state their line's.
        """
        near, far = self._stack(group, "near_radius"), self._stack(group, "far_radius")
        whole = -10 * np.log10((1 - near**2 / 2) * (1 - far**2 / 2))
        # Added back before the junctions are drawn, else a stated loss would be taken twice, by 0.04 dB at two ends of 20 dB.
        return np.where(self._fixed(group).is_line, 0.0, whole)

    def _splitters(self, group: DepthGroup, at: Any, trials: TrialBlock | None) -> PortValues:
        part = self.installation.items[group.items[0]].part
        assert isinstance(part, Splitter)
        size = len(part.ports)
        scale = np.exp(-1j * self._stack(group, "phase_rad", at))
        junctions: tuple[Array | None, ...] = (None,) * size
        drawn = None
        if trials is not None:
            # Halved, since waves are scaled and not powers; one error for all ways, as of one transformer.
            tolerance_db = self._fixed(group).tolerance_db / 2
            drawn = trials.once((id(group), "loss"), lambda: _ten_to(-tolerance_db * trials.own(group)))
            scale = self._single(group, "wave", at, lambda: self._whole_waves(group))
            # However much mismatch a stated loss holds: all outputs together give out no more than goes in.
            drawn = np.minimum(drawn, most_wave(part.loss_db) / np.abs(scale))
            radius = self._core(group, "near_radius", at)
            junctions = tuple(_junction(None, radius, trials, group, port) for port in range(size))
        entries: list[list[Array | None]] = [[None] * size for _ in range(size)]
        waves: dict[float, Array] = {}
        for first, second, loss_db in part.loss_db:
            i, j = part.ports.index(first), part.ports.index(second)
            if loss_db not in waves:
                wave = scale * scale.real.dtype.type(10 ** (-loss_db / 20))
                waves[loss_db] = np.asarray(wave if drawn is None else wave * drawn)
            entries[i][j] = entries[j][i] = waves[loss_db]
        kelvin = np.full((len(group.items), 1), T0_K, dtype=scale.real.dtype)
        return PortValues(tuple(tuple(row) for row in entries), junctions, kelvin)

    def _whole_waves(self, group: DepthGroup) -> Array:
        """Waves through splitters whose stated loss holds the mismatch of their ports already, before that loss."""
        return np.asarray(
            np.exp(-1j * self._stack(group, "phase_rad")) * 10 ** (self._stated_with_mismatch_db(group) / 20)
        )

    def _boxes(self, group: DepthGroup, at: Any, trials: TrialBlock | None) -> PortValues:
        """Two-ports that reflect by themselves, each with its own matrix."""
        boxes = [self.boxes[int(number)] for number in group.items]
        s = np.stack([each.s for each in boxes])[:, at]
        # A passive part is reciprocal, and a measured file only nearly: the tree's solution takes S12 = S21 for granted.
        passed: Array = (s[..., 0, 1] + s[..., 1, 0]) / 2
        near: Array = s[..., 0, 0]
        far: Array = s[..., 1, 1]
        junctions: tuple[Array | None, ...] = (None, None)
        kelvin = np.full((len(boxes), 1), T0_K)
        if trials is not None:
            near, far, passed = (
                np.repeat(each.astype(np.complex64), trials.size, axis=1) for each in (near, far, passed)
            )
            tolerance = np.array([[each.loss_tolerance_db] for each in boxes], dtype=np.float32)
            # The square root, for a tolerance is of power and a matrix holds waves.
            passed *= np.sqrt(_ten_to(-tolerance * trials.own(group)))
            radii = (
                np.stack([getattr(each, name)[at] for each in boxes]).astype(np.float32)
                for name in ("near_radius", "far_radius")
            )
            junctions = tuple(_junction(None, radius, trials, group, port) for port, radius in enumerate(radii))
            kelvin = kelvin.astype(np.float32)
        return PortValues(((near, passed), (passed, far)), junctions, kelvin)


COPPER = np.float32(COPPER_PER_K)


@dataclass(frozen=True)
class _Fixed:
    """What of a group holds at every frequency, each of shape (items, 1) and in single precision."""

    step: Array
    kelvin: Array
    noise_factor: Array
    noise_tolerance_db: Array
    reverse: Array
    relative: Array
    tolerance_db: Array
    celsius: tuple[Array, Array]
    is_lead: Array
    is_line: Array
    cable: list[int]
    amplified: bool
    """Whether there is an amplifier among them."""


def _fixed_values(items: Sequence[InstalledItem], steps: Sequence[float], types: Sequence[str]) -> _Fixed:
    def column(values: Sequence[float]) -> Array:
        return np.array(values, dtype=np.float32)[:, None]

    amplifiers = [item.part if isinstance(item.part, Amplifier) else None for item in items]
    reverse = np.array([10 ** (-part.reverse_loss_db / 10) if part else 0.0 for part in amplifiers])[:, None]
    return _Fixed(
        np.array(steps, dtype=complex)[:, None],
        np.array([_kelvin(item) for item in items])[:, None],
        np.array([10 ** (part.noise_figure_db / 10) if part else 0.0 for part in amplifiers])[:, None],
        column([_noise_tolerance(item) for item in items]),
        reverse,
        column([_relative(item) for item in items]),
        column([_tolerance_db(item) for item in items]),
        (column([item.temperature_low_c for item in items]), column([item.temperature_high_c for item in items])),
        np.array([[isinstance(item.part, Coax)] for item in items]),
        np.array([[isinstance(item.part, (Coax, Adapter))] for item in items]),
        [types.index(item.part.id) if item.part.id in types else 0 for item in items],
        bool((reverse > 0).any()),
    )


def _ten_to(db: Array) -> Array:
    """Power ratio of decibels, in the precision given."""
    return np.asarray(np.exp(db * db.dtype.type(np.log(10) / 10)))


def _junction(step: Array | None, radius: Array, trials: TrialBlock, group: DepthGroup, port: int) -> Array | None:
    """A drawn junction within a radius, the step of impedance joined to it."""
    if not radius.any():
        return None if step is None else step.astype(np.complex64)
    drawn = trials.junction(group, port, radius)
    if step is None:
        return drawn
    # Two lossless junctions at one place are one, but for a turn of the transmission by 2 Im(r step), which no drawn phase could resolve.
    return np.asarray((drawn + step) / (1 + np.conj(drawn) * step), dtype=np.complex64)


def _drawn_loss(fixed: _Fixed, trials: TrialBlock, group: DepthGroup) -> tuple[Array, Array, Array, Array | None]:
    """What no frequency changes: temperature, the conductor's loss by it, the error of the cable's type, that of the part."""
    low, span = fixed.celsius[0], fixed.celsius[1] - fixed.celsius[0]
    celsius = low + trials.outdoor * span if span.any() else low
    # Skin effect: loss goes with the root of the resistance; the nominal loss is that of the middle temperature already.
    warm = np.sqrt((1 + COPPER * (celsius - 20)) / (1 + COPPER * (low + span / 2 - 20))).astype(np.float32)
    # A part that is no lead stays at its own temperature, whatever the weather.
    still = np.where(fixed.is_lead, low + np.float32(ZERO_C), fixed.kelvin).astype(np.float32)
    kelvin = still + np.where(fixed.is_lead, celsius - low, 0.0).astype(np.float32)
    cable = 1 + fixed.relative * trials.cables(fixed.cable) if fixed.relative.any() else np.ones((1, 1), np.float32)
    return kelvin, warm, cable, fixed.tolerance_db * trials.own(group) if fixed.tolerance_db.any() else None


def _kelvin(item: InstalledItem) -> float:
    middle = (item.temperature_low_c + item.temperature_high_c) / 2
    return middle + ZERO_C if isinstance(item.part, Coax) else T0_K


def _relative(item: InstalledItem) -> float:
    return 0.0 if item.ideal or not isinstance(item.part, Coax) else item.part.loss_tolerance


def _tolerance_db(item: InstalledItem) -> float:
    part = item.part
    if item.ideal or isinstance(part, (Coax, Adapter)):
        return 0.0
    return part.gain_tolerance_db if isinstance(part, Amplifier) else float(getattr(part, "loss_tolerance_db", 0.0))


def _noise_tolerance(item: InstalledItem) -> float:
    return 0.0 if item.ideal or not isinstance(item.part, Amplifier) else item.part.noise_figure_tolerance_db


@lru_cache(maxsize=2)
def _common_stock(size: int, places: int, seed: int) -> tuple[Array, Array, Array]:
    """Discs and flat numbers for all ports of any installation, and where each port begins."""
    rng = np.random.default_rng(seed)
    # The root makes them even over the disc's area; a flat radius would crowd its middle and promise too good a match.
    angle, radius = rng.random(size, dtype=np.float32), np.sqrt(rng.random(size, dtype=np.float32))
    discs = (radius * np.exp(2j * np.pi * angle)).astype(np.complex64)
    return discs, rng.uniform(-1, 1, size).astype(np.float32), rng.permutation(places).astype(np.int32)


class RandomPool:
    """Trials for a whole installation, made once: each port and item begins at its own place in a common pool.

    A pool of a million numbers serves any number of ports: for one trial all ports take different entries, so the trials of
    one installation are independent, and memory stays flat.
    """

    SIZE = 1 << 20

    def __init__(self, count: int, items: int, types: int, seed: int) -> None:
        self.count = count
        discs, flat, places = _common_stock(self.SIZE + count - 1, self.SIZE, seed)
        self.starts = places[: items * MOST_PORTS].reshape(items, MOST_PORTS) if items else None
        self.disc_runs, self.flat_runs = (
            np.lib.stride_tricks.sliding_window_view(each, count) for each in (discs, flat)
        )
        # Generators of their own: a changed installation keeps its field, its antenna, its weather and its cables.
        self.outdoor = np.random.default_rng([seed, 1]).random(count, dtype=np.float32)
        self.cables = np.random.default_rng([seed, 2]).uniform(-1, 1, (max(types, 1), count)).astype(np.float32)
        self.seed = seed

    def block(self, part: slice) -> TrialBlock:
        """Some of the trials."""
        return TrialBlock(self, part)


MOST_PORTS = 40


class TrialBlock:
    """A block of the trials of a `RandomPool`, which keeps what several channels have in common."""

    def __init__(self, pool: RandomPool, part: slice) -> None:
        self.pool, self.part = pool, part
        self.size = part.stop - part.start
        self.outdoor = pool.outdoor[None, part]
        self.kept: dict[Any, Any] = {}

    def once(self, key: object, make: Callable[[], Made]) -> Made:
        """What `make` gives, made for the first channel that asks."""
        if key not in self.kept:
            self.kept[key] = make()
        found: Made = self.kept[key]
        return found

    def flat(self, starts: Array) -> Array:
        """Numbers uniform from -1 to 1, in rows that begin at places of the stock."""
        return np.asarray(self.pool.flat_runs[starts, self.part])

    def disc(self, starts: Array) -> Array:
        """Complex numbers uniform in the unit disc."""
        return np.asarray(self.pool.disc_runs[starts, self.part])

    def _starts(self, group: DepthGroup, port: int) -> Array:
        assert self.pool.starts is not None
        return np.asarray(self.pool.starts[group.items, port])

    def junction(self, group: DepthGroup, port: int, radius: Array) -> Array:
        """Complex numbers uniform in discs of radii of shape (items, 1), for one port of each item."""
        discs = self.once((id(group), port), lambda: self.disc(self._starts(group, port)))
        # The radius of many parts is the same in all channels.
        before, drawn = self.once((id(group), port, "drawn"), lambda: (radius, discs * radius))
        return np.asarray(drawn if np.array_equal(before, radius) else discs * radius)

    def own(self, group: DepthGroup) -> Array:
        """Numbers uniform from -1 to 1, one for each item: the error of its gain or loss."""
        return self.flat(self._starts(group, MOST_PORTS - 1))

    def noise(self, group: DepthGroup) -> Array:
        """The same for its noise figure."""
        return self.flat(self._starts(group, MOST_PORTS - 2))

    def cables(self, types: Sequence[int]) -> Array:
        """The common attenuation error of types of cable."""
        return np.asarray(self.pool.cables[types, self.part])


def compile_tree(installation: Installation, freq_hz: Real) -> Compiled:
    """Arrays of an installation over frequencies."""
    freq = np.asarray(freq_hz, dtype=float)
    made: dict[Any, _Core] = {}
    cores = []
    for item in installation.items:
        key = (item.part, item.length_m, item.temperature_low_c, item.temperature_high_c, item.ideal)
        if key not in made:
            made[key] = _core(item, freq)
        cores.append(made[key])
    types = tuple(dict.fromkeys(item.part.id for item in installation.items if isinstance(item.part, Coax)))
    plan = plan_of(installation.items, installation.outlets)
    boxes = {
        number: two_port(item.part, freq, OHM, item.reversed, item.ideal)
        for number, item in enumerate(installation.items)
        if isinstance(item.part, (Measured, SectionLine, Network))
    }
    return Compiled(installation, plan, freq, tuple(cores), types, boxes=boxes)


def _core(item: InstalledItem, freq: Real) -> _Core:
    part, none = item.part, np.zeros(freq.shape)
    if isinstance(part, (Measured, SectionLine, Network)):
        return _Core(none, none, none, none, none, none, 0.0)
    limit = None if item.ideal else getattr(part, "limit", None)
    if isinstance(part, Coax):
        return _lead(item, part, freq, limit)
    if isinstance(part, Amplifier):
        gain = part.gain_db + part.slope_db_per_ghz * freq / 1e9
        radius = _radius(limit, freq)
        return _Core(none, none, gain, none, radius, radius, 0.0)
    if isinstance(part, Inline):
        radius = _radius(limit, freq)
        return _Core(none, np.interp(freq, part.loss_hz, part.loss_db), none, none, radius, radius, 0.0)
    if isinstance(part, Splitter):
        lumped = "resistive" in part.id or "ideal" in part.id
        # Resistors at one point have no way between them; ferrite cores and their wires have, and isolation depends on its phase.
        length = 0.0 if lumped else default("splitter_path_mm") / 1e3
        radius = _radius(limit, freq)
        return _Core(none, none, none, 2 * np.pi * freq * length / LIGHT_M_PER_S, radius, radius, 0.0)
    if isinstance(part, Adapter):
        loss = part.loss_at_1ghz_db * np.sqrt(freq / 1e9)
        phase = 2 * np.pi * freq * part.electrical_length_m / LIGHT_M_PER_S
        radius = _radius(limit, freq)
        # The limit is of the whole adapter: its far end is seen through the loss twice, |r| (1 + 10^(-2 A/20)) = limit.
        half = radius / (1 + 10 ** (-loss / 10))
        return _Core(none, loss, none, phase, half, half, _step(part.impedance_ohm))
    assert isinstance(part, (Pad, Transformer)), "no other kind is placed in a tree"
    if isinstance(part, Pad):
        ends = (part.far_limit, part.near_limit) if item.reversed else (part.near_limit, part.far_limit)
        near, far = (None if item.ideal else each for each in ends)
    else:
        near = far = limit
    return _Core(none, np.full(freq.shape, part.loss_db), none, none, _radius(near, freq), _radius(far, freq), 0.0)


def _radius(limit: Limit | None, freq: Real) -> Real:
    found = limit_radius(limit, freq)
    return np.zeros(freq.shape) if found is None else found


def _step(ohm: float) -> float:
    return (ohm - OHM) / (ohm + OHM)


def _lead(item: InstalledItem, part: Coax, freq: Real, limit: Limit | None) -> _Core:
    """A lead: its loss at the middle of its temperatures, a junction at either end that keeps the whole within its limit."""
    middle = (item.temperature_low_c + item.temperature_high_c) / 2
    conductor, rest = (each * item.length_m / 100 for each in attenuation_db_per_100m(part, freq, middle))
    phase = 2 * np.pi * freq * item.length_m / (LIGHT_M_PER_S * part.velocity_factor)
    whole = limit_radius(limit, freq)
    # At the least loss the far end shows most: junctions sized there keep the lead's limit in every trial.
    loss_np = (conductor + rest) * (1 - (0.0 if item.ideal else part.loss_tolerance)) * np.log(10) / 20
    ends = end_radius(whole, loss_np)
    radius = np.zeros(freq.shape) if ends is None else ends
    return _Core(conductor, rest, np.zeros(freq.shape), phase, radius, radius, _step(part.impedance_ohm))


def described_hz(item: InstalledItem) -> tuple[float, float]:
    """Frequencies that a part is described for."""
    part = item.part
    first = float(getattr(part, "valid_from_hz", getattr(part, "min_hz", 0.0)))
    return item.span_hz or (first, float(getattr(part, "valid_to_hz", getattr(part, "max_hz", np.inf))))


def require_described(installation: Installation) -> None:
    """Refuse channels outside what a part is described for."""
    low, high = installation.channels[0].low_hz, installation.channels[-1].high_hz
    low = min(low, *(channel.low_hz for channel in installation.channels))
    high = max(high, *(channel.high_hz for channel in installation.channels))
    for item in installation.items:
        part = item.part
        first, last = described_hz(item)
        if low < first * (1 - 1e-9) or high > last * (1 + 1e-9):
            raise RangeError(
                f"{item.id} ({part.id}) is described from {first / 1e6:g} to {last / 1e6:g} MHz, "
                f"the channels run from {low / 1e6:g} to {high / 1e6:g} MHz",
                "choose another part, or leave those channels to a file of their own",
            )
