"""What the screen shows against what the antenna is, from a perfect one to an open."""

from __future__ import annotations

import math

from chain.analyses.expect import Expectation
from chain.plots.figure import CurveChart, Level, Series, vswr_axis
from chain.setup_report.numbers import at_most, figure_of, frequency, percent, short_limit
from chain.setup_report.phrases import plane_words

AIM = " Aim: read no worse than this, and the limit is proved over the whole sweep."


def describe(result: Expectation) -> tuple[CurveChart]:
    """Describe the reading over the true VSWR, with its interval, its guaranteed bound and the ceiling."""
    curve = result.curve
    true = curve["true_vswr"]
    share = percent(result.coverage).replace(".0", "")
    highest = max(float(curve["bound_high"].max()), result.ceiling_vswr)
    levels = [Level(f"ceiling {figure_of(result.ceiling_vswr)}", "ceiling", result.ceiling_vswr)]
    if result.limit_vswr is not None:
        levels.append(Level(f"limit {short_limit(result.limit_vswr)}", "limit", result.limit_vswr, "y"))
    if result.aim_reading.vswr is not None:
        levels.append(Level(f"aim {at_most(result.aim_reading.vswr)}", "limit", result.aim_reading.vswr))
    return (
        CurveChart(
            "reading-against-true",
            f"Screen against antenna at {frequency(result.worst_hz)}",
            f"Screen in {result.reading_ohm:g} ohm, calibrated {plane_words(result.plane)}; antenna in {result.far_ohm:g} "
            f"ohm. Ceiling: the worst nominal reading over the sweep.{'' if result.aim_reading.vswr is None else AIM} "
            "Axes spaced by reflection.",
            vswr_axis("antenna, true", math.inf),
            vswr_axis("screen", highest),
            (
                Series("guaranteed bound", "bound", true, low=curve["bound_low"], high=curve["bound_high"]),
                Series(f"interval {share}", "interval", true, low=curve["reading_low"], high=curve["reading_high"]),
                Series("as read", "reading", true, curve["reading_vswr"]),
            ),
            tuple(levels),
        ),
    )
