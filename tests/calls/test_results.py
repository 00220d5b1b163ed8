"""What every public kind of answer shows of itself: units of its columns, one line, a table as wide as the terminal."""

import re
from dataclasses import replace

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


@pytest.mark.parametrize("name", MADE)
def test_a_result_by_itself_takes_two_lines_at_most(name):
    found = result(name)
    text = repr(found)
    rows = len(next(iter(found.table().values()), ()))
    assert len(text.splitlines()) <= 2
    assert max(map(len, text.splitlines())) <= 80
    assert text.startswith(f"<{name}: ")
    assert text.endswith(f"; {rows} row{'' if rows == 1 else 's'}>")


def test_a_long_title_is_cut_and_the_count_stays():
    text = repr(replace(result("Setup"), title="boathouse " * 30))
    assert [len(line) <= 80 for line in text.splitlines()] == [True, True]
    assert text.endswith("...; 3 rows>")


@pytest.mark.parametrize("columns", ["", "60", "80", "133"])
@pytest.mark.parametrize("name", MADE)
def test_a_printed_answer_is_as_wide_as_the_terminal(name, columns, monkeypatch):
    """Every column is there, in one table or in several below each other, and no line is wider; 80 where nothing is said."""
    monkeypatch.setenv("COLUMNS", columns)
    found = result(name)
    lines = str(found).splitlines()
    assert max(map(len, lines)) <= int(columns or 80)
    words = " ".join(lines).split()
    assert {re.sub("_hz$", "_mhz", each) for each in found._in_unit()} <= set(words)
    assert " ".join(words).startswith(" ".join(found.headline().split()))


def test_what_nothing_connected_shows_is_one_figure_everywhere():
    """The line, the row and the command's screen."""
    from click.testing import CliRunner

    from chain.cli.main import chain as command_line

    found = result("Expectation")
    assert found.rows[-1].true_vswr == float("inf")
    shown = f"{found.rows[-1].reading_vswr:.2f}"
    assert f"{shown} with nothing connected" in " ".join(repr(found).split())
    command = ["expect", "demo/boathouse.toml", "--draws", "1000"]
    lines = CliRunner().invoke(command_line, command).stdout.splitlines()
    assert f"With nothing connected about {shown}" in lines[1]
