"""A sweep as read beside the same sweep as recovered, the reflections with their regions, and what makes the uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.analyses.recovery import Recovery
from chain.errors import plain
from chain.plots.figure import (
    Bar,
    BarChart,
    BarGroup,
    CurveChart,
    Level,
    Plot,
    ReflectionChart,
    Series,
    Span,
    Trace,
    even_axis,
    frequency_axis,
    vswr_axis,
)
from chain.reflection import magnitude_from_vswr
from chain.setup_report.numbers import frequency, percent, short_limit
from chain.setup_report.phrases import plane_words, verdict_word

SINGLE = 12
"""Up to so many readings are shown one by one."""
REGIONS = 5
"""Regions drawn along a sweep, besides that of its worst point."""
CIRCLES = (0.2, 0.5, 1.0, 2.0, 5.0)
"""Resistances and reactances with a circle, over the reference."""
ROOM = 0.04
"""Room beside single readings, as a share of the axis."""
MOST_SHARES = 8


def describe(result: Recovery) -> tuple[Plot, ...]:
    """Describe the sweep, the reflection chart of complex readings, and the contributions."""
    plots: list[Plot] = [_sweep(result)]
    if result.true_reflection is not None:
        plots.append(_reflection(result, result.true_reflection))
    if result.contributions:
        plots.append(_contributions(result))
    return tuple(plots)


def _sweep(result: Recovery) -> CurveChart:
    freq = result.freq_hz
    joined = freq.size > SINGLE
    share = percent(result.coverage).replace(".0", "")
    true = np.where(np.isnan(result.low), np.nan, result.true_vswr)
    limit = result.limit_vswr
    ends = (result.bound_high, result.high, true, result.reading_vswr, [limit or 1.0])
    highest = max(float(np.nanmax(np.append(each, 1.0))) for each in ends)
    return CurveChart(
        "sweep",
        "The sweep as read, and the antenna behind it",
        f"As read: in {result.reading_ohm:g} ohm, calibrated {plane_words(plain(result.plane))}. Antenna: in "
        f"{result.far_ohm:g} ohm at its own connector. Axis spaced by reflection."
        + (" In a gap stand readings that no passive antenna can give with this chain." if result.refused else ""),
        frequency_axis(freq, 0.0 if joined else ROOM),
        vswr_axis("screen and antenna", highest),
        (
            Series("guaranteed bound", "bound", freq, low=result.bound_low, high=result.bound_high, joined=joined),
            Series(f"interval {share}", "interval", freq, low=result.low, high=result.high, joined=joined),
            Series("as read", "reading", freq, result.reading_vswr, joined=joined),
            Series("antenna", "true", freq, true, joined=joined),
        ),
        () if limit is None else (Level(f"limit {short_limit(limit)}", "limit", limit),),
        tuple(
            Span(plain(each.channel), each.verdict, each.low_hz, each.high_hz, verdict_word(each.verdict, each.grade))
            for each in result.channels
        ),
    )


def _reflection(result: Recovery, far: NDArray[np.complex128]) -> ReflectionChart:
    freq, ohm, limit = result.freq_hz, result.far_ohm, result.limit_vswr
    traces = []
    if result.region is not None:
        share = percent(result.region.coverage).replace(".0", "")
        for number, index in enumerate(_chosen(result)):
            label = f"region {share} at {frequency(float(freq[index]))}" if number == 0 else ""
            traces.append(Trace(label, "interval", result.region.outline[index], closed=True))
    ends = (frequency(float(freq[0])), frequency(float(freq[-1]))) if freq.size > 1 else (frequency(float(freq[0])), "")
    traces.append(Trace("antenna", "true", far, joined=freq.size > SINGLE, ends=ends))
    return ReflectionChart(
        "reflection",
        f"Reflection of the antenna, in {ohm:g} ohm",
        f"Referred to the antenna's {ohm:g} ohm: the centre is {ohm:g} ohm, the left end a short, the right end an open; "
        "circles in ohm, inductive above. A region holds the stated share at one frequency; the worst one is named.",
        ohm,
        tuple(ratio * ohm for ratio in CIRCLES),
        tuple(traces),
        None if limit is None else float(magnitude_from_vswr(limit)),
        "" if limit is None else f"limit {short_limit(limit)}",
    )


def _chosen(result: Recovery) -> list[int]:
    """Points whose region is drawn: the worst, and some spaced evenly along the sweep."""
    worst = int(np.argmax(np.where(np.isnan(result.high), -1.0, result.high)))
    others = np.linspace(0, result.freq_hz.size - 1, REGIONS).round().astype(int)
    return list(dict.fromkeys([worst, *(int(each) for each in others)]))


def _contributions(result: Recovery) -> BarChart:
    largest = sorted(result.contributions, key=lambda each: -each.share)
    shown = largest[:MOST_SHARES]
    rest = sum(each.share for each in largest[MOST_SHARES:])
    rows = [(plain(each.id), each.share) for each in shown] + ([("others", rest)] if rest else [])
    groups = tuple(BarGroup(name, (Bar(0.0, share, percent(share), "share"),)) for name, share in rows)
    return BarChart(
        "contributions",
        "Where the uncertainty comes from",
        "At the worst point: share of the mean square error of the recovered reflection, each unknown taken alone.",
        even_axis("share", "%", 0.0, max(share for _, share in rows) or 1.0, 0.01),
        groups,
    )
