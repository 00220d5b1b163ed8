"""Charts of characters: inside their width, plain ASCII where needed, and each mark where the figure is."""

import io
import re
from functools import cache

import numpy as np
import pytest
from further import wide
from plot_cases import EVERY, answer, plots
from rich.cells import cell_len
from rich.console import Console

from chain.plots.figure import Bar, BarChart, BarGroup, CurveChart, Level, Series, even_axis, vswr_axis
from chain.plots.terminal import DISC, draw


class Ascii(io.StringIO):
    encoding = "ascii"


def chart(plot, width=80, encoding="utf-8", color=None):
    """Lines of a chart."""
    file = Ascii() if encoding == "ascii" else io.StringIO()
    draw(
        plot,
        Console(file=file, width=width, markup=False, highlight=False, force_terminal=bool(color), color_system=color),
    )
    return file.getvalue().splitlines()


def grid(lines):
    """Characters right of the y axis, by row from the top, as wide as the line below them."""
    rows = [line.split("|", 1)[1] for line in lines if re.match(r"^ *[\w.]*\|", line)]
    width = next(len(line.split("+", 1)[1]) for line in lines if re.match(r"^ *\+[-+]+$", line))
    return [row[:width].ljust(width) for row in rows]


@cache
def usual(name, number):
    """A chart as it stands on a screen of the usual width."""
    return chart(plots(name)[number])


@pytest.mark.parametrize("width", [40, *wide(80, 120)])
@pytest.mark.parametrize(("name", "number"), EVERY)
def test_no_line_is_wider_than_the_terminal(name, number, width):
    for line in chart(plots(name)[number], width):
        assert cell_len(line) <= width


@pytest.mark.parametrize(("name", "number"), EVERY)
def test_ascii_has_nothing_but_ascii_and_the_same_figures(name, number):
    """Only characters differ: every figure and every label stays."""
    plain, full = chart(plots(name)[number], encoding="ascii"), usual(name, number)
    assert all(line.isascii() for line in plain)
    assert not all(line.isascii() for line in full)
    assert len(plain) == len(full)
    assert re.findall(r"\d+\.?\d*", "\n".join(plain)) == re.findall(r"\d+\.?\d*", "\n".join(full))


@pytest.mark.parametrize(("name", "number"), EVERY)
def test_colour_adds_nothing_but_colour(name, number):
    """Without escapes the chart is the same."""
    coloured = "\n".join(chart(plots(name)[number], color="truecolor"))
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured).splitlines() == usual(name, number)


def test_the_reading_is_drawn_where_it_is():
    """In every column the mark stands in the row nearest to the reading, and both axes' ticks are there."""
    plot = plots("expect")[0]
    lines = chart(plot, encoding="ascii")
    rows = grid(lines)
    reading = next(series for series in plot.series if series.role == "reading")
    columns = np.linspace(0, 1, len(rows[0]))
    expected = np.interp(columns, plot.x.share(reading.x), plot.y.share(reading.y))
    for column, share in enumerate(expected):
        marked = [row for row, text in enumerate(rows) if text[column] == "o"]
        assert marked, f"no mark in column {column}"
        assert min(abs(row - (1 - share) * (len(rows) - 1)) for row in marked) <= 0.51
    text = "\n".join(lines)
    for word in (
        "screen, VSWR",
        "antenna, true, VSWR",
        "as read",
        "interval 95 %",
        "guaranteed bound",
        "ceiling",
        "limit 2",
        "open",
    ):
        assert word in text


def test_a_band_is_filled_between_its_edges_only():
    """Rows inside the bound are filled, rows outside are blank or a level."""
    plot = plots("expect")[0]
    rows = grid(chart(plot, encoding="ascii"))
    bound = next(series for series in plot.series if series.role == "bound")
    columns = np.linspace(0, 1, len(rows[0]))
    x = plot.x.share(bound.x)
    low, high = (np.interp(columns, x, plot.y.share(edge)) for edge in (bound.low, bound.high))
    for row, text in enumerate(rows):
        middle = 1 - row / (len(rows) - 1)
        for column, sign in enumerate(text):
            if low[column] + 0.03 < middle < high[column] - 0.03:
                assert sign != " "
            elif not low[column] - 0.03 <= middle <= high[column] + 0.03:
                assert sign in " =|-o"


