"""Ends of items as placed, and what happens where two meet: the verdict, the step of impedance, short lines of a wrong one.

F plugs are named by the cable they sit on, since its own conductor is the pin. The set-up as a graph: connector ends are its
nodes, items and connections its edges, arms of splitters its branches.
"""

from __future__ import annotations

from dataclasses import field, replace
from itertools import chain
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from chain.rf.elements import WRONG_HALF_M, Line, section_lines
from chain.setups import Arm, Far, Item, Near, Setup, ShortLine
from library.frozen import dataclass
from library.mating import F_FAMILY, mate
from library.parts import Library
from library.records import Adapter, Coax, Connector, Splitter, Termination

BLOCKING = ("no-contact", "no-mate", "destructive")
"""Verdicts that mean the two ends do not fit together."""


@dataclass(frozen=True)
class End:
    """What one side of a joint brings: the line's impedance, the impedance its connector is meant for, and the connector."""

    name: str
    connector: Connector
    line_ohm: float
    nominal_ohm: float
    models_own_pair: bool = False
    """The item's own model already holds the section that an unmatched pair forms."""


def item_ohm(item: Item) -> tuple[float, float]:
    """Impedances of an item's own model at its near and far end, as placed [ohm]."""
    part = item.part
    if isinstance(part, (Adapter, Coax, Splitter, Termination)):
        return part.impedance_ohm, part.impedance_ohm
    ohm = (part.near_ohm, part.far_ohm)
    return ohm[::-1] if item.reversed else ohm


def item_ends(item: Item) -> tuple[End, End]:
    """Both ends of an item as placed."""
    near_ohm, far_ohm = item_ohm(item)
    nominal = [near_ohm, far_ohm]
    part = item.part
    unmatched = False
    if isinstance(part, Adapter):
        pair = (part.near_ohm or part.impedance_ohm, part.far_ohm or part.impedance_ohm)
        nominal = list(pair[::-1] if item.reversed else pair)
        unmatched = "UHF" in (item.near_connector.family, item.far_connector.family)
    return (
        End(item.id, item.near_connector, near_ohm, nominal[0], unmatched),
        End(item.id, item.far_connector, far_ohm, nominal[1], unmatched),
    )


def near_end(near: Near) -> End:
    """The analyzer's port as an end."""
    return End("near", near.connector, near.impedance_ohm, near.impedance_ohm)


def far_end(far: Far) -> End:
    """The antenna's connector as an end."""
    return End("far", far.connector, far.impedance_ohm, far.impedance_ohm)


@dataclass(frozen=True)
class Connection:
    """Two mated connectors. `sections` are the lines of wrong impedance it adds."""

    near: End
    far: End
    verdict: str
    reason: str
    mismatch_loss_db: float
    sections: tuple[ShortLine, ...] = ()

    @property
    def id(self) -> str:
        """Name of the connection, from the items it lies between."""
        return f"{self.near.name}/{self.far.name}"


def without_adapter(found: Connection) -> str:
    """What helps where two ends do not fit together and the library has nothing that joins them."""
    if any(end.connector.family == F_FAMILY and end.connector.variant for end in (found.near, found.far)):
        return "fit a plug with a pin of its own, and state it as F-75 plug (pin type)"
    return "no adapter of the library joins them"


def connect(near: End, far: End, library: Library) -> Connection:
    """Judge one connection and list what it adds to the chain. Source: Mating rules of the library; -10 log10(1 - rho^2) for the step."""
    pair = mate(near.connector, far.connector, library)
    verdict, reason = pair.verdict, pair.reason
    sections: list[ShortLine] = []
    if verdict not in BLOCKING:
        for end in (near, far):
            family = library.family(end.connector.family)
            if family.impedance_ohm and end.nominal_ohm and family.impedance_ohm != end.nominal_ohm:
                sections.append(ShortLine(family.impedance_ohm, WRONG_HALF_M))
        family = library.family(near.connector.family)
        if family.section_ohm and not (near.models_own_pair or far.models_own_pair):
            sections.append(ShortLine(family.section_ohm, family.section_m))
    if sections and verdict == "ok":
        wrong = " and ".join(f"{each.impedance_ohm:g}-ohm" for each in sections)
        verdict, reason = "costed", f"mates, but with a {wrong} connector half on a line of another impedance"
    rho = (far.line_ohm - near.line_ohm) / (far.line_ohm + near.line_ohm)
    loss_db = float(-10 * np.log10(1 - rho * rho))
    return Connection(near, far, verdict, reason, loss_db + 0.0, tuple(sections))


