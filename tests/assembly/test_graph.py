"""The set-up as a graph: its nodes, its one path, its branches and its joints."""

import networkx as nx
import pytest

from chain.assembly.cascade import build
from chain.assembly.graph import FAR, NEAR, setup_graph
from chain.files.setup_file import load_setup, parse_setup

SPLIT = b"""
title = "Invented club house, one aerial for two rooms"
[sweep]
start = "174 MHz"
stop = "230 MHz"
points = 5
[near]
connector = "N-50 jack"
[[chain]]
id = "pad"
part = "min-loss-pad-n-f"
[[chain]]
id = "first"
part = "rg6"
length = "1 m"
near = "F-75 plug"
far = "F-75 plug"
[[chain]]
id = "split"
part = "splitter-2"
path = ["in", "out1"]
[[chain.arm]]
port = "out2"
end = [{id = "second", part = "rg6", length = "2 m", near = "F-75 plug", far = "F-75 plug"}, {id = "load", part = "load-f-jack"}]
[[chain]]
id = "third"
part = "rg6"
length = "1 m"
near = "F-75 plug"
far = "F-75 plug"
[far]
connector = "F-75 jack"
dc_feed = "0 V"
"""


@pytest.fixture(scope="module")
def boathouse():
    """The boathouse example."""
    return load_setup("demo/boathouse.toml")


@pytest.fixture(scope="module")
def split():
    """A chain with a splitter, its arm a lead and a load."""
    return parse_setup(SPLIT)


def network(setup):
    """Nodes and edges alone, for networkx to judge."""
    graph = setup_graph(setup)
    return nx.Graph([*graph.items, *graph.path_connections, *graph.arm_connections])


def test_path_runs_from_analyzer_to_antenna(boathouse):
    path = nx.shortest_path(network(boathouse), NEAR, FAR)
    assert path[0] == NEAR
    assert path[-1] == FAR
    assert path[1:-1] == [(item.id, end) for item in boathouse.items for end in ("near", "far")]


def test_every_edge_is_an_item_or_a_joint(split):
    graph = setup_graph(split)
    joints = {**graph.path_connections, **graph.arm_connections}
    assert not set(graph.items) & set(joints)
    assert network(split).number_of_edges() == len(graph.items) + len(joints)
    # 3 leads, 1 pad, 2 ways through the splitter; joints: 5 on the path, 2 in the arm.
    assert len(graph.items) == 6
    assert (len(graph.path_connections), len(graph.arm_connections)) == (5, 2)


def test_graph_is_a_tree_whatever_branches_it_has(boathouse, split):
    assert nx.is_tree(network(boathouse))
    assert nx.is_tree(network(split))


def test_nodes_carry_the_connector_and_the_line_of_each_end(split):
    graph = setup_graph(split)
    assert str(graph.ends["pad", "near"].connector) == "N-50 plug"
    assert graph.ends["pad", "far"].line_ohm == 75.0
    assert graph.ends["split", "out2"].name == "split.out2"
    assert graph.loads["split", "out2", "load", "near"].part.type == "load"


def test_arm_is_a_branch_off_the_path(split):
    assert ("split", "out2") not in nx.shortest_path(network(split), NEAR, FAR)
    assert nx.has_path(network(split), FAR, ("split", "out2", "load", "near"))


def test_joints_of_the_path_are_those_the_cascade_uses(split):
    graph = setup_graph(split)
    assert tuple(graph.path_connections.values()) == build(split).joints
    assert [joint.id for joint in graph.connections[5:]] == ["split.out2/second", "second/load"]


def test_ends_that_do_not_fit_still_make_a_graph():
    wrong = parse_setup(SPLIT.replace(b'connector = "F-75 jack"', b'connector = "F-75 plug"'))
    assert setup_graph(wrong).connections[4].verdict == "no-mate"


def test_an_item_in_an_arm_may_bear_any_name_without_being_taken_for_another():
    wrong = parse_setup(SPLIT.replace(b'id = "second"', b'id = "out1"'))
    assert nx.is_tree(network(wrong))


@pytest.mark.parametrize("end", ["open", "short"])
def test_an_end_without_impedance_is_no_step(end):
    graph = setup_graph(parse_setup(SPLIT.replace(b"load-f-jack", f"{end}-f-jack".encode())))
    assert graph.connections[-1].mismatch_loss_db == 0.0
