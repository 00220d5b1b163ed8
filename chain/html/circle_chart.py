"""The reflection chart of a page as inline SVG: circles of resistance and reactance, the limit, and the traces."""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex
from chain.html.svg import Value, add, colour, drawing_root, markup, path_of
from chain.plots.disc import constant_reactance, constant_resistance
from chain.plots.figure import LOOKS, ReflectionChart

SIZE, EDGE = 420.0, 24.0


def circle_svg(chart: ReflectionChart) -> str:
    """One reflection chart, its key below."""
    height = SIZE + 18.0 * (len(chart.traces) + (chart.limit is not None))
    root = drawing_root(SIZE, height, f"plot-{chart.name}", chart.title, chart.note)
    grid = [constant_resistance(ohm, chart.reference_ohm) for ohm in chart.circle_ohm]
    grid += [constant_reactance(sign * ohm, chart.reference_ohm) for ohm in chart.circle_ohm for sign in (1, -1)]
    for curve in (*grid, np.linspace(-1, 1, 2).astype(complex)):
        add(root, "path", class_="grid", d=path_of(_places(curve)), fill="none")
    add(root, "path", class_="frame", d=path_of(_places(_circle(1.0))), fill="none")
    for ohm in chart.circle_ohm:
        x, y = _places(np.array([(ohm - chart.reference_ohm) / (ohm + chart.reference_ohm)], dtype=complex))[0]
        add(root, "text", f"{ohm:g}", class_="tick", x=x, y=y + 13, text_anchor="middle")
    keys: list[tuple[str, str]] = []
    if chart.limit is not None:
        _drawn(root, _circle(chart.limit), "limit", 1.3)
        keys.append((chart.limit_label, "limit"))
    for trace in chart.traces:
        _drawn(root, trace.points, trace.role, 2.4)
        keys.append((trace.label, trace.role))
        for text, point in zip(trace.ends, (trace.points[0], trace.points[-1]), strict=True):
            if text:
                x, y = _places(np.array([point]))[0]
                add(root, "circle", cx=x, cy=y, r=4, fill=colour(LOOKS[trace.role]))
                add(root, "text", text, class_="tick", x=x + 7, y=y - 5)
    for number, (label, role) in enumerate(keys):
        y = SIZE + 18.0 * number + 4
        add(root, "path", d=path_of([(EDGE, y), (EDGE + 34, y)]), **_ink(role, 2.4))
        add(root, "text", label, class_="tick", x=EDGE + 42, y=y + 4)
    return markup(root)


def _circle(radius: float) -> Complex:
    return np.asarray(radius * np.exp(2j * np.pi * np.linspace(0, 1, 181)))


def _places(points: Complex) -> list[tuple[float, float]]:
    half = SIZE / 2 - EDGE
    known = points[np.isfinite(points)]
    known = known[np.abs(known) <= 1.02]
    return [(SIZE / 2 + half * float(each.real), SIZE / 2 - half * float(each.imag)) for each in known]


def _ink(role: str, width: float) -> dict[str, Value]:
    look = LOOKS[role]
    dash: dict[str, Value] = {"stroke_dasharray": " ".join(f"{2 * each:g}" for each in look.dash)} if look.dash else {}
    return {"fill": "none", "stroke": colour(look), "stroke_width": width, **dash}


def _drawn(root: object, points: Complex, role: str, width: float) -> None:
    add(root, "path", d=path_of(_places(points)), **_ink(role, width))  # type: ignore[arg-type]
