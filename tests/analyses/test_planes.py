"""Planes side by side: a way that the library has no part for is named as missing, not compared without it."""

from dataclasses import replace

import numpy as np
import pytest

from chain.analyses import planes
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.files.setup_file import load_setup
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
