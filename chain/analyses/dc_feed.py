"""Direct current that comes down the lead: the resistors it meets, their heat, and the volts left at the analyzer.

Leads and adapters count as perfect conductors and couplings as closed, so the figures are the worst there can be.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.assembly.graph import FAR, NEAR, Node, SetupGraph
from chain.setups import Item
from library.formulas import minimum_loss_db
from library.frozen import dataclass
from library.records import Pad, Termination

GROUND: Node = ("ground",)


@dataclass(frozen=True)
class ResistorHeat:
    """One resistor in the way: what it turns into heat, and what it is rated for (0: not known)."""

    item: str
    name: str
    resistance_ohm: float
    power_w: float
    rating_w: float


@dataclass(frozen=True)
class DirectCurrent:
    """A feed at the antenna's connector and what becomes of it. `shorted`: nothing but conductors lie across the feed."""

    feed_v: float
    port_v: float
    current_a: float
    resistors: tuple[ResistorHeat, ...]
    shorted: bool = False

    @property
    def power_w(self) -> float:
        """Heat of all resistors together, the analyzer's own input left out [W]."""
        return sum(each.power_w for each in self.resistors if each.item != "near")


@dataclass(frozen=True)
class _Resistor:
    a: Node
    b: Node
    resistance_ohm: float
    item: str
    name: str
    rating_w: float


def pad_arms(pad: Pad) -> tuple[tuple[str, float], ...]:
    """Resistors of a pad, near to far; a pad that is only specified is taken as the T network of its loss [ohm].

    Source: N = 10^(A/10); shunt R3 = 2 sqrt(N Z1 Z2)/(N-1), series Z(N+1)/(N-1) - R3 on either side. At the least
    loss the arm at the lower impedance vanishes and the minimum-loss pad is left.
    """
    if pad.arms:
        return pad.arms
    high, low = max(pad.near_ohm, pad.far_ohm), min(pad.near_ohm, pad.far_ohm)
    least_db = minimum_loss_db(high, low)
    ratio = 10 ** (max(pad.loss_db, least_db) / 10)
    if ratio - 1 < 1e-9:
        return ()
    shunt = 2 * (ratio * high * low) ** 0.5 / (ratio - 1)
    arms = [("series", end * (ratio + 1) / (ratio - 1) - shunt) for end in (pad.near_ohm, pad.far_ohm)]
    arms.insert(1, ("shunt", shunt))
    # Rounding of the library's loss leaves micro-ohms where nothing is.
    return tuple((kind, ohm) for kind, ohm in arms if ohm > 1e-3)


def direct_current(graph: SetupGraph, feed_v: float, input_ohm: float | None = None) -> DirectCurrent:
    """Volts, current and heat that a DC feed at the antenna's connector causes.

    Source: Nodal analysis: Kirchhoff's current law at every node that is neither the feed nor the shield.
    """
    links, resistors = _network(graph)
    if input_ohm is not None:
        resistors.append(_Resistor(NEAR, GROUND, input_ohm, "near", "analyzer's input", 0.0))
    root = _merged(links)
    source, ground = root(FAR), root(GROUND)
    if source == ground:
        return DirectCurrent(feed_v, 0.0, 0.0, (), shorted=True)
    volts = _node_volts(resistors, root, source, ground, feed_v)

    def across(each: _Resistor) -> float:
        return volts.get(root(each.a), 0.0) - volts.get(root(each.b), 0.0)

    heat = tuple(
        ResistorHeat(r.item, r.name, r.resistance_ohm, across(r) ** 2 / r.resistance_ohm, r.rating_w) for r in resistors
    )
    current = sum(each.power_w for each in heat) / feed_v if feed_v else 0.0
    return DirectCurrent(feed_v, volts.get(root(NEAR), 0.0), current, heat)


