"""The unit disc of reflections: its circles of constant resistance and reactance, and the disc in characters."""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex
from chain.plots.canvas import Canvas
from chain.plots.figure import LOOKS, Look, ReflectionChart

FINE = 361
TALL = 0.5
"""Width of a character over its height, on a usual terminal."""
GRID = Look("#000000", sign="·", ascii=".")
EDGE = Look("#000000", sign="•", ascii="o")


def constant_resistance(resistance_ohm: float, reference_ohm: float) -> Complex:
    """Reflections of one resistance with every reactance: a full circle through the open.

    Source: G = (Z - R0)/(Z + R0): centre r/(1 + r), radius 1/(1 + r), r = R/R0.
    """
    ratio = resistance_ohm / reference_ohm
    return np.asarray(ratio / (1 + ratio) + np.exp(2j * np.pi * np.linspace(0, 1, FINE)) / (1 + ratio))


def constant_reactance(reactance_ohm: float, reference_ohm: float) -> Complex:
    """Reflections of one reactance with every resistance from zero up: an arc inside the disc, ending at the open.

    Source: G = (Z - R0)/(Z + R0): centre 1 + j/x, radius 1/|x|, x = X/R0.
    """
    ratio = reactance_ohm / reference_ohm
    edge = (1j * ratio - 1) / (1j * ratio + 1)
    centre = 1 + 1j / ratio
    first, last = np.angle(edge - centre), np.angle(1 - centre)
    # The shorter way round, since the longer one runs outside the disc.
    turn = (last - first + np.pi) % (2 * np.pi) - np.pi
    return np.asarray(centre + abs(edge - centre) * np.exp(1j * (first + turn * np.linspace(0, 1, FINE))))


def inked(plot: ReflectionChart, ascii_only: bool, width: int) -> Canvas:
    """The disc drawn in characters: edge, real axis, the circle of the reference, limit, regions and traces."""
    canvas = Canvas(ascii_only, width, 2 * round((width - 1) * TALL / 2) + 1)
    _path(canvas, np.linspace(-1, 1, FINE).astype(np.complex128), GRID)
    _path(canvas, constant_resistance(plot.reference_ohm, plot.reference_ohm), GRID)
    _path(canvas, np.exp(2j * np.pi * np.linspace(0, 1, 2 * FINE)), EDGE)
    if plot.limit is not None:
        _path(canvas, plot.limit * np.exp(2j * np.pi * np.linspace(0, 1, FINE)), LOOKS["limit"])
    canvas.put(canvas.column(0.5), canvas.row(0.5), GRID, "+")
    for trace in plot.traces:
        # Unnamed regions would hide one another here.
        if trace.closed and not trace.label:
            continue
        closing = trace.points[: 1 if trace.closed else 0]
        points: Complex = np.concatenate([trace.points, closing])
        _path(canvas, _finer(points) if trace.joined else points, LOOKS[trace.role])
    for trace in plot.traces:
        for text, point in zip(trace.ends, (trace.points[0], trace.points[-1]), strict=True):
            if text and np.isfinite(point):
                canvas.write(canvas.column(float(np.clip((point.real + 1) / 2, 0, 1))) + 2, _row(canvas, point), text)
    return canvas


def _finer(points: Complex) -> Complex:
    """Points close enough for characters, straight between those given."""
    if points.size < 2:
        return points
    at = np.linspace(0, points.size - 1, max(FINE, 4 * points.size))
    return np.asarray(np.interp(at, np.arange(points.size), points), dtype=np.complex128)


def _row(canvas: Canvas, point: complex) -> int:
    return canvas.row((point.imag + 1) / 2)


def _path(canvas: Canvas, points: Complex, look: Look) -> None:
    for point in points[np.isfinite(points)]:
        if abs(point) <= 1.001:
            canvas.put(canvas.column((point.real + 1) / 2), _row(canvas, point), look)
