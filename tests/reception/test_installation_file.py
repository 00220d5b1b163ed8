"""Installation files: every defect at once, in place, with a remedy; and what a sound one turns into."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from chain.cli.main import chain
from chain.errors import InputError
from chain.reception.installation_file import is_installation, load_installation, parse_installation
from chain.reception.schema import installation_schema
from library.files.store import document, tomllib
from library.reception import default, guides, ids, mode, mode_names, noise_class, receiver, reception_part, window

DEMO = Path("demo/outlets.toml")
TEXT = DEMO.read_text(encoding="utf-8")


def defects(text):
    with pytest.raises(InputError) as caught:
        parse_installation(text.encode(), "house.toml", DEMO.parent)
    return caught.value.defects


def one(text):
    found = defects(text)
    assert len(found) == 1, [each.message for each in found]
    assert found[0].line > 0
    assert found[0].help
    return found[0]


def test_the_demo_is_read_whole():
    house = load_installation(DEMO)
    assert [outlet.id for outlet in house.outlets] == ["hall", "workshop", "loft"]
    assert [channel.name for channel in house.channels] == ["21", "22", "23", "24", "40", "42", "44", "46"]
    assert house.supplies[0].at == "injector"
    assert house.channels[0].bandwidth_hz == 7.61e6
    assert house.channels[0].margin_db == 3
    assert house.channels[-1].margin_db == 0, "3 dB are inside the figure already"


SMALL = """[antenna]
gain = "10 dBi"
[[signal]]
region = "europe"
channels = "21"
mode = "DVB-T2 256QAM 2/3"
field = "60 dBuV/m"
[[item]]
id = "part"
after = "antenna"
{keys}
[[outlet]]
id = "set"
after = "part{port}"
"""


@pytest.mark.parametrize(
    ("part", "tolerance", "words"),
    [
        ("splitter-3", "19.99 dB", "a tolerance of 19.99 dB is more than the loss of"),
        ("splitter-2", "12 dB", "a tolerance of 12 dB is more than the loss of"),
        ("min-loss-pad", "6 dB", "a tolerance of 6 dB is more than the loss of 5.72 dB"),
        ("outlet-end", "5 dB", "a tolerance of 5 dB is more than the loss of"),
        ("pad.s2p", "3.1 dB", "a tolerance of 3.1 dB is more than a measured loss is off by, 3 dB"),
    ],
)
def test_no_tolerance_makes_an_amplifier_of_a_passive_part(part, tolerance, words):
    """A tree of such parts would ring, and its levels leave every range."""
    named = f'touchstone = "{part}"' if part.endswith("s2p") else f'part = "{part}"'

    def text(stated):
        ports = {"splitter-2": 2, "splitter-3": 3}.get(part, 1)
        found = SMALL.format(keys=f'{named}\nloss_tolerance = "{stated}"', port=".out1" if ports > 1 else "")
        return found + "".join(f'[[outlet]]\nid = "set {n}"\nafter = "part.out{n}"\n' for n in range(2, ports + 1))

    assert words in one(text(tolerance)).message
    assert one(text(tolerance)).line == 12
    if part != "pad.s2p":
        assert parse_installation(text("0.2 dB").encode(), DEMO, Path("demo")).items[0].part.loss_tolerance_db == 0.2


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ('frequency = "806 MHz"\nbandwidth = "1000 GHz"', "no room for 1e+06 MHz"),
        ('frequency = "1000 GHz"', "it reaches 1000"),
        ('frequency = "9.9 GHz"\nbandwidth = "1 GHz"', "it reaches 10.4 GHz"),
    ],
)
def test_a_signal_that_fills_more_than_a_tree_has_is_refused(stated, words):
    """Products of amplifiers over a terahertz would take minutes and the memory of the machine."""
    assert words in one(TEXT.replace('frequency = "806 MHz"', stated)).message
    assert load_installation(DEMO).interferers[0].bandwidth_hz == 10e6


def test_what_is_assumed_of_a_receiver_is_what_the_library_says():
    """Its own reflection too: a satellite tuner's is 8 dB."""
    house = parse_installation(
        TEXT.replace('receiver = "tv"', 'receiver = "satellite"', 1).encode(), DEMO, Path("demo")
    )
    assert "hall: noise figure 10 dB, reflection 8 dB or better, overload -20 dBm" in " | ".join(house.assumed)
    assert "loft: noise figure 7 dB, reflection 6 dB or better, overload -25 dBm" in " | ".join(house.assumed)


def test_the_demo_fits_its_schema():
    jsonschema.validate(tomllib.loads(TEXT), installation_schema())


def test_the_shipped_schema_is_the_exported_one():
    path = Path("chain/reception/installation.schema.json")
    assert json.loads(path.read_text(encoding="utf-8")) == installation_schema()


