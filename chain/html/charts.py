"""What the charts of a page show: reading against true value, readings over frequency, a sweep as read and as recovered."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chain.analyses.page import Page
from chain.analyses.recovery import Recovery
from chain.plots.figure import CurveChart, Level, Series, Span, frequency_axis, vswr_axis
from chain.reflection import vswr
from chain.setup_report.numbers import frequency, limit, short_limit
from chain.setup_report.phrases import verdict_word

START_VSWR = 2.0
"""True value that the page begins with where no limit is stated."""
MOST_POINTS = 600
FEW_POINTS = 12
BANDS = (("bound", "bound_low", "bound_high"), ("interval", "reading_low", "reading_high"))


def live_places(page: Page) -> tuple[int, int]:
    """Where the page's figures begin: nearest true value of the grid to the limit, and the worst frequency."""
    grid = page.grid
    known = page.expectation
    magnitude = (_start(page) - 1) / (_start(page) + 1)
    row = int(np.argmin(np.abs(grid["true"] - magnitude)))
    return row, int(np.argmin(np.abs(grid["freq_hz"] - known.worst_hz)))


def _start(page: Page) -> float:
    return page.setup.far.limit_vswr or START_VSWR


def _highest(page: Page) -> float:
    """Largest reading that the page's charts must hold."""
    return float(vswr(page.grid["bound_high"].max()))


def against_true(page: Page) -> CurveChart:
    """Readings at the worst frequency against the antenna's true VSWR."""
    grid, (_, column) = page.grid, live_places(page)
    true = np.asarray(vswr(grid["true"]))
    at = {name: np.asarray(vswr(grid[name][:, column])) for name in grid if grid[name].ndim == 2}
    series = [Series(role, role, true, None, at[low], at[high]) for role, low, high in BANDS]
    series.append(Series("screen", "reading", true, at["reading_vswr"]))
    levels = [Level("ceiling", "ceiling", float(vswr(grid["ceiling"][column])))]
    limit = page.setup.far.limit_vswr
    if limit is not None:
        levels.append(Level(f"limit {short_limit(limit)}", "limit", limit, "y"))
    where = frequency(page.expectation.worst_hz)
    note = f"At {where}: nominal reading, interval and guaranteed bound for every true value from a perfect match to an open."
    return CurveChart(
        "true",
        "What the screen reads against what the antenna truly is",
        note,
        vswr_axis("antenna, true", math.inf),
        vswr_axis("screen reads", _highest(page)),
        tuple(series),
        tuple(levels),
    )


def over_frequency(page: Page) -> CurveChart:
    """Readings over frequency of an antenna at the limit, or of VSWR 2."""
    grid, (row, _) = page.grid, live_places(page)
    at = {name: np.asarray(vswr(grid[name][row])) for name in grid if grid[name].ndim == 2}
    freq = grid["freq_hz"]
    series = [Series(role, role, freq, None, at[low], at[high]) for role, low, high in BANDS]
    series.append(Series("screen", "reading", freq, at["reading_vswr"]))
    series.append(Series("ceiling", "ceiling", freq, np.asarray(vswr(grid["ceiling"]))))
    spans = tuple(Span(name, "no limit", low, high) for name, low, high in page.setup.sweep.channels)
    return CurveChart(
        "frequency",
        "What the screen reads over the sweep",
        f"For an antenna of {limit(_start(page))} all over: nominal reading, interval, guaranteed bound and ceiling.",
        frequency_axis(freq),
        vswr_axis("screen reads", _highest(page)),
        tuple(series),
        (),
        spans,
    )


def decimated(result: Recovery, most: int = MOST_POINTS) -> NDArray[np.intp]:
    """Points of a sweep that are worth drawing: all, or of every stretch the one with the widest reach."""
    count = result.freq_hz.size
    if count <= most:
        return np.arange(count)
    edges = np.linspace(0, count, most + 1).astype(int)
    reach = np.nan_to_num(result.high, nan=0.0, posinf=1e9)
    return np.array([start + int(np.argmax(reach[start:stop])) for start, stop in pairwise(edges)])


def sweep_chart(result: Recovery) -> CurveChart:
    """A sweep as read beside the same as recovered, with its interval, the limit and the channels' verdicts."""
    shown = decimated(result)
    freq = result.freq_hz[shown]
    joined = freq.size >= FEW_POINTS
    true = Series("antenna", "true", freq, result.true_vswr[shown], result.low[shown], result.high[shown], joined)
    reading = Series("screen", "reading", freq, result.reading_vswr[shown], joined=joined)
    spans = tuple(
        Span(each.channel, each.verdict, each.low_hz, each.high_hz, verdict_word(each.verdict, each.grade))
        for each in result.channels
    )
    levels = (
        ()
        if result.limit_vswr is None
        else (Level(f"limit {short_limit(result.limit_vswr)}", "limit", result.limit_vswr),)
    )
    note = "Screen as read, antenna as recovered with its interval."
    if freq.size < result.freq_hz.size:
        note += f" {freq.size} of {result.freq_hz.size} points, the widest of every stretch."
    highest = float(
        np.nanmax(np.concatenate([result.high[shown], result.reading_vswr[shown], [result.limit_vswr or 1.2]]))
    )
    return CurveChart(
        "sweep",
        "The sweep as read and as it truly is",
        note,
        frequency_axis(freq),
        vswr_axis("screen and antenna", highest),
        (true, reading),
        levels,
        spans,
    )
