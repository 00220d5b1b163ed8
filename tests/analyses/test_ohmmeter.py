"""The ohmmeter card against Ohm's law by hand and against tables outside the project."""

from dataclasses import replace
from math import inf

import pytest
import strategies as made

from chain.analyses.ohmmeter import WHOLE_CHAIN, dc_card, dc_reading
from chain.files.setup_file import load_setup
from library.load import load_library

BOATHOUSE = load_setup("demo/boathouse.toml")
SHUNT, SERIES = 86.6025, 43.3013


def ladder_setup(series, shunt, **placed):
    """A chain of one pad made of two resistors."""
    return made.setup_of([made.item(made.ladder([("shunt", shunt), ("series", series)]), "pad", **placed)])


def by_place(setup):
    return {(each.item.split()[0], each.probe, each.other_end): each for each in dc_card(setup)}


# Computed by hand from two resistors (series against shunt); the same four rows stand in bench notes for such pads: practice.
@pytest.mark.parametrize(
    ("series", "shunt", "high_open", "low_open", "high_shorted", "low_shorted"),
    [
        (SERIES, SHUNT, 129.9, 86.6, 43.3, 28.9),
        (43, 91, 134.0, 91.0, 43.0, 29.2),
        (43, 82, 125.0, 82.0, 43.0, 28.2),
        (47, 82, 129.0, 82.0, 47.0, 29.9),
    ],
)
def test_pads_of_preferred_values_by_themselves(series, shunt, high_open, low_open, high_shorted, low_shorted):
    """Both ends, the other open and shorted, whichever way round the pad is placed."""
    for flipped in (False, True):
        card = by_place(ladder_setup(series, shunt, reversed=flipped))
        seen = [card["pad", f"{ohm}-ohm end", end].expected_ohm for end in ("open", "shorted") for ohm in (75, 50)]
        assert seen == pytest.approx([high_open, low_open, high_shorted, low_shorted], abs=0.06)


def test_whole_chain_of_the_demo_reads_as_its_pad_does():
    """The 50-ohm end of a minimum-loss pad: open, shorted and ended in 75 ohm; adapters and leads add nothing."""
    card = by_place(BOATHOUSE)
    seen = [card["whole", "near end", end].expected_ohm for end in ("open", "shorted", "75-ohm load")]
    assert seen == pytest.approx([SHUNT, 1 / (1 / SHUNT + 1 / SERIES), 50.0], rel=1e-4)


def test_wrong_figures_name_their_faults():
    """Turned round 129.9, missing an open; an open far end under the load reads as the open does."""
    card = by_place(BOATHOUSE)
    opened = {round(each.ohm, 1): each.means for each in card["whole", "near end", "open"].wrong}
    assert "turned round" in opened[129.9]
    assert "missing" in opened[inf]
    assert "short circuit at the far end" in opened[28.9]
    loaded = {round(each.ohm, 1): each.means for each in card["whole", "near end", "75-ohm load"].wrong}
    assert "missing" in loaded[75.0]
    assert "nothing is connected" in loaded[86.6]
    assert "turned round" in loaded[round(SERIES + 1 / (1 / 75 + 1 / SHUNT), 1)]


def test_no_wrong_figure_lies_inside_the_range_of_a_sound_one():
    """A fault that a meter cannot see is not listed for that reading."""
    for reading in dc_card(BOATHOUSE):
        assert all(not reading.low_ohm <= each.ohm <= reading.high_ohm for each in reading.wrong)
        assert all(each.ohm != reading.expected_ohm for each in reading.wrong)


def test_a_pad_that_blocks_dc_reads_open_and_a_capacitor_is_never_called_a_fault_of_it():
    """Its expected reading is an open at both ends, null in JSON with `open` true."""
    blocked = replace(made.ladder([("shunt", SHUNT), ("series", SERIES)]), dc="block")
    card = dc_card(made.setup_of([made.item(blocked, "pad")]))
    whole = [each for each in card if each.item == WHOLE_CHAIN]
    assert {each.expected_ohm for each in whole} == {inf}
    assert whole[0].to_dict()["expected_ohm"] is None
    assert whole[0].to_dict()["open"] is True
    assert any("DC passes" in wrong.means for each in card for wrong in each.wrong)


def test_a_chain_without_a_pad_reads_its_end():
    """Adapters and leads alone: open, short and load as they are, and nothing said of a pad."""
    setup = replace(BOATHOUSE, items=tuple(item for item in BOATHOUSE.items if item.id != "pad"))
    assert [dc_reading(setup, ohm) for ohm in (inf, 0.0, 75.0)] == [inf, 0.0, pytest.approx(75.0)]
    assert not any("pad" in wrong.means for each in dc_card(setup) for wrong in each.wrong)


def test_leads_are_metered_by_themselves():
    """Open when open, next to nothing when shorted."""
    lead = {each.other_end: each for each in dc_card(BOATHOUSE) if each.item == "lead"}
    assert lead["open"].expected_ohm == inf
    assert lead["shorted"].high_ohm == 1.0
    assert "broken" in lead["shorted"].wrong[0].means


def test_every_library_pad_has_a_card():
    """Pads and attenuators of the library, either way round: no reading below zero, ranges around the expected figure."""
    library = load_library()
    for name in library.ids("pad"):
        for flipped in (False, True):
            for reading in dc_card(made.setup_of([made.item(library.part(name), "pad", reversed=flipped)])):
                assert 0 <= reading.low_ohm <= reading.expected_ohm <= reading.high_ohm
