"""Plots on a terminal: characters that stay legible at 80 columns, in ASCII, and without colour."""

from __future__ import annotations

import math

import numpy as np
from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.text import Text

from chain.errors import plain
from chain.plots.canvas import FRAMES, Canvas, style_of
from chain.plots.disc import inked
from chain.plots.figure import (
    LOOKS,
    PALETTE,
    Axis,
    Bar,
    BarChart,
    CurveChart,
    Level,
    Look,
    Plot,
    ReflectionChart,
    cut,
    spread,
)
from chain.setup_report.tables import say

WIDEST, NARROWEST = 110, 40
HEIGHT = 17
LABELS = 0.42
"""Most of the width that labels may take."""
MARGIN = 2
DISC, LEAST_DISC = 49, 35
"""Widest disc, and the narrowest with its labels beside it, in characters."""
BESIDE = 22
"""Longest name of a group that stands beside its bars rather than above them."""


def draw(plot: Plot, console: Console) -> None:
    """Print a plot as a chart of characters."""
    width = min(console.width, WIDEST)
    if width < NARROWEST:
        say(console, f"(No room for a chart: it takes {NARROWEST} columns.)")
        return
    say(console, plot.title, style="bold")
    if isinstance(plot, CurveChart):
        _curves(plot, console, width)
    elif isinstance(plot, BarChart):
        _bars(plot, console, width)
    else:
        _disc(plot, console, width)
    if plot.note:
        say(console, plot.note, style="dim")


def _emit(console: Console, *parts: str | Text) -> None:
    line = Text.assemble(*(plain(part) if isinstance(part, str) else part for part in parts))
    line.rstrip()
    console.print(line, soft_wrap=True)


def _curves(plot: CurveChart, console: Console, width: int) -> None:
    ascii_only = console.options.ascii_only
    lines = [level for level in plot.levels if level.along == "x"]
    labels = [*((each.label, each.drawn, each.end(plot.y)) for each in plot.series if each.label)]
    labels += [(each.label, LOOKS[each.role], float(plot.y.share(each.value))) for each in lines]
    most = min(max(len(text) for text, _, _ in labels) + MARGIN, int(LABELS * width))
    left = max(len(tick.text) for tick in plot.y.ticks) + 1
    canvas = Canvas(console.options.ascii_only, width - left - 1 - MARGIN - most, max(HEIGHT, len(labels)))
    _fill(canvas, plot)
    rows = spread([(1 - place) * (canvas.height - 1) for _, _, place in labels], 1, 0, canvas.height - 1)
    beside = {math.floor(row + 0.5 + 1e-9): label for row, label in zip(rows, labels, strict=True)}
    ticks = {canvas.row(float(plot.y.share(tick.value))): tick.text for tick in plot.y.ticks}
    say(console, plot.y.title)
    for text in _heads(plot, canvas):
        _emit(console, " " * (left + 1), text)
    for row in range(canvas.height):
        line: list[str | Text] = [ticks.get(row, "").rjust(left), FRAMES[ascii_only]["side"], canvas.text(row)]
        if row in beside:
            label, look, _ = beside[row]
            sign = Text(look.ascii if ascii_only else look.sign, style_of(look))
            line += [" " * MARGIN, sign, " ", cut(label, most - MARGIN, ".." if ascii_only else "…")]
        _emit(console, *line)
    _floor(plot.x, console, canvas.width, left)


def _fill(canvas: Canvas, plot: CurveChart) -> None:
    """Bands first, then levels, then lines, so that no line is hidden."""
    for each in plot.series:
        x = plot.x.share(each.x)
        if each.low is not None and each.high is not None:
            low, high = plot.y.share(each.low), plot.y.share(each.high)
            if each.joined:
                canvas.band(x, low, high, each.drawn)
            else:
                canvas.marks(x, low, high, each.drawn)
    for level in plot.levels:
        _level(canvas, level, float((plot.y if level.along == "x" else plot.x).share(level.value)))
    for each in plot.series:
        if each.y is not None:
            x, y = plot.x.share(each.x), plot.y.share(each.y)
            if each.joined:
                canvas.line(x, y, each.drawn)
            else:
                canvas.marks(x, y, y, each.drawn)


def _level(canvas: Canvas, level: Level, place: float) -> None:
    if not 0 <= place <= 1:
        return
    if level.along == "x":
        for column in range(canvas.width):
            canvas.put(column, canvas.row(place), LOOKS[level.role])
    else:
        side = FRAMES[canvas.ascii_only]["side"]
        for row in range(canvas.height):
            canvas.put(canvas.column(place), row, LOOKS[level.role], side)


