"""Lists of channels: what is accepted, in which order, and what is said otherwise."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from library.channels import channels, region_of, regions
from library.errors import LibraryError
from library.words import everyday, plainly


def names(region: str, text: str) -> list[str]:
    return [name for name, _, _ in channels(region, text)]


@pytest.mark.parametrize(
    ("region", "text", "expected"),
    [
        ("europe", "5-7", ["5", "6", "7"]),
        ("europe", " 21 , 24-26 ", ["21", "24", "25", "26"]),
        ("europe", "12-21", ["12", "21"]),
        ("europe", "11A-12B", ["11A", "11B", "11C", "11D", "12A", "12B"]),
        ("europe", "7a", ["7A"]),
        ("europe", "875-877", ["875", "876", "877"]),
        ("europe", "6,5-7", ["6", "5", "7"]),
        ("australia", "9-10", ["9", "9A", "10"]),
        ("us", "6-7", ["6", "7"]),
        ("brazil", "36-38", ["36", "38"]),
        ("chile", "14-21", None),
        ("philippines", "36-38", ["36", "37", "38"]),
    ],
)
def test_lists(region, text, expected):
    if expected is None:
        with pytest.raises(LibraryError):
            names(region, text)
    else:
        assert names(region, text) == expected


@pytest.mark.parametrize("text", ["", "4", "5-", "-5", "a", "5--7", "21;22", "7E", "37-", "5,,6", "1e3", "²"])
def test_what_europe_does_not_have(text):
    with pytest.raises(LibraryError, match="europe has the channels 21-48"):
        channels("europe", text)


def test_backwards_range_is_turned_in_the_hint():
    with pytest.raises(LibraryError, match="5-7"):
        channels("europe", "7-5")


def test_unknown_region_lists_the_known():
    with pytest.raises(LibraryError, match="new-zealand") as caught:
        channels("Europia", "5")
    assert caught.value.near[0] == "europe"


@pytest.mark.parametrize(
    ("name", "region"),
    [("UK", "europe"), ("U.S.A.", "us"), ("the Netherlands", "europe"), ("New Zealand", "new-zealand")],
)
def test_regions_by_what_countries_are_called(name, region):
    assert region_of(name) == region
    assert channels(name, "21-23") == channels(region, "21-23")


def test_every_everyday_region_is_one_that_is_known():
    assert {each for meant in everyday("region").values() for each in meant} <= set(regions())
    assert not set(everyday("region")) & {plainly(each) for each in regions()}


@pytest.mark.parametrize("region", regions())
def test_every_region_answers(region):
    """Its error lists channels that it then accepts."""
    with pytest.raises(LibraryError) as caught:
        channels(region, "none")
    reported = str(caught.value).partition("channels ")[2]
    first = reported.split("-")[0]
    ((name, low, high),) = channels(region, first)
    assert name == first
    assert 0 < low < high


@given(st.sampled_from(regions()), st.text("0123456789-,AB ", max_size=12))
def test_any_text_gives_channels_or_our_error(region, text):
    try:
        sound = all(low < high for _, low, high in channels(region, text))
    except LibraryError as fault:
        sound = region in str(fault) or "backwards" in str(fault)
    assert sound
