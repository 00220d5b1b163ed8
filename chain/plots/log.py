"""Series of the log over time, a chart for each thing measured: losses with their uncertainties."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import numpy as np

from chain.arrays import Real
from chain.errors import plain
from chain.plots.figure import Axis, CurveChart, Series, Tick, even_axis, part_look
from chain.records.trends import LogTrends, SeriesTrend

MOST_CHARTS = 6
MOST_LINES = 4
ROOM = 0.06
YEAR_S = 365.25 * 86400
NORMAL_95 = 1.96
ROOM_IN_TIME, LEAST_ROOM = 0.04, 0.7 / 365.25
LONGEST_DATED = 1.0
"""Years up to which a time is told by its date."""
MOST_DATES = 4
BAR_SHARE = 0.02
"""Width of a bar as a share of the time that is drawn."""


def describe(result: LogTrends) -> tuple[CurveChart, ...]:
    """Describe the series, those with the largest steps first."""
    things = dict.fromkeys((each.name, each.kind) for each in result.series)
    out = []
    for number, thing in enumerate(list(things)[:MOST_CHARTS]):
        group = [each for each in result.series if (each.name, each.kind) == thing]
        group.sort(key=lambda each: -max((abs(one.change_db) for one in each.steps), default=0.0))
        out.append(_chart(thing, group[:MOST_LINES], number, len(group)))
    return tuple(out)


def _years(series: SeriesTrend) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([_year(each) for each in series.times])


def _chart(thing: tuple[str, str], group: list[SeriesTrend], number: int, every: int) -> CurveChart:
    name, kind = thing
    values = np.concatenate([each.losses_db for each in group])
    ends = np.concatenate([np.array(each.uncertainties_db) * NORMAL_95 for each in group])
    low, high = float((values - ends).min()), float((values + ends).max())
    room = ROOM * max(high - low, 0.05)
    years = np.concatenate([_years(each) for each in group])
    lines, apart = [], _apart(years, len(group))
    for place, each in enumerate(group):
        shown, half = np.array(each.losses_db), np.array(each.uncertainties_db) * NORMAL_95
        look = part_look(place)
        lines.append(
            Series(
                f"channel {plain(each.channel)}",
                "true",
                _years(each) + (place - (len(group) - 1) / 2) * apart,
                shown,
                shown - half,
                shown + half,
                False,
                look,
            )
        )
    what = "loss of the lead, one way, as at 20 degrees C" if kind == "lead" else "loss by the antenna's match"
    besides = "" if len(group) == every else f", {len(group)} of {every} channels"
    return CurveChart(
        f"log-{number}",
        f"{plain(name)}: {what}{besides}",
        "Bars: what a reading repeats to, 95 %." + (" Channels of one reading side by side." if apart else ""),
        _time_axis(float(years.min()), float(years.max())),
        even_axis("loss", "dB", low - room, high + room),
        tuple(lines),
    )


def _apart(years: Real, count: int) -> float:
    """How far the bars of several channels are set apart in time, which would hide one another; nothing for one channel."""
    if count < 2:
        return 0.0
    times = np.unique(years)
    span = max(float(np.ptp(times)), 2 * LEAST_ROOM)
    closest = float(np.diff(times).min()) if times.size > 1 else span
    return min(BAR_SHARE * span, closest / (count + 1))


def _time_axis(low: float, high: float) -> Axis:
    """Years, with their tenths where there are few of them; dates where the records are of one year."""
    room = max((high - low) * ROOM_IN_TIME, LEAST_ROOM)
    low, high = low - room, high + room
    if high - low > LONGEST_DATED:
        axis = even_axis("year", "-", low, high)
        return Axis("time", "years", axis.low, axis.high, tuple(Tick(each.value, each.text) for each in axis.ticks))
    first, last = (_date(each) for each in (low, high))
    every = -(-(last - first).days // MOST_DATES)
    days = [first + timedelta(days=number) for number in range(1, (last - first).days + 1, max(every, 1))]
    return Axis("time", "date", low, high, tuple(Tick(_year(each), f"{each:%Y-%m-%d}") for each in days))


def _date(year: float) -> datetime:
    """Midnight at the beginning of the day that a time falls on."""
    found = datetime.fromtimestamp((year - 1970) * YEAR_S, tz=timezone.utc)
    return found.replace(hour=0, minute=0, second=0, microsecond=0)


def _year(date: datetime) -> float:
    return 1970 + date.timestamp() / YEAR_S