def _heads(plot: CurveChart | BarChart, canvas: Canvas) -> list[Text]:
    """Lines above the plot: verdicts and names of channels, names of upright levels."""
    out = []
    head = Canvas(canvas.ascii_only, canvas.width, 2)
    spans = plot.spans if isinstance(plot, CurveChart) else ()
    for span in spans:
        first, last = (float(np.clip(plot.x.share(end), 0, 1)) for end in (span.low, span.high))
        columns = range(head.column(first), max(head.column(last), head.column(first) + 1))
        for column in columns[: len(columns) - 1] or columns:
            head.put(column, 1, span.look)
        if len(span.label) < len(columns):
            head.write(columns[0], 0, span.label)
    if spans:
        meant = dict.fromkeys((span.shown, _sign(span.look, canvas.ascii_only)) for span in spans)
        line = "channels: "
        for number, (verdict, sign) in enumerate(meant):
            word = f"{sign} {verdict}{',' if number < len(meant) - 1 else ''}"
            if len(line) + len(word) > canvas.width and line.strip() != "channels:":
                out.append(Text(line.rstrip()))
                line = ""
            line += f"{word} "
        out.append(Text(line.rstrip()))
        out += [head.text(row) for row in range(2) if head.text(row).plain.strip()]
    uprights = [level for level in plot.levels if level.along == "y" and 0 <= plot.x.share(level.value) <= 1]
    if uprights:
        head = Canvas(canvas.ascii_only, canvas.width, 1)
        wide = max(len(level.label) for level in uprights) + 1
        wanted = [float(plot.x.share(level.value)) * canvas.width - len(level.label) / 2 for level in uprights]
        for level, place in zip(uprights, spread(wanted, wide, 0, canvas.width - wide), strict=True):
            head.write(round(place), 0, level.label)
        out.append(head.text(0))
    return out


def _sign(look: Look, ascii_only: bool) -> str:
    return look.ascii if ascii_only else look.sign


def _floor(axis: Axis, console: Console, width: int, left: int) -> None:
    """The x axis: a line with ticks, their texts, and the title."""
    frame = FRAMES[console.options.ascii_only]
    line, texts = [frame["floor"]] * width, [" "] * (width + 4)
    free = -1
    for tick in axis.ticks:
        column = round(float(axis.share(tick.value)) * (width - 1))
        line[column] = frame["tick"]
        start = max(column - (len(tick.text) - 1) // 2, 0)
        if start > free:
            texts[start : start + len(tick.text)] = tick.text
            free = start + len(tick.text)
    _emit(console, " " * left, frame["corner"], "".join(line))
    _emit(console, " " * (left + 1), "".join(texts[: width + 4]))
    _emit(console, " " * (left + 1), axis.title)


def _bars(plot: BarChart, console: Console, width: int) -> None:
    names = [f"best: {group.label}" if group.chosen else group.label for group in plot.groups]
    longest = max(cell_len(name) for name in names)
    left = longest + 1 if longest <= BESIDE else 0
    after = max(len(bar.text) for group in plot.groups for bar in group.bars) + MARGIN
    canvas = Canvas(console.options.ascii_only, width - left - 1 - after, sum(len(group.bars) for group in plot.groups))
    for text in _heads(plot, canvas):
        _emit(console, " " * (left + 1), text)
    row = 0
    for group, name in zip(plot.groups, names, strict=True):
        if not left:
            say(console, name, style="bold" if group.chosen else "", indent=MARGIN)
        for number, bar in enumerate(group.bars):
            _bar(canvas, row, bar, plot)
            head = set_cell_size(name, left) if left and number == 0 else " " * left
            _emit(console, head, " ", canvas.text(row), " " * MARGIN, bar.text)
            row += 1
    _floor(plot.x, console, canvas.width, left)
    if plot.key:
        _emit(
            console,
            " " * (left + 1),
            "   ".join(f"{_sign(LOOKS[role], canvas.ascii_only) * 3} {text}" for role, text in plot.key),
        )


def _bar(canvas: Canvas, row: int, bar: Bar, plot: BarChart) -> None:
    """A bar, and across it the level of its own role."""
    first, last = (canvas.column(float(np.clip(plot.x.share(end), 0, 1))) for end in (bar.low, bar.high))
    for column in range(first, last + 1):
        canvas.put(column, row, LOOKS[bar.role])
    for level in plot.levels:
        if level.role == bar.role:
            side = FRAMES[canvas.ascii_only]["side"]
            canvas.put(canvas.column(float(plot.x.share(level.value))), row, Look(PALETTE["black"]), side)


def _disc(plot: ReflectionChart, console: Console, width: int) -> None:
    ascii_only = console.options.ascii_only
    named = [(trace.label, LOOKS[trace.role]) for trace in plot.traces if trace.label]
    if plot.limit is not None:
        named.append((plot.limit_label, LOOKS["limit"]))
    labels = [Text.assemble(Text(_sign(look, ascii_only), style_of(look)), " ", text) for text, look in named]
    beside = width - 2 * MARGIN - max((label.cell_len for label in labels), default=0)
    under = beside < LEAST_DISC
    canvas = inked(plot, ascii_only, min(width if under else beside, DISC))
    first = canvas.height if under else (canvas.height - len(labels)) // 2
    for row in range(canvas.height):
        here = labels[row - first : row - first + 1] if row >= first else []
        _emit(console, canvas.text(row), " " * MARGIN, *here)
    for label in labels if under else []:
        _emit(console, label)
