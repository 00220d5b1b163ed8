"""The set-up as a graph: its nodes, its one path, its branches and its joints."""

import networkx as nx
import pytest

from chain.assembly.connections import joints_of
from chain.assembly.graph import FAR, NEAR, graph_joints, ordered_path, setup_graph
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


def test_path_runs_from_analyzer_to_antenna(boathouse):
    path = ordered_path(setup_graph(boathouse))
    assert path[0] == NEAR
    assert path[-1] == FAR
    assert path[1:-1] == tuple((item.id, end) for item in boathouse.items for end in ("near", "far"))


def test_every_edge_is_an_item_or_a_joint(split):
    graph = setup_graph(split)
    kinds = [sorted({"item", "joint"} & set(data)) for _, _, data in graph.edges(data=True)]
    assert all(len(kind) == 1 for kind in kinds)
    # 3 leads, 1 pad, 2 ways through the splitter; joints: 5 on the path, 2 in the arm.
    assert kinds.count(["item"]) == 6
    assert kinds.count(["joint"]) == 7


def test_graph_is_a_tree_whatever_branches_it_has(boathouse, split):
    assert nx.is_tree(setup_graph(boathouse))
    assert nx.is_tree(setup_graph(split))


def test_nodes_carry_the_connector_and_the_line_of_each_end(split):
    nodes = setup_graph(split).nodes
    assert str(nodes[("pad", "near")]["end"].connector) == "N-50 plug"
    assert nodes[("pad", "far")]["end"].line_ohm == 75.0
    assert nodes[("split", "out2")]["end"].name == "split.out2"
    assert nodes[("split", "out2", "load", "near")]["termination"].part.type == "load"


def test_arm_is_a_branch_off_the_path(split):
    graph = setup_graph(split)
    path = ordered_path(graph)
    assert ("split", "out2") not in path
    assert nx.has_path(graph, FAR, ("split", "out2", "load", "near"))


def test_joints_of_the_path_are_those_the_cascade_uses(split):
    found = graph_joints(setup_graph(split))
    on_path = joints_of(split)
    assert found[: len(on_path)] == on_path
    assert [joint.id for joint in found[len(on_path) :]] == ["split.out2/second", "second/load"]


def test_ends_that_do_not_fit_still_make_a_graph():
    wrong = parse_setup(SPLIT.replace(b'connector = "F-75 jack"', b'connector = "F-75 plug"'))
    assert graph_joints(setup_graph(wrong))[4].verdict == "no-mate"


def test_an_item_in_an_arm_may_bear_any_name_without_being_taken_for_another():
    wrong = parse_setup(SPLIT.replace(b'id = "second"', b'id = "out1"'))
    assert nx.is_tree(setup_graph(wrong))


@pytest.mark.parametrize("end", ["open", "short"])
def test_an_end_without_impedance_is_no_step(end):
    graph = setup_graph(parse_setup(SPLIT.replace(b"load-f-jack", f"{end}-f-jack".encode())))
    assert graph_joints(graph)[-1].mismatch_loss_db == 0.0
