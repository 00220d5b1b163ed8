"""A table that names channels: each is taken at its middle, in any order, and what is no channel is reported at its place."""

import pytest

from chain.errors import InputError
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import typed_readings
from library.channels import channels as raster
from library.channels import named_channel

CHANNELS = {"21": (470e6, 478e6), "30": (542e6, 550e6), "E7": (188.5e6, 195.5e6)}


def read(tmp_path, text, channels=CHANNELS, bare=""):
    path = tmp_path / "seen.csv"
    path.write_text(text)
    return read_sweep(str(path), channels=channels, unheaded=bare)


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


EUROPE = {name: (low, high) for name, low, high in raster("europe", "5-12,21-48")}
US = {name: (low, high) for name, low, high in raster("us", "14-36")}


@pytest.mark.parametrize(
    "first", ["E21", "ch 21", "channel 21", "21", "K21", "C21", "CH21", "Kanal 21", "uhf 21", "e21", "021"]
)
@pytest.mark.parametrize("mark", [",", ";", "\t", "  "])
@pytest.mark.parametrize("head", [("channel", "vswr"), ()])
def test_channels_as_people_write_them(tmp_path, first, mark, head):
    lines = [(head[0], head[1])] if head else []
    lines += [(first, "1.2"), (first.replace("21", "40"), "1.3"), (first.replace("21", "30"), "1.1")]
    found = read(tmp_path, "".join(f"{mark.join(each)}\n" for each in lines), EUROPE, "vswr")
    assert found.freq_hz.tolist() == [474e6, 546e6, 626e6]
    assert ((1 + found.magnitude) / (1 - found.magnitude)).round(6).tolist() == [1.2, 1.1, 1.3]


@pytest.mark.parametrize(
    ("text", "channels", "bare", "place", "message"),
    [
        ("S21,1.2\nS22,1.3\n", EUROPE, "vswr", (1, 1), "no figures"),
        ("channel,swr\nS21,1.2\nS22,1.3\n", EUROPE, "vswr", (2, 1), "'S21' is none of the set-up's channels"),
        ("channel,swr\nE21,1.2\nE22,1.3\n", US, "vswr", (2, 2), "'E21' is none of the set-up's channels"),
        ("E21,1.2\nE22,1.3\n", {}, "vswr", (1, 2), "channels of which region?"),
        ("21,14\n22,15\n", EUROPE, "", (1, 1), "VSWR or return loss?"),
        ("470,1.4\n478,1.5\n", EUROPE, "vswr", (1, 1), "no header"),
        ("channel,swr\nE21,1.3\nE60,1.1\n", EUROPE, "", (3, 2), "'E60' is none"),
    ],
)
def test_what_stays_open_is_asked(tmp_path, text, channels, bare, place, message):
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, channels, bare)
    first = caught.value.defects[0]
    assert message in first.message
    if "no figures" not in message:
        assert (first.line, first.column) == place


def test_the_header_that_is_asked_for_is_enough(tmp_path):
    with pytest.raises(InputError, match="'channel,return_loss_db'"):
        read(tmp_path, "21,14\n22,15\n", EUROPE)
    assert read(tmp_path, "channel,return_loss_db\n21,14\n22,15\n", EUROPE).freq_hz.size == 2
    assert read(tmp_path, "21 14 dB\n22 15 dB\n", EUROPE).magnitude.round(4).tolist() == [0.1995, 0.1778]


@pytest.mark.parametrize("where", ["E21", "ch 21", "channel 21", "K21", "ch21", "on channel E21", "@ K21"])
def test_typed_readings_name_channels_alike(where):
    text = f"VSWR 1.3 {where}" if where[0] in "o@" else f"VSWR 1.3 at {where}"
    assert typed_readings(text, channels=EUROPE).freq_hz.tolist() == [474e6]


def test_a_letter_stands_for_one_numbering():
    assert named_channel("E21", US) == ""
    assert named_channel("21", US) == "21"
