"""A table that names channels in place of frequencies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from chain.errors import quoted
from chain.sweeps.headers import role
from chain.sweeps.table import Cell, Sheet, TextTable
from library.sweepwords import concepts, spelt

__all__ = ["Channels", "with_frequencies"]

Channels = Mapping[str, tuple[float, float]]
MOST_NAMED = 60


def with_frequencies(sheet: Sheet, table: TextTable, channels: Channels) -> TextTable:
    """The table with the middle of each channel in place of its name, rising; as it is where a column holds frequencies."""
    roles = [role(cell.text) for cell in table.header]
    named = [index for index, cell in enumerate(table.header) if not roles[index] and "channel" in concepts(cell.text)]
    if "frequency" in roles or len(named) != 1:
        return table
    at, head = named[0], table.header[named[0]]
    if not channels:
        sheet.fault(
            head,
            "channels of which region?",
            "state region and channels under [sweep] of the set-up, or give frequencies",
        )
        return table
    rows = [(row, _middle_mhz(sheet, row[at], channels)) for row in table.rows if len(row) > at]
    known = sorted(((row, mhz) for row, mhz in rows if mhz), key=lambda each: each[1])
    header = (*table.header[:at], head._replace(text="frequency_mhz"), *table.header[at + 1 :])
    reported = tuple((*row[:at], _reported(row[at], mhz, table.sign), *row[at + 1 :]) for row, mhz in known)
    return replace(table, header=header, rows=reported)


def _middle_mhz(sheet: Sheet, cell: Cell, channels: Channels) -> float:
    """Middle of the channel that a cell names [MHz]; 0 and a fault where there is none."""
    words = spelt(cell.text).split()
    name = (words[-1] if words else "").upper()
    name = name if name in channels else name.removeprefix("CH").lstrip("0")
    if name in channels:
        return sum(channels[name]) / 2e6
    listed = ", ".join(list(channels)[:MOST_NAMED])
    sheet.fault(cell, f"{quoted(cell.text)} is none of the set-up's channels", f"it has {listed}")
    return 0.0


def _reported(cell: Cell, mhz: float, sign: str) -> Cell:
    return cell._replace(text=f"{mhz:.9g}".replace(".", sign or "."))
