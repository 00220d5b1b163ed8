"""Charts of a page as inline SVG, from the descriptions in `chain.plots`; the page's script finds its way by data attributes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np

from chain.arrays import Real
from chain.html.svg import Value, add, colour, drawing_root, markup, path_of
from chain.plots.figure import LOOKS, Axis, CurveChart, Level, Look, Series, spread

WIDTH, HEIGHT = 520.0, 330.0
LEFT, RIGHT, TOP, BOTTOM = 50.0, 112.0, 24.0, 42.0
LABEL_GAP = 13.0
SPAN_H = 14.0
LETTER_W = 8.0


@dataclass(frozen=True)
class _Frame:
    """Where values stand on the drawing."""

    x: Axis
    y: Axis

    def at_x(self, values: Real | float) -> Real:
        return np.asarray(LEFT + self.x.share(values) * (WIDTH - LEFT - RIGHT))

    def at_y(self, values: Real | float) -> Real:
        return np.asarray(HEIGHT - BOTTOM - self.y.share(values) * (HEIGHT - TOP - BOTTOM))


def curve_svg(chart: CurveChart) -> str:
    """One chart of curves and bands."""
    root = drawing_root(WIDTH, HEIGHT, f"plot-{chart.name}", chart.title, chart.note)
    frame = _Frame(chart.x, chart.y)
    root.set("data-frame", f"{LEFT:g} {TOP:g} {WIDTH - LEFT - RIGHT:g} {HEIGHT - TOP - BOTTOM:g}")
    for name, axis in (("data-x", chart.x), ("data-y", chart.y)):
        root.set(name, f"{float(axis.coordinate(axis.low)):.6g} {float(axis.coordinate(axis.high)):.6g}")
    _axes(root, frame)
    _spans(root, frame, chart)
    for series in chart.series:
        _band(root, frame, series)
    for level in chart.levels:
        _level(root, frame, level)
    for series in chart.series:
        _line(root, frame, series)
    _labels(root, frame, chart)
    cursor = add(root, "g", class_="cursor", visibility="hidden")
    add(cursor, "path", d="")
    add(cursor, "circle", r=4.5, cx=0, cy=0)
    return markup(root)


def _axes(root: Element, frame: _Frame) -> None:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    places = frame.at_x(np.array([tick.value for tick in frame.x.ticks]))
    # Names that would run into each other stand in two rows.
    wide = LETTER_W * max((len(tick.text) for tick in frame.x.ticks), default=0)
    rows = 2 if places.size > 1 and float(np.diff(places).min()) < wide else 1
    for number, (tick, x) in enumerate(zip(frame.x.ticks, places.tolist(), strict=True)):
        y = bottom + (15 if rows == 1 else 11 + 10 * (number % rows))
        add(root, "path", class_="grid", d=path_of([(x, TOP), (x, bottom)]))
        add(root, "text", tick.text, class_="tick", x=x, y=y, text_anchor="middle")
    for tick in frame.y.ticks:
        y = float(frame.at_y(tick.value))
        add(root, "path", class_="grid", d=path_of([(LEFT, y), (right, y)]))
        add(root, "text", tick.text, class_="tick", x=LEFT - 6, y=y + 4, text_anchor="end")
    add(root, "path", class_="frame", d=path_of([(LEFT, TOP), (LEFT, bottom), (right, bottom)]))
    add(
        root,
        "text",
        frame.x.title,
        class_="axis",
        x=(LEFT + right) / 2,
        y=HEIGHT - (8 if rows == 1 else 4),
        text_anchor="middle",
    )
    add(root, "text", frame.y.title, class_="axis", x=4, y=13)


def _spans(root: Element, frame: _Frame, chart: CurveChart) -> None:
    """Channels as a strip under the upper edge, each with the look of its verdict."""
    for span in chart.spans:
        ends = np.clip(frame.at_x(np.array([span.low, span.high])), LEFT, WIDTH - RIGHT)
        width = float(ends[1] - ends[0])
        look = span.look
        group = add(root, "g", class_="span")
        add(group, "title", f"{span.label}: {span.shown}")
        fill: dict[str, Value] = {"fill": colour(look), "fill_opacity": look.shade, "stroke": colour(look)}
        add(group, "rect", x=float(ends[0]), y=TOP, width=width, height=SPAN_H, **fill)
        if width > LETTER_W * len(span.label):
            add(group, "text", span.label, class_="tick", x=float(ends.mean()), y=TOP + 11, text_anchor="middle")


def _runs(*values: Real) -> Iterator[slice]:
    """Stretches without a gap."""
    known = np.concatenate([[False], ~np.isnan(np.sum(values, axis=0)), [False]])
    edges = np.flatnonzero(np.diff(known.astype(int)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        yield slice(int(start), int(stop))


def _points(frame: _Frame, x: Real, y: Real) -> list[tuple[float, float]]:
    return list(zip(frame.at_x(x).tolist(), frame.at_y(y).tolist(), strict=True))


def _band(root: Element, frame: _Frame, series: Series) -> None:
    if series.low is None or series.high is None:
        return
    if not series.joined:
        _bars(root, frame, series, series.low, series.high)
        return
    look = series.drawn
    role = series.role if series.y is None else "interval"
    if series.y is not None and series.look is None:
        look = LOOKS["interval"]
    with np.errstate(invalid="ignore"):
        low, high = (np.minimum(frame.y.coordinate(end), 1.0) for end in (series.low, series.high))
    shapes = [
        path_of(
            [*_points(frame, series.x[run], series.low[run]), *_points(frame, series.x[run], series.high[run])[::-1]],
            True,
        )
        for run in _runs(low, high)
    ]
    drawn: dict[str, Value] = {
        "fill": colour(look),
        "fill_opacity": f"{look.shade:g}",
        "stroke": colour(look),
        "stroke_width": 1,
    }
    add(root, "path", d="".join(shapes), data_band=role, **drawn, **_dash(look))


def _bars(root: Element, frame: _Frame, series: Series, low: Real, high: Real) -> None:
    """Single readings: an upright bar for each."""
    ends = [_points(frame, series.x, each) for each in (low, high)]
    shapes = (path_of([first, last]) for first, last in zip(*ends, strict=True) if np.all(np.isfinite([first, last])))
    add(root, "path", d="".join(shapes), fill="none", stroke=colour(series.drawn), stroke_width=4)


def _dash(look: Look) -> dict[str, Value]:
    return {"stroke_dasharray": " ".join(f"{2 * each:g}" for each in look.dash)} if look.dash else {}


def _line(root: Element, frame: _Frame, series: Series) -> None:
    if series.y is None:
        return
    look = series.drawn
    if series.joined:
        drawn = "".join(path_of(_points(frame, series.x[run], series.y[run])) for run in _runs(series.y))
        ink: dict[str, Value] = {"fill": "none", "stroke": colour(look), "stroke_width": 2}
        add(root, "path", d=drawn, data_line=series.role, **ink, **_dash(look))
        return
    for index, (x, y) in enumerate(_points(frame, series.x, series.y)):
        if np.isnan(y):
            continue
        if series.low is not None and series.high is not None:
            ends = _points(frame, series.x[[index, index]], np.array([series.low[index], series.high[index]]))
            add(root, "path", d=path_of(ends), stroke=colour(look), stroke_width=2)
        add(root, "circle", cx=x, cy=y, r=4, fill=colour(look))


def _level(root: Element, frame: _Frame, level: Level) -> None:
    look = LOOKS[level.role]
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    if level.along == "x":
        y = float(frame.at_y(level.value))
        ends = [(LEFT, y), (right, y)]
    else:
        x = float(frame.at_x(level.value))
        ends = [(x, TOP), (x, bottom)]
        add(root, "text", level.label, class_="tick", x=x + 4, y=TOP + 10)
    ink: dict[str, Value] = {"stroke": colour(look), "stroke_width": 1.5, "fill": "none"}
    add(root, "path", d=path_of(ends), data_level=level.role, **ink, **_dash(look))


def _labels(root: Element, frame: _Frame, chart: CurveChart) -> None:
    """Names beside the right ends of what they name, moved apart."""
    wanted: list[tuple[float, str, str]] = []
    for series in chart.series:
        edge = series.y if series.y is not None else series.high
        if edge is not None and series.label and not np.isnan(edge).all():
            wanted.append((float(frame.at_y(edge[~np.isnan(edge)][-1])), series.label, series.role))
    for level in chart.levels:
        if level.along == "x" and level.label:
            wanted.append((float(frame.at_y(level.value)), level.label, level.role))
    places = spread([each[0] for each in wanted], LABEL_GAP, TOP + 4, HEIGHT - BOTTOM)
    for (_, label, role), y in zip(wanted, places, strict=True):
        add(root, "text", label, class_="label", data_label=role, x=WIDTH - RIGHT + 6, y=float(y) + 4)
