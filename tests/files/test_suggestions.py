"""Every help that proposes a text proposes one that works: applied, it is taken, or another fault comes to light."""

import runpy
from pathlib import Path

import pytest
from sound_file import changed
from suggestions import TEXTS, lines_with, proposed

from chain.errors import InputError, UnitError
from chain.files.setup_file import parse_setup
from chain.money import parse_price
from chain.sweeps.reading_words import parse_reading
from chain.units import KINDS, parse_quantity
from library.channels import channels
from library.errors import LibraryError
from library.mating import parse_connector

CORPUS = (
    runpy.run_path(str(Path(__file__).with_name("test_defects.py")))["test_defect_in_its_place"].pytestmark[0].args[1]
)
CHANNELS = {"40": (622e6, 630e6), "41": (630e6, 638e6)}


def faults(text):
    try:
        parse_setup(text.encode(), "a.toml")
    except InputError as error:
        return error.defects
    return ()


@pytest.mark.parametrize(("number", "line"), [row[:2] for row in CORPUS], ids=str)
def test_what_a_file_s_error_proposes_works(number, line):
    text = changed(number, line)
    for defect in faults(text):
        for proposal in proposed(defect.help):
            after = faults("\n".join(lines_with(defect, text, proposal)))
            assert (defect.message, defect.line) not in [(each.message, each.line) for each in after], (proposal, after)


QUANTITIES = [
    "3 M",
    "5 MH",
    "3",
    "2.0",
    "26",
    "470,5 MHz",
    "1,000 MHz",
    "-26 dB",
    "-1 m",
    "VSWR 0.9",
    "VSWR 1.2 dB",
    "100 mw",
]
QUANTITIES += ["0.6 m", "", "six m", "nan ohm", "75 R", "12 x", "VSWR", "0.5:1", "-17 dB", "1e999 m"]
READINGS = [
    "VSWR 1.3",
    "VSWR 1.3 at 210",
    "-17 dB at 210 MHz",
    "|Z| 70 at 210 MHz",
    "68-12j at 210 MHz",
    "0.3 at 1 GHz",
]
READINGS += [
    "1.3 at channel 9",
    "1,300 at 210 MHz",
    "VSWR 0.9 at 1 GHz",
    "j at 1 MHz",
    "1.3 at 1,600 Mhz",
    "Z 70 at 210 MHz",
]
PRICES = ["6.50", "1,234 EUR", "six EUR", "", "9999999999999 EUR", "1.2.3 EUR"]
CONNECTORS = [
    "N male",
    "BNC",
    "TV plug",
    "N-50",
    "RP-SMA male",
    "SMA-75 plug",
    "BNC-75 jak",
    "F-75 plug (push on)",
    "Q plug",
]
REGIONS = ["Europia", "germny", "japn"]


def leads_on(read, text, seen=()):
    """Whether every proposal for a text is taken at last: each step brings another fault, and none comes back."""
    found = reported(read, text)
    if found is None:
        return True
    if found[0] in seen or len(seen) > 4:
        return False
    return all(leads_on(read, each, (*seen, found[0])) for each in proposed(found[1]))


def reported(read, text):
    """Message and help of what is wrong with a text, or nothing."""
    try:
        read(text)
    except (UnitError, LibraryError) as error:
        return error.message, error.help
    return None


@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.parametrize("text", QUANTITIES)
def test_what_a_quantity_s_error_proposes_works(kind, text):
    assert leads_on(lambda each: parse_quantity(each, kind), text)


@pytest.mark.parametrize("text", READINGS)
def test_what_a_reading_s_error_proposes_works(text):
    """The proposal stands for the whole reading, or for the piece of it that the message quotes."""
    found = reported(lambda each: parse_reading(each, CHANNELS if "40" in each else {}), text)
    assert found
    piece = TEXTS.search(found[0])
    for proposal in proposed(found[1]):
        whole = proposal if " at " in proposal else text.replace(piece[1], proposal)
        assert reported(lambda each: parse_reading(each, CHANNELS), whole) is None, (found, proposal, whole)
    assert proposed(found[1])


@pytest.mark.parametrize(
    ("read", "text"),
    [
        *((parse_price, each) for each in PRICES),
        *((parse_connector, each) for each in CONNECTORS),
        *((lambda each: channels(each, "21-23"), each) for each in REGIONS),
    ],
)
def test_what_the_error_of_a_name_or_a_price_proposes_works(read, text):
    assert reported(read, text)
    assert leads_on(read, text)
