"""Curves and bars on matplotlib axes: direct labels instead of a legend, dashes and hatching beside colours."""

from __future__ import annotations

import math
import textwrap
from itertools import pairwise
from typing import Any

import numpy as np

from chain.plots.figure import LOOKS, Axis, BarChart, CurveChart, Level, Look, Series, Tick, cut, spread

INK = "#222222"
PALE = "#dddddd"
LETTER_IN = 0.067
"""Mean width of a letter of 8 points, with some to spare."""
LINE_IN = 0.165
TICK_LETTER_IN = 0.095
"""Width of a letter of a tick at matplotlib's usual size."""
TITLE_LETTER_IN, TITLE_LINE_IN = 0.092, 0.2
LONGEST = 44
"""Most letters of a label."""
LEFT_IN, TOP_IN, FLOOR_IN = 0.75, 0.42, 0.5
STRIP_IN = 0.24
UPRIGHT_IN = 0.075
"""Height of a letter of a name that stands upright along an axis."""

Box = tuple[float, float, float, float]
Size = tuple[float, float]


def wrapped(text: str, width_in: float) -> list[str]:
    """Lines of a note that fit a width (mean width of a letter)."""
    return textwrap.wrap(text, max(int((width_in - 0.3) / LETTER_IN), 16))


def frame(panel: Any, title: str, note: str, box: Box, size: Size, inner: tuple[float, float, float, float]) -> Size:
    """Put axes inside a box with room for title, labels and note around them [inch]."""
    lines = wrapped(note, size[0])
    heading = textwrap.wrap(title, max(int((size[0] - 0.3) / TITLE_LETTER_IN), 16))
    left, below, right, above = inner
    below += 0.155 * len(lines)
    above += TITLE_LINE_IN * (len(heading) - 1)
    wide, high = size[0] - left - right, size[1] - below - above
    unit_x, unit_y = box[2] / size[0], box[3] / size[1]
    panel.set_position((box[0] + left * unit_x, box[1] + below * unit_y, wide * unit_x, high * unit_y))
    corner = (box[0] + 0.18 * unit_x, box[1] + (size[1] - 0.16) * unit_y)
    for number, line in enumerate(heading):
        height = corner[1] - TITLE_LINE_IN * number * unit_y
        panel.figure.text(corner[0], height, line, fontsize=10, fontweight="bold", va="center")
    for number, line in enumerate(lines):
        height = box[1] + (0.155 * (len(lines) - number) - 0.02) * unit_y
        panel.figure.text(corner[0], height, line, fontsize=7.5, va="center", color="#444444")
    return wide, high


def _axis(side: Any, axis: Axis, wide_in: float = math.inf) -> None:
    """Ticks and title of an axis, of the ticks those that find room across; `side` is matplotlib's own axis."""
    ticks: list[Tick] = []
    for tick in axis.ticks:
        if not ticks or _apart(axis, ticks[-1], tick, wide_in):
            ticks.append(tick)
    side.set_ticks([float(axis.coordinate(tick.value)) for tick in ticks], [tick.text for tick in ticks])
    side.set_label_text(axis.title)


def _apart(axis: Axis, first: Tick, second: Tick, wide_in: float) -> bool:
    """Whether the texts of two ticks stand clear of each other along an axis of a length."""
    between = abs(float(axis.share(second.value)) - float(axis.share(first.value))) * wide_in
    return between > TICK_LETTER_IN * ((len(first.text) + len(second.text)) / 2 + 1)


def _upright(axis: Axis, wide_in: float) -> float:
    """Height that the names along an axis need where they have to stand upright to be read; 0 where they have room [inch]."""
    if all(tick.text[:1].isdigit() or tick.text[:1] in "-+" for tick in axis.ticks[:1]):
        return 0.0
    if all(_apart(axis, one, other, wide_in) for one, other in pairwise(axis.ticks)):
        return 0.0
    return UPRIGHT_IN * max(len(tick.text) for tick in axis.ticks)


def _limits(axis: Axis) -> tuple[float, float]:
    return float(axis.coordinate(axis.low)), float(axis.coordinate(axis.high))


def _dashes(look: Look) -> Any:
    return (0, look.dash) if look.dash else "solid"


