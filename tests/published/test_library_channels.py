"""Channel centres and edges against published tables."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from library.channels import centre_mhz, channels, edges_mhz
from library.load import load_library
from library.records import Raster

RASTERS = {raster.id: raster for raster in load_library().rasters}


def raster(name: str) -> Raster:
    return RASTERS[name]


CENTRES = [
    # Open table of television bands (BSD-2-Clause), 474 MHz and 8 MHz steps; table of channel edges for Europe and China.
    ("europe-uhf", "21", "474"),
    ("europe-uhf", "48", "690"),
    ("europe-vhf3", "5", "177.5"),
    ("europe-vhf3", "12", "226.5"),
    # Memory: as Europe.
    ("new-zealand-uhf", "21", "474"),
    # Computed from a published carrier table: vision carrier 175.25 MHz and 8 MHz steps, plus 2.75 MHz.
    ("oirt-vhf3", "6", "178"),
    ("oirt-vhf3", "12", "226"),
    # 47 CFR 73.603.
    ("us-vhf-low-a", "2", "57"),
    ("us-vhf-low-a", "4", "69"),
    ("us-vhf-low-b", "5", "79"),
    ("us-vhf-low-b", "6", "85"),
    ("us-vhf-high", "7", "177"),
    ("us-vhf-high", "13", "213"),
    ("us-uhf", "14", "473"),
    ("us-uhf", "36", "605"),
    # 47 CFR 73.201.
    ("us-fm", "201", "88.1"),
    ("us-fm", "300", "107.9"),
    # Open table of television bands; table of Japanese UHF channel edges.
    ("japan-uhf", "13", "3312/7"),
    ("japan-uhf", "52", "4950/7"),
    # Open table of television bands.
    ("brazil-uhf", "14", "3312/7"),
    ("brazil-uhf", "51", "4866/7"),
    ("brazil-vhf-high", "7", "1240/7"),
    ("philippines-uhf", "14", "3312/7"),
    ("philippines-uhf", "44", "4572/7"),
    # Australasian television frequency table (channel 28 begins at 526 MHz); open scan tables.
    ("australia-uhf", "28", "529.5"),
    ("australia-uhf", "51", "690.5"),
    # Computed from vision carriers of that table, plus 2.25 MHz.
    ("australia-vhf3-lower", "6", "177.5"),
    ("australia-vhf3-lower", "9", "198.5"),
    ("australia-vhf3-lower", "9A", "205.5"),
    ("australia-vhf3-upper", "10", "212.5"),
    ("australia-vhf3-upper", "12", "226.5"),
    # Europe/China channel numbering table; China channel table.
    ("china-uhf-lower", "13", "474"),
    ("china-uhf-lower", "24", "562"),
    ("china-uhf-upper", "25", "610"),
    ("china-uhf-upper", "36", "698"),
    # Computed: vision carrier 168.25 MHz and 8 MHz steps, plus 2.75 MHz.
    ("china-vhf-high", "6", "171"),
    ("china-vhf-high", "12", "219"),
    # Memory.
    ("fm-grid", "875", "87.5"),
    ("fm-grid", "1080", "108"),
    ("dab-band-3", "5A", "174.928"),
    ("dab-band-3", "13F", "239.200"),
]


@pytest.mark.parametrize(("name", "channel", "centre"), CENTRES)
def test_centre(name, channel, centre):
    assert centre_mhz(raster(name), channel) == Fraction(centre)


def test_every_raster_is_checked():
    checked = {name for name, _, _ in CENTRES}
    assert {name for name in RASTERS if name not in checked} == {
        f"brazil-uhf-{country}" for country in ("argentina", "paraguay", "chile", "ecuador")
    }


EDGES = [
    # 47 CFR 73.603: channel 2 is 54-60 MHz, 7 is 174-180, 14 is 470-476, 36 is 602-608.
    ("us", "2", 54, 60),
    ("us", "7", 174, 180),
    ("us", "14", 470, 476),
    ("us", "36", 602, 608),
    # Table of Japanese UHF channel edges: 13 is 470-476 MHz, although its signal sits 1/7 MHz above the middle.
    ("japan", "13", 470, 476),
    # Table of channel edges for Europe and China: 21 is 470-478 MHz; Band III is 174-230 MHz.
    ("europe", "21", 470, 478),
    ("europe", "5", 174, 181),
    ("europe", "12", 223, 230),
    # Australasian television frequency table: channel 28 begins at 526 MHz.
    ("australia", "28", 526, 533),
]


@pytest.mark.parametrize(("region", "channel", "low", "high"), EDGES)
def test_edges(region, channel, low, high):
    assert channels(region, channel) == ((channel, low * 1e6, high * 1e6),)


def test_signals_fit_their_channels():
    for each in RASTERS.values():
        assert Fraction(each.occupied_mhz) <= Fraction(each.width_mhz), each.id


def test_dab_blocks_lie_on_their_grid():
    """Memory: centres are multiples of 0.016 MHz, 1.712 MHz apart within a channel; 13D alone lies closer to 13C."""
    blocks = raster("dab-band-3").extra
    assert len(blocks) == 38
    for name, centre in blocks:
        assert (Fraction(centre) / Fraction("0.016")).denominator == 1, name
    for (name, centre), (following, next_centre) in pairwise(blocks):
        if name[:-1] == following[:-1] and following != "13D":
            assert Fraction(next_centre) - Fraction(centre) == Fraction("1.712"), following


def test_gaps_between_channels():
    """Channels of one raster touch and do not overlap, whatever its fractions."""
    for each in RASTERS.values():
        numbers = [n for n in range(each.first, each.last) if n not in each.omit and n + 1 not in each.omit]
        for number in numbers[:3] if each.service != "FM radio" else ():
            assert edges_mhz(each, str(number))[1] == edges_mhz(each, str(number + 1))[0], each.id
