"""What every public kind of answer shows of itself: units of its columns, one line, a table as wide as the terminal."""

import inspect
import pickle
import re
from copy import copy
from dataclasses import fields, replace

import numpy as np
import pytest
from public_results import MADE, OTHERS, kinds, result

import chain

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


@pytest.mark.parametrize("name", OTHERS)
def test_any_other_answer_is_printed_in_two_lines_at_most(name):
    lines = str(result(name)).splitlines()
    assert (len(lines) <= 2, max(map(len, lines)) <= 80) == (True, True), lines
    assert name in lines[0]


def test_every_public_function_returns_one_of_these_or_plain_values():
    plain = {"str", "float", "tuple", "dict", "Real", "Iterator"}
    returned = set()
    for name in chain.__all__[1:]:
        if inspect.isfunction(found := getattr(chain, name)):
            returned |= set(re.findall(r"\w+", str(inspect.signature(found).return_annotation)))
    assert returned - plain == {*MADE, *OTHERS} & returned
    assert set(OTHERS) <= returned


@pytest.mark.parametrize("name", [*MADE, *OTHERS])
def test_an_answer_equals_another_of_the_same_figures(name):
    """Arrays are compared figure by figure, and what is no number is the same as another at its place."""
    found = result(name)
    again = pickle.loads(pickle.dumps(found))
    assert found == again
    assert again in [None, found]
    arrays = [each.name for each in fields(found) if each.compare and getattr(getattr(found, each.name), "size", 0)]
    for field in arrays:
        value = getattr(found, field)
        other = copy(found)
        vars(other)[field] = value[:-1]
        assert found != other
        vars(other)[field] = np.where(np.arange(value.size).reshape(value.shape) == value.size - 1, 17.25, value)
        assert found != other
        assert other == pickle.loads(pickle.dumps(other))


def test_what_is_no_number_is_alike_at_the_same_place_only():
    one, same, other = (chain.SweepOptions(impedance_ohm=each) for each in (float("nan"), np.float64("nan"), 50.0))
    assert one == same
    assert one != other
    from library.frozen import _alike

    assert _alike(np.array([1.0, np.nan]), np.array([1.0, np.nan]))
    assert not _alike(np.array([1.0, np.nan]), np.array([np.nan, 1.0]))
    assert not _alike(np.zeros(0), np.zeros(1))
    assert _alike(np.zeros(0), np.zeros(0))
    assert not _alike(np.array(["a"]), None)


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