def draw_curves(panel: Any, plot: CurveChart, box: Box, size: Size) -> None:
    """Draw series, levels and spans."""
    across = [level for level in plot.levels if level.along == "x"]
    labels = [
        (each.label, each.drawn, each.y is None, _dot(each), each.end(plot.y)) for each in plot.series if each.label
    ]
    labels += [(each.label, LOOKS[each.role], False, "", float(plot.y.share(each.value))) for each in across]
    labels = [(cut(text, LONGEST), look, band, dot, place) for text, look, band, dot, place in labels]
    right = 0.45 + LETTER_IN * max(len(text) for text, *_ in labels)
    above = (
        TOP_IN + (STRIP_IN if plot.spans else 0.0) + (0.12 if any(level.along == "y" for level in plot.levels) else 0)
    )
    upright = _upright(plot.x, size[0] - LEFT_IN - right)
    wide, high = frame(panel, plot.title, plot.note, box, size, (LEFT_IN, FLOOR_IN + upright, right, above))
    panel.set_xlim(*_limits(plot.x))
    panel.set_ylim(*_limits(plot.y))
    _axis(panel.xaxis, plot.x, math.inf if upright else wide)
    if upright:
        for label in panel.get_xticklabels():
            label.set(rotation=90, ha="center", fontsize=8)
    _axis(panel.yaxis, plot.y)
    panel.grid(color=PALE, linewidth=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    for each in plot.series:
        _series(panel, plot, each)
    for level in plot.levels:
        _level(panel, plot, level)
    places = spread([place for *_, place in labels], LINE_IN / high, 0.0, 1.0)
    for (text, look, band, dot, place), label in zip(labels, places, strict=True):
        _beside(panel, text, (look, band, dot), (place, float(label)), (wide, high))
    if plot.spans:
        _strip(panel, plot, wide, high)


def _series(panel: Any, plot: CurveChart, each: Series) -> None:
    look, x = each.drawn, plot.x.coordinate(each.x)
    if each.low is not None and each.high is not None:
        low, high = plot.y.coordinate(each.low), plot.y.coordinate(each.high)
        if each.joined:
            panel.fill_between(x, low, high, facecolor=look.colour, alpha=look.shade, linewidth=0, label=each.label)
            if look.hatch:
                panel.fill_between(x, low, high, facecolor="none", edgecolor=INK, hatch=look.hatch * 2, linewidth=0)
            for edge in (low, high):
                panel.plot(x, edge, color=look.colour, linewidth=0.8, linestyle=_dashes(look), alpha=0.8)
        else:
            panel.vlines(x, low, high, colors=look.colour, linewidth=9, alpha=look.shade, label=each.label)
    if each.y is not None:
        y = plot.y.coordinate(each.y)
        if each.joined:
            panel.plot(x, y, color=look.colour, linewidth=1.8, linestyle=_dashes(look), label=each.label)
        else:
            panel.plot(x, y, _dot(each), color=look.colour, markersize=6, label=each.label)


def _dot(each: Series) -> str:
    """What stands at each point of a series that no line joins."""
    if each.joined or each.y is None:
        return ""
    return "s" if each.drawn.dash else "o"


def _level(panel: Any, plot: CurveChart, level: Level) -> None:
    look = LOOKS[level.role]
    drawn = {"color": look.colour, "linewidth": 1.3, "linestyle": _dashes(look), "label": level.label}
    if level.along == "x":
        panel.axhline(float(plot.y.coordinate(level.value)), **drawn)
    else:
        panel.axvline(float(plot.x.coordinate(level.value)), **drawn)
        place = float(plot.x.share(level.value))
        panel.text(place, 1.015, level.label, transform=panel.transAxes, ha="center", va="bottom", fontsize=8)


def _beside(panel: Any, text: str, shown: tuple[Look, bool, str], places: tuple[float, float], axes_in: Size) -> None:
    """A label right of the axes, led to by a stretch of its line or of its band, or by one of its points."""
    (look, band, dot), (wide, high) = shown, axes_in
    start, knee, end = 1 + 0.03 / wide, 1 + 0.14 / wide, 1 + 0.3 / wide
    panel.plot(
        [start, knee, end],
        [places[0], places[1], places[1]],
        transform=panel.transAxes,
        clip_on=False,
        color=look.colour,
        linewidth=0.8 if band or dot else 1.4,
        linestyle=_dashes(look),
        solid_capstyle="butt",
    )
    if dot:
        middle = (knee + end) / 2
        panel.plot(middle, places[1], dot, transform=panel.transAxes, clip_on=False, color=look.colour, markersize=6)
    if band:
        half = 0.05 / high
        _patch(panel, (knee, end, places[1] - half, places[1] + half), look, look.shade)
    panel.text(1 + 0.35 / wide, places[1], text, transform=panel.transAxes, va="center", fontsize=8)


def _strip(panel: Any, plot: CurveChart, wide: float, high: float) -> None:
    """Channels above the axes: name, colour and hatching by verdict, and what each verdict looks like."""
    low, top = 1 + 0.05 / high, 1 + (0.05 + STRIP_IN) / high
    for span in plot.spans:
        look = span.look
        first, last = (float(np.clip(plot.x.share(end), 0, 1)) for end in (span.low, span.high))
        _patch(panel, (first, last, low, top), look)
        if (last - first) * wide > LETTER_IN * len(span.label) + 0.03:
            middle = ((first + last) / 2, (low + top) / 2)
            panel.text(*middle, span.label, transform=panel.transAxes, ha="center", va="center", fontsize=8)
    verdicts = list({span.shown: span.look for span in plot.spans}.items())
    for number, (words, look) in enumerate(verdicts):
        height = top + (0.02 - LINE_IN * (len(verdicts) - number - 0.5) + LINE_IN * (len(verdicts) - 1)) / high
        _patch(panel, (1 + 0.05 / wide, 1 + 0.3 / wide, height - 0.05 / high, height + 0.05 / high), look)
        panel.text(1 + 0.35 / wide, height, words, transform=panel.transAxes, va="center", fontsize=8)


def _patch(panel: Any, sides: tuple[float, float, float, float], look: Look, shade: float = 0.35) -> None:
    left, right, low, top = sides
    panel.fill(
        [left, right, right, left],
        [low, low, top, top],
        transform=panel.transAxes,
        clip_on=False,
        facecolor=_pale(look.colour, shade),
        edgecolor=look.colour,
        hatch=look.hatch * 3 or None,
        linewidth=0.8,
        linestyle=_dashes(look),
    )


def _pale(colour: str, shade: float) -> tuple[float, float, float]:
    """A colour on white: opaque, since SVG would make the hatching as faint as what it lies on."""
    red, green, blue = (1 - shade * (1 - int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return red, green, blue


def draw_bars(panel: Any, plot: BarChart, box: Box, size: Size) -> None:
    """Draw groups of bars one under another."""
    names = [
        textwrap.wrap(f"best: {group.label}" if group.chosen else group.label, 34) or [""] for group in plot.groups
    ]
    left = 0.3 + LETTER_IN * max(len(line) for lines in names for line in lines)
    texts = max(len(bar.text) for group in plot.groups for bar in group.bars)
    above = TOP_IN + (0.3 if plot.key or plot.levels else 0.0)
    inner = (left, FLOOR_IN, 0.3 + LETTER_IN * texts, above)
    wide, high = frame(panel, plot.title, plot.note, box, size, inner)
    panel.set_xlim(*_limits(plot.x))
    _axis(panel.xaxis, plot.x, wide)
    panel.grid(axis="x", color=PALE, linewidth=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    at, middles = 0.0, []
    for group in plot.groups:
        middles.append(at + (len(group.bars) - 1) / 2)
        for bar in group.bars:
            _bar(panel, plot, bar, at)
            at += 1
        at += 0.4
    panel.set_ylim(at - 0.7, -0.7)
    # Names of several lines share the height that their bars have.
    room = high / (at + 0.4) * min(len(group.bars) + 0.4 for group in plot.groups)
    letters = min(8.0, 72 * room / (1.25 * max(map(len, names))))
    panel.yaxis.set_ticks(middles, ["\n".join(lines) for lines in names], fontsize=letters)
    panel.tick_params(axis="y", length=0)
    for label, group in zip(panel.get_yticklabels(), plot.groups, strict=True):
        label.set_fontweight("bold" if group.chosen else "normal")
    for level in plot.levels:
        drawn = {"color": LOOKS[level.role].colour, "linewidth": 1.3, "linestyle": _dashes(LOOKS[level.role])}
        panel.axvline(float(plot.x.coordinate(level.value)), **drawn)
    longest = max((len(level.label) for level in plot.levels), default=0)
    wanted = [float(plot.x.share(level.value)) for level in plot.levels]
    for level, place in zip(plot.levels, spread(wanted, LETTER_IN * (longest + 1) / wide, -0.5, 1.5), strict=True):
        panel.text(float(place), 1.01, level.label, transform=panel.transAxes, ha="center", va="bottom", fontsize=8)


def _bar(panel: Any, plot: BarChart, bar: Any, at: float) -> None:
    look = LOOKS[bar.role]
    low, high = (float(plot.x.coordinate(end)) for end in (bar.low, bar.high))
    panel.barh(
        at,
        high - low,
        0.72,
        left=low,
        facecolor=_pale(look.colour, 0.55),
        edgecolor=look.colour,
        hatch=look.hatch * 2 or None,
        linewidth=1.0,
    )
    panel.text(1.015, at, bar.text, transform=panel.get_yaxis_transform(), va="center", fontsize=8)
