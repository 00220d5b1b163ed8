"""Calibration planes side by side: how far apart two antennas still are from each."""

from __future__ import annotations

from chain.analyses.planes import Planes
from chain.errors import plain
from chain.plots.figure import Bar, BarChart, BarGroup, Level, vswr_axis
from chain.setup_report.numbers import frequency, percent, short_limit, span


def describe(result: Planes) -> tuple[BarChart]:
    """Describe the interval that each plane gives to two true values."""
    first = result.planes[0]
    groups = tuple(
        BarGroup(
            plain(plane.what),
            (
                Bar(plane.low, plane.high, span(plane.low, plane.high), "first"),
                Bar(plane.limit_low, plane.limit_high, span(plane.limit_low, plane.limit_high), "second"),
            ),
            plane.plane == result.recommended,
        )
        for plane in result.planes
    )
    share = percent(result.coverage).replace(".0", "")
    highest = max(max(plane.high, plane.limit_high) for plane in result.planes)
    return (
        BarChart(
            "planes",
            f"What a known antenna comes out as, from each calibration plane, at {frequency(result.freq_hz)}",
            f"Intervals of {share}; the shorter the bar, the surer. Axis spaced by reflection.",
            vswr_axis("antenna, recovered", highest),
            groups,
            (
                Level(f"true {short_limit(first.true_vswr)}", "first", first.true_vswr, "y"),
                Level(f"true {short_limit(first.limit_vswr)}", "second", first.limit_vswr, "y"),
            ),
            (
                ("first", f"a true {short_limit(first.true_vswr)}"),
                ("second", f"a true {short_limit(first.limit_vswr)}"),
            ),
        ),
    )
