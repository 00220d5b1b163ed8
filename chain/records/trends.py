"""What a series of records says: a trend a year, and steps at a stated rate of false alarms; and the records as one table (CSV)."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from datetime import datetime
from io import StringIO
from pathlib import Path
from typing import ClassVar

import numpy as np

from chain.errors import RangeError, plain
from chain.records.change_points import FALSE_ALARMS, LEAST_RECORDS, SeriesStep, apart, slope, steps
from chain.records.folder import Damage, Folder
from chain.records.lead_loss import corrected_loss_db
from chain.records.record import ChannelRecord, Record
from chain.reflection import magnitude_from_vswr, mismatch_loss_db, return_loss_db
from chain.results import IMPOSSIBLE, SCHEMA_VERSION, TOLD_APART_DB, ResultTable, plain_values
from library.frozen import dataclass

YEAR_S = 365.25 * 86400
LEAST_YEARS = 0.5
"""Records that span less say nothing of a year: what they repeat to, divided by a few days, would be all of its trend."""
STEADY_DB = 1.0
"""A series is steady where no larger change fits its first and last record; own choice."""
NORMAL_95 = 1.959964


@dataclass(frozen=True)
class StepFound:
    """A step of a series: between which records, by how much, with the half width of its 95 % interval [dB].

    Of a single record that stands apart, the same between it and all others. Infinite, without a width, where one side loses more
    than losses are told apart.
    """

    before: datetime
    after: datetime
    change_db: float
    half_width_db: float


@dataclass(frozen=True)
class SeriesTrend:
    """One channel of one thing over time: losses [dB] with their standard uncertainties, trend, steps.

    `apart` is the first or last record where it stands alone, away from all others: a step or a fluke, which the next record
    will show. A lead's loss is as at 20 degrees C. `since_first_db` is the last record less the first, or, with steps, the last stretch
    less the first one; `half_width_db` that of its 95 % interval. Losses beyond what is told apart count as just that; changes to or
    from them are infinite, and NaN where both sides are. The trend is NaN with such losses, and of records of less than half a year.
    """

    name: str
    kind: str
    channel: str
    times: tuple[datetime, ...]
    losses_db: tuple[float, ...]
    uncertainties_db: tuple[float, ...]
    trend_db_per_year: float
    trend_half_width_db: float
    steps: tuple[StepFound, ...]
    apart: StepFound | None
    since_first_db: float
    half_width_db: float

    @property
    def records(self) -> int:
        """Number of records."""
        return len(self.times)

    @property
    def changed(self) -> str:
        """Whether there is a step, in a word."""
        if self.steps:
            return "step"
        if self.apart is not None:
            return f"{'last' if self.apart_is_last else 'first'} record apart"
        if self.records < LEAST_RECORDS:
            return "too few"
        if abs(self.since_first_db) + self.half_width_db <= STEADY_DB:
            return "steady"
        return "drift" if abs(self.since_first_db) > self.half_width_db else "can't tell"

    @property
    def brief(self) -> bool:
        """Whether the records span too little for a trend a year."""
        return self.records > 0 and (self.times[-1] - self.times[0]).total_seconds() < LEAST_YEARS * YEAR_S

    @property
    def apart_is_last(self) -> bool:
        """Whether it is the last record that stands apart."""
        return self.apart is not None and self.apart.after == self.times[-1] and self.records > 2

    @property
    def first(self) -> str:
        """Date of the first record."""
        return f"{self.times[0]:%Y-%m-%d}"

    @property
    def last(self) -> str:
        """Date of the last record."""
        return f"{self.times[-1]:%Y-%m-%d}"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        return {
            **{key: value for key, value in vars(self).items() if key not in ("times", "steps", "apart")},
            "times": [each.isoformat() for each in self.times],
            "steps": [_plain(each) for each in self.steps],
            "apart": None if self.apart is None else _plain(self.apart),
            "changed": self.changed,
        }


def _plain(found: StepFound) -> dict[str, object]:
    return {**vars(found), "before": found.before.isoformat(), "after": found.after.isoformat()}


@dataclass(frozen=True, repr=False)
class LogTrends(ResultTable):
    """Answer of `log_trends`: one series for each channel of each thing measured."""

    ROWS: ClassVar[str] = "series"
    COLUMNS: ClassVar[tuple[str, ...]] = (
        "name",
        "channel",
        "records",
        "first",
        "last",
        "since_first_db",
        "half_width_db",
        "trend_db_per_year",
        "changed",
    )
    title: str
    series: tuple[SeriesTrend, ...]
    records: int
    false_alarms: float
    damaged: tuple[Damage, ...]
    warnings: tuple[str, ...]

    def headline(self) -> str:
        """How many series, and in how many of them something stepped."""
        count = sum(bool(each.steps) for each in self.series)
        return f"{self.title}: {self.records} records, {len(self.series)} series, {count} with a step"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        rows = {"series": [each.to_dict() for each in self.series], "damaged": [vars(each) for each in self.damaged]}
        return plain_values({"schema_version": SCHEMA_VERSION, **vars(self), **rows})  # type: ignore[return-value]


def log_trends(folder: str, name: str = "", channel: str = "", false_alarms: float = FALSE_ALARMS) -> LogTrends:
    """Trends and steps of what a folder of records holds.

    Parameters
    ----------
    folder : the folder of records.
    name : keep to what was measured under this name.
    channel : keep to this channel.
    false_alarms : share of series without a step that may be reported to have one.

    Returns
    -------
    LogTrends. Records of an earlier set-up, plane or standards than the last are left out, and this is reported.

    Raises
    ------
    RangeError : there is no such folder, or nothing of that name in it.

    Examples
    --------
    >>> from chain import log_trends
    >>> found = log_trends("demo/log", name="downlead")
    >>> {each.kind for each in found.series}, found.series[0].changed
    ({'lead'}, 'step')

    Source
    ------
    `chain.records.change_points`; loss of cables at 20 degrees C by 0.198 %/K.
    """
    records, damaged = Folder(Path(folder)).records()
    return trends_of(Path(folder).name, records, damaged, (name, channel), false_alarms)


def trends_of(
    title: str,
    records: Sequence[Record],
    damaged: Sequence[Damage] = (),
    only: tuple[str, str] = ("", ""),
    false_alarms: float = FALSE_ALARMS,
) -> LogTrends:
    """Trends of records at hand, oldest first."""
    name, channel = only
    chosen = _chosen(records, name, channel)
    out: list[SeriesTrend] = []
    warnings: list[str] = []
    for thing in dict.fromkeys((each.name, each.kind) for each in chosen):
        group = [each for each in chosen if (each.name, each.kind) == thing]
        last = group[-1]
        alike = [each for each in group if _way(each) == _way(last)]
        if len(alike) < len(group):
            warnings.append(
                f"{plain(thing[0])}: {len(group) - len(alike)} of {len(group)} records were taken with another set-up, plane "
                "or standards than the last, and are left out of its trend"
            )
        unknown = sum(each.temperature_c is None for each in alike)
        if thing[1] == "lead" and unknown:
            warnings.append(f"{plain(thing[0])}: {unknown} records state no temperature; 20 +- 15 degrees C are taken")
        for each in last.channels:
            if not channel or each.name == channel:
                found = _series(thing, each.name, alike, false_alarms)
                out += [] if found is None else [found]
    return LogTrends(title, tuple(out), len(chosen), false_alarms, tuple(damaged), tuple(warnings))


def _way(record: Record) -> tuple[str, str, str]:
    """What must be the same for two records to compare: errors common to both then cancel."""
    return record.setup_sha256, record.plane, record.standards


def _series(thing: tuple[str, str], channel: str, records: Sequence[Record], false_alarms: float) -> SeriesTrend | None:
    """One channel over its records, without those that no antenna can have given; None where that leaves none."""
    name, kind = thing
    found: list[tuple[datetime, float, float]] = []
    for record in records:
        one = next((each for each in record.channels if each.name == channel), None)
        if one is not None and one.verdict != IMPOSSIBLE:
            found.append((record.time, *_loss(one, kind, record.temperature_c)))
    if not found:
        return None
    times = tuple(each[0] for each in found)
    values, sizes = (np.array([each[place] for each in found]) for place in (1, 2))
    years = np.array([each.timestamp() for each in times]) / YEAR_S

    far = np.array([kind == "antenna" and each[1] >= TOLD_APART_DB for each in found])
    cuts = steps(values, sizes, false_alarms)
    edges = [0, *(each.index for each in cuts), values.size]

    def found_step(each: SeriesStep, start: int = 0) -> StepFound:
        at = start + each.index
        before, after = (
            slice(max(edge for edge in edges if edge < at), at),
            slice(at, min(edge for edge in edges if edge > at)),
        )
        change, half = _told(each.size, NORMAL_95 * each.uncertainty, far[before], far[after])
        return StepFound(times[at - 1], times[at], change, half)

    reported = tuple(found_step(each) for each in cuts)
    start = cuts[-1].index if cuts else 0
    odd = apart(values[start:], sizes[start:], false_alarms)
    # After a step its own first record cannot be the odd one.
    single = None if odd is None or (cuts and odd.index == 1) else found_step(odd, start)
    rise, width = math.nan, math.nan
    if years[-1] - years[0] >= LEAST_YEARS and not far.any():
        rise, width = slope(years - years[-1], values, sizes)
    change, half = _since_first(values, sizes, edges[1:-1])
    first, last = (slice(*edges[:2]), slice(*edges[-2:])) if cuts else (slice(1), slice(-1, None))
    change, half = _told(change, half, far[first], far[last])
    return SeriesTrend(
        name, kind, channel, times, tuple(values), tuple(sizes), rise, width, reported, single, change, half
    )


def _loss(one: ChannelRecord, kind: str, temperature_c: float | None) -> tuple[float, float]:
    if kind == "lead":
        return corrected_loss_db(one.loss_db, one.fixed_db or 0.0, temperature_c, one.repeat_db)
    if one.loss_db <= TOLD_APART_DB:
        return one.loss_db, one.repeat_db
    # Near a full reflection the loss has no upper end, and what it repeats to is had from the lower one.
    size = (1 - 10 ** (-TOLD_APART_DB / 10)) ** 0.5 - NORMAL_95 * (one.reflection_repeat or 0.0)
    below_db = TOLD_APART_DB - float(mismatch_loss_db(max(size, 0.0)))
    return TOLD_APART_DB, max(one.repeat_db, below_db / NORMAL_95)


def _told(change_db: float, half_db: float, before: np.ndarray, after: np.ndarray) -> tuple[float, float]:
    """A change with its half width, as far as losses are told apart; `before` and `after` say of which records they are not."""
    sides = bool(np.median(before) > 0), bool(np.median(after) > 0)
    if sides == (False, False):
        return change_db, half_db
    return (math.nan if all(sides) else math.inf if sides[1] else -math.inf), math.nan


def _since_first(values: np.ndarray, sizes: np.ndarray, cuts: list[int]) -> tuple[float, float]:
    """Last less first: of single records, or of the stretches before the first and after the last step."""
    if values.size < 2:
        return math.nan, math.nan
    first = slice(0, cuts[0]) if cuts else slice(0, 1)
    last = slice(cuts[-1], None) if cuts else slice(-1, None)
    (a, u), (b, w) = (
        (float(np.average(values[each], weights=sizes[each] ** -2.0)), float(np.sum(sizes[each] ** -2.0) ** -0.5))
        for each in (first, last)
    )
    return b - a, NORMAL_95 * math.hypot(u, w)


COLUMNS = (
    *(
        "time",
        "name",
        "kind",
        "channel",
        "low_hz",
        "high_hz",
        "vswr",
        "vswr_low",
        "vswr_high",
        "return_loss_db",
        "return_loss_low_db",
        "return_loss_high_db",
        "loss_db",
        "loss_20c_db",
    ),
    *("repeat_db", "temperature_c", "operator", "verdict", "plane", "setup"),
)


def log_table(folder: str, name: str = "", channel: str = "") -> tuple[str, tuple[Damage, ...]]:
    """Table of a folder's records, and what of it is damaged (RFC 4180)."""
    rows, damaged = log_rows(folder, name, channel)
    page = StringIO()
    out = csv.writer(page, lineterminator="\n")
    out.writerow(COLUMNS)
    out.writerows([["" if value is None else _cell(value) for value in row] for row in rows])
    return page.getvalue(), damaged