def test_a_peak_narrower_than_a_column_is_not_lost():
    """One sample in two thousand still reaches its height."""
    y = np.ones(2001)
    y[777] = 9.0
    plot = CurveChart(
        "p",
        "Peak",
        "",
        even_axis("x", "u", 0, 2000),
        even_axis("y", "u", 0, 10),
        (Series("s", "true", np.arange(2001.0), y),),
    )
    rows = grid(chart(plot, encoding="ascii"))
    assert "x" in rows[round(0.1 * (len(rows) - 1))]


def test_a_gap_stays_a_gap():
    """No mark where the reading was refused."""
    result, plot = answer("magnitude"), plots("magnitude")[0]
    rows = grid(chart(plot, encoding="ascii"))
    refused = np.flatnonzero(np.isnan(result.low))
    middle = plot.x.share(result.freq_hz[refused]).mean()
    column = round(float(middle) * (len(rows[0]) - 1))
    assert all(text[column] != "x" for text in rows)
    assert any("x" in text for text in rows)


def test_single_readings_are_marks_with_bars_and_not_lines():
    rows = grid(chart(plots("few")[0], encoding="ascii"))
    marked = {column for text in rows for column, sign in enumerate(text) if sign == "x"}
    assert len(marked) == 1


def test_bars_are_as_long_as_their_figures():
    """Lengths in proportion, to a character."""
    groups = tuple(
        BarGroup(name, (Bar(0.0, share, f"{share}", "share"),)) for name, share in (("a", 0.6), ("b", 0.3), ("c", 0.0))
    )
    lines = chart(BarChart("b", "Bars", "", even_axis("share", "%", 0.0, 0.6, 0.01), groups), encoding="ascii")
    lengths = [line.count("#") for line in lines if re.match(r"^[abc] ", line)]
    assert lengths[0] == pytest.approx(2 * lengths[1], abs=2.1)
    assert lengths[2] == 1


def test_channels_are_named_above_their_stretch_with_their_verdicts():
    """Names over the marks; each mark is explained."""
    lines = chart(plots("sweep")[0], width=100, encoding="ascii")
    head = next(number for number, line in enumerate(lines) if line.strip().startswith("channels:"))
    verdicts = {span.shown for span in plots("sweep")[0].spans}
    assert all(verdict in lines[head] for verdict in verdicts)
    assert lines[head + 1].split() == ["5", "6", "9", "12"]
    assert len(lines[head + 2].split()) == 4
    for start, name in zip(
        [m.start() for m in re.finditer(r"\S+", lines[head + 2])], ["5", "6", "9", "12"], strict=True
    ):
        assert lines[head + 1].startswith(name, start)


def test_the_disc_is_round_and_in_its_reference():
    """About twice as wide as high in characters, with its centre and the ends of the path."""
    lines = chart(plots("sweep")[1], encoding="ascii")
    edge = [line[:DISC] for line in lines if line.strip().startswith("o")]
    width = max(line.rstrip().rfind("o") - line.find("o") + 1 for line in edge)
    assert width / len(edge) == pytest.approx(2, abs=0.05)
    text = "\n".join(lines)
    for word in ("in 75 ohm", "174 MHz", "240 MHz", "region 95 %", "limit 2.5"):
        assert word in text


def test_a_terminal_too_narrow_says_so():
    assert "40 columns" in " ".join(chart(plots("budget")[0], width=30))


def test_levels_outside_the_axis_are_left_out():
    """A limit far above what is shown draws no line inside the chart."""
    plot = CurveChart(
        "p",
        "Levels",
        "",
        even_axis("x", "u", 0.0, 1.0),
        vswr_axis("y", 1.5),
        (Series("s", "true", np.array([0.0, 1.0]), np.array([1.0, 1.2])),),
        (Level("limit 3", "limit", 3.0),),
    )
    assert not any("-" in text for text in grid(chart(plot, encoding="ascii")))


def test_user_text_is_neither_markup_nor_an_escape():
    """A name with markup and control characters is shown as it is, without the characters that steer."""
    bars = (BarGroup("[red]a[/nothing]\x1b[31m", (Bar(0.0, 0.5, "x", "share"),)),)
    lines = chart(BarChart("b", "Bars", "", even_axis("share", "%", 0.0, 0.6, 0.01), bars), color="truecolor")
    assert any("[red]a[/nothing]" in line for line in lines)
    assert not any("\x1b[31m" in line for line in lines)