def connection_elements(found: Connection, freq_hz: NDArray[np.float64]) -> tuple[Line, ...]:
    """Lines that a connection adds to the chain.

    Source: 10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    return section_lines(found.id, found.sections, freq_hz)


Node: TypeAlias = tuple[str, ...]
Edge: TypeAlias = tuple[Node, Node]

NEAR: Node = ("near", "port")
FAR: Node = ("far", "port")


@dataclass(frozen=True)
class SetupGraph:
    """Ends, and what lies between two of them. Edges run away from the analyzer; joints in the order of the walk.

    A node is a tuple: the way to the item from the outer end (an arm's item is named by splitter, port and its own id), then
    the end. `("pad", "far")` is the pad's far connector, `("tap", "out2")` a port of a splitter, `("tap", "out2", "load",
    "near")` the load on it; `("near", "port")` and `("far", "port")` are the analyzer and the antenna.
    """

    library: Library
    ends: dict[Node, End] = field(default_factory=dict)
    items: dict[Edge, Item] = field(default_factory=dict)
    """A splitter is one edge from its input to each of its other ports."""
    path_connections: dict[Edge, Connection] = field(default_factory=dict)
    arm_connections: dict[Edge, Connection] = field(default_factory=dict)
    loads: dict[Node, Item] = field(default_factory=dict)
    free_ports: dict[Node, Arm | None] = field(default_factory=dict)
    """Ports of splitters that no item hangs on, with what is stated of them."""

    @property
    def connections(self) -> tuple[Connection, ...]:
        """Every joint: those of the path near to far, then those in the arms of splitters."""
        return (*self.path_connections.values(), *self.arm_connections.values())

    def connection_from(self, node: Node) -> tuple[Node, Connection] | None:
        """The joint that begins at a node, with the node at its other side."""
        for (near, far), found in chain(self.path_connections.items(), self.arm_connections.items()):
            if near == node:
                return far, found
        return None

    def items_from(self, node: Node) -> dict[Node, Item]:
        """Items that begin at a node, by the node at their other side: one, or a splitter's for each of its ports."""
        return {far: item for (near, far), item in self.items.items() if near == node}


def setup_graph(setup: Setup, library: Library | None = None) -> SetupGraph:
    """Build the graph of a set-up, whether or not its parts fit together."""
    graph = SetupGraph(library or setup.library)
    graph.ends[NEAR] = near_end(setup.near)
    at = NEAR
    for item in setup.items:
        at = _add_item(graph, item, (), at)
    graph.ends[FAR] = far_end(setup.far)
    _add_connection(graph, at, FAR, ())
    return graph


def _add_item(graph: SetupGraph, item: Item, way: Node, at: Node) -> Node:
    """Hang an item on a node; the node at its other end is returned."""
    near, far = item_ends(item)
    if isinstance(item.part, Splitter):
        return _add_splitter(graph, item, item.part, way, at)
    first, last = (*way, item.id, "near"), (*way, item.id, "far")
    if isinstance(item.part, Termination):
        # Opens and shorts have no impedance of their own: a joint with one is no step.
        graph.ends[first] = replace(near, line_ohm=near.line_ohm or graph.ends[at].line_ohm)
        graph.loads[first] = item
        _add_connection(graph, at, first, way)
        return first
    graph.ends[first], graph.ends[last] = near, far
    _add_connection(graph, at, first, way)
    graph.items[first, last] = item
    return last


def _add_splitter(graph: SetupGraph, item: Item, part: Splitter, way: Node, at: Node) -> Node:
    into, through = ((*way, item.id, port) for port in item.path)
    graph.ends[into], graph.ends[through] = item_ends(item)
    _add_connection(graph, at, into, way)
    arms = {arm.port: arm for arm in item.arms}
    for name, connector in zip(part.ports, part.connectors, strict=True):
        port = (*way, item.id, name)
        if port != into:
            graph.items[into, port] = item
        if port not in (into, through):
            graph.ends[port] = End(f"{item.id}.{name}", connector, part.impedance_ohm, part.impedance_ohm)
            _add_arm(graph, port, arms.get(name))
    return through


def _add_arm(graph: SetupGraph, port: Node, arm: Arm | None) -> None:
    if arm is None or not arm.items:
        graph.free_ports[port] = arm
        return
    at = port
    for item in arm.items:
        at = _add_item(graph, item, port, at)


def _add_connection(graph: SetupGraph, near: Node, far: Node, way: Node) -> None:
    joints = graph.arm_connections if way else graph.path_connections
    joints[near, far] = connect(graph.ends[near], graph.ends[far], graph.library)


def with_arm_sections(item: Item, graph: SetupGraph, way: Node = ()) -> Item:
    """A splitter with the lines that the joints in its arms add; any other item as it is."""
    arms = []
    for arm in item.arms:
        port = (*way, item.id, arm.port)
        items = tuple(with_arm_sections(each, graph, port) for each in arm.items)
        own = [each.sections for (_, far), each in graph.arm_connections.items() if far[:-2] == port]
        arms.append(replace(arm, items=items, sections=tuple(own)))
    return replace(item, arms=tuple(arms)) if item.arms else item
