"""Parts of a stock as a search places them."""

from dataclasses import replace

import numpy as np
import strategies as made

from chain.rf import twoport
from chain.rf.parts import elements_of
from chain.selection.stock import _covered, turned
from library.load import load_library
from library.records import Connector

FREQ_HZ = np.array([2e8, 6e8])


def test_a_part_turned_round_is_its_two_port_the_other_way_and_turned_again_itself():
    """A tap passes from its input to its tapped port as much as back, by the same path the other way round."""
    part = load_library().part("splitter-2")
    tap = replace(made.item(made.adapter(75.0), "tap"), part=part, path=("in", "out1"))
    tap = replace(tap, near_connector=Connector("F-75", "jack"), far_connector=Connector("F-75", "plug"))
    other = turned(tap)
    assert other.path == ("out1", "in")
    assert (other.near_connector, other.far_connector) == (tap.far_connector, tap.near_connector)
    (one,), (two,) = elements_of(tap, FREQ_HZ), elements_of(other, FREQ_HZ)
    np.testing.assert_allclose(two.nominal(), twoport.flip(one.nominal()))
    assert turned(other) == tap


def test_a_part_covers_a_band_to_its_last_frequency():
    adapter = replace(made.adapter(75.0), max_hz=5e8)
    assert _covered(made.item(adapter), FREQ_HZ) == "it is for 0 to 500 MHz"
    assert not isinstance(_covered(made.item(replace(adapter, max_hz=6e8)), FREQ_HZ), str)
