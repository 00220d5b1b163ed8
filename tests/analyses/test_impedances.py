"""Pads missing or turned round, pieces of wrong impedance, steps at joints: what they cost and that they are reported."""

import re

import pytest
import strategies as build
import tables

from chain.analyses.checks import check
from chain.files.setup_file import parse_setup
from library.load import load_library


def remarks(setup, rule):
    """What one check said."""
    return [each for each in check(setup).findings if each.rule == rule]


def figure(text, before):
    """Number that follows some words."""
    return float(re.search(rf"{before} (\d+\.?\d*)", text)[1])


def between(*parts, near_ohm=50.0, far_ohm=75.0, mhz=200.0, **placed):
    """Parts between two lines, looked at up to one frequency."""
    items = [build.item(part, f"item{index}", **placed) for index, part in enumerate(parts)]
    return build.setup_of(items, near_ohm, far_ohm, freq_hz=(mhz * 0.99e6, mhz * 1e6, 5))


PIECES = [row for row in tables.rows("wrong_piece.csv") if row["quantity"] == "near_return_loss_db"]
LOSSES = [row for row in tables.rows("wrong_piece.csv") if row["quantity"] == "transducer_loss_db"]


@pytest.mark.parametrize("row", PIECES, ids=tables.label)
def test_return_loss_reported_of_a_wrong_piece(row):
    """Sources stand in the table: closed form, and a 75-ohm barrel measured as 19.0 mm."""
    element = build.adapter(row["piece_ohm"], row["length_mm"] / 1e3)
    line = row["line_ohm"]
    (found,) = remarks(between(element, near_ohm=line, far_ohm=line, mhz=row["freq_mhz"]), "wrong-impedance")
    assert found.where == "item0 0"
    # The remark gives one decimal, as the table does.
    assert figure(found.text, "return loss of") == pytest.approx(row["expected"], abs=row["tolerance"] + 0.05)


@pytest.mark.parametrize("row", LOSSES, ids=tables.label)
def test_mismatch_loss_reported_of_a_wrong_piece(row):
    element = build.adapter(row["piece_ohm"], row["length_mm"] / 1e3)
    line = row["line_ohm"]
    (found,) = remarks(between(element, near_ohm=line, far_ohm=line, mhz=row["freq_mhz"]), "wrong-impedance")
    assert figure(found.text, "and") == pytest.approx(row["expected"], abs=row["tolerance"])


def test_quarter_wave_of_wrong_impedance_is_the_worst():
    """Worst at a quarter wave: 8.299 dB, VSWR 2.25, 0.695 dB (computed); above it the worst lies inside the sweep."""
    quarter_mhz = 299.792458 / 4 / 0.1
    (found,) = remarks(between(build.adapter(50.0, 0.1), near_ohm=75.0, mhz=quarter_mhz), "wrong-impedance")
    assert "return loss of 8.3 dB (VSWR 2.25) and 0.695 dB" in found.text
    assert "its worst" not in found.text
    items = [build.item(build.adapter(50.0, 0.1), "piece")]
    beyond = build.setup_of(items, 75.0, 75.0, freq_hz=(100e6, 2 * quarter_mhz * 1e6, 401))
    (found,) = remarks(beyond, "wrong-impedance")
    assert figure(found.text, "its worst,") == pytest.approx(8.3)


def test_short_wrong_piece_is_a_note_and_a_long_one_a_caution():
    """10 mm at 100 MHz: 41.2 dB; 50 mm at 860 MHz: 10.2 dB (computed)."""
    for length_m, mhz, level in ((0.01, 100.0, "note"), (0.05, 860.0, "caution")):
        (found,) = remarks(between(build.adapter(50.0, length_m), near_ohm=75.0, mhz=mhz), "wrong-impedance")
        assert found.level == level


