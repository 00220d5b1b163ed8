"""Names of connectors and what mates with what."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from library.errors import LibraryError
from library.load import load_library
from library.mating import VERDICTS, bridging_adapters, exact_connector, f_plug_variant, mate, parse_connector
from library.records import Adapter, Coax, Connector

LIBRARY = load_library()
FAMILIES = sorted(LIBRARY.families)
connectors = st.builds(Connector, st.sampled_from(FAMILIES), st.sampled_from(["plug", "jack"]))

CASES = [
    # Broadcast magazine column on type N (published): the thick pin breaks the fingers, the thin one does not touch.
    ("N-50 plug", "N-75 jack", "destructive"),
    ("N-75 plug", "N-50 jack", "no-contact"),
    ("N-50 plug", "N-50 jack", "ok"),
    ("N-75 plug", "N-75 jack", "ok"),
    # Design guide for high-bandwidth BNC (published): harmless either way.
    ("BNC-50 plug", "BNC-75 jack", "costed"),
    ("BNC-75 plug", "BNC-50 jack", "costed"),
    ("BNC-75 plug", "BNC-75 jack", "ok"),
    # Trade-magazine article on TNC (published); IEC 61169-26, scope.
    ("BNC-50 plug", "TNC-50 jack", "no-mate"),
    ("TNC-50 plug", "TNCA-50 jack", "caution"),
    # Magazine article on intermateability (published).
    ("SMA-50 plug", "3.5mm-50 jack", "caution"),
    ("3.5mm-50 plug", "2.92mm-50 jack", "ok"),
    ("SMA-50 plug", "2.4mm-50 jack", "no-mate"),
    # Explainers of reverse polarity (published): pin on pin, socket on socket.
    ("SMA-50 plug", "RP-SMA-50 jack", "destructive"),
    ("RP-SMA-50 plug", "SMA-50 jack", "no-contact"),
    ("RP-SMA-50 plug", "RP-SMA-50 jack", "ok"),
    ("N-75 plug", "RP-N-50 jack", "destructive"),
    # Encyclopaedia article on the F connector (published).
    ("F-75 plug", "F-75 jack", "ok"),
    ("F-75 plug (push-on)", "F-75 jack", "caution"),
    ("F-75 plug (stranded conductor)", "F-75 jack", "no-contact"),
    ("F-75 plug (pin type)", "F-75 jack", "ok"),
    # Memory: a jack takes at most about 1.05 mm; engineer on a mailing list, 2005 (published).
    ("F-75 plug (RG-11 conductor)", "F-75 jack", "destructive"),
    ("F-75 plug (RG-59 conductor)", "F-75 jack", "caution"),
    ("F-75 plug (thin conductor)", "F-75 jack", "no-contact"),
    # Amateur page on UHF connectors (published); the rest common knowledge.
    ("UHF plug", "UHF jack", "costed"),
    ("UHF plug", "N-50 jack", "no-mate"),
    ("RCA plug", "F-75 jack", "no-mate"),
    ("IEC-75 plug", "F-75 jack", "no-mate"),
    ("IEC-75 plug", "IEC-75 jack", "ok"),
    ("MCX-50 plug", "MCX-75 jack", "costed"),
    ("SMB-75 plug", "SMB-50 jack", "costed"),
    ("MCX-50 plug", "SMB-50 jack", "no-mate"),
    ("UHF plug", "UHF plug", "no-mate"),
    ("BNC-75 jack", "BNC-75 jack", "no-mate"),
    ("N-50 plug", "N-75 plug", "no-mate"),
]


@pytest.mark.parametrize(("a", "b", "verdict"), CASES)
def test_matrix(a, b, verdict):
    one, other = parse_connector(a), parse_connector(b)
    assert mate(one, other).verdict == verdict
    assert mate(other, one) == mate(one, other)


def test_every_rule_can_be_met():
    """No rule stands behind one that always fits first."""
    met = {mate(a, b).reason for a, b in _pairs()}
    assert {rule.reason for rule in LIBRARY.rules} <= met


def _pairs():
    ends = [Connector(family, gender) for family in FAMILIES for gender in ("plug", "jack")]
    ends += [Connector(name, "plug", variant) for name in FAMILIES for variant in LIBRARY.family(name).variants]
    return [(a, b) for a in ends for b in ends]


@given(connectors, connectors)
def test_mating_has_no_order(a, b):
    assert mate(a, b) == mate(b, a)
    assert mate(a, b).verdict in VERDICTS
    assert mate(a, b).reason


@given(connectors)
def test_names_round_trip(connector):
    assert parse_connector(str(connector)) == connector


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("BNC jack", "BNC-50 jack"),
        ("N male", "N-50 plug"),
        ("N male", "N-75 plug"),
        ("BNC", "BNC-75 jack"),
        ("RP-SMA male", "RP-SMA-50 jack"),
        ("TV plug", "IEC-75 plug"),
        ("BNC-75 jak", "BNC-75 jack"),
        ("F-75 plug (push on)", "F-75 plug (push-on)"),
        ("SMA-75 plug", "SMA-50 plug"),
    ],
)
def test_misspelt_names(text, near):
    with pytest.raises(LibraryError) as caught:
        parse_connector(text)
    assert near in caught.value.near


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("BNC-75 male", "BNC-75 plug"),
        ("bnc 75 female", "BNC-75 jack"),
        ("75 ohm N plug", "N-75 plug"),
        ("F male", "F-75 plug"),
        ("F f", "F-75 jack"),
        ("f-type connector male", "F-75 plug"),
        ("IEC female", "IEC-75 jack"),
        ("PAL plug", "IEC-75 plug"),
        ("SMA m", "SMA-50 plug"),
        ("3.5 mm jack", "3.5mm-50 jack"),
        ("SO-239", "UHF jack"),
        ("F male (push-on)", "F-75 plug (push-on)"),
    ],
)
def test_names_as_people_write_them(text, name):
    assert str(parse_connector(text)) == name


def test_only_what_stays_open_is_asked():
    with pytest.raises(LibraryError) as caught:
        parse_connector("N male")
    assert caught.value.message == "'N male': 50 or 75 ohm?"
    assert caught.value.help == "write 'N-50 plug' or 'N-75 plug' (male is taken for plug, female for jack)"
    for family in FAMILIES:
        alone = [each for each in FAMILIES if each.rpartition("-")[0] == family.rpartition("-")[0]] == [family]
        if alone and not family.startswith("RP-"):
            assert parse_connector(f"{family.rpartition('-')[0] or family} male") == Connector(family, "plug")


def test_a_file_of_parts_names_connectors_in_full():
    assert exact_connector("F-75 plug(push-on)") == Connector("F-75", "plug", "push-on")
    with pytest.raises(LibraryError) as caught:
        exact_connector("BNC-75 male")
    assert caught.value.near == ("BNC-75 plug",)


@pytest.mark.parametrize(
    "text", ["", "jack", "BNC-75", "BNC-75 jack (", "BNC-75 jack) (x", "()", "BNC-75 jack (a) (b)"]
)
def test_no_name_at_all(text):
    with pytest.raises(LibraryError):
        parse_connector(text)


@given(st.text(max_size=40))
def test_any_text_is_a_connector_or_our_error(text):
    try:
        name = str(parse_connector(text))
    except LibraryError as fault:
        name = fault.message
    assert name


def test_white_space_is_free():
    assert parse_connector("  F-75   plug(push-on) ") == Connector("F-75", "plug", "push-on")


@pytest.mark.parametrize(
    ("name", "variant"),
    [
        ("rg59", "RG-59 conductor"),
        ("rg6", ""),
        ("series6", ""),
        ("series11", "RG-11 conductor"),
        ("rg6-stranded", "stranded conductor"),
        ("rg11", "stranded conductor"),
        ("rg405", "RG-59 conductor"),
        ("5c-2v", ""),
    ],
)
def test_what_an_f_plug_takes_from_its_cable(name, variant):
    cable = LIBRARY.part(name)
    assert isinstance(cable, Coax)
    assert f_plug_variant(cable) == variant


def _joins(name: str, a: Connector, b: Connector) -> bool:
    part = LIBRARY.part(name)
    assert isinstance(part, Adapter)
    ends = part.near_connector, part.far_connector
    sound = VERDICTS[:3]
    return any(mate(a, x).verdict in sound and mate(y, b).verdict in sound for x, y in (ends, ends[::-1]))


@pytest.mark.parametrize(
    ("a", "b", "first"),
    [
        ("N-50 jack", "BNC-50 jack", "n-plug-bnc-plug"),
        ("N-50 jack", "F-75 jack", "n-plug-f-plug"),
        ("IEC-75 plug", "F-75 jack", "f-plug-iec-jack"),
        ("BNC-75 jack", "F-75 jack", "bnc75-plug-f-plug"),
        ("SMA-50 jack", "RP-SMA-50 jack", "sma-plug-rpsma-plug"),
        ("BNC-75 jack", "BNC-75 jack", "bnc75-plug-bnc75-plug"),
    ],
)
def test_missing_adapter_is_named(a, b, first):
    one, other = parse_connector(a), parse_connector(b)
    found = bridging_adapters(one, other)
    assert found[0] == first
    assert all(_joins(name, one, other) for name in found)
    assert set(bridging_adapters(other, one)) == set(found)


def test_two_adapters_where_one_does_not_exist():
    found = bridging_adapters(parse_connector("N-50 plug"), parse_connector("N-75 jack"))
    assert found
    for pair in found:
        first, second = (LIBRARY.part(name) for name in pair.split(" + "))
        assert isinstance(first, Adapter)
        assert isinstance(second, Adapter)


def test_no_adapter_for_bare_ends():
    assert bridging_adapters(parse_connector("RCA jack"), parse_connector("screw-300 jack")) == []
