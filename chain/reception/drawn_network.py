"""The tree solved for many drawn installations at once: what arrives at the outlets alone, with few and cheap operations.

A reflection is kept as a pair of waves b/a as long as it passes junctions and lines, which act on the pair linearly; it is
divided out only where splitters add up what their outputs send back. The noise of other branches is taken from an exact
solution of the same tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from chain.reception.formulas import T0_K
from chain.reception.network import (
    NOTHING,
    Array,
    DepthGroup,
    Places,
    Plan,
    PortValues,
    ThroughValues,
    at_output,
    filled,
    power,
    ratio,
    with_ends,
)


class Arrived(NamedTuple):
    """At the outlets, shape (outlets, trials): available gain, 1 - |source|^2, and noise temperature [K]."""

    gain: Array
    rest: Array
    kelvin: Array


class _Waves(NamedTuple):
    """A reflection at every port, shape (ports, trials): the wave that comes back over the wave sent."""

    back: Array
    sent: Array


class _SourceSide(NamedTuple):
    """At every port: what the source looks like, what is available, and how hot it is."""

    waves: _Waves
    gain: Array
    kelvin: Array

    def pass_on(self, before: Places, after: Places, step: Array, own_k: Array) -> None:
        """Gain and temperature behind a step of gain; `own_k` is what the part shows where nothing comes through it."""
        # T_out = step T_in + (1 - step) T_own, written as own + step (in - own): one product less in each trial.
        self.gain[after] = self.gain[before] * step
        kelvin = self.kelvin[before] - own_k
        kelvin *= step
        kelvin += own_k
        self.kelvin[after] = kelvin


def solve_trials(
    plan: Plan,
    values: Sequence[ThroughValues | PortValues],
    source: Array,
    source_k: Array,
    ends: Array,
    other_k: Array,
) -> Arrived:
    """Solve the tree as `solve` does, for the outlets alone; `other_k` is that of its exact solution, shape (ports, 1).

    Source: as `solve`; a junction takes (b, a) to (b + r a, a + r* b), a line to (w b, a), and |a|^2 - |b|^2 passes a
    lossless junction but for the factor 1 - |r|^2 of the pair, which no quotient shows.
    """
    # A known antenna is one value for all trials.
    shape = len(plan.ports), np.broadcast_shapes(source.shape, source_k.shape)[-1]
    load = _Waves(np.zeros(shape, dtype=source.dtype), np.ones(shape, dtype=source.dtype))
    # A pair (0, 1) is no reflection; only outlets begin with one.
    load.back[plan.outlets] = ends
    turned: dict[int, list[Array]] = {}
    for number in range(len(plan.groups) - 1, -1, -1):
        group, value = plan.groups[number], values[number]
        if isinstance(value, ThroughValues):
            back, sent = _inward(load, group.out_of[0], value.far)
            back *= value.round_trip
            _outward(back, sent, value.near, load, group.into)
        else:
            turned[number] = (_up_evenly if _even(value) else _up)(group, value, load)
    # On the way down the source takes the places of the loads, which nobody asks for any more.
    found = _SourceSide(load, *np.empty((2, *shape), dtype=source_k.dtype))
    found.waves.back[0], found.waves.sent[0], found.gain[0], found.kelvin[0] = source, 1.0, 1.0, source_k
    for number, (group, value) in enumerate(zip(plan.groups, values, strict=True)):
        if isinstance(value, ThroughValues):
            _down_through(group, value, found)
        else:
            (_down_evenly if _even(value) else _down)(group, value, found, turned.pop(number), other_k)
    outlets = plan.outlets
    return Arrived(found.gain[outlets], _left(found.waves, outlets), found.kelvin[outlets])


def _left(waves: _Waves, places: Places) -> Array:
    """1 - |b/a|^2 of the waves at some ports."""
    sent = power(waves.sent[places])
    least = np.finfo(sent.dtype)
    left = 1 - power(waves.back[places]) / np.maximum(sent, least.tiny)
    # Nothing passive reflects more than all, and of a full reflection rounding leaves this much at the most.
    return np.asarray(np.maximum(left, least.eps, out=left))


def _inward(waves: _Waves, places: Places, junction: Array | None) -> tuple[Array, Array]:
    """Waves at some ports from the inner side of their junctions, where those show -conj(r); new arrays."""
    back, sent = waves.back[places], waves.sent[places]
    if junction is None:
        return back.copy(), sent.copy()
    # A junction that is known has one value for all trials.
    inside = np.conj(junction) * sent
    np.subtract(back, inside, out=inside)
    under = junction * back
    np.subtract(sent, under, out=under)
    return inside, under


def _outward(back: Array, sent: Array, junction: Array | None, waves: _Waves, places: Places) -> None:
    """Waves seen from the outer side of junctions, where those show r; stored at some ports."""
    if junction is None:
        waves.back[places], waves.sent[places] = back, sent
        return
    # Evenly spaced ports are written to where they lie.
    there = isinstance(places, slice)
    outer, under = (each[places] if there else np.empty_like(back) for each in waves)
    np.multiply(junction, sent, out=outer)
    outer += back
    np.multiply(np.conj(junction), back, out=under)
    under += sent
    if not there:
        waves.back[places], waves.sent[places] = outer, under


def _down_through(group: DepthGroup, value: ThroughValues, found: _SourceSide) -> None:
    """Two-ports from their input to their output."""
    before, after = group.into, group.out_of[0]
    back, sent = _inward(found.waves, before, value.near)
    own_k = value.kelvin
    whole, returned = power(sent), power(back)
    left = whole - returned
    back *= value.round_trip
    step = left
    whole -= power(back)
    np.maximum(whole, NOTHING, out=whole)
    # The factor 1 - |r|^2 by which a junction's pair is too large stands in both powers and goes out in their quotient.
    step /= whole
    # A share: where nearly all is turned back both powers are what rounding left of 1.
    np.clip(step, 0, 1, out=step)
    step *= value.gain
    if value.noise_factor is None:
        found.pass_on(before, after, step, own_k)
    else:
        # F(Gs) = F/(1 - |Gs|^2): Gopt = 0 and 4 rn = F, so that VSWR 2 at the input costs 0.5 dB of noise figure.
        rest = _left(found.waves, before)
        # Amplifiers and passive parts of equal depth are solved together; the factor 0 marks the passive ones.
        own = np.where(value.noise_factor > 0, step * T0_K * (value.noise_factor / rest - 1), (1 - step) * own_k)
        found.gain[after] = found.gain[before] * step
        found.kelvin[after] = own + step * found.kelvin[before]
    _outward(back, sent, value.far, found.waves, after)


def _even(value: PortValues) -> bool:
    """Whether all outputs of splitters are alike: one wave from the input, one from output to output, none back."""
    matrix, size = value.matrix, len(value.matrix)
    if size < 3:
        return False
    through, across = matrix[0][1], matrix[1][2]
    alike = all(matrix[0][m] is through and matrix[m][m] is None for m in range(1, size))
    crossing = all(matrix[i][j] is across for i in range(1, size) for j in range(1, size) if i != j)
    return through is not None and across is not None and matrix[0][0] is None and alike and crossing


def _waves_of(value: PortValues) -> tuple[Array, Array]:
    """Of splitters with equal outputs: the wave from the input to an output, and from one output to another."""
    through, across = value.matrix[0][1], value.matrix[1][2]
    assert through is not None, "seen by `_even`"
    assert across is not None, "seen by `_even`"
    return through, across


def _up_evenly(group: DepthGroup, value: PortValues, load: _Waves) -> list[Array]:
    """What hangs on splitters of equal outputs, seen from their inputs; t of each output, then their sum.

    Source: With a = S_0m, b = S_mn, outputs ended in g, t = g/(1 + b g), s = sum t, by Sherman and Morrison's formula for
    b (1 1^T - I): the input shows a^2 s/(1 - b s).
    """
    through, across = _waves_of(value)
    turned = []
    for places, junction in zip(group.out_of, value.junctions[1:], strict=True):
        back, sent = _inward(load, places, junction)
        sent += across * back
        turned.append(ratio(back, sent))
    total = sum(turned[1:], turned[0])
    _outward(through * through * total, 1 - across * total, value.junctions[0], load, group.into)
    return [*turned, total]


def _down_evenly(group: DepthGroup, value: PortValues, found: _SourceSide, turned: list[Array], other_k: Array) -> None:
    """Splitters of equal outputs from their input to each output.

    Source: With the source's Gs in place all outputs see one another through c = b + a^2 Gs; with the others' sum s' of t:
    the wave to the output a/(1 - c s'), what it sees (a^2 Gs + b c s')/(1 - c s').
    """
    through, across = _waves_of(value)
    *each, total = turned
    back, sent = _inward(found.waves, group.into, value.junctions[0])
    lead = power(sent)
    lead -= power(back)
    lead /= np.maximum(power(sent), np.finfo(lead.dtype).tiny)
    lead *= power(through)
    own = through * through * ratio(back, sent)
    linked = own + across
    # s' is the sum less the output's own t: it must not see itself in what it sends.
    for places, t, junction in zip(group.out_of, each, value.junctions[1:], strict=True):
        e = total - t
        e *= linked
        back = across * e
        back += own
        sent = np.subtract(1, e, out=e)
        room = power(sent)
        room -= power(back)
        np.maximum(room, NOTHING, out=room)
        found.pass_on(group.into, places, np.clip(lead / room, 0, 1), other_k[places])
        _outward(back, sent, junction, found.waves, places)


def _up(group: DepthGroup, value: PortValues, load: _Waves) -> list[Array]:
    """What hangs on any splitters, seen from their inputs; the reflections that end their outputs."""
    ended = [
        ratio(*_inward(load, places, each)) for places, each in zip(group.out_of, value.junctions[1:], strict=True)
    ]
    seen = filled(with_ends(value, ended)[0][0], ended[0])
    _outward(seen, np.ones_like(seen), value.junctions[0], load, group.into)
    return ended


def _down(group: DepthGroup, value: PortValues, found: _SourceSide, ended: list[Array], other_k: Array) -> None:
    """Any splitters from their input to each output."""
    y = with_ends(value, ended)
    inside = ratio(*_inward(found.waves, group.into, value.junctions[0]))
    for port, places in enumerate(group.out_of, 1):
        row, under, _, step = at_output(y, ended, port, inside)
        found.pass_on(group.into, places, step, other_k[places])
        _outward(filled(row[port - 1], under), under, value.junctions[port], found.waves, places)
