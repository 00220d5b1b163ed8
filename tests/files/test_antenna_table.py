"""The table `antenna`: its keys, the items of its feed, and what is wrong with them, each in its place."""

import pytest

from chain.errors import InputError
from chain.files.setup_file import load_setup, parse_setup

HEAD = b"""title = "x"
[sweep]
start = "470 MHz"
stop = "694 MHz"
[near]
connector = "BNC-50 plug"
[[chain]]
id = "pad"
part = "min-loss-pad"
[far]
connector = "BNC-75 plug"
"""


def test_every_key_is_read():
    """Element, length, diameter and a feed whose figures the item may override."""
    text = b"""[antenna]
element = "half-wave"
length = "0.23 m"
diameter = "6 mm"
[[antenna.feed]]
id = "balun"
part = "balun-300-75"
loss = "0.5 dB"
"""
    antenna = parse_setup(HEAD + text).antenna
    assert (antenna.element, antenna.length_m, antenna.diameter_m) == ("half-wave", 0.23, 0.006)
    assert [(item.id, item.part.loss_db) for item in antenna.feed] == [("balun", 0.5)]


def test_a_file_without_the_table_says_nothing_of_the_antenna():
    """Nothing is assumed of its make."""
    antenna = load_setup("demo/boathouse.toml").antenna
    assert (antenna.element, antenna.length_m, antenna.feed) == ("", None, ())


@pytest.mark.parametrize(
    ("text", "line", "message", "remedy"),
    [
        (b'element = "halfwave"', 13, "'halfwave' is no element", "did you mean 'half-wave'?"),
        (b"element = 3", 13, "'3' is no element", "it is one of half-wave"),
        (b'length = "0 m"', 13, "an element needs a length above zero", ""),
        (b'length = "20 cm"\ndiameter = "10 cm"', 14, "nearly as thick as it is long", "tip to tip"),
        (b"feed = 3", 13, "a list of items is needed", "[[antenna.feed]]"),
        (b'[[antenna.feed]]\nid = "pad"\npart = "balun-300-75"', 14, "id 'pad' is given twice", ""),
        (b'[[antenna.feed]]\nid = "end"\npart = "load-n75-jack"', 15, "ends a chain", ""),
        (b'elment = "loop"', 13, "'elment' is not a key", "did you mean 'element'?"),
    ],
)
def test_defects_are_reported_in_place(text, line, message, remedy):
    """One defect each, with its line and what to write instead."""
    with pytest.raises(InputError) as caught:
        parse_setup(HEAD + b"[antenna]\n" + text)
    found = caught.value.defects[0]
    assert found.line == line
    assert message in found.message
    assert remedy in (found.help or "")
