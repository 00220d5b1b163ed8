"""Planes side by side: a way that the library has no part for is named as missing, not compared without it."""

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from chain.analyses import planes
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.cli.main import chain as program
from chain.files.setup_file import load_setup
from chain.setup_report.planes import opening
from chain.uncertainty.measurement import measurement_of
from library.records import Connector


@pytest.mark.parametrize(("family", "missing"), [("F-75", False), ("RP-SMA-50", True)])
def test_an_adapter_that_the_library_lacks_is_named(family, missing):
    """From an N jack an F jack is reached by one adapter; a reversed SMA jack by none."""
    setup = load_setup("demo/boathouse.toml")
    setup = replace(setup, far=replace(setup.far, connector=Connector(family, "jack")))
    found = compare(setup, draws=1000)
    assert ("no pad" in [each.plane for each in found.planes]) != missing
    assert bool(found.missing) == missing
    assert found.to_dict()["missing"] == list(found.missing)
    if missing:
        assert "N-50 jack to RP-SMA-50 jack" in found.missing[0]


def test_nothing_is_missing_where_no_reading_could_be_converted():
    """A screen that shows VSWR alone is never read without the pad."""
    setup = load_setup("demo/boathouse.toml")
    near = replace(setup.near, shows="vswr", calibrates_at=("near",))
    far = replace(setup.far, connector=Connector("RP-SMA-50", "jack"))
    found = compare(replace(setup, near=near, far=far), draws=1000)
    assert [each.plane for each in found.planes] == ["near"]
    assert found.missing == ()


def test_the_accuracy_that_is_reported_is_that_of_the_plane_known_least_well():
    """Unsettled before settled, then the larger error of an end: never the best of them."""
    setup = load_setup("demo/boathouse.toml")
    found = compare(setup)
    freq = float(found.freq_hz)
    each = []
    for way in planes._options(setup, planes._bridge(setup)):
        measurement = measurement_of(way.setup, build(way.setup, np.array([freq]), fit=False))
        each.append(planes._ends(measurement, way.has_phase, (1.5, 2.0), (None, 1, found.seed))[1])
    assert len(each) == len(found.planes)
    assert found.accuracy == max(each, key=lambda one: (not one.settled, one.end_error))
    assert len({one.end_error for one in each}) > 1


LOFT = load_setup("tests/data/loft.toml")


def test_an_analyzer_of_which_nothing_is_said_is_told_what_another_place_would_bring():
    """None was tried because none is stated: that is no proof that none is better."""
    found = compare(LOFT, draws=4000)
    assert [each.plane for each in found.planes] == ["near"]
    best = found.planes[0]
    assert best.limit_low <= found.if_it_can.limit_low <= found.if_it_can.limit_high <= best.limit_high
    _, second, third = opening(found)
    assert second.startswith("Taken to calibrate at its port only; after 'lead' it would be ")
    assert third == 'Next: if it can there, add calibrates_at = ["near", "lead"] under [near].'
    # With that key the figures are those of a plane like any other.
    stated = compare(replace(LOFT, near=replace(LOFT.near, calibrates_at=("near", "lead"))), draws=4000)
    assert stated.if_it_can is None
    same = next(each for each in stated.planes if each.plane == "lead")
    assert (same.limit_low, same.limit_high) == (found.if_it_can.limit_low, found.if_it_can.limit_high)
    only = compare(replace(LOFT, near=replace(LOFT.near, calibrates_at=("near",))), draws=4000)
    assert only.if_it_can is None
    assert opening(only)[1] == "It calibrates nowhere else."


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("command", [["expect"], ["recover", "--reading", "1.1 at 600 MHz"]])
def test_answers_that_rest_on_the_port_alone_say_so(command):
    """In the assumptions and below the table, until the file says where the analyzer can be calibrated."""
    shown = CliRunner().invoke(program, [command[0], "tests/data/loft.toml", *command[1:], "--assumed"]).stdout
    assert "calibrates at its own port only" in " ".join(shown.split())
    assert "see 'chain planes' if it can elsewhere" in shown
