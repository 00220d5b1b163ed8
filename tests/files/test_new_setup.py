"""Set-up files made for what a user tells: they load, fit together and answer every question."""

import random
from dataclasses import replace

import pytest
from click.testing import CliRunner
from further import wide

from chain.analyses.checks import check
from chain.analyses.expect import expect
from chain.analyses.planes import compare
from chain.analyses.recover import recover
from chain.cli.main import chain
from chain.errors import ChainError, UnitError
from chain.files.new_setup import BANDS, Wish, new_setup_text
from chain.files.setup_file import parse_setup
from chain.sweeps.readings import typed_readings
from library.channels import regions
from library.load import load_library
from library.words import everyday

FAMILIES = tuple(load_library().families)
GENDERS = ("", " plug", " jack", " male", " female")
SHOWS = ("vswr", "return loss", "complex")
NO_WAY = ("UHF", "RCA", "screw-300", "2.4mm-50", "RP-TNC-50", "RP-BNC-50", "RP-N-50")
"""Families from which no adapter leads to a pad at these frequencies."""
NEAR = [each for each in FAMILIES if each not in NO_WAY]


def drawn(seed):
    """One of the many wishes, and what it may be refused for."""
    pick = random.Random(seed).choice
    near = pick(NEAR)
    far = pick([*FAMILIES, "IEC", "F", "SMA"])
    length = pick(("0.3 m", "1 m", "6 ft", "10 m"))
    region = pick([*regions(), *everyday("region")])
    shows, analyzer, limit = pick(SHOWS), pick(("handheld", "bench")), pick(("VSWR 2.0", "RL 10 dB", "SWR 1.5"))
    return Wish(pick([*BANDS, "tv"]), region, near + pick(GENDERS), far + pick(GENDERS), shows, analyzer, limit, length)


def made(seed):
    """Set-up of a wish; another band where the region has none of the one drawn."""
    wish = drawn(seed)
    try:
        return wish, parse_setup(new_setup_text(wish).encode(), folder=None)
    except ChainError as error:
        if "no channels of" not in error.message or not error.help.startswith("write '--for "):
            raise
        return wish, None


@pytest.mark.parametrize("text", ["vhf and uhf", "uhf-tv, vhf-tv", "VHF + UHF", "vhf/uhf"])
def test_several_bands_are_all_in_the_sweep(text):
    """Band III and bands IV and V of Europe: channels 5 to 12 and 21 to 48 (ETSI EN 300 744 names the rasters; memory)."""
    setup = parse_setup(new_setup_text(Wish(purpose=text)).encode(), folder=None)
    names = [name for name, _, _ in setup.sweep.channels]
    assert names == [str(number) for number in (*range(5, 13), *range(21, 49))]
    assert (setup.sweep.start_hz, setup.sweep.stop_hz) == (174e6, 694e6)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("limit", "in_db"), [("12 dB", True), ("1.7:1", False), *wide(("RL 12 dB", True), ("VSWR 1.7", False))]
)
def test_the_limit_of_a_new_file_settles_the_unit_of_its_answers(limit, in_db, tmp_path):
    path = str(tmp_path / "mine.toml")
    for words in (["new", "--for", "vhf-tv", "--limit", limit, "-o", path], ["expect", path, "--draws", "1000"]):
        done = CliRunner().invoke(chain, words)
        assert done.exit_code == 0, done.output
    assert ("dB return loss or better" in done.output) is in_db
    assert (" VSWR 1.7 or better" in done.output) is not in_db


def test_bands_given_one_by_one_are_all_in_the_file():
    done = CliRunner().invoke(chain, ["new", "--for", "vhf-tv", "--for", "uhf-tv"])
    assert 'channels = "5-12,21-48"' in done.output


def test_any_wish_gives_a_set_up_that_fits():
    kept = 0
    for seed in range(16):
        wish, setup = made(seed)
        if setup is None:
            continue
        kept += 1
        found = check(setup)
        assert found.fits, wish
        assert wish.purpose == "fm" or len(setup.sweep.channels) > 2 or setup.sweep.region == "us"
        assert (setup.near.shows, setup.far.impedance_ohm) == (wish.shows, 75.0)
        assert not setup.warnings or all("connectors" in each for each in setup.warnings), (wish, setup.warnings)
    assert kept > 8


