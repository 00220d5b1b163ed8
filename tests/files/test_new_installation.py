"""Installation files made for what a user tells: they load, fit together and answer at once."""

from itertools import cycle, product
from pathlib import Path

import pytest
from click.testing import CliRunner
from further import wide

from chain.cli.main import chain
from chain.errors import ChainError
from chain.files.new_installation import MOST_OUTLETS, new_installation_text
from chain.files.new_setup import BANDS, Wish
from chain.reception.checks import check_installation
from chain.reception.installation_file import parse_installation
from chain.reception.outlets import outlets
from library.channels import regions
from library.load import load_library


def made(wish, count):
    return parse_installation(new_installation_text(wish, count).encode(), "house.toml", Path())


THERE = {(each.region, each.band) for each in load_library().rasters}
PAIRS = tuple(product(BANDS, regions()))
CHOSEN = {each for each in PAIRS if each[1] == "europe"} | set(zip(cycle(BANDS), regions(), strict=False))
CHOSEN |= {(next(band for band in BANDS if (each, BANDS[band]) in THERE), each) for each in regions()}
"""Every band of one region, every region in one of the bands, and each in one that it has."""


@pytest.mark.parametrize(("band", "region"), [*sorted(CHOSEN), *wide(*(each for each in PAIRS if each not in CHOSEN))])
def test_any_band_and_region_is_a_house_that_answers(band, region):
    wish = Wish(purpose=band, region=region, length="7,5 m")
    if (region, BANDS[band]) not in THERE and band not in ("fm", "dab"):
        with pytest.raises(ChainError, match="no channels of"):
            made(wish, 2)
        return
    house = made(wish, 1 + len(band) % MOST_OUTLETS)
    assert check_installation(house).sound
    assert not house.warnings
    assert house.items[0].length_m == pytest.approx(7.5)
    assert outlets(house, draws=200).installation.outlets


SPLITS = 1, 2, 3, 5, 9, MOST_OUTLETS
"""Outlets of which each asks for another way to split."""


@pytest.mark.parametrize("count", [*SPLITS, *wide(*({*range(1, MOST_OUTLETS + 1)} - {*SPLITS}))])
@pytest.mark.parametrize("far", ["F", "IEC", "F-75 plug", "BNC-75"])
def test_every_outlet_has_its_own_output(count, far):
    house = made(Wish(far=far), count)
    assert len({outlet.after for outlet in house.outlets}) == count == len(house.outlets)
    assert check_installation(house).fits


@pytest.mark.parametrize("words", [["--for", "outlets"], ["--outlets", "3", "--for", "uhf-tv", "--region", "uk"]])
def test_the_file_goes_through_the_commands_at_once(words, tmp_path):
    path = str(tmp_path / "house.toml")
    for command in (["new", *words, "-o", path], ["check", path], ["outlets", path], ["card", path]):
        done = CliRunner().invoke(chain, command)
        assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("words", "message", "applied"),
    [
        (["--outlets", "17"], "from 1 to 16", ["--outlets", "16"]),
        (["--outlets", "0"], "from 1 to 16", ["--outlets", "1"]),
        (
            ["--outlets", "2", "--for", "vhf", "--for", "uhf"],
            "begins with one band",
            ["--outlets", "2", "--for", "vhf-tv"],
        ),
        (["--outlets", "2", "--for", "kitchen"], "begins with one band", ["--outlets", "2", "--for", "uhf-tv"]),
        (["--outlets", "2", "--shows", "vswr"], "is of the analyzer", ["--outlets", "2"]),
        (["--outlets", "2", "--length", "0 m"], "above zero", ["--outlets", "2", "--length", "1 m"]),
        (["--outlets", "2", "--far", "screw-300"], "75-ohm", ["--outlets", "2", "--far", "F"]),
    ],
)
def test_what_cannot_be_written_leads_on(words, message, applied):
    done = CliRunner().invoke(chain, ["new", *words])
    assert done.exit_code == 2
    assert message in done.output
    assert CliRunner().invoke(chain, ["new", *applied]).exit_code == 0


@pytest.mark.parametrize(("length", "length_m"), [("1,5 m", 1.5), ("1.5m", 1.5), ("0,6 m", 0.6), ("150 cm", 1.5)])
def test_a_decimal_comma_of_a_length_is_taken(length, length_m):
    from chain.files.new_setup import new_setup_text
    from chain.files.setup_file import parse_setup

    setup = parse_setup(new_setup_text(Wish(length=length)).encode())
    assert setup.items[-1].length_m == pytest.approx(length_m)
