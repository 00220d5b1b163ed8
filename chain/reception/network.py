"""The tree solved: reflections looking down and up at every port, available gain, and noise temperature.

Arrays have shape (ports, samples); a sample is a frequency or a drawn installation. All reflections are in 75 ohm. A
two-port is a lossless junction, a matched core, and a junction again; a splitter any matrix with a junction at each port.
Available gain and noise temperature of a cascade follow from the reflections alone, mismatch included.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.reception.formulas import T0_K
from chain.reception.records import ANTENNA, InstalledItem, Outlet
from library.frozen import dataclass

Array = NDArray[Any]
Indices = NDArray[np.int64]
Places = slice | NDArray[np.int64]


@dataclass(frozen=True)
class DepthGroup:
    """Items of one depth that are solved together: their indices, the port that each follows, the ports each offers."""

    items: Indices
    input: Indices
    outputs: Indices
    """Shape (items, outputs of each)."""
    branching: bool

    @cached_property
    def into(self) -> Places:
        """The ports that the items follow."""
        return _places(self.input)

    @cached_property
    def out_of(self) -> tuple[Places, ...]:
        """The first output of every item, the second of every item, and so on."""
        return tuple(_places(column) for column in self.outputs.T)


def _places(numbers: Indices) -> Places:
    """Evenly spaced numbers as a slice, which takes rows of an array without copying them."""
    step = int(numbers[1] - numbers[0]) if numbers.size > 1 else 1
    first = int(numbers[0])
    if step > 0 and np.array_equal(numbers, first + step * np.arange(numbers.size)):
        return slice(first, int(numbers[-1]) + 1, step)
    return numbers


@dataclass(frozen=True)
class Plan:
    """The tree in the order of its solution: ports by name, groups from the antenna down, ports of the outlets."""

    ports: tuple[str, ...]
    groups: tuple[DepthGroup, ...]
    outlets: Indices
    parent: Indices
    """Port that the owner of each port follows; -1 for the antenna."""
    owner: Indices
    """Item that each port belongs to; -1 for the antenna."""


@dataclass(frozen=True)
class ThroughValues:
    """Two-ports of a group: power gain and round-trip wave of the matched core, junctions, temperature, noise factor."""

    gain: Array
    round_trip: Array
    near: Array | None
    far: Array | None
    kelvin: Array
    noise_factor: Array | None = None
    """With 75 ohm at the input; shape (items, 1 or samples), 0 where an item is passive."""


@dataclass(frozen=True)
class PortValues:
    """Splitters of a group: transmission between ports (None where there is none), a junction at each port, temperature."""

    matrix: tuple[tuple[Array | None, ...], ...]
    junctions: tuple[Array | None, ...]
    kelvin: Array


@dataclass(frozen=True)
class Solution:
    """What is available at every port, what the source looks like there, how hot it is, and what hangs on it."""

    gain: Array
    source: Array
    kelvin: Array
    load: Array
    other_k: Array
    """At outputs of splitters: temperature of what is not the signal's way, the other branches' noise counted."""
    coupling: dict[int, tuple[tuple[Array | None, ...], ...]]
    """By group: waves from output to output of its splitters, everything else in place; only of an exact solution."""


def plan_of(items: Sequence[InstalledItem], outlets: Sequence[Outlet]) -> Plan:
    """Order of solution of a tree whose items stand in any order."""
    index = {ANTENNA: 0}
    names, owner, parent = [ANTENNA], [-1], [-1]
    depth = {ANTENNA: 0}
    followers: dict[str, int] = {item.after: number for number, item in enumerate(items)}
    buckets: dict[tuple[int, bool, str], list[int]] = {}
    # In rows across, so that groups find their ports side by side.
    todo = deque([ANTENNA])
    while todo:
        port = todo.popleft()
        if port not in followers:
            continue
        number = followers[port]
        item = items[number]
        # Items of equal depth are solved together; splitters only with those that share their matrix.
        own = item.part.id if len(item.outputs) > 1 else "box" if item.branching else ""
        buckets.setdefault((depth[port], item.branching, own), []).append(number)
        for each in item.outputs:
            index[each] = len(names)
            names.append(each)
            owner.append(number)
            parent.append(index[port])
            depth[each] = depth[port] + 1
            todo.append(each)
    groups = []
    for (_, branching, _), numbers in sorted(buckets.items()):
        inputs = np.array([index[items[number].after] for number in numbers])
        outputs = np.array([[index[each] for each in items[number].outputs] for number in numbers])
        groups.append(DepthGroup(np.array(numbers), inputs, outputs, branching))
    ends = np.array([index[outlet.after] for outlet in outlets], dtype=np.int64)
    return Plan(tuple(names), tuple(groups), ends, np.array(parent), np.array(owner))


NOTHING = 1e-12
"""What passes at least, as a divisor: an open end behind parts without loss passes nothing."""
LEAST_GAIN = 1e-30
"""What a gain is divided by at the least: ten kilometres of a thin cable leave less than a number holds."""


def _inward(x: Array, junction: Array | None) -> Array:
    """A reflection seen through a lossless junction from its inner side, where it shows -conj(r).

    Source: `(x - conj r)/(1 - r x)`, from S11 = r, S22 = -conj r, S21^2 = 1 - |r|^2.
    """
    if junction is None:
        return x
    return ratio(x - np.conj(junction), 1 - junction * x)


def _outward(over: Array, under: Array, junction: Array | None) -> Array:
    """The reflection `over/under` seen from the outer side of a junction, where it shows r: `(r + x)/(1 + conj(r) x)`."""
    if junction is None:
        return ratio(over.copy(), under)
    return ratio(junction * under + over, np.conj(junction) * over + under)


def _passed(x: Array, first: Array | None, wave: Array, second: Array | None) -> tuple[Array, Array]:
    """A reflection seen through a two-port, and (1 - |x|^2) inside it before its core over that behind.

    Source: Reflections as quotients of waves b/a, on which junction and line act linearly; |a|^2 - |b|^2 is what passes.
    """
    under: Array = np.ones_like(x) if first is None else 1 - first * x
    inside = x if first is None else x - np.conj(first)
    seen = wave * inside
    whole = power(under)
    passing = (whole - power(inside)) / np.maximum(whole - power(seen), NOTHING)
    return _outward(seen, under, second), passing


def ratio(over: Array, under: Array) -> Array:
    """Quotient of complex arrays; `over` is used up. In single precision by multiplications, twice as fast as division."""
    if over.dtype != np.complex64 or over.shape != np.shape(under):
        return np.asarray(over / under)
    scale = np.reciprocal(np.maximum(power(under), np.finfo(np.float32).tiny))
    over *= np.conj(under)
    over *= scale
    return over


def _rest(x: Array) -> Array:
    """1 - |x|^2, in real arithmetic."""
    return np.asarray(1 - power(x))


def power(x: Array) -> Array:
    """|x|^2; by the absolute value, which numpy has in vector instructions."""
    size = np.abs(x)
    size *= size
    return np.asarray(size)


def solve(
    plan: Plan,
    values: Sequence[ThroughValues | PortValues],
    source: Array,
    source_k: Array,
    ends: Array,
    ends_k: float = T0_K,
) -> Solution:
    """Solve the tree for all samples at once.

    `source` and `source_k` are the antenna's reflection and noise temperature, shape (samples,); `ends` the reflections at
    the outlets, shape (outlets, samples or 1).

    Source: Available gain `Ga = (1-|Gs|^2)|S21|^2/(|1-S11 Gs|^2 (1-|Gout|^2))`; a passive two-port at T adds `T (1 - Ga)`
    (noise waves of a passive part: `k T (I - S S^H)`).
    """
    count, samples = len(plan.ports), source.shape[-1]
    load = np.zeros((count, samples), dtype=source.dtype)
    load[plan.outlets] = ends
    branch_k = np.full((count, samples), ends_k, dtype=source_k.dtype)
    kept: dict[int, tuple[list[list[Array | None]], list[Array]]] = {}
    for number in range(len(plan.groups) - 1, -1, -1):
        group, value = plan.groups[number], values[number]
        if isinstance(value, ThroughValues):
            below = load[group.out_of[0]]
            load[group.into], passing = _passed(below, value.far, value.round_trip, value.near)
            # Gain on the way back is |S12|^2 = |S12 S21|^2/|S21|^2: of a cable the same as forward, of an amplifier its reverse loss.
            # What lets nothing pass either way has no way back either.
            back = np.abs(value.round_trip) ** 2 / np.maximum(value.gain, LEAST_GAIN) * passing
            branch_k[group.into] = back * branch_k[group.out_of[0]] + (1 - back) * value.kelvin
        else:
            # What hangs on an output is first seen through its junction, so that the matrix meets reflections in its own reference.
            ended = [_inward(load[each], own) for each, own in zip(group.out_of, value.junctions[1:], strict=True)]
            matrix = with_ends(value, ended)
            kept[number] = matrix, ended
            seen = filled(matrix[0][0], ended[0])
            load[group.into] = seen if value.junctions[0] is None else _outward(seen, _ones(seen), value.junctions[0])
            branch_k[group.into] = _emitted(group, value, matrix, ended, branch_k)
    return _downward(plan, values, (source, source_k), load, kept, branch_k)


def filled(x: Array | None, like: Array) -> Array:
    """A wave in the shape of another, nothing where there is none."""
    return np.zeros_like(like) if x is None else x if x.shape == like.shape else np.broadcast_to(x, like.shape)


def _ones(like: Array) -> Array:
    return np.ones((1, 1), dtype=like.dtype)


def with_ends(value: PortValues, ends: Sequence[Array]) -> list[list[Array | None]]:
    """`(I - S G)^-1 S` of splitters whose outputs end in reflections G, as seen from inside the outputs' junctions.

    Source: One output at a time: `Y_ij + Y_im g Y_mj/(1 - g Y_mm)`.
    """
    size = len(value.matrix)
    y: list[list[Array | None]] = [list(row) for row in value.matrix]
    for port, g in enumerate(ends, 1):
        own = y[port][port]
        # An output that reflects nothing by itself has no loop, and most splitters are of that kind: None spares the arithmetic.
        h = g if own is None else ratio(g.copy(), 1 - g * own)
        column = [y[i][port] for i in range(size)]
        for i in range(size):
            into = column[i]
            if into is None:
                continue
            scaled = into * h
            for j in range(i, size):
                out_of = column[j]
                if out_of is not None:
                    before = y[i][j]
                    y[i][j] = y[j][i] = scaled * out_of if before is None else before + scaled * out_of
    return y


def _emitted(
    group: DepthGroup, value: PortValues, y: list[list[Array | None]], ended: list[Array], branch_k: Array
) -> Array:
    """Noise temperature of a splitter with its branches, seen from its input."""
    total = np.zeros_like(branch_k[group.into])
    gains = np.zeros_like(total)
    # Available and not delivered power (eq. of Ga in `solve`): what the input itself turns back is divided out.
    left = np.maximum(_rest(filled(y[0][0], ended[0])), NOTHING)
    for port, g in enumerate(ended, 1):
        through = y[0][port]
        if through is not None:
            gain = power(through) * _rest(g) / left
            gains += gain
            total += gain * branch_k[group.out_of[port - 1]]
    # A passive part in one temperature with all that hangs on it shows just that temperature: its own share is what the
    # gains leave (noise waves, k T (I - S S^H)).
    return np.asarray(total + (1 - gains) * value.kelvin)


def _downward(
    plan: Plan,
    values: Sequence[ThroughValues | PortValues],
    root: tuple[Array, Array],
    load: Array,
    kept: dict[int, tuple[list[list[Array | None]], list[Array]]],
    branch_k: Array,
) -> Solution:
    """From the antenna to the outlets: what the source looks like, what is available, how hot it is."""
    # Down after up: at a splitter the source at one output depends on what hangs on all the others.
    source = np.empty_like(load)
    gain = np.empty(load.shape, dtype=root[1].dtype)
    kelvin = np.empty_like(gain)
    source[0], gain[0], kelvin[0] = root[0], 1.0, root[1]
    others = np.zeros_like(gain)
    coupling: dict[int, tuple[tuple[Array | None, ...], ...]] = {}
    for number, (group, value) in enumerate(zip(plan.groups, values, strict=True)):
        before = group.into
        if isinstance(value, ThroughValues):
            after = group.out_of[0]
            source[after], step = _passed(source[before], value.near, value.round_trip, value.far)
            step *= value.gain
            # T (1 - Ga) and not T (1/Ga - 1): noise is counted at the output, where the next part meets it.
            own = (1 - step) * value.kelvin
            if value.noise_factor is not None:
                # F(Gs) = F/(1 - |Gs|^2): Gopt = 0 and 4 rn = F, so that VSWR 2 at the input costs 0.5 dB of noise figure.
                rise = value.noise_factor / _rest(source[before]) - 1
                own = np.where(value.noise_factor > 0, step * T0_K * rise, own)
            own += step * kelvin[before]
            kelvin[after] = own
            gain[after] = gain[before] * step
        else:
            coupling[number] = _split(group, value, (source, gain, kelvin), kept[number], branch_k, others)
    return Solution(gain, source, kelvin, load, others, coupling)


def _split(
    group: DepthGroup,
    value: PortValues,
    state: tuple[Array, Array, Array],
    kept: tuple[list[list[Array | None]], list[Array]],
    branch_k: Array,
    others: Array,
) -> tuple[tuple[Array | None, ...], ...]:
    """Outputs of splitters of a group, every other port ended; waves from output to output."""
    source, gain, kelvin = state
    y, ended = kept
    inside = _inward(source[group.into], value.junctions[0])
    rows: list[tuple[Array | None, ...]] = []
    for port, after in enumerate(group.out_of, 1):
        row, under, room, step = at_output(y, ended, port, inside)
        gain[after] = gain[group.into] * step
        source[after] = _outward(filled(row[port - 1], under), under, value.junctions[port])
        total = np.zeros_like(step)
        share = np.zeros_like(step)
        for m, wave in enumerate(row, 1):
            if m != port and wave is not None:
                part = power(wave) * _rest(ended[m - 1]) / room
                share += part
                total += part * branch_k[group.out_of[m - 1]]
        # Signal's way, other branches and the splitter itself share what arrives; with all of them at one T it must come to T.
        total += (1 - step - share) * value.kelvin
        # As a temperature of what is not the signal's way: drawn solutions, whose step differs a little, take it for (1 - step).
        others[after] = total / np.maximum(1 - step, 1e-12)
        kelvin[after] = step * kelvin[group.into] + total
        rows.append(tuple(None if wave is None else wave / under for wave in row))
    return tuple(rows)


def at_output(
    y: list[list[Array | None]], ended: Sequence[Array], port: int, inside: Array
) -> tuple[list[Array | None], Array, Array, Array]:
    """Waves from all outputs to one with the source in place, by what they are divided, the power left, and the step of gain.

    What hangs on the output itself comes off again: seen/(1 + g seen) is what the source looks like there.

    Source: `Y_ij + Y_i0 Gs Y_0j/(1 - Gs Y_00)`.
    """
    own, first = y[0][0], y[0][port]
    # The source is put in place by the same rank-one step as an output, so no matrix is inverted.
    turn = inside if own is None else ratio(inside.copy(), 1 - inside * own)
    row: list[Array | None] = []
    for second, direct in zip(y[0][1:], y[port][1:], strict=True):
        if first is None or second is None:
            row.append(direct)
        else:
            about = first * second * turn
            row.append(about if direct is None else direct + about)
    g = ended[port - 1]
    seen = filled(row[port - 1], g)
    under = g * seen + 1
    room = np.maximum(power(under) - power(seen), NOTHING)
    if first is None:
        return row, under, room, np.zeros(g.shape, dtype=room.dtype)
    # 1 + t Y00 = 1/(1 - Gs Y00): the wave into the splitter goes round between source and input.
    through = first if own is None else first * (turn * own + 1)
    # No way through a passive part gives out more than is available; where nearly all is turned back, rounding might.
    return row, under, room, np.clip(power(through) * _rest(inside) / room, 0, 1)
