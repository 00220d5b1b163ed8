"""The antenna without and with its best network: VSWR over the wanted span, and the circle chart."""

from __future__ import annotations

from chain.plots.figure import CurveChart, Level, ReflectionChart, Series, Trace, frequency_axis, vswr_axis
from chain.reflection import magnitude_from_vswr, vswr
from chain.setup_report.numbers import frequency, short_limit
from chain.tuning.matching import Matching

CIRCLES = (0.2, 0.5, 1.0, 2.0, 5.0)


def describe(result: Matching) -> tuple[CurveChart | ReflectionChart, ...]:
    """Describe VSWR and reflections, without and with the network."""
    freq = result.freq_hz
    series = [Series("without", "reading", freq, vswr(result.now_reflection))]
    ends = (frequency(float(freq[0])), frequency(float(freq[-1])))
    traces = [Trace("without", "reading", result.now_reflection, ends=ends)]
    if result.networks:
        best = result.networks[0]
        series.append(Series("with, 95 %", "pass", freq, vswr(best.reflection), best.low, best.high))
        traces.append(Trace("with the network", "pass", best.reflection))
    highest = max(result.now.vswr.value, result.limit_vswr)
    limit = result.limit_vswr
    return (
        CurveChart(
            "vswr",
            "Match without and with the best network",
            f"{result.networks[0].words if result.networks else 'no network helps'}; in {result.far_ohm:g} ohm, on the side of the "
            "lead. Floor: no lossless network leaves less (Bode and Fano). Axis spaced by reflection.",
            frequency_axis(freq),
            vswr_axis("at the lead", highest),
            tuple(series),
            (Level(f"limit {short_limit(limit)}", "limit", limit), Level("floor", "ceiling", result.floor_vswr)),
        ),
        ReflectionChart(
            "circle",
            f"Reflection on the side of the lead, in {result.far_ohm:g} ohm",
            "The centre is a perfect match; circles in ohm, inductive above.",
            result.far_ohm,
            tuple(ratio * result.far_ohm for ratio in CIRCLES),
            tuple(traces),
            float(magnitude_from_vswr(limit)),
            f"limit {short_limit(limit)}",
        ),
    )
