"""Splitters and taps: matched ports, a loss between each pair, and whatever hangs on the arms that are not on the path."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.discs import forward, region_of
from chain.rf.elements import Branch, Element, Tee, aligned, limit_radius, limit_shape, section_lines
from chain.setups import Arm, Item
from library.records import Splitter, Termination

__all__ = ["elements"]

ElementsOf = Callable[[Item, Real], tuple[Element, ...]]
"""What describes any item, given to the splitter because its arms hold items of every kind."""


def elements(item: Item, freq_hz: Real, others: ElementsOf) -> tuple[Element, ...]:
    """One element between the two ports of the path, the other ports ended in their arms."""
    part = item.part
    assert isinstance(part, Splitter)
    full = s = _full(part, freq_hz)
    radius = limit_radius(part.limit, freq_hz)
    own = radius if radius is not None else np.zeros(freq_hz.shape)
    ports = list(part.ports)
    spread = np.zeros((3, *freq_hz.shape))
    arms = {arm.port: arm for arm in item.arms}
    index_of = {name: at for at, name in enumerate(part.ports)}
    branches: list[Branch] = []
    for name in part.ports:
        if name in item.path:
            continue
        index = ports.index(name)
        arm = arms.get(name, Arm(name, "matched", part.impedance_ohm))
        branch = _branch(arm, index_of[name], part.impedance_ohm, freq_hz, others)
        region = forward(branch.elements, region_of(branch.end, branch.end_radius))
        reflection = branch.end
        for element in reversed(branch.elements):
            reflection = np.asarray(twoport.input_reflection(element.nominal(), reflection))
        # The disc's centre is not the nominal reflection about which draws are made; the distance counts as unknown.
        unknown = region.radius[0] + np.abs(region.center[0] - reflection)
        branches.append(branch)
        near, far = ports.index(item.path[0]), ports.index(item.path[1])
        spread += _reach(s, (near, far, index), (np.abs(reflection), unknown, own))
        s = twoport.reduce_port(s, index, reflection)
        # A port reduced away renumbers those behind it.
        del ports[index]
    near, far = ports.index(item.path[0]), ports.index(item.path[1])
    s = s[..., [near, far], :][..., :, [near, far]]
    return (
        Tee(
            item.id,
            part.impedance_ohm,
            part.impedance_ohm,
            s,
            own + spread[0],
            own + spread[1],
            limit_shape(part.limit),
            loss_tolerance_db=part.loss_tolerance_db,
            product_radius=spread[2],
            full=full,
            path=(index_of[item.path[0]], index_of[item.path[1]]),
            port_radius=radius,
            branches=tuple(branches),
        ),
    )


def _full(part: Splitter, freq_hz: Real) -> Complex:
    count = len(part.ports)
    s = np.zeros((count, count), dtype=complex)
    for first, second, loss_db in part.loss_db:
        i, j = part.ports.index(first), part.ports.index(second)
        s[i, j] = s[j, i] = 10 ** (-loss_db / 20)
    return np.broadcast_to(s, (*freq_hz.shape, count, count))


def _reach(s: Complex, ports: tuple[int, int, int], sizes: tuple[Real, Real, Real]) -> Real:
    """How far an arm moves S11, S22 and, relatively, S12*S21 of the path.

    The arm reflects g give or take u, its port m give or take p: |G/(1 - MG) - g/(1 - mg)| <= (u + p g G)/((1 - MG)(1 - mg)).
    A matched arm hides its port's own reflection altogether.
    """
    near, far, arm = ports
    known, unknown, port = sizes
    match, most = np.abs(s[..., arm, arm]), np.minimum(known + unknown, 1.0)
    room = np.maximum(1 - (match + port) * most, 1e-9) * np.maximum(1 - match * known, 1e-9)
    moved = (unknown + port * known * most) / room
    into_near, into_far = np.abs(s[..., near, arm]), np.abs(s[..., far, arm])
    through = into_near * into_far * moved / np.maximum(np.abs(s[..., far, near]), 1e-12)
    # S12 and S21 both move: (1 + t)^2 - 1 = t (2 + t).
    return np.stack([into_near**2 * moved, into_far**2 * moved, through * (2 + through)])


def _branch(arm: Arm, port: int, port_ohm: float, freq_hz: Real, others: ElementsOf) -> Branch:
    """What hangs on a port: its elements in the port's impedance, and the end behind them with its limit."""
    if not arm.items:
        level = 1.0 if arm.end == "open" else (arm.end_ohm - port_ohm) / (arm.end_ohm + port_ohm)
        return Branch(port, (), np.full(freq_hz.shape, level, dtype=complex), np.zeros(freq_hz.shape))
    *elements, last = arm.items
    load = last.part
    assert isinstance(load, Termination)
    end = {"open": 1.0, "short": -1.0}.get(load.type, 0.0)
    limit = limit_radius(load.limit, freq_hz) if load.type == "load" else None
    center = np.full(freq_hz.shape, end, dtype=complex)
    sections = arm.sections or ((),) * len(arm.items)
    line: tuple[Element, ...] = ()
    for item, before in zip(elements, sections, strict=False):
        line += (*section_lines(item.id, before, freq_hz), *others(item, freq_hz))
    line += section_lines(last.id, sections[-1], freq_hz)
    # An open or a short is one in any impedance and states none.
    end_ohm = load.impedance_ohm or (line[-1].far_ohm if line else port_ohm)
    radius = limit if limit is not None else np.zeros(freq_hz.shape)
    kind = limit_shape(load.limit)
    return Branch(port, aligned(line, port_ohm, end_ohm, freq_hz), center, radius, kind)
