"""The tree solved: reflections looking down and up at every port, available gain, and noise temperature.

Arrays have shape (ports, samples); a sample is a frequency or a drawn installation. All reflections are in 75 ohm. A
two-port is a lossless junction, a matched core, and a junction again; a splitter any matrix with a junction at each port.
Available gain and noise temperature of a cascade follow from the reflections alone, mismatch included.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.reception.formulas import T0_K
from chain.reception.records import ANTENNA, InstalledItem, Outlet

__all__ = ["Group", "Plan", "PortValues", "Solution", "ThroughValues", "plan_of", "solve"]

Array = NDArray[Any]
Indices = NDArray[np.int64]
Places = slice | NDArray[np.int64]


@dataclass(frozen=True)
class Group:
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
    groups: tuple[Group, ...]
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
        groups.append(Group(np.array(numbers), inputs, outputs, branching))
    ends = np.array([index[outlet.after] for outlet in outlets], dtype=np.int64)
    return Plan(tuple(names), tuple(groups), ends, np.array(parent), np.array(owner))


NOTHING = 1e-12
"""What passes at least, as a divisor: an open end behind parts without loss passes nothing."""


def _inward(x: Array, junction: Array | None) -> Array:
    """A reflection seen through a lossless junction from its inner side, where it shows -conj(r).

    Source: `(x - conj r)/(1 - r x)`, from S11 = r, S22 = -conj r, S21^2 = 1 - |r|^2.
    """
    if junction is None:
        return x
    return _ratio(x - np.conj(junction), 1 - junction * x)


def _outward(over: Array, under: Array, junction: Array | None) -> Array:
    """The reflection `over/under` seen from the outer side of a junction, where it shows r: `(r + x)/(1 + conj(r) x)`."""
    if junction is None:
        return _ratio(over.copy(), under)
    return _ratio(junction * under + over, np.conj(junction) * over + under)


def _passed(x: Array, first: Array | None, wave: Array, second: Array | None, asked: bool = True) -> tuple[Array, Any]:
    """A reflection seen through a two-port; if asked, also (1 - |x|^2) inside it before its core over that behind.

    Source: Reflections as quotients of waves b/a, on which junction and line act linearly; |a|^2 - |b|^2 is what passes.
    """
    under: Array = np.ones_like(x) if first is None else 1 - first * x
    inside = x if first is None else x - np.conj(first)
    seen = wave * inside
    passing = None
    if asked:
        whole = _power(under)
        passing = (whole - _power(inside)) / np.maximum(whole - _power(seen), NOTHING)
    return _outward(seen, under, second), passing


def _ratio(over: Array, under: Array) -> Array:
    """Quotient of complex arrays; `over` is used up. In single precision by multiplications, twice as fast as division."""
    if over.dtype != np.complex64 or over.shape != np.shape(under):
        return np.asarray(over / under)
    scale = np.reciprocal(_power(under))
    over *= np.conj(under)
    over *= scale
    return over


def _inverse(x: Array) -> Array:
    """1/x; `x` is used up."""
    scale = np.reciprocal(_power(x))
    np.conj(x, out=x)
    x *= scale
    return x


def _rest(x: Array) -> Array:
    """1 - |x|^2, in real arithmetic."""
    return np.asarray(1 - _power(x))


def _power(x: Array) -> Array:
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
    other_k: Array | None = None,
    ends_k: float = T0_K,
) -> Solution:
    """Solve the tree for all samples at once.

    `source` and `source_k` are the antenna's reflection and noise temperature, shape (samples,); `ends` the reflections at
    the outlets, shape (outlets, samples or 1). With `other_k` of an earlier, exact solution the noise that comes back out of
    other branches is taken from there, which is several times faster.

    Source: Available gain `Ga = (1-|Gs|^2)|S21|^2/(|1-S11 Gs|^2 (1-|Gout|^2))`; a passive two-port at T adds `T (1 - Ga)`
    (noise waves of a passive part: `k T (I - S S^H)`).
    """
    count, samples = len(plan.ports), source.shape[-1]
    load = np.zeros((count, samples), dtype=source.dtype)
    load[plan.outlets] = ends
    exact = other_k is None
    branch_k = np.full((count, samples) if exact else (1, 1), ends_k, dtype=source_k.dtype)
    kept: dict[int, tuple[list[list[Array | None]], list[Array]]] = {}
    for number in range(len(plan.groups) - 1, -1, -1):
        group, value = plan.groups[number], values[number]
        if isinstance(value, ThroughValues):
            below = load[group.out_of[0]]
            load[group.into], passing = _passed(below, value.far, value.round_trip, value.near, exact)
            if exact:
                back = np.abs(value.round_trip) ** 2 / value.gain * passing
                branch_k[group.into] = back * branch_k[group.out_of[0]] + (1 - back) * value.kelvin
        else:
            matrix, ended = (_ended if exact or not _even(value) else _ended_evenly)(group, value, load)
            kept[number] = matrix, ended
            seen = _filled(matrix[0][0], ended[0])
            load[group.into] = seen if value.junctions[0] is None else _outward(seen, _ones(seen), value.junctions[0])
            if exact:
                branch_k[group.into] = _emitted(group, value, matrix, ended, branch_k)
    return _downward(plan, values, (source, source_k), load, kept, branch_k, other_k)


def _filled(x: Array | None, like: Array) -> Array:
    return np.zeros_like(like) if x is None else x if x.shape == like.shape else np.broadcast_to(x, like.shape)


def _ones(like: Array) -> Array:
    return np.ones((1, 1), dtype=like.dtype)


def _ended(group: Group, value: PortValues, load: Array) -> tuple[list[list[Array | None]], list[Array]]:
    """`(I - S G)^-1 S` of splitters whose outputs end in what hangs on them, and those reflections seen from inside.

    Source: One output at a time: `Y_ij + Y_im g Y_mj/(1 - g Y_mm)`.
    """
    size = len(value.matrix)
    y: list[list[Array | None]] = [list(row) for row in value.matrix]
    ended = []
    for port in range(1, size):
        g = _inward(load[group.out_of[port - 1]], value.junctions[port])
        ended.append(g)
        own = y[port][port]
        h = g if own is None else _ratio(g.copy(), 1 - g * own)
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
    return y, ended


def _even(value: PortValues) -> bool:
    """Whether all outputs of splitters are alike: one wave from the input, one from output to output, none back."""
    matrix, size = value.matrix, len(value.matrix)
    if size < 3:
        return False
    through, across = matrix[0][1], matrix[1][2]
    alike = all(matrix[0][m] is through and matrix[m][m] is None for m in range(1, size))
    crossing = all(matrix[i][j] is across for i in range(1, size) for j in range(1, size) if i != j)
    return through is not None and across is not None and matrix[0][0] is None and alike and crossing


def _ended_evenly(group: Group, value: PortValues, load: Array) -> tuple[list[list[Array | None]], list[Array]]:
    """As `_ended` where all outputs are alike, in a closed form; waves from output to other outputs are left out.

    Source: With a = S_0m, b = S_mn, d = 1/(1 + b g), s = sum g d, by Sherman and Morrison's formula for b (1 1^T - I):
    Y_0m = a d/(1 - b s), Y_00 = a^2 s/(1 - b s), Y_mm = b^2 d (s - g d)/(1 - b s).
    """
    size = len(value.matrix)
    a, b = value.matrix[0][1], value.matrix[1][2]
    assert a is not None, "seen by `_even`"
    assert b is not None, "seen by `_even`"
    ended = [_inward(load[group.out_of[m - 1]], value.junctions[m]) for m in range(1, size)]
    down = [_inverse(1 + b * g) for g in ended]
    turned = [g * d for g, d in zip(ended, down, strict=True)]
    total = sum(turned[1:], turned[0])
    common = _inverse(1 - b * total)
    into, back = a * common, b * b * common
    y: list[list[Array | None]] = [[None] * size for _ in range(size)]
    y[0][0] = a * into * total
    for m, (d, each) in enumerate(zip(down, turned, strict=True), 1):
        y[0][m] = y[m][0] = into * d
        y[m][m] = back * d * (total - each)
    return y, ended


def _emitted(
    group: Group, value: PortValues, y: list[list[Array | None]], ended: list[Array], branch_k: Array
) -> Array:
    """Noise temperature of a splitter with its branches, seen from its input."""
    total = np.zeros_like(branch_k[group.into])
    gains = np.zeros_like(total)
    left = np.maximum(_rest(_filled(y[0][0], ended[0])), NOTHING)
    for port, g in enumerate(ended, 1):
        through = y[0][port]
        if through is not None:
            gain = _power(through) * _rest(g) / left
            gains += gain
            total += gain * branch_k[group.out_of[port - 1]]
    return np.asarray(total + (1 - gains) * value.kelvin)


def _downward(
    plan: Plan,
    values: Sequence[ThroughValues | PortValues],
    root: tuple[Array, Array],
    load: Array,
    kept: dict[int, tuple[list[list[Array | None]], list[Array]]],
    branch_k: Array,
    other_k: Array | None,
) -> Solution:
    """From the antenna to the outlets: what the source looks like, what is available, how hot it is."""
    source = np.empty_like(load)
    gain = np.empty(load.shape, dtype=root[1].dtype)
    kelvin = np.empty_like(gain)
    source[0], gain[0], kelvin[0] = root[0], 1.0, root[1]
    others = np.zeros_like(gain) if other_k is None else other_k
    coupling: dict[int, tuple[tuple[Array | None, ...], ...]] = {}
    for number, (group, value) in enumerate(zip(plan.groups, values, strict=True)):
        before = group.into
        if isinstance(value, ThroughValues):
            after = group.out_of[0]
            source[after], step = _passed(source[before], value.near, value.round_trip, value.far)
            step *= value.gain
            own = (1 - step) * value.kelvin
            if value.noise_factor is not None:
                # F(Gs) = F/(1 - |Gs|^2): Gopt = 0 and 4 rn = F, so that VSWR 2 at the input costs 0.5 dB of noise figure.
                rise = value.noise_factor / _rest(source[before]) - 1
                own = np.where(value.noise_factor > 0, step * T0_K * rise, own)
            own += step * kelvin[before]
            kelvin[after] = own
            gain[after] = gain[before] * step
        else:
            waves = _split(group, value, (source, gain, kelvin), kept[number], branch_k, others, other_k is None)
            if waves:
                coupling[number] = waves
    return Solution(gain, source, kelvin, load, others, coupling)


def _split(
    group: Group,
    value: PortValues,
    state: tuple[Array, Array, Array],
    kept: tuple[list[list[Array | None]], list[Array]],
    branch_k: Array,
    others: Array,
    exact: bool,
) -> tuple[tuple[Array | None, ...], ...]:
    """Outputs of splitters of a group, every other port ended; waves from output to output in an exact solution."""
    source, gain, kelvin = state
    y, ended = kept
    size = len(y)
    inside = _inward(source[group.into], value.junctions[0])
    own = y[0][0]
    turn = inside if own is None else _ratio(inside.copy(), 1 - inside * own)
    left = _rest(inside)
    again = 1 if own is None else turn * own + 1
    from_source = [None if wave is None else wave * again for wave in y[0]]
    rows: list[tuple[Array | None, ...]] = []
    for port in range(1, size):
        after = group.out_of[port - 1]
        g, through = ended[port - 1], from_source[port]
        seen = _filled(_with_source(y, port, port, turn), g)
        # What hangs on the output itself comes off again: seen/(1 + g seen) is what the source looks like there.
        under = g * seen + 1
        room = np.maximum(_power(under) - _power(seen), NOTHING)
        step = np.zeros(g.shape, dtype=gain.dtype) if through is None else _power(through) * left / room
        gain[after] = gain[group.into] * step
        source[after] = _outward(seen, under, value.junctions[port])
        if exact:
            total = np.zeros_like(step)
            share = np.zeros_like(step)
            row = [_with_source(y, port, m, turn) for m in range(1, size)]
            for m, wave in enumerate(row, 1):
                if m != port and wave is not None:
                    part = _power(wave) * _rest(ended[m - 1]) / room
                    share += part
                    total += part * branch_k[group.out_of[m - 1]]
            total += (1 - step - share) * value.kelvin
            others[after] = total / np.maximum(1 - step, 1e-12)
            kelvin[after] = step * kelvin[group.into] + total
            rows.append(tuple(None if wave is None else wave / under for wave in row))
        else:
            kelvin[after] = step * kelvin[group.into] + (1 - step) * others[after]
    return tuple(rows)


def _with_source(y: list[list[Array | None]], i: int, j: int, turn: Array) -> Array | None:
    """A wave between outputs with the source in place: `Y_ij + Y_i0 Gs Y_0j/(1 - Gs Y_00)`."""
    first, second, direct = y[0][i], y[0][j], y[i][j]
    if first is None or second is None:
        return direct
    round_about = first * second * turn
    return round_about if direct is None else direct + round_about
