"""Readings as people type them: what a screen only bounds, and errors that speak in the unit that was typed."""

import re

import numpy as np
import pytest

from chain.errors import UnitError
from chain.sweeps.reading_words import parse_reading


def refused(text, **more):
    with pytest.raises(UnitError) as caught:
        parse_reading(text, **more)
    return caught.value


@pytest.mark.parametrize(
    ("text", "written", "end"),
    [
        (">10 at 600 MHz", "VSWR 10 at 600 MHz", "better"),
        ("VSWR >= 10:1 at 600 MHz", "VSWR 10 at 600 MHz", "better"),
        ("VSWR above 9.99 at 600 MHz", "VSWR 9.99 at 600 MHz", "better"),
        ("< 1.05 at 600 MHz", "VSWR 1.05 at 600 MHz", "worse"),
        ("RL < 1 dB at 600 MHz", "RL 1 dB at 600 MHz", "better"),
        ("RL > 40 dB at 600 MHz", "RL 40 dB at 600 MHz", "worse"),
        ("off scale at 600 MHz", "VSWR 10 at 600 MHz", "better"),
        ("OL at 600 MHz", "VSWR 10 at 600 MHz", "better"),
    ],
)
def test_a_bound_is_no_reading_and_its_remedy_is_one(text, written, end):
    error = refused(text)
    assert "is a bound" in error.message
    assert re.search(r"'(.+?)'", error.help)[1] == written
    assert f"only the {end} end" in error.help
    assert parse_reading(written).freq_hz == 600e6


def test_a_screen_in_decibels_bounds_in_decibels():
    assert "'RL 1 dB at 600 MHz'" in refused("<1 at 600 MHz", shows_db=True).help
    assert "'RL 1 dB at 600 MHz'" in refused("off scale at 600 MHz", shows_db=True).help


def test_the_end_that_is_said_to_hold_moves_away_from_the_bound():
    """What reads more than VSWR 2 behind a known chain is at least as bad as the better end of the interval at 2."""
    from chain import load_setup, recover, typed_readings

    setup = load_setup("demo/plane-after-pad.toml")
    low = [
        recover(setup, typed_readings(f"VSWR {each} at 200 MHz"), draws=2000).low[0] for each in (2.0, 2.5, 4.0, 9.0)
    ]
    assert np.all(np.diff(low) > 0)


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("RL 12 dB", "'RL 12 dB at 210 MHz'"),
        ("12 dB", "'12 dB at 210 MHz'"),
        ("VSWR 1.3", "'VSWR 1.3 at 210 MHz'"),
        ("1.3", "'1.3 at 210 MHz'"),
        ("some return loss", "'RL 17.7 dB at 210 MHz'"),
        ("twelve", "'VSWR 1.30 at 210 MHz'"),
        ("17.7dB rl at 210 MHz", "'RL 17.7 dB', 'VSWR 1.30'"),
        ("hello at 210 MHz", "'VSWR 1.30', 'RL 17.7 dB'"),
    ],
)
def test_a_suggested_reading_is_in_the_unit_that_was_typed(text, first):
    assert re.search(r"'.*", refused(text).help)[0].startswith(first)


def test_a_bare_figure_on_a_screen_in_decibels_is_first_taken_for_decibels():
    assert refused("12 at 210 MHz", shows_db=True).help.startswith("write 'RL 12 dB' or 'VSWR 12'")