def test_pieces_of_the_lines_own_impedance_are_not_remarked_on():
    parts = build.adapter(50.0), build.pad(), build.adapter(75.0)
    for rule in ("wrong-impedance", "reversed", "no-match", "alternating", "costed-joint"):
        assert remarks(between(*parts), rule) == []


def test_wrong_piece_on_either_side_of_the_pad_is_found():
    near_side = between(build.adapter(75.0), build.pad())
    far_side = between(build.pad(), build.adapter(50.0), build.adapter(50.0))
    assert [each.where for each in remarks(near_side, "wrong-impedance")] == ["item0 0"]
    assert [each.where for each in remarks(far_side, "wrong-impedance")] == ["item1 1/item2 2"]


def test_cable_a_little_off_is_no_wrong_piece():
    assert remarks(between(build.pad(), build.adapter(72.8)), "wrong-impedance") == []


def test_attenuator_of_the_other_impedance_is_a_wrong_piece():
    """6 dB of 50 ohm between 75-ohm lines (computed: two steps of reflection 0.2, 12 dB there and back between them)."""
    (found,) = remarks(between(build.pad(), build.pad(6.0, 50.0, 50.0)), "wrong-impedance")
    rho = 0.2
    reflected = abs((-rho + rho * 10**-0.6) / (1 - rho * rho * 10**-0.6))
    assert figure(found.text, "VSWR") == pytest.approx((1 + reflected) / (1 - reflected), abs=0.006)


# Minimum-loss pad the wrong way round between 50 and 75 ohm: open 2.598, short 1.155, 75-ohm load 1.670; the right way round
# 1.732, 1.732 and 1 (computed: ladder of 43.30 and 86.60 ohm ended in each).
@pytest.mark.parametrize("part", [build.pad(), build.ladder([("shunt", 86.6025), ("series", 43.3013)])])
def test_turned_pad_and_what_it_reads(part):
    (found,) = remarks(between(part, reversed=True), "reversed")
    assert found.where == "item0 0"
    for word, wrong, right in (
        ("load behind it reads VSWR", 1.670, 1.0),
        ("an open", 2.598, 1.732),
        ("a short", 1.155, 1.732),
    ):
        assert figure(found.text, word) == pytest.approx(wrong, abs=0.006)
        assert figure(found.text, rf"{word} [\d.]+ instead of") == pytest.approx(right, abs=0.006)
    assert "turn" in found.remedy


@pytest.mark.parametrize("part", [build.pad(), build.ladder([("shunt", 86.6025), ("series", 43.3013)])])
def test_pad_the_right_way_round(part):
    assert remarks(between(part), "reversed") == []


def test_turned_part_without_loss_is_reported_by_its_load_alone():
    """Twelfth-wave pair, 75-ohm piece next to the 75-ohm line: reflection 0.2, no better than nothing (computed)."""
    part = load_library().part("twelfth-wave")
    (found,) = remarks(between(part, mhz=part.design_hz / 1e6, reversed=True), "reversed")
    assert figure(found.text, "load behind it reads VSWR") == 1.50
    assert "open" not in found.text


def test_part_that_is_the_same_either_way_round_cannot_be_reversed():
    """A lone 25-ohm resistor in series, a lone 150-ohm one across."""
    for arms in ([("series", 25.0)], [("shunt", 150.0)]):
        assert remarks(between(build.ladder(arms), reversed=True), "reversed") == []


def test_pad_made_for_the_other_direction_and_turned_is_right():
    assert remarks(between(build.pad(near_ohm=75.0, far_ohm=50.0), reversed=True), "reversed") == []


def test_no_pad_between_50_and_75_ohm():
    """Direct: a perfect antenna reads 1.5, one of 2 from 1.33 to 3.0 (computed: s/1.5 and 1.5 s)."""
    (found,) = remarks(between(build.adapter(50.0)), "no-match")
    assert figure(found.text, "reads VSWR") == 1.50
    assert figure(found.text, "anything from") == 1.33
    assert figure(found.text, "to") == 75
    assert figure(found.text, "1.33 to") == 3.00


