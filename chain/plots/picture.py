"""Plots as a picture file: PNG or SVG, drawn by matplotlib without a display, the same bytes for the same figures."""

from __future__ import annotations

import textwrap
import warnings
from collections.abc import Sequence
from io import BytesIO
from typing import Any

from chain.errors import ChainError, plain
from chain.plots.figure import BarChart, CurveChart, Plot, ReflectionChart
from chain.plots.panels import INK, draw_bars, draw_curves, wrapped
from chain.plots.smith_chart import draw_reflection

WIDTH_IN = 9.0
ROUND_IN = 5.3
"""Width of the reflection chart where bars stand beside it."""
TITLE_LINE_IN = 0.26
TITLE_LETTERS = 76
NOTE_LINE_IN = 0.155
PANEL_GAP_IN = 0.25
DPI = 150
SETTINGS = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "plots",
    "axes.unicode_minus": False,
}
NO_DATES = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}


def needs_matplotlib() -> None:
    """Refuse at once where matplotlib is not installed."""
    try:
        import matplotlib.figure  # noqa: F401
    except ImportError as error:
        missing = ChainError(
            "drawing to a file needs matplotlib, which is not installed", "pip install 'matplotlib>=3.8'"
        )
        missing.exit_code = 2
        raise missing from error


def picture(plots: Sequence[Plot], kind: str, title: str = "") -> bytes:
    """Draw plots one under another into one picture."""
    needs_matplotlib()
    import matplotlib
    from matplotlib.figure import Figure

    out = BytesIO()
    with matplotlib.rc_context(), warnings.catch_warnings():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(SETTINGS)
        # A sign that the font lacks is drawn as a box in PNG, and left to the viewer's fonts in SVG.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        rows = _rows(plots)
        heading = textwrap.wrap(plain(title), TITLE_LETTERS)
        top_in = PANEL_GAP_IN + TITLE_LINE_IN * len(heading)
        height_in = top_in + sum(max(_height_in(plot, width) for plot, width in row) for row in rows)
        figure = Figure(figsize=(WIDTH_IN, height_in), facecolor="white")
        _canvas(kind)(figure)
        for number, line in enumerate(heading):
            at = 1 - (0.28 + TITLE_LINE_IN * number) / height_in
            figure.text(0.02, at, line, fontsize=12, fontweight="bold", va="center")
        _place(figure, rows, height_in, top_in)
        figure.savefig(out, format=kind, dpi=DPI, metadata=NO_DATES[kind])
    return out.getvalue()


def draw_one(plot: Plot, panel: Any = None) -> Any:
    """Draw one plot on axes, title and note within their room; new axes of a new figure where none are given."""
    needs_matplotlib()
    if panel is None:
        from matplotlib.figure import Figure

        panel = Figure(figsize=(WIDTH_IN, _height_in(plot, WIDTH_IN)), facecolor="white").add_axes((0, 0, 1, 1))
    wide_in, high_in = panel.figure.get_size_inches()
    # Axes that are alone in their figure have all of it: the usual margins are room for what stands beside them.
    room = (0.0, 0.0, 1.0, 1.0) if len(panel.figure.axes) == 1 else tuple(panel.get_position().bounds)
    _draw(plot, panel, room, (room[2] * wide_in, room[3] * high_in))
    return panel


def _draw(plot: Plot, panel: Any, box: Any, size: tuple[float, float]) -> None:
    if isinstance(plot, CurveChart):
        draw_curves(panel, plot, box, size)
    elif isinstance(plot, BarChart):
        draw_bars(panel, plot, box, size)
    else:
        draw_reflection(panel, plot, box, size)


def _canvas(kind: str) -> Any:
    if kind == "png":
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        return FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    return FigureCanvasSVG


def _rows(plots: Sequence[Plot]) -> list[list[tuple[Plot, float]]]:
    """Plots in rows, each with its width in inches: bars that follow a reflection chart stand beside it."""
    rows: list[list[tuple[Plot, float]]] = []
    for plot in plots:
        last = rows[-1] if rows else []
        if isinstance(plot, BarChart) and len(last) == 1 and isinstance(last[0][0], ReflectionChart):
            rows[-1] = [(last[0][0], ROUND_IN), (plot, WIDTH_IN - ROUND_IN)]
        else:
            rows.append([(plot, WIDTH_IN)])
    return rows


def _height_in(plot: Plot, width_in: float) -> float:
    notes = NOTE_LINE_IN * len(wrapped(plot.note, width_in)) + PANEL_GAP_IN
    if isinstance(plot, CurveChart):
        return 4.6 + notes
    if isinstance(plot, BarChart):
        return 1.2 + 0.26 * sum(len(group.bars) + 0.4 for group in plot.groups) + notes
    return min(width_in, 5.8) - 0.1 + notes


def _place(figure: Any, rows: list[list[tuple[Plot, float]]], height_in: float, top_in: float) -> None:
    """Give each plot its rectangle, and draw it there."""
    for row in rows:
        left_in = 0.0
        for plot, width_in in row:
            own_in = _height_in(plot, width_in)
            box = (left_in / WIDTH_IN, 1 - (top_in + own_in) / height_in, width_in / WIDTH_IN, own_in / height_in)
            panel = figure.add_axes((0, 0, 1, 1))
            _draw(plot, panel, box, (width_in, own_in))
            left_in += width_in
        top_in += max(_height_in(plot, width) for plot, width in row)
