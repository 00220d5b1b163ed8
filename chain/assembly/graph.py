"""The set-up as a graph: connector ends are its nodes, items and joints its edges, arms of splitters its branches.

A node is a tuple: the way to the item from the outer end (an arm's item is told by splitter, port and its own id), then
the end. `("pad", "far")` is the pad's far connector, `("tap", "out2")` a port of a splitter, `("tap", "out2", "load",
"near")` the load on it; `("near", "port")` and `("far", "port")` are the analyzer and the antenna.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import networkx as nx

from chain.assembly.connections import Joint, joint
from chain.assembly.ends import End, far_end, item_ends, near_end
from chain.setups import Arm, Item, Setup
from library.load import Library
from library.records import Splitter, Termination

__all__ = ["FAR", "NEAR", "Node", "graph_joints", "ordered_path", "setup_graph"]

Node = tuple[str, ...]

NEAR: Node = ("near", "port")
FAR: Node = ("far", "port")


def setup_graph(setup: Setup, library: Library | None = None) -> Any:
    """Build the graph of a set-up, whether or not its parts fit together.

    Source: The set-up and the mating rules.
    """
    graph = nx.Graph(library=library or setup.library)
    graph.add_node(NEAR, end=near_end(setup.near))
    at = NEAR
    for item in setup.items:
        at = _add_item(graph, item, (), at)
    graph.add_node(FAR, end=far_end(setup.far))
    _add_joint(graph, at, FAR)
    return graph


def _add_item(graph: Any, item: Item, way: Node, at: Node) -> Node:
    """Hang an item on a node; the node at its other end is returned."""
    near, far = item_ends(item)
    if isinstance(item.part, Splitter):
        return _add_splitter(graph, item, item.part, way, at)
    first, last = (*way, item.id, "near"), (*way, item.id, "far")
    if isinstance(item.part, Termination):
        # Opens and shorts have no impedance of their own: a joint with one is no step.
        line_ohm = near.line_ohm or graph.nodes[at]["end"].line_ohm
        graph.add_node(first, end=replace(near, line_ohm=line_ohm), termination=item)
        _add_joint(graph, at, first)
        return first
    graph.add_node(first, end=near)
    graph.add_node(last, end=far)
    _add_joint(graph, at, first)
    graph.add_edge(first, last, item=item)
    return last


def _add_splitter(graph: Any, item: Item, part: Splitter, way: Node, at: Node) -> Node:
    near, far = item_ends(item)
    arms = {arm.port: arm for arm in item.arms}
    first = (*way, item.id, item.path[0])
    for port, connector in zip(part.ports, part.connectors, strict=True):
        ohm = part.impedance_ohm
        node = (*way, item.id, port)
        if port in item.path:
            graph.add_node(node, end=near if port == item.path[0] else far)
        else:
            graph.add_node(node, end=End(f"{item.id}.{port}", connector, ohm, ohm))
            _add_arm(graph, node, arms.get(port))
    for port in part.ports:
        if port != item.path[0]:
            graph.add_edge(first, (*way, item.id, port), item=item)
    _add_joint(graph, at, first)
    return (*way, item.id, item.path[1])


def _add_arm(graph: Any, port: Node, arm: Arm | None) -> None:
    if arm is None or not arm.items:
        graph.nodes[port]["stated"] = arm
        return
    at = port
    for item in arm.items:
        at = _add_item(graph, item, port, at)


def _add_joint(graph: Any, near: Node, far: Node) -> None:
    found = joint(graph.nodes[near]["end"], graph.nodes[far]["end"], graph.graph["library"])
    graph.add_edge(near, far, joint=found)


def ordered_path(graph: Any) -> tuple[Node, ...]:
    """Nodes from the analyzer's port to the antenna's connector.

    Source: A tree has one way between two nodes.
    """
    return tuple(nx.shortest_path(graph, NEAR, FAR))


def graph_joints(graph: Any) -> tuple[Joint, ...]:
    """Every joint of a graph: those of the path near to far, then those in the arms of splitters.

    Source: Joints are the edges that are no item.
    """
    path = ordered_path(graph)
    on_path = [graph.edges[pair] for pair in pairwise(path)]
    found = [edge["joint"] for edge in on_path if "joint" in edge]
    known = {id(each) for each in found}
    rest = [data["joint"] for _, _, data in graph.edges(data=True) if "joint" in data]
    return tuple(found + [each for each in rest if id(each) not in known])