def log_rows(
    folder: str, name: str = "", channel: str = ""
) -> tuple[list[list[float | str | None]], tuple[Damage, ...]]:
    """Values of a folder's records under `COLUMNS`, one row a channel, and what of it is damaged."""
    records, damaged = Folder(Path(folder)).records()
    chosen = _chosen(records, name, channel)
    rows = [_row(record, each) for record in chosen for each in record.channels if not channel or each.name == channel]
    return rows, tuple(damaged)


def _chosen(records: Sequence[Record], name: str, channel: str) -> list[Record]:
    """Records of a name that hold a channel, both where they are asked for."""
    chosen = [each for each in records if not name or each.name == name]
    if name and not chosen:
        known = ", ".join(sorted({plain(each.name) for each in records})[:6]) or "there are no records"
        raise RangeError(f"nothing was measured under the name {plain(name)!r}", f"names: {known}")
    holding = [each for each in chosen if not channel or any(one.name == channel for one in each.channels)]
    if channel and not holding:
        known = (
            ", ".join(dict.fromkeys(plain(one.name) for each in chosen for one in each.channels))
            or "there are no records"
        )
        raise RangeError(f"no record holds a channel {plain(channel)!r}", f"channels: {known}")
    return chosen


def _row(record: Record, one: ChannelRecord) -> list[float | str | None]:
    at_20c = None
    if record.kind == "lead" and record.temperature_c is not None:
        at_20c = corrected_loss_db(one.loss_db, one.fixed_db or 0.0, record.temperature_c, one.repeat_db)[0]
    ends = one.vswr, one.vswr_low, one.vswr_high
    matches = [None if value is None else float(return_loss_db(magnitude_from_vswr(value))) for value in ends]
    # The lower end of a VSWR is the upper one of its return loss.
    losses = [matches[0], matches[2], matches[1]]
    figures = [one.low_hz, one.high_hz, *ends, *losses, one.loss_db, at_20c, one.repeat_db, record.temperature_c]
    words = [record.operator, one.verdict, record.plane, record.setup]
    return [record.time.isoformat(), record.name, record.kind, one.name, *figures, *words]


def _cell(value: float | str) -> str:
    """A figure, or a text that no spreadsheet takes for a formula."""
    if not isinstance(value, str):
        return f"{value:.9g}"
    shown = plain(value)
    return f"'{shown}" if shown[:1] in ("=", "+", "-", "@") else shown