@pytest.mark.statistical
def test_any_wish_answers_every_question():
    asked = 0
    for seed in range(1000, 1010):
        wish, setup = made(seed)
        if setup is None:
            continue
        asked += 1
        setup = replace(setup, sweep=replace(setup.sweep, points=5))
        middle = (setup.sweep.start_hz + setup.sweep.stop_hz) / 2e6
        assert expect(setup, [2.0], draws=2000).ceiling_vswr > 1, wish
        assert compare(setup, draws=2000).planes, wish
        text = "0.02+0.01j" if wish.shows == "complex" else "VSWR 1.05"
        found = recover(setup, typed_readings(f"{text} at {middle:g} MHz"), draws=2000)
        assert found.low[0] <= found.true_vswr[0] <= found.high[0], wish
    assert asked > 5


def test_the_command_of_the_first_page(tmp_path):
    path = tmp_path / "mine.toml"
    words = [
        "new",
        "--for",
        "uhf-tv",
        "--region",
        "uk",
        "--near",
        "N",
        "--far",
        "IEC",
        "--shows",
        "vswr",
        "-o",
        str(path),
    ]
    assert CliRunner().invoke(chain, words).exit_code == 0
    setup = parse_setup(path.read_bytes())
    assert (str(setup.near.connector), str(setup.far.connector)) == ("N-50 jack", "IEC-75 jack")
    assert setup.sweep.channels[0][0] == "21"
    assert (setup.near.shows, setup.far.limit_vswr) == ("vswr", 2.0)


def test_a_symmetrical_antenna_keeps_its_transformer():
    setup = parse_setup(new_setup_text(Wish(far="screw-300")).encode())
    assert [each.part.id for each in setup.antenna.feed] == ["balun-300-75"]
    assert str(setup.far.connector) == "F-75 jack"


def test_a_span_of_frequencies_stands_for_a_band():
    for text in ("88-108 MHz", "88 MHz to 108 MHz", "0.088 GHz - 108 MHz"):
        setup = parse_setup(new_setup_text(Wish(purpose=text)).encode())
        assert (setup.sweep.start_hz, setup.sweep.stop_hz) == (88e6, 108e6)


@pytest.mark.parametrize(
    ("wish", "message", "remedy"),
    [
        (Wish(purpose="uhf-vt"), "neither a band nor a span", "'uhf-tv'"),
        (Wish(purpose="600 mhz"), "neither a band nor a span", "'588 MHz to 612 MHz'"),
        (Wish(purpose="channels 21-48"), "neither a band nor a span", "'uhf-tv'"),
        (Wish(shows="SWRL"), "nothing that an analyzer shows", "'vswr'"),
        (Wish(purpose="vhf-tv", region="japan"), "no channels of vhf-tv", "--for uhf-tv"),
        (Wish(near="Q-50"), "--near: 'Q-50'", ""),
        (Wish(far="TV"), "--far: 'TV': F-75 or IEC-75", "'F-75 jack'"),
        (Wish(limit="2"), "--limit: '2' has no unit", "VSWR 2"),
        (Wish(purpose="fm and dab"), "'fm'", "one file for each: --for fm and --for dab"),
        (Wish(purpose="88-108 MHz, VHF"), "'88-108 MHz'", "--for '88-108 MHz' and --for vhf-tv"),
        (Wish(purpose="dab and vhf-tv", region="us"), "the same region", "one file for each"),
        (Wish(near="UHF"), "described up to 300 MHz", "--near"),
        (Wish(near="2.4mm"), "no adapter is known from 2.4mm-50 jack", "chain parts adapter"),
        (Wish(length="0 m"), "a lead needs a length above zero", "1 m"),
    ],
)
def test_a_wish_that_cannot_be_met_leads_on(wish, message, remedy):
    with pytest.raises((ChainError, UnitError)) as reported:
        new_setup_text(wish)
    assert message in reported.value.message
    assert remedy in reported.value.help