@pytest.mark.parametrize(("near_ohm", "far_ohm"), [(50.0, 50.0), (75.0, 75.0)])
def test_equal_ends_need_no_pad(near_ohm, far_ohm):
    assert remarks(between(build.adapter(near_ohm), near_ohm=near_ohm, far_ohm=far_ohm), "no-match") == []


def test_series_resistor_counts_as_a_match():
    assert remarks(between(build.ladder([("series", 25.0)])), "no-match") == []


def test_step_at_a_joint_is_named_and_costed():
    """50 to 75 ohm: return loss 13.979 dB, 0.1773 dB (computed: reflection 0.2)."""
    step = next(each for each in remarks(between(build.adapter(50.0), build.adapter(75.0)), "costed-joint"))
    assert "steps from 50 to 75 ohm" in step.text
    assert figure(step.text, "return loss of") == 14.0
    assert figure(step.text, "and") == 0.177


def test_line_that_goes_to_and_fro():
    there_and_back = [build.pad(), build.pad(near_ohm=75.0, far_ohm=50.0), build.pad()]
    (found,) = remarks(between(*there_and_back), "alternating")
    assert "50, 75, 50, 75 ohm" in found.text
    elements = [build.adapter(ohm) for ohm in (50.0, 75.0, 50.0, 75.0, 50.0)]
    (found,) = remarks(between(*elements), "alternating")
    assert "5 times" in found.text


def test_one_wrong_piece_or_one_turned_pad_is_not_called_to_and_fro_as_well():
    assert remarks(between(build.pad(), build.adapter(50.0)), "alternating") == []
    assert remarks(between(build.pad(), reversed=True), "alternating") == []


UHF = """title = "Invented"
[sweep]
start = "30 MHz"
stop = "{mhz:g} MHz"
points = 11
[near]
connector = "UHF jack"
impedance = "{ohm:g} ohm"
[[chain]]
id = "lead"
part = "{part}"
length = "1 m"
near = "UHF plug"
far = "BNC-{ohm:g} plug"
[far]
connector = "BNC-{ohm:g} jack"
impedance = "{ohm:g} ohm"
"""


@pytest.mark.parametrize("row", [row for row in tables.rows("uhf_pair.csv") if row["freq_mhz"] > 30], ids=tables.label)
def test_uhf_pair_is_costed(row):
    """Sections cut open, published: 33.2 ohm, 49 mm; the return losses of the table are computed from them."""
    part = {50.0: "rg213", 75.0: "rg11"}[row["line_ohm"]]
    setup = parse_setup(UHF.format(mhz=row["freq_mhz"], ohm=row["line_ohm"], part=part).encode())
    (found,) = remarks(setup, "costed-joint")
    assert found.where == "near/lead"
    assert figure(found.text, "return loss of") == pytest.approx(row["expected"], abs=row["tolerance"] + 0.05)


def test_wrong_half_of_a_connector_is_costed():
    """10 mm of 50 ohm in 75 ohm at 200 MHz: 35.2 dB (computed)."""
    setup = parse_setup(
        b"""title = "Invented"
[sweep]
start = "174 MHz"
stop = "200 MHz"
points = 5
[near]
connector = "N-50 jack"
[[chain]]
id = "pad"
part = "min-loss-pad-n-bnc"
[[chain]]
id = "lead"
part = "rg59"
length = "1 m"
near = "BNC-50 plug"
far = "BNC-75 plug"
[far]
connector = "BNC-75 jack"
"""
    )
    found = check(setup)
    assert found.fits
    assert [each.verdict for each in found.joints] == ["ok", "costed", "ok"]
    (half,) = [each for each in found.findings if each.rule == "costed-joint"]
    assert half.where == "pad/lead"
    assert figure(half.text, "return loss of") == 35.2
