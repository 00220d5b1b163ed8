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

NEVER = 1e-9
"""Share of a wave that is counted as lost at least, so that no sum of bounces is without end."""
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
    arms = {arm.port: arm for arm in item.arms}
    index_of = {name: at for at, name in enumerate(part.ports)}
    branches: list[Branch] = []
    known, unknown = [], []
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
        branches.append(branch)
        known.append(reflection)
        # The disc's centre is not the nominal reflection about which trials are made; the distance counts as unknown.
        unknown.append(region.radius[0] + np.abs(region.center[0] - reflection))
        s = twoport.reduce_port(s, index, reflection)
        # A port reduced away renumbers those behind it.
        del ports[index]
    near, far = ports.index(item.path[0]), ports.index(item.path[1])
    s = s[..., [near, far], :][..., :, [near, far]]
    path = index_of[item.path[0]], index_of[item.path[1]]
    spread = np.zeros((3, *freq_hz.shape))
    if branches:
        behind = [each.port for each in branches]
        ends = np.stack(known, axis=-1), np.stack(unknown, axis=-1)
        moved, steady = _moved(full[..., behind, :][..., :, behind], ends, own, part.loss_tolerance_db)
        ways = np.abs(full[..., list(path), :][..., :, behind])
        spread = _reach(ways, (moved, steady), np.abs(s[..., 1, 0]), part.loss_tolerance_db)
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
            path=path,
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


def _moved(between: Complex, ends: tuple[Complex, Real], port: Real, tolerance_db: float) -> tuple[Real, Real]:
    """Sizes of what all arms together send back into their ports: at most how far from nominal, and nominally.

    `between` leads from arm to arm, each way off by `tolerance_db` at most; the arms reflect g give or take u, their ports up to
    `port`.

    Source: X = (I - G D)^-1 G with G the ends and D between them: X - X0 = (I - G D)^-1 (G - G0 + G (D - D0) G0)(I - D0 G0)^-1,
    each factor by its sizes. (I - G D)^-1 is bounded by the sum of all powers of |G D|, or with K = (I - G0 D0)^-1 by those of
    |K| |G D - G0 D0| times |K|.
    """
    g, u = ends
    factor, eye = 10 ** (tolerance_db / 20), np.eye(g.shape[-1])
    size, most = np.abs(g)[..., None], np.minimum(np.abs(g) + u, 1.0)[..., None]
    own = port[..., None, None] * eye
    off = (factor - 1) * np.abs(between) + own
    # Ends that keep a wave going for ever have no inverse; so near to that a bound says nothing anyway.
    lasting = (1 + NEVER) * eye
    once = np.linalg.inv(lasting - between * g[..., None, :])
    known = np.abs(np.linalg.inv(lasting - g[..., None] * between))
    away = u[..., None] * (np.abs(between) + off) + size * off
    # The first is the better where phases are unknown, the second where ends are known: shorts bounce with changing sign.
    bounces = np.minimum(_powers(most * (np.abs(between) + off)), _powers(known @ away) @ known)
    changed = u[..., None] * eye + most * off * np.swapaxes(size, -1, -2)
    return bounces @ changed @ np.abs(once), np.abs(g[..., None] * once)


def _powers(sizes: Real) -> Real:
    """Sum of all powers of matrices of sizes, beyond all measure where it does not end."""
    found = np.linalg.inv((1 + NEVER) * np.eye(sizes.shape[-1]) - sizes)
    # A sum of sizes has no negative entry, and the inverse has one where the sum does not end.
    return np.where((found >= 0).all(axis=(-2, -1), keepdims=True), found, 1 / NEVER)


def _reach(ways: Real, sent: tuple[Real, Real], through: Real, tolerance_db: float) -> Real:
    """How far the arms move S11, S22 and, relatively, S12*S21 of the path at most.

    `ways` lead from the path's ports to the arms, each off by `tolerance_db`; `sent` is what `_moved` gives.
    """
    factor = 10 ** (tolerance_db / 20)
    moved, steady = (ways @ each @ np.swapaxes(ways, -1, -2) for each in sent)
    # In by one way and out by another, both off by the factor.
    shift = factor**2 * moved + (factor**2 - 1) * steady
    # The path's own error multiplies the whole of S21, which these waves are a part of.
    relative = factor * (shift[..., 0, 1] + (factor - 1) * steady[..., 0, 1]) / np.maximum(through, NEVER)
    # S12 and S21 both move: (1 + t)^2 - 1 = t (2 + t).
    return np.stack([shift[..., 0, 0], shift[..., 1, 1], relative * (2 + relative)])


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
