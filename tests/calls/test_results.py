"""What every public kind of answer shows of itself: units of its columns, one line, a table as wide as the terminal."""

import numpy as np
import pytest
from public_results import MADE, kinds, result

KNOWN = {
    "Hz",
    "dB",
    "ohm",
    "m",
    "dBm",
    "dBuV",
    "V",
    "1",
    "VSWR",
    "dB/year",
    "EUR",
    "0.01 EUR",
    "currency of the prices",
}


def test_no_kind_of_answer_is_left_out():
    assert kinds() == sorted(MADE)


@pytest.mark.parametrize("name", MADE)
def test_every_column_of_figures_has_a_unit_and_no_text_has_one(name):
    frame = result(name).to_dataframe()
    units = frame.attrs["units"]
    frame = frame.reset_index() if frame.index.name else frame
    assert set(units) == set(frame)
    for column in frame:
        values = [each for cell in frame[column] for each in (cell if isinstance(cell, tuple) else [cell])]
        known = [each for each in values if each is not None and each == each]
        figures = bool(known) and all(isinstance(each, (int, float, complex, np.number)) for each in known)
        if figures and not isinstance(known[0], bool):
            assert units[column] in KNOWN or name == "Proof", (column, units[column])
            assert units[column], column
        elif known:
            assert units[column] == "", (column, known[:2])


@pytest.mark.parametrize("name", MADE)
def test_ends_of_an_interval_are_in_the_unit_of_what_they_bound(name):
    units = result(name).to_dataframe().attrs["units"]
    for column, unit in units.items():
        if column.endswith("_low"):
            assert units[f"{column.removesuffix('_low')}_high"] == unit
