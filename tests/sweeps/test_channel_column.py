"""A table that names channels: each is taken at its middle, in any order, and what is no channel is reported at its place."""

import pytest

from chain.errors import InputError
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import typed_readings

CHANNELS = {"21": (470e6, 478e6), "30": (542e6, 550e6), "E7": (188.5e6, 195.5e6)}


def read(tmp_path, text, channels=CHANNELS):
    path = tmp_path / "seen.csv"
    path.write_text(text)
    return read_sweep(str(path), channels=channels)


@pytest.mark.parametrize(
    "text",
    [
        "channel,swr\n30,1.3\nE7,1.1\n21,1.2\n",
        "SWR;Kanal\n1,3;30\n1,1;E7\n1,2;21\n",
        "ch vswr\n030 1.3\nE7 1.1\nch21 1.2\n",
    ],
)
def test_channels_stand_at_their_middle(tmp_path, text):
    found = read(tmp_path, text)
    assert found.freq_hz.tolist() == [192e6, 474e6, 546e6]
    assert ((1 + found.magnitude) / (1 - found.magnitude)).round(6).tolist() == [1.1, 1.2, 1.3]
    assert "channels taken at their middle" in found.interpretation


@pytest.mark.parametrize(
    ("text", "channels", "place", "message"),
    [
        ("channel,swr\n21,1.3\n60,1.1\n", CHANNELS, (3, 1), "'60' is none of the set-up's channels"),
        ("swr,channel\n1.3,21\n", {}, (1, 5), "channels of which region?"),
        ("channel,swr\n21,1.3\n21,1.1\n", CHANNELS, (3, 1), "repeated"),
    ],
)
def test_what_is_no_channel_is_reported(tmp_path, text, channels, place, message):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, channels)
    (defect,) = caught.value.defects
    assert (defect.line, defect.column) == place
    assert message in defect.message


def test_every_typed_reading_that_is_none_is_reported():
    with pytest.raises(InputError) as caught:
        typed_readings("1.3 at 600", "1.2", "1.1 at ch21", channels=CHANNELS)
    assert [each.message for each in caught.value.defects] == ["'600' has no unit", "reading '1.2' names no frequency"]
    assert typed_readings("1.1 at ch21", channels=CHANNELS).freq_hz.tolist() == [474e6]


def test_a_column_of_frequencies_goes_before_one_of_channels(tmp_path):
    assert read(tmp_path, "channel,frequency_mhz,vswr\n21,475,1.3\n", {}).freq_hz.tolist() == [475e6]