@pytest.mark.parametrize(
    ("old", "new", "message", "help_text"),
    [
        ('after = "tail"', 'after = "antenna"', "has a follower already", "splitter"),
        ('after = "split.out3"', 'after = "split.out2"', "has a follower already", "splitter"),
        ('after = "split.out3"', 'after = "split"', "has several outputs", "split.out1"),
        ('after = "split.out3"', 'after = "split.out9"', "no output", "split.out1"),
        ('after = "split.out3"', 'after = "splitt.out3"', "nothing is called", "split.out3"),
        ('mode = "DVB-T2 256QAM 2/3"', 'mode = "DVB-T2 256QAM 2/4"', "no figure is known", "DVB-T2 256QAM"),
        ('field = "60 dBuV/m"', 'field = "60"', "has no unit", "60 dBuV/m"),
        ('field = "60 dBuV/m"', "field = 60", "has no unit", "60 dBuV/m"),
        ('field = "60 dBuV/m"', 'field = "60 dBuV"', "no unit of field strength", "dBuV/m"),
        ('gain = "18 dB"', 'gain = "300 dB"', "out of range", "0 to 60 dB"),
        ('match = "VSWR 2.0"', 'match = "VSWR 0.5"', "never below 1", "VSWR"),
        ('match = "VSWR 2.0"', 'match = "nothing.s1p"', "no file", "VSWR 2.0"),
        ('noise = "residential"', 'noise = "suburb"', "no noise class", "residential"),
        (
            'receiver = "tv"\n\n[[outlet]]\nid = "workshop"',
            'receiver = "telly"\n\n[[outlet]]\nid = "workshop"',
            "no receiver",
            "tv",
        ),
        ('max_output = "103 dBuV at 60 dB"', 'max_output = "103 dBuV"', "does not say at which", "at 60 dB"),
        ('part = "splitter-3"', 'part = "splitter-5"', "no part", "did you mean"),
        ('length = "22 m"', 'length = "22"', "no unit", "22 m"),
        ('temperature = "-10 to 50 °C"     # outdoors\n', 'temperature = "50 to -10 °C"\n', "runs backwards", "colder"),
        ('gain_tolerance = "1.5 dB"', 'gain_tolerence = "1.5 dB"', "is not a key", "gain_tolerance"),
        ('channels = "21-24"', 'channels = "21-99"', "region europe", ""),
        ('level = "66 dBuV"', 'level = "66 dB"', "no unit of level", "dBuV"),
        ('id = "loft"', 'id = "hall"', "given twice", "its own"),
    ],
)
def test_a_defect_is_said_in_place_with_a_remedy(old, new, message, help_text):
    assert old in TEXT
    found = [each for each in defects(TEXT.replace(old, new, 1)) if message in each.message]
    assert found, [each.message for each in defects(TEXT.replace(old, new, 1))]
    assert help_text in found[0].help
    line = TEXT.replace(old, new, 1).splitlines()[found[0].line - 1]
    assert found[0].source == line
    assert 1 <= found[0].column <= len(line)


def test_an_output_without_a_follower_is_a_defect():
    text = TEXT[: TEXT.index('[[outlet]]\nid = "loft"')] + TEXT[TEXT.index("# What may be built in") :]
    found = one(text)
    assert "output 'split.out3' is not used" in found.message
    assert 'after = "split.out3"' in found.help


def test_a_circle_is_a_defect():
    ring = '\n[[item]]\nid = "{}"\npart = "rg6"\nlength = "1 m"\nafter = "{}"\n'
    found = one(TEXT + ring.format("one", "two") + ring.format("two", "one"))
    assert "goes round in a circle" in found.message


def test_two_antennas_and_one_in_a_list():
    two = TEXT.replace("[antenna]", "[[antenna]]", 1)
    assert "one table" in one(two).message
    found = one(two + '\n[[antenna]]\ngain = "3 dBi"\n')
    assert "two antennas" in found.message
    assert "[[interferer]]" in found.help


def test_an_item_that_follows_itself():
    found = defects(TEXT.replace('after = "injector"', 'after = "patch"'))
    assert any("follows itself" in each.message for each in found)


def test_an_installation_without_a_receiver():
    found = one(TEXT.replace('receiver = "tv"', 'end = "75 ohm"'))
    assert "no outlet has a receiver" in found.message


def test_two_sources_of_a_level_exclude_each_other():
    found = one(TEXT.replace('field = "52 dBuV/m"', 'field = "52 dBuV/m"\nlevel = "40 dBuV at antenna"'))
    assert "cannot both be given" in found.message


def test_one_supply_of_dc():
    found = one(TEXT.replace('id = "hall"', 'id = "hall"\nsupply = "5 V"'))
    assert "fed at 'injector' already" in found.message


def changed(text, *pairs):
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


