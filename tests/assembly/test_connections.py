"""Joints of a user's own connector families, and joints in the arms of splitters."""

from dataclasses import replace

import numpy as np
import pytest
import skrf
import strategies as made
from skrf.media import DefinedGammaZ0
from skrf.network import connect

from chain.analyses.expect import expect
from chain.analyses.improvements import improvements
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.assembly.graph import setup_graph, with_arm_sections
from chain.files.setup_file import load_setup
from chain.rf.parts import elements_of
from chain.setups import Arm
from chain.uncertainty.measurement import measurement_of, simulate
from library.load import load_library
from library.records import Connector

LIGHT_M_PER_S = 299_792_458.0
OWN_FAMILY = """
[[family]]
id = "club-75"
name = "the club's own plug"
standard = "none: made up for a test"
impedance_ohm = 75
max_mhz = 1000
[[family]]
id = "club-50"
name = "the same, 50 ohm"
standard = "none: made up for a test"
impedance_ohm = 50
max_mhz = 1000
[[mating]]
pairs = [["club-75 plug", "club-50 jack"]]
verdict = "ok"
reason = "made up for a test"
[[adapter]]
id = "bnc75-club"
near = "BNC-75 plug"
far = "club-75 plug"
impedance_ohm = 75
electrical_length_mm = 40
reflection = {return_loss_db = 24}
loss_at_1ghz_db = 0.05
max_mhz = 1000
evidence = "stated"
source = "made up for a test"
"""
SETUP = """
library = ["own.toml"]
[sweep]
start = "200 MHz"
stop = "210 MHz"
points = 3
[near]
connector = "BNC-50 plug"
[[chain]]
id = "pad"
part = "min-loss-pad"
[[chain]]
id = "own"
part = "bnc75-club"
[far]
connector = "club-50 jack"
[calibration]
plane = "pad"
load = "32 dB"
swap_adapter = "bnc75-club"
"""


@pytest.fixture
def own_setup(tmp_path):
    """A set-up with a part and two connector families of the user's own."""
    (tmp_path / "own.toml").write_text(OWN_FAMILY, encoding="utf-8")
    (tmp_path / "own-setup.toml").write_text(SETUP, encoding="utf-8")
    return load_setup(tmp_path / "own-setup.toml")


def test_own_families_and_rules_hold_for_the_joints_of_the_set_up(own_setup):
    """Without a library handed over, joints go by the rules that came with the set-up: a 50-ohm half on the 75-ohm line."""
    last = setup_graph(own_setup).connections[-1]
    assert (last.verdict, last.sections) == ("costed", ((50.0, 0.01),))
    chain = build(own_setup)
    assert [element.impedance_ohm[0].real for element in chain.groups[-1][1]] == [50.0]


def test_an_adapter_of_ones_own_may_be_swapped_after_calibration(own_setup):
    """Its reflection limit spreads the reading; taken off it does not."""
    measurement = measurement_of(own_setup, build(own_setup))
    assert measurement.swap is not None
    assert measurement.swap.id == "swap"
    spread = [simulate(each, 0, 1).q.std() for each in (measurement, replace(measurement, swap=None))]
    assert spread[0] > 1.05 * spread[1]


def test_every_question_is_answered_with_own_families(own_setup):
    """Readings, planes and cures rebuild the chain, each with the same library."""
    assert expect(own_setup, true_vswr=[1.5], draws=1000).rows[0].reading_vswr > 1
    assert [each.plane for each in compare(own_setup, draws=1000).planes][:3] == ["near", "pad", "own"]
    for _, _, changed in improvements(own_setup):
        assert changed.library is own_setup.library


def test_a_family_is_read_once():
    """Joints look up thousands: the same record is given again."""
    library = load_library()
    assert library.family("F-75") is library.family("F-75")


def tap(first, end_ohm=75.0):
    """A splitter with BNC connectors whose spare port holds a lead and a load; `first` is the lead's connector there."""
    known = {"limit": None, "loss_tolerance_db": 0.0}
    part = replace(load_library().part("splitter-2"), connectors=(Connector("BNC-75", "jack"),) * 3, **known)
    lead = made.item(made.coax(75.0, 0.0, 0.0), "arm-lead", length_m=0.3)
    load = replace(load_library().part("load-f-plug"), connector=Connector("BNC-75", "plug"), limit=None, type="open")
    ends = {"near_connector": Connector("BNC-75", "plug"), "far_connector": Connector("BNC-75", "plug")}
    end = replace(made.item(made.adapter(75.0), "end"), part=load, **ends)
    arm = Arm("out2", "items", items=(replace(lead, near_connector=first), end))
    item = replace(made.item(made.adapter(75.0), "tap"), part=part, path=("in", "out1"), arms=(arm,))
    return item, part


def expected_tap(part, wrong_half):
    """The same from scikit-rf's lines: |S11| and S21 of the splitter with its arm, at 500 MHz."""
    freq = skrf.Frequency.from_f([500e6], unit="hz")
    beta = 2j * np.pi * 500e6 / LIGHT_M_PER_S
    lead = DefinedGammaZ0(freq, gamma=beta / 0.66, z0=75, z0_port=75).line(0.3, "m")
    half = DefinedGammaZ0(freq, gamma=beta, z0=50, z0_port=75).line(0.010, "m")
    arm = (half**lead if wrong_half else lead) ** skrf.Network(frequency=freq, s=[[[1.0]]], z0=75)
    loss = {frozenset(pair[:2]): 10 ** (-pair[2] / 20) for pair in part.loss_db}
    s = np.zeros((1, 3, 3), complex)
    for i, one in enumerate(part.ports):
        for j, other in enumerate(part.ports):
            if i != j:
                s[0, i, j] = loss[frozenset((one, other))]
    return connect(skrf.Network(frequency=freq, s=s, z0=75), 2, arm, 0).s[0]


@pytest.mark.parametrize(("family", "wrong_half"), [("BNC-75", False), ("BNC-50", True)])
def test_a_wrong_half_in_an_arm_is_a_section_there_too(family, wrong_half):
    """Against scikit-rf: a 50-ohm connector on the 75-ohm arm turns and changes what the arm sends back."""
    item, part = tap(Connector(family, "plug"))
    setup = made.setup_of([item], 75.0, 75.0, (500e6, 500e6, 1))
    placed = with_arm_sections(setup.items[0], setup_graph(setup))
    assert bool(sum(placed.arms[0].sections, ())) == wrong_half
    element = elements_of(placed, np.array([500e6]))[0]
    # The length of a wrong half is not known: the piece stands for the middle of what it may do.
    off = np.abs(element.s[0] - expected_tap(part, wrong_half)).max()
    assert off < (0.01 if wrong_half else 1e-9)
    assert np.abs(element.s[0] - expected_tap(part, not wrong_half)).max() > 0.02
    assert (element.near_radius[0] > 1e-3) == wrong_half


def test_a_chain_with_a_wrong_half_in_an_arm_carries_it():
    """Built into a chain, the arm's section moves the reading."""
    seen = []
    for family in ("BNC-75", "BNC-50"):
        item, _ = tap(Connector(family, "plug"))
        setup = made.setup_of([item], 75.0, 75.0, (500e6, 500e6, 1))
        seen.append(build(setup).elements[0].nominal()[0, 0, 0])
    assert abs(seen[0] - seen[1]) > 0.02
