"""The reflection chart on matplotlib axes: the unit disc with its circles in ohm, regions, the path over frequency."""

from __future__ import annotations

from typing import Any

import numpy as np

from chain.plots.disc import constant_reactance, constant_resistance
from chain.plots.figure import LOOKS, ReflectionChart, Trace, cut
from chain.plots.panels import INK, Box, Size, frame

LINES = "#bbbbbb"
LABELS = "#555555"
CLOSE = 0.35
"""Distance in the plane under which two names would meet."""
AWAY = 0.15
"""How far from the upright middle a name begins to lean towards it."""
KEY_LEFT, KEY_TOP, KEY_STEP = 0.72, -0.94, 0.09
"""Corner of the key of paths, in units of the disc, and how far apart its lines are."""
EDGE = np.exp(2j * np.pi * np.linspace(0, 1, 361))
HALO = {"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.8}


def draw_reflection(panel: Any, plot: ReflectionChart, box: Box, size: Size) -> None:
    """Draw a reflection chart (circles: `chain.plots.disc`)."""
    side = max((size[0] - 5.4) / 2, 0.15)
    frame(panel, plot.title, plot.note, box, size, (side, 0.1, side, 0.3))
    panel.set_aspect("equal")
    panel.set_xlim(-1.17, 1.17)
    panel.set_ylim(-1.17, 1.17)
    panel.axis("off")
    _grid(panel, plot)
    for trace in plot.traces:
        _trace(panel, trace)
    _key(panel, [trace for trace in plot.traces if trace.label and trace.joined and not trace.closed])
    if plot.limit is not None:
        look = LOOKS["limit"]
        points = plot.limit * EDGE
        panel.plot(
            points.real, points.imag, color=look.colour, linewidth=1.3, linestyle=(0, look.dash), label=plot.limit_label
        )
        at = plot.limit * np.exp(1j * np.pi * 0.75)
        panel.annotate(
            plot.limit_label, (at.real, at.imag), (-6, 6), textcoords="offset points", ha="right", fontsize=8, bbox=HALO
        )


def _key(panel: Any, paths: list[Trace]) -> None:
    """What several paths are, in the corner below the disc."""
    for number, trace in enumerate(paths if len(paths) > 1 else []):
        high = KEY_TOP - KEY_STEP * number
        look = LOOKS[trace.role]
        panel.plot([KEY_LEFT, KEY_LEFT + 0.14], [high, high], color=look.colour, linewidth=1.9, linestyle=_style(trace))
        panel.text(KEY_LEFT + 0.18, high, cut(trace.label, 28), fontsize=8, va="center", clip_on=False)


def _style(trace: Trace) -> Any:
    look = LOOKS[trace.role]
    return (0, look.dash) if look.dash else "solid"


def _grid(panel: Any, plot: ReflectionChart) -> None:
    """Edge of the disc, real axis, and circles with their resistance or reactance in ohm."""
    panel.plot(EDGE.real, EDGE.imag, color=INK, linewidth=1.2)
    panel.plot([-1, 1], [0, 0], color=LINES, linewidth=0.8)
    small = {"fontsize": 7, "color": LABELS, "ha": "center", "va": "center"}
    for ohm in plot.circle_ohm:
        weight = 1.1 if ohm == plot.reference_ohm else 0.6
        points = constant_resistance(ohm, plot.reference_ohm)
        panel.plot(points.real, points.imag, color=LINES, linewidth=weight)
        ratio = ohm / plot.reference_ohm
        panel.text((ratio - 1) / (ratio + 1), -0.035, f"{ohm:g}", bbox=HALO, **small)
        for sign in (1, -1):
            arc = constant_reactance(sign * ohm, plot.reference_ohm)
            panel.plot(arc.real, arc.imag, color=LINES, linewidth=weight, linestyle=(0, (4, 2)))
            rim = 1.1 * arc[0]
            panel.text(rim.real, rim.imag, f"{'+' if sign > 0 else '-'}j{ohm:g}", **small)
    panel.text(-1.03, 0, "0", **{**small, "ha": "right"})
    panel.text(1.03, 0, "inf", **{**small, "ha": "left"})


def _trace(panel: Any, trace: Trace) -> None:
    look, points = LOOKS[trace.role], trace.points
    if trace.closed:
        panel.fill(points.real, points.imag, facecolor=look.colour, alpha=0.16, label=trace.label or None)
        whole = np.append(points, points[:1])
        panel.plot(whole.real, whole.imag, color=look.colour, linewidth=1.6 if trace.label else 0.7)
        if trace.label:
            low = points[int(np.argmin(points.imag))]
            panel.annotate(
                trace.label,
                (low.real, low.imag),
                (0, -9),
                textcoords="offset points",
                # Towards the middle: on the rim stand the reactances.
                ha="right" if low.real > AWAY else "left" if low.real < -AWAY else "center",
                fontsize=8,
                bbox=HALO,
            )
        return
    marks = {"linestyle": _style(trace)} if trace.joined else {"linestyle": "none", "marker": "o", "markersize": 5}
    panel.plot(points.real, points.imag, color=look.colour, linewidth=1.9, label=trace.label, **marks)
    # Ends that lie close have their names above and below.
    below = -11 if abs(points[-1] - points[0]) < CLOSE else 3
    for text, point, shift in zip(trace.ends, (points[0], points[-1]), (3, below), strict=True):
        if text and np.isfinite(point):
            panel.plot([point.real], [point.imag], "o", color=look.colour, markersize=5)
            panel.annotate(
                cut(text, 40), (point.real, point.imag), (7, shift), textcoords="offset points", fontsize=8, bbox=HALO
            )