FED_FROM_THE_LOFT = (
    ('part = "power-injector"', 'part = "earthing-block"'),
    ('supply = "12 V"', ""),
    ('id = "loft"', 'id = "loft"\nsupply = "12 V"'),
)


def test_dc_into_resistors():
    found = one(changed(TEXT, *FED_FROM_THE_LOFT, ("splitter-3", "splitter-3-resistive")))
    assert "whose resistors are not rated for it" in found.message
    assert "supply" in found.source


def test_dc_into_a_load():
    ended = 'end = "75 ohm"\n\n[[outlet]]\nid = "workshop"'
    found = one(changed(TEXT, *FED_FROM_THE_LOFT, ('receiver = "tv"\n\n[[outlet]]\nid = "workshop"', ended)))
    assert "the load at 'hall': 1.9 W" in found.message


def test_dc_into_an_antenna_that_is_a_short():
    plain = ('part = "masthead-amplifier"\nafter = "tail"', 'part = "earthing-block"\nafter = "tail"')
    figures = 'gain = "18 dB"\nmax_output = "103 dBuV at 60 dB" # of each of two tones\n'
    found = one(changed(TEXT, *FED_FROM_THE_LOFT, plain, (figures, ""), ("[antenna]\n", '[antenna]\ndc = "short"\n')))
    assert "'antenna' is a short for DC" in found.message


def test_all_defects_at_once():
    text = TEXT.replace('"18 dB"', '"300 dB"').replace('"60 dBuV/m"', '"60"').replace("splitter-3", "splitter-5")
    assert len(defects(text)) >= 3


RUBBISH = (
    "",
    "x",
    "[antenna]\n",
    "[[antenna]]\ngain = '1 dBi'\n",
    "antenna = 3",
    "[antenna]\ngain = [1]\n[[outlet]]\n[[signal]]\n",
)


@pytest.mark.parametrize("raw", RUBBISH)
def test_rubbish_is_refused_in_words(raw):
    for each in defects(raw):
        assert each.message


@given(st.text(max_size=60), st.integers(0, 80))
def test_no_text_in_the_middle_of_a_file_breaks_the_reader(piece, number):
    lines = TEXT.splitlines()
    lines[number % len(lines)] = piece
    with suppress(InputError):
        parse_installation("\n".join(lines).encode(), "house.toml", DEMO.parent)


@pytest.mark.parametrize("path", sorted(Path("demo").glob("*.toml")), ids=lambda path: path.name)
def test_the_kinds_of_file_are_reported_apart(path):
    """A set-up may have a table [antenna] too, for `chain tune`."""
    assert is_installation(path.read_bytes()) == (path.name == "outlets.toml")


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("command", ["check", "card", "report", "outlets"])
def test_an_installation_from_standard_input(command):
    done = CliRunner().invoke(chain, [command, "-", "-q"], input=TEXT)
    assert done.exit_code == 0, done.output
    named = CliRunner().invoke(chain, [command, str(DEMO), "-q"]).stdout
    assert done.stdout == named.replace(f"The file: {DEMO}", "The file: -")


@pytest.mark.usefixtures("few_trials")
def test_a_recovered_sweep_says_how_the_antenna_is_matched(tmp_path):
    done = CliRunner().invoke(chain, ["recover", "demo/boathouse.toml", "demo/boathouse.s1p", "--json"])
    (tmp_path / "recovered.json").write_text(done.stdout, encoding="utf-8")
    text = TEXT.replace('match = "VSWR 2.0"', 'match = "recovered.json"')
    match = parse_installation(text.encode(), "house.toml", tmp_path).antenna.match
    reported = json.loads(done.stdout)
    assert match.kind == "known"
    assert abs(match.reflection[3]) == pytest.approx(
        (reported["true_vswr"][3] - 1) / (reported["true_vswr"][3] + 1), rel=1e-6
    )
    assert all(high >= abs(value) - 1e-9 for high, value in zip(match.high, match.reflection, strict=True))


def test_every_row_of_the_reception_library_says_where_it_comes_from():
    for file in ("modes", "windows", "amplifiers", "inline"):
        for rows in document(f"reception/{file}.toml").values():
            for row in rows:
                assert row["evidence"] in ("published", "computed", "practice", "memory"), row
                assert row["source"], row


def test_every_row_of_the_reception_library_is_read():
    for name in ids():
        part = reception_part(name)
        assert part is not None
        assert part.min_hz < part.max_hz
        assert part.limit is not None
    for name in mode_names():
        found = mode(name.upper())
        assert -5 < found.need_db < 45
        if found.service.startswith("DVB"):
            assert window(found.id) is not None
    for name in guides():
        assert any(window(each, name) for each in mode_names()) or "DVB-C" in name
    for name in ("tv", "tv-t2", "radio", "satellite"):
        assert receiver(name).noise_figure_db > 0
    assert noise_class("city").c_db == 76.8
    assert default("margin_db") == 3
