"""Records as one table of figures (CSV), one row a channel."""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

from chain.errors import plain
from chain.records.folder import Damage, Folder
from chain.records.lead_loss import corrected_loss_db
from chain.records.record import ChannelRecord, Record

__all__ = ["log_table"]

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
        "loss_db",
        "loss_20c_db",
    ),
    *("repeat_db", "temperature_c", "operator", "verdict", "plane", "setup"),
)


def log_table(folder: str, name: str = "", channel: str = "") -> tuple[str, tuple[Damage, ...]]:
    """Table of a folder's records, and what of it is damaged.

    Source: RFC 4180.
    """
    records, damaged = Folder(Path(folder)).records()
    page = StringIO()
    out = csv.writer(page, lineterminator="\n")
    out.writerow(COLUMNS)
    for record in records:
        for each in record.channels:
            if (not name or record.name == name) and (not channel or each.name == channel):
                out.writerow(_row(record, each))
    return page.getvalue(), tuple(damaged)


def _row(record: Record, one: ChannelRecord) -> list[str]:
    at_20c = None
    if record.kind == "lead" and record.temperature_c is not None:
        at_20c = corrected_loss_db(one.loss_db, one.fixed_db or 0.0, record.temperature_c, one.repeat_db)[0]
    figures = [one.low_hz, one.high_hz, one.vswr, one.vswr_low, one.vswr_high, one.loss_db, at_20c, one.repeat_db]
    shown = ["" if value is None else f"{value:.9g}" for value in [*figures, record.temperature_c]]
    words = [record.operator, one.verdict, record.plane, record.setup]
    return [record.time.isoformat(), *map(_cell, (record.name, record.kind, one.name)), *shown, *map(_cell, words)]


def _cell(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    shown = plain(text)
    return f"'{shown}" if shown[:1] in ("=", "+", "-", "@") else shown
