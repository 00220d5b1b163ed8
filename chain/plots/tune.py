"""A sweep to be tuned: VSWR, resistance and reactance with their intervals, and the circle chart with the wanted change."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from chain.plots.figure import CurveChart, Level, ReflectionChart, Series, Trace, even_axis, frequency_axis, vswr_axis
from chain.reflection import magnitude_from_vswr
from chain.setup_report.numbers import frequency, short_limit
from chain.tuning.records import Tuning
from chain.tuning.spans import inside

CIRCLES = (0.2, 0.5, 1.0, 2.0, 5.0)
CLOSE = 0.2
"""Share of the sweep below which two labels would overlap."""
OUTERMOST = 0.98
"""Share of the readings whose resistances and reactances set the height of their chart."""


def describe(result: Tuning) -> tuple[CurveChart | ReflectionChart, ...]:
    """Describe the VSWR now and afterwards, R and X, and the reflections."""
    plots: list[CurveChart | ReflectionChart] = [_vswr(result)]
    if result.sweep.reflection is not None:
        plots += [_ohms(result), _circle(result)]
    return tuple(plots)


def _levels(result: Tuning) -> tuple[Level, ...]:
    """The wanted frequency and, where it is known, the resonance."""
    wanted, own = result.wanted.aim_hz, [each.freq_hz.value for each in result.resonances]
    span = float(result.sweep.freq_hz[-1] - result.sweep.freq_hz[0])
    if not own:
        return (Level("wanted", "limit", wanted, "y"),)
    if abs(own[0] - wanted) < CLOSE * span:
        # One label for both, its words in the order of the lines.
        both = "resonance, wanted" if own[0] <= wanted else "wanted, resonance"
        return (Level(both, "ceiling", own[0], "y"), Level("", "limit", wanted, "y"))
    return (Level("wanted", "limit", wanted, "y"), Level("resonance", "ceiling", own[0], "y"))


def _vswr(result: Tuning) -> CurveChart:
    sweep, after = result.sweep, result.after
    series = [
        Series("95 %", "interval", sweep.freq_hz, low=sweep.low, high=sweep.high),
        Series("as read", "reading", sweep.freq_hz, sweep.reading_vswr),
        Series("antenna", "true", sweep.freq_hz, sweep.true_vswr),
    ]
    if after is not None:
        look = "then"
        series.append(Series(look, "pass", after.freq_hz, after.reading_vswr, after.reading_low, after.reading_high))
    highest = max(float(np.nanmax(np.where(np.isfinite(each), each, 1.0))) for each in (sweep.true_vswr, sweep.high))
    return CurveChart(
        "vswr",
        "Match now, and after the change" if after is not None else "Match as read, and the antenna behind it",
        f"Antenna in {result.far_ohm:g} ohm at its own connector; wanted: {result.wanted.low_hz / 1e6:g} to "
        f"{result.wanted.high_hz / 1e6:g} MHz. Axis spaced by reflection."
        + (
            ""
            if after is None
            else f" Then: {'shorter' if after.share < 0 else 'longer'} by {100 * abs(after.share):.1f} %."
        ),
        frequency_axis(sweep.freq_hz),
        vswr_axis("screen and antenna", highest),
        tuple(series),
        (Level(f"limit {short_limit(result.limit_vswr)}", "limit", result.limit_vswr), *_levels(result)),
    )


def _ohms(result: Tuning) -> CurveChart:
    sweep = result.sweep
    known = [sweep.resistance_ohm, sweep.reactance_ohm]
    ends = [sweep.resistance_low_ohm, sweep.resistance_high_ohm, sweep.reactance_low_ohm, sweep.reactance_high_ohm]
    r_ohm, x_ohm, r_low, r_high, x_low, x_high = (np.asarray(each, dtype=float) for each in (*known, *ends))
    every = np.concatenate([r_ohm, x_ohm, x_low, x_high])
    every = every[np.isfinite(every)]
    low, high = np.quantile(every, [1 - OUTERMOST, OUTERMOST])
    room = 0.06 * (high - low)
    low, high = float(min(low, 0.0) - room), float(max(high, 0.0) + room)

    def cut(values: Real) -> Real:
        return np.clip(values, low, high)

    return CurveChart(
        "ohms",
        "Resistance and reactance at the element",
        "Bands: 95 % at each frequency. Where the reactance is zero the element resonates; above zero it is too long there.",
        frequency_axis(sweep.freq_hz),
        even_axis("resistance and reactance", "ohm", low, high),
        (
            Series("95 % of R", "interval", sweep.freq_hz, low=cut(r_low), high=cut(r_high)),
            Series("95 % of X", "not proven", sweep.freq_hz, low=cut(x_low), high=cut(x_high)),
            Series("R", "reading", sweep.freq_hz, cut(r_ohm)),
            Series("X", "true", sweep.freq_hz, cut(x_ohm)),
        ),
        (Level("X = 0", "limit", 0.0), *_levels(result)),
    )


def _circle(result: Tuning) -> ReflectionChart:
    sweep, ohm = result.sweep, result.far_ohm
    far = np.asarray(sweep.reflection)
    ends = (frequency(float(sweep.freq_hz[0])), frequency(float(sweep.freq_hz[-1])))
    traces = [Trace("antenna", "true", far, ends=ends)]
    within = inside(sweep.freq_hz, result.wanted)
    if within.sum() > 1:
        traces.append(Trace("wanted, now", "reading", far[within]))
    if result.after is not None and result.after.reflection.size > 1:
        traces.append(Trace(f"wanted, after {100 * result.after.share:+.1f} %", "pass", result.after.reflection))
    return ReflectionChart(
        "circle",
        f"Reflection of the antenna, in {ohm:g} ohm",
        f"The centre is {ohm:g} ohm, the left end a short, the right end an open; circles in ohm, inductive above.",
        ohm,
        tuple(ratio * ohm for ratio in CIRCLES),
        tuple(traces),
        float(magnitude_from_vswr(result.limit_vswr)),
        f"limit {short_limit(result.limit_vswr)}",
    )