def resistance_ohm(graph: SetupGraph, end_ohm: float) -> float:
    """What an ohmmeter shows between centre and shield of the near end, the analyzer taken off [ohm]."""
    links, resistors = _network(graph)
    if end_ohm == 0:
        links.append((FAR, GROUND))
    elif np.isfinite(end_ohm):
        resistors.append(_Resistor(FAR, GROUND, end_ohm, "far", "end", 0.0))
    root = _merged(links)
    source, ground = root(NEAR), root(GROUND)
    if source == ground:
        return 0.0
    volts = _node_volts(resistors, root, source, ground, 1.0)
    drops = ((volts.get(root(r.a), 0.0) - volts.get(root(r.b), 0.0), r.resistance_ohm) for r in resistors)
    siemens = sum(volt**2 / ohm for volt, ohm in drops)
    return 1 / siemens if siemens > 1e-12 else float("inf")


def _network(graph: SetupGraph) -> tuple[list[tuple[Node, Node]], list[_Resistor]]:
    """Perfect connections and resistors of a graph."""
    links: list[tuple[Node, Node]] = [*graph.path_connections, *graph.arm_connections]
    resistors: list[_Resistor] = []
    for (near, far), item in graph.items.items():
        _item_network(item, near, far, links, resistors)
    for node, load in graph.loads.items():
        _end_network(load, node, links, resistors)
    for port, arm in graph.free_ports.items():
        if arm is not None and arm.end == "matched":
            resistors.append(_Resistor(port, GROUND, arm.end_ohm, graph.ends[port].name, "end of the arm", 0.0))
    return links, resistors


def _item_network(
    item: Item, near: Node, far: Node, links: list[tuple[Node, Node]], resistors: list[_Resistor]
) -> None:
    part = item.part
    dc = getattr(part, "dc", "pass")
    if dc == "block":
        return
    if dc == "short":
        links.extend([(near, GROUND), (far, GROUND)])
        return
    if not isinstance(part, Pad):
        links.append((near, far))
        return
    arms = pad_arms(part)
    at = near
    for index, (kind, ohm) in enumerate(arms[::-1] if item.reversed else arms):
        name = f"{kind} {ohm:.4g} ohm"
        if kind == "shunt":
            resistors.append(_Resistor(at, GROUND, ohm, item.id, name, part.resistor_power_w))
        else:
            after = (*near, f"after {index}")
            resistors.append(_Resistor(at, after, ohm, item.id, name, part.resistor_power_w))
            at = after
    links.append((at, far))


def _end_network(item: Item, node: Node, links: list[tuple[Node, Node]], resistors: list[_Resistor]) -> None:
    load = item.part
    assert isinstance(load, Termination)
    if load.type == "short":
        links.append((node, GROUND))
    elif load.type == "load":
        resistors.append(_Resistor(node, GROUND, load.impedance_ohm, item.id, "load", 0.0))


def _merged(links: list[tuple[Node, Node]]) -> Callable[[Node], Node]:
    """Give the function that names, for a node, the one standing for all that are connected with it."""
    above: dict[Node, Node] = {}

    def root(node: Node) -> Node:
        while node in above:
            node = above[node]
        return node

    for a, b in links:
        first, second = root(a), root(b)
        if first != second:
            above[second] = first
    return root


def _node_volts(
    resistors: list[_Resistor], root: Callable[[Node], Node], source: Node, ground: Node, feed_v: float
) -> dict[Node, float]:
    """Voltages of all nodes that the resistors reach; islands cut off from feed and shield stay out, at no voltage."""
    volts = {source: feed_v, ground: 0.0}
    pairs = [(root(each.a), root(each.b), 1 / each.resistance_ohm) for each in resistors]
    reached = {source, ground}
    while True:
        more = {y for a, b, _ in pairs for x, y in ((a, b), (b, a)) if x in reached} - reached
        if not more:
            break
        reached |= more
    free = sorted(reached - {source, ground})
    if not free:
        return volts
    index = {node: row for row, node in enumerate(free)}
    matrix, right = np.zeros((len(free), len(free))), np.zeros(len(free))
    for a, b, siemens in pairs:
        for node, other in ((a, b), (b, a)):
            if node not in index:
                continue
            matrix[index[node], index[node]] += siemens
            if other in index:
                matrix[index[node], index[other]] -= siemens
            else:
                right[index[node]] += siemens * volts[other]
    solved = np.linalg.solve(matrix, right)
    return volts | {node: float(solved[row]) for node, row in index.items()}
