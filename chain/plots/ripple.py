"""A sweep that ripples, what is left of it without its ripple, and how strong each reflection behind it is."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from chain.arrays import Real
from chain.echoes.records import Component, Ripple
from chain.plots.figure import (
    PALETTE,
    Bar,
    BarChart,
    BarGroup,
    CurveChart,
    Look,
    Plot,
    Series,
    even_axis,
    frequency_axis,
    vswr_axis,
)
from chain.reflection import vswr
from chain.setup_report.numbers import figure_of, frequency, head, match
from chain.setup_report.phrases import plane_words

LOOKS = {
    "fit": Look(PALETTE["black"], (1.0, 1.5), "·", "."),
    "as read": Look(PALETTE["blue"], (), "○", "o"),
    "time-gated": Look(PALETTE["bluish green"], (5.0, 2.0), "+", "+"),
    "without ripple": Look(PALETTE["vermillion"], (), "●", "x"),
}
"""The ripple itself is drawn unbroken: dashes would be taken for more of it."""
SINGLE = 12
MOST_BARS = 8


def describe(result: Ripple) -> tuple[Plot, ...]:
    """Describe the sweep with and without its ripple, and the reflections that make it."""
    plots: list[Plot] = [_sweep(result)]
    if result.components:
        plots.append(_reflections(result))
    return tuple(plots)


def _sweep(result: Ripple) -> CurveChart:
    shown = [(label, values) for label, values in _curves(result) if np.isfinite(values).any()]
    joined = result.freq_hz.size > SINGLE
    every = np.concatenate([values[np.isfinite(values)] for _, values in shown])
    return CurveChart(
        "ripple",
        "The sweep, and what is left of it without its ripple",
        _note(result),
        frequency_axis(result.freq_hz),
        vswr_axis("screen", float(vswr(every.max())), float(vswr(every.min()))),
        tuple(
            Series(label, "line", result.freq_hz, vswr(values), joined=joined, look=LOOKS[label])
            for label, values in shown
        ),
    )


def _curves(result: Ripple) -> Iterator[tuple[str, Real]]:
    """Magnitudes to draw, the last on top."""
    if result.components:
        yield "fit", result.fitted
    yield "as read", result.reading
    if result.components:
        yield "without ripple", result.steady
    if result.gated is not None and result.trusted is not None:
        yield "time-gated", np.where(result.trusted, np.abs(result.gated), np.nan)


def _note(result: Ripple) -> str:
    text = f"Screen, calibrated {plane_words(result.plane)}." if result.plane else "As the analyzer showed it."
    if result.gated is not None:
        text += " The gated sweep is drawn where it can be trusted: a gate blurs the band edges."
    return f"{text} Axis spaced by reflection."


def _reflections(result: Ripple) -> BarChart:
    shown = result.components[:MOST_BARS]
    return BarChart(
        "reflections",
        "How strong each reflection behind the ripple is",
        f"The larger reflection that they beat against: {_against(shown)}. Strongest first; a beat or a repeat of two "
        "others is no reflection of its own.",
        even_axis(
            f"reflection (figures {head().partition(chr(10))[0]})",
            "magnitude",
            0.0,
            max(each.reflection for each in shown),
        ),
        tuple(
            BarGroup(_name(each), (Bar(0.0, each.reflection, figure_of(float(vswr(each.reflection))), "share"),), False)
            for each in shown
        ),
    )


def _against(shown: tuple[Component, ...]) -> str:
    low, high = (match(float(vswr(pick(each.against for each in shown)))) for pick in (min, max))
    return low if low == high else f"{low} to {high}"


def _name(each: Component) -> str:
    length = f"{each.length_m:.{2 if each.length_m < 10 else 1}f} m"
    kind = f"{each.kind}, " if each.kind != "echo" else ""
    return f"{kind}every {frequency(float(f'{each.spacing_hz:.4g}'))}, {length}"
