"""The set-up as a graph: connector ends are its nodes, items and joints its edges, arms of splitters its branches.

A node is a tuple: the way to the item from the outer end (an arm's item is named by splitter, port and its own id), then
the end. `("pad", "far")` is the pad's far connector, `("tap", "out2")` a port of a splitter, `("tap", "out2", "load",
"near")` the load on it; `("near", "port")` and `("far", "port")` are the analyzer and the antenna.
"""

from __future__ import annotations

from dataclasses import field, replace
from itertools import chain
from typing import TypeAlias

from chain.assembly.connections import Connection, End, connect, far_end, item_ends, near_end
from chain.setups import Arm, Item, Setup
from library.frozen import dataclass
from library.load import Library
from library.records import Splitter, Termination

__all__ = ["FAR", "NEAR", "Node", "SetupGraph", "setup_graph", "with_arm_sections"]

Node: TypeAlias = tuple[str, ...]
Edge: TypeAlias = tuple[Node, Node]

NEAR: Node = ("near", "port")
FAR: Node = ("far", "port")


@dataclass(frozen=True)
class SetupGraph:
    """Ends, and what lies between two of them. Edges run away from the analyzer; joints in the order of the walk."""

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
    """Build the graph of a set-up, whether or not its parts fit together.

    Source: The set-up and the mating rules.
    """
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
    """A splitter with the lines that the joints in its arms add; any other item as it is.

    Source: The graph's joints.
    """
    arms = []
    for arm in item.arms:
        port = (*way, item.id, arm.port)
        items = tuple(with_arm_sections(each, graph, port) for each in arm.items)
        own = [each.sections for (_, far), each in graph.arm_connections.items() if far[:-2] == port]
        arms.append(replace(arm, items=items, sections=tuple(own)))
    return replace(item, arms=tuple(arms)) if item.arms else item
