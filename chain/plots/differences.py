"""The difference of two antennas over frequency, with its intervals: a channel whose bar clears zero is reported."""

from __future__ import annotations

import numpy as np

from chain.comparisons.antennas import AntennaComparison
from chain.errors import plain
from chain.plots.figure import CurveChart, Level, Series, Span, even_axis, frequency_axis
from chain.results import IMPOSSIBLE

VERDICTS = {
    "better": "pass",
    "worse": "fail",
    "can't tell": "not proven",
    "mixed": "not proven",
    IMPOSSIBLE: "impossible",
}
MOST_DB = 6.0
ROOM = 0.05
"""Of the height, below; above twice as much, where a page has the strip of channels."""


def describe(result: AntennaComparison) -> tuple[CurveChart]:
    """Describe the change of mismatch loss in each channel."""
    rows = result.channels
    freq = np.array([(each.low_hz + each.high_hz) / 2 for each in rows])
    ends = np.array([[each.low_hz, each.high_hz] for each in rows])
    change, low, high = (
        np.clip(np.array([getattr(each, name) for each in rows]), -MOST_DB, MOST_DB)
        for name in ("loss_change_db", "loss_low_db", "loss_high_db")
    )
    least, most = min(float(low.min()), 0.0), max(float(high.max()), 0.0)
    room = ROOM * max(most - least, 0.1)
    return (
        CurveChart(
            "differences",
            f"{plain(result.second_name)} less {plain(result.first_name)}: power lost to the match",
            "Below zero the second antenna loses less. Bars hold for all channels at once, 95 %.",
            frequency_axis(ends.ravel()),
            even_axis("change of loss", "dB", least - room, most + 2 * room),
            (
                Series("95 %", "interval", freq, low=low, high=high, joined=False),
                Series("change", "true", freq, change, joined=False),
            ),
            (Level("no change", "limit", 0.0),),
            tuple(
                Span(plain(each.channel), VERDICTS[each.verdict], each.low_hz, each.high_hz, each.verdict)
                for each in rows
            ),
        ),
    )
