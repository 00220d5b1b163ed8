"""Tables of received levels (CSV): antenna, channel, level, order of reading; every defect of a file at its place."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from difflib import get_close_matches

from chain.errors import Defect, quoted
from chain.results import Named, counted
from chain.sweeps.text import bounded, lines_of, whole_file
from library.frozen import dataclass

LEVELS = ("level_dbuv", "level_dbm", "level_dbmv", "level_db")
COLUMNS = ("antenna", "channel", "order", "direction", *LEVELS)
DIRECTIONS = ("front", "back")
BEGIN = "begin with antenna,channel,order,level_dbuv"
MOST_ROWS = 20_000
LARGEST_DB = 300.0


@dataclass(frozen=True)
class LevelReading:
    """One received level. `order` counts readings as they were taken; `direction` is front unless the back was turned."""

    antenna: str
    channel: str
    order: float
    level_db: float
    direction: str = "front"


@dataclass(frozen=True, repr=False)
class LevelTable(Named):
    """Levels in the order they were taken, and the unit they share."""

    rows: tuple[LevelReading, ...]
    unit: str

    def headline(self) -> str:
        """How many levels of which antennas and channels."""
        which = f"antennas {', '.join(self.antennas)}, channels {', '.join(self.channels)}"
        return f"{counted(len(self.rows), 'level')} in {self.unit}: {which}"

    @property
    def antennas(self) -> tuple[str, ...]:
        """Antennas in the order they first appear."""
        return tuple(dict.fromkeys(each.antenna for each in self.rows))

    @property
    def channels(self) -> tuple[str, ...]:
        """Channels in the order they first appear."""
        return tuple(dict.fromkeys(each.channel for each in self.rows))

    def of(self, channel: str, direction: str = "front") -> tuple[LevelReading, ...]:
        """Levels of one channel, in the order they were taken."""
        return tuple(each for each in self.rows if each.channel == channel and each.direction == direction)


def read_levels(path: str) -> LevelTable:
    """Read a table of received levels.

    Parameters
    ----------
    path : a text file with a line of column names: `antenna`, `channel`, `order` (1, 2, 3 ... as they were taken), and
        `level_dbuv`, `level_dbm`, `level_dbmv` or `level_db`; `direction`, if there, is `front` or `back`. Cells stand
        between commas, semicolons or tabs; lines that begin with # are remarks.

    Returns
    -------
    LevelTable, by order.

    Raises
    ------
    InputError : every defect of the file, at its place.

    Examples
    --------
    >>> from chain import read_levels
    >>> found = read_levels("demo/levels.csv")
    >>> found.antennas, found.unit, len(found.channels)
    (('old', 'new'), 'dBuV', 6)

    Source
    ------
    RFC 4180, with a line of column names.
    """
    lines = lines_of(path)
    rows = list(_rows(path, lines))
    if not rows:
        raise whole_file(path, "the table is empty", BEGIN)
    (at, header), body = rows[0], rows[1:]
    names = [cell.strip().casefold() for cell in header]
    defects = _header_defects(path, at, lines[at - 1], names)
    if defects:
        raise bounded(defects)
    unit = next(name for name in names if name in LEVELS)
    out = []
    for at, row in body:
        found = _level(path, at, lines[at - 1], dict(zip(names, row, strict=False)), unit, defects)
        if found is not None:
            out.append(found)
    seen: dict[tuple[str, float], int] = {}
    for (at, _), each in zip(body, out, strict=False):
        first = seen.setdefault((each.channel, each.order), at)
        if first != at and not defects:
            what = f"channel {quoted(each.channel)} has two readings of order {each.order:g}; the other stands in line {first}"
            defects.append(Defect(path, at, 1, what, "count the readings of a channel 1, 2, 3 ...", lines[at - 1]))
    if not body:
        defects.append(Defect(path, at, 1, "no level follows the column names", "one reading a line"))
    if len(body) > MOST_ROWS:
        raise whole_file(path, f"has more than {MOST_ROWS} readings", "compare fewer at a time")
    if defects:
        raise bounded(defects)
    words = {"level_dbuv": "dBuV", "level_dbm": "dBm", "level_dbmv": "dBmV", "level_db": "dB"}
    return LevelTable(tuple(sorted(out, key=lambda each: each.order)), words[unit])


def _rows(path: str, lines: list[str]) -> Iterator[tuple[int, list[str]]]:
    first = next((line for line in lines if line.strip() and not line.startswith("#")), "")
    delimiter = max(",;\t", key=first.count)
    for number, line in enumerate(lines, 1):
        if line.strip() and not line.startswith("#"):
            try:
                cells = next(csv.reader([line], delimiter=delimiter, strict=True))
            except csv.Error as error:
                raise bounded([Defect(path, number, 1, f"not a row of a table: {error}", "", line)]) from error
            yield number, [cell.strip() for cell in cells]


def _header_defects(path: str, at: int, line: str, names: list[str]) -> list[Defect]:
    out = []
    for name in names:
        if name not in COLUMNS:
            near = get_close_matches(name, COLUMNS, 1)
            remedy = f"did you mean {quoted(near[0])}?" if near else f"columns are {', '.join(COLUMNS)}"
            column = line.casefold().find(name) + 1
            out.append(
                Defect(path, at, max(column, 1), f"{quoted(name)} is no column of levels", remedy, line, len(name))
            )
    for name in ("antenna", "channel", "order"):
        if name not in names:
            out.append(Defect(path, at, 1, f"column {name} is missing", BEGIN, line))
    found = [name for name in names if name in LEVELS]
    if len(found) != 1:
        what = "no column of levels" if not found else f"{len(found)} columns of levels"
        out.append(Defect(path, at, 1, what, f"one of {', '.join(LEVELS)}", line))
    return out


def _level(
    path: str, at: int, line: str, cells: dict[str, str], unit: str, defects: list[Defect]
) -> LevelReading | None:
    """One row, or None with its defects taken down."""
    before = len(defects)

    def defect(name: str, what: str, remedy: str) -> None:
        text = cells.get(name, "")
        column = line.find(text) + 1 if text else len(line) + 1
        defects.append(Defect(path, at, max(column, 1), what, remedy, line, max(1, len(text))))

    def number(name: str) -> float:
        text = cells.get(name, "")
        try:
            found = float(text.replace(",", ".")) if "," not in line or ";" in line else float(text)
        except ValueError:
            found = math.nan
        if not abs(found) < (LARGEST_DB if name == unit else 1e9):
            defect(name, f"{quoted(text)} is no {'level' if name == unit else 'number'}", f"a number under {name}")
        return found

    for name in ("antenna", "channel"):
        if not cells.get(name):
            defect(name, f"no {name} is named", f"write one under {name}")
    direction = cells.get("direction", "").casefold() or "front"
    if direction not in DIRECTIONS:
        defect("direction", f"{quoted(direction)} is no direction", "front or back")
    order, level = number("order"), number(unit)
    if len(defects) > before:
        return None
    return LevelReading(cells["antenna"], cells["channel"], order, level, direction)
