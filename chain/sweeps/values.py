"""Columns of figures to reflections: signs of losses, angles, impedances, with every figure that cannot be determined in its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chain.arrays import Complex, Real, median
from chain.errors import quoted
from chain.reflection import OFF_SCALE_VSWR, magnitude_from_return_loss, magnitude_from_vswr, reflection_from_ohm
from chain.results import counted
from chain.sweeps.columns import ColumnPlan
from chain.sweeps.marks import half_steps, worth
from chain.sweeps.options import QUANTITIES
from chain.sweeps.table import Cell, Sheet, TextTable
from chain.sweeps.text import AMBIGUOUS, AT_ZERO, FALLING, falls, figure, off_scale
from library.frozen import dataclass
from library.words import concepts

MOST_MAGNITUDE = 1.1
"""Largest reflection taken for one: noise lifts that of an open a little above 1, more is another quantity."""
MOST_HZ = 1e12
"""Highest frequency that is taken for one."""
SAME_TRACE = 0.02
"""Largest usual difference, as a magnitude, between two columns that describe one trace and were rounded."""
SETTLE_SIGN = "--quantity return-loss takes losses as positive, --quantity reflection-db as negative"
SETTLE_UNIT = "--quantity magnitude or --quantity reflection-db settles it"
SETTLE_ANGLE = "name the unit in the header, or give --quantity db-and-degrees"
SETTLE_OHM = "give --impedance '50 ohm', the reference that the analyzer was set to"


@dataclass(frozen=True)
class Reflections:
    """Frequencies, magnitudes and, where there is an angle, complex reflections, shape (points,), with what they were read from."""

    freq_hz: Real
    magnitude: Real
    reflection: Complex | None
    numbers: Real
    """Figures of the columns that were read, shape (points, 1 or 2)."""
    quantity: str
    remarks: tuple[str, ...] = ()
    rounding: Real | None = None
    """Half a step of the last digit: of the magnitude, or of either part of a complex figure."""


def reflections(
    sheet: Sheet, table: TextTable, found: ColumnPlan, settled: bool, ohm: float | None
) -> Reflections | None:
    """Reflections that a table holds."""
    defects = len(sheet.defects)
    wanted = (found.frequency, *found.columns)
    table, notes = _swept(table, found.frequency, settled)
    read = _numbers(sheet, table, wanted, settled, found.quantity == "vswr")
    if read is None:
        return None
    with np.errstate(over="ignore"):
        freq, numbers = read[:, 0] * found.factor, read[:, 1:]
    cells = [[row[index] for index in wanted] for row in table.rows]
    _rising(sheet, cells, freq)
    maker = _Maker(sheet, [row[1:] for row in cells], found, ohm)
    made = maker.made(found.quantity, numbers)
    if made is None or len(sheet.defects) > defects:
        return None
    quantity, magnitude, reflection, remarks = made
    _sizes(sheet, [row[1:] for row in cells], magnitude, quantity)
    if len(sheet.defects) > defects:
        return None
    _rivals(sheet, table, found, settled, ohm, magnitude)
    size = magnitude if reflection is None else reflection
    rounding = _rounding(maker, table.sign, numbers, size, quantity)
    return Reflections(freq, magnitude, reflection, numbers, quantity, (*remarks, *notes), rounding)


def _swept(table: TextTable, column: int, settled: bool) -> tuple[TextTable, tuple[str, ...]]:
    """The table without a point at 0 Hz and rising in frequency, and what was done to it."""
    known = [(row, figure(row[column].text, table.sign, settled)) for row in table.rows if len(row) > column]
    freq = [value for _, value in known if isinstance(value, float)]
    if 0.0 in freq and any(freq):
        left = {row[0].line for row, value in known if value == 0.0}
        kept = tuple(row for row in table.rows if row[0].line not in left)
        again, notes = _swept(replace(table, rows=kept), column, settled)
        return again, (*notes, AT_ZERO)
    if falls(freq):
        return replace(table, rows=table.rows[::-1]), (FALLING,)
    return table, ()


def _rounding(maker: _Maker, sign: str, numbers: Real, size: Real | Complex, quantity: str) -> Real | None:
    """Half a step of the last digit that the columns show, as a magnitude, or the larger of both columns' as a reflection."""
    moved = [_moved(maker, sign, numbers, size, quantity, column) for column in range(numbers.shape[1])]
    known = [each for each in moved if each is not None]
    return worth(np.max(known, axis=0)) if known else None


def _moved(maker: _Maker, sign: str, numbers: Real, size: Real | Complex, quantity: str, column: int) -> Real | None:
    """How far half a step of one column moves what is made of it."""
    texts = ["0" if off_scale(row[column].text) else row[column].text for row in maker.cells]
    known = [text for text, row in zip(texts, maker.cells, strict=True) if not off_scale(row[column].text)]
    half = (
        half_steps(texts, sign)
        if len(known) == len(texts)
        else np.full(len(texts), half_steps(known or ["0"], sign).min())
    )
    # Away from zero, so that neither a VSWR of 1 nor a loss leaves the side it is on.
    shift = np.zeros(numbers.shape)
    shift[:, column] = np.where(numbers[:, column] < 0, -half, half)
    candidate = _Maker(Sheet(maker.sheet.path, maker.sheet.lines), maker.cells, maker.found, maker.ohm)
    further = candidate.made(quantity, numbers + shift)
    if further is None:
        return None
    there = further[1] if further[2] is None else further[2]
    # What is off the scale may be anything above the scale.
    beyond = 1 - float(magnitude_from_vswr(OFF_SCALE_VSWR))
    return np.where(np.isinf(numbers[:, 0]), beyond, np.abs(there - size))


def _numbers(sheet: Sheet, table: TextTable, wanted: Sequence[int], settled: bool, ratio: bool) -> Real | None:
    """Figures of the wanted columns, shape (rows, columns); a VSWR (`ratio`, the last of them) may be infinite."""
    defects = len(sheet.defects)
    # Of two lines of unequal length neither is the usual one: where a wanted column is lacking, the line is short.
    width = max(table.width, max(wanted) + 1)
    short = [row for row in table.rows if len(row) != width and not _ends_empty(sheet, table, row, wanted)]
    if table.header and len(short) == len(table.rows) and len({len(row) for row in short}) == 1:
        message = f"the header names {width} columns, the lines below hold {len(short[0])}"
        remedy = "name every column, and write decimal points where commas part the columns"
        sheet.defect(table.header[0], message, remedy)
        return None
    wrong = {row[0].line for row in short}
    out = np.full((len(table.rows), len(wanted)), np.nan)
    for number, row in enumerate(table.rows):
        if row[0].line in wrong:
            remedy = "write a figure for every column, or leave the line out"
            if len(row) > width and table.mark == ",":
                remedy = "write a figure for every column, with decimal points, not commas"
            sheet.defect(row[0], f"this line has {counted(len(row), 'column')} where {width} are needed", remedy)
            continue
        for position, index in enumerate(wanted):
            last = ratio and position == len(wanted) - 1
            out[number, position] = _number(sheet, row[index], table.sign, settled, last)
    return out if len(sheet.defects) == defects else None


def _ends_empty(sheet: Sheet, table: TextTable, row: Sequence[Cell], wanted: Sequence[int]) -> bool:
    """Distinguish a row whose last cells are empty, and not wanted, from one that is cut short."""
    # Tabs at the end of a line are cut off with its other blanks.
    parted = table.mark == "\t" or (
        table.mark != " " and sheet.lines[row[0].line - 1].count(table.mark) >= table.width - 1
    )
    return parted and max(wanted) < len(row) < table.width


def _number(sheet: Sheet, cell: Cell, sign: str, settled: bool, ratio: bool) -> float:
    if ratio and off_scale(cell.text):
        return float("inf")
    value = figure(cell.text, sign, settled)
    if isinstance(value, float):
        return value
    if value == AMBIGUOUS:
        grouped = cell.text.replace(",", "").replace(".", "")
        point = cell.text.replace(",", ".")
        what = f"{quoted(cell.text)} may be {point} or {grouped}"
        sheet.defect(cell, what, "--decimal point or --decimal comma settles it")
    elif isinstance(figure(cell.text, "." if sign == "," else ","), float):
        what = f"{quoted(cell.text)} has a decimal {'point' if sign == ',' else 'comma'}, other figures have the other sign"
        sheet.defect(cell, what, "write one decimal sign throughout, or say which it is: --decimal")
    else:
        off = "; a VSWR off the scale is written inf, and a point without a figure is left out" if ratio else ""
        bound = cell.text.strip()[:1] in ("<", ">", "\u2264", "\u2265")
        off = "; of the interval of a bound only one end holds" if bound else off
        remedy = f"write the figure alone, its unit in the header{off}"
        sheet.defect(cell, f"{quoted(cell.text)} is not a number", remedy)
    return float("nan")


def _rising(sheet: Sheet, cells: list[list[Cell]], freq: Real) -> None:
    for index, value in enumerate(freq):
        cell = cells[index][0]
        if value > MOST_HZ and value / 1e6 <= MOST_HZ:
            what = f"frequency {quoted(cell.text)} would be {value:.3g} Hz: that looks like Hz under another unit"
            sheet.defect(cell, what, "name the column freq_hz, or give --frequency-unit Hz")
        elif not 0 < value <= MOST_HZ:
            what = "above zero" if value <= 0 else "a frequency that any sweep has"
            sheet.defect(cell, f"frequency {quoted(cell.text)} is not {what}", "correct the figure")
        elif index and value == freq[index - 1]:
            sheet.defect(cells[index][0], "frequencies do not rise here: this one is repeated", "drop one of the lines")
        elif index and value < freq[index - 1]:
            sheet.defect(cells[index][0], "frequencies do not rise here", "sort the lines")


Made = tuple[str, Real, Complex | None, tuple[str, ...]]


class _Maker:
    """Makes reflections of the figures of one table."""

    def __init__(self, sheet: Sheet, cells: list[list[Cell]], found: ColumnPlan, ohm: float | None) -> None:
        self.sheet, self.cells, self.found, self.ohm = sheet, cells, found, ohm

    @np.errstate(all="ignore")
    def made(self, quantity: str, numbers: Real) -> Made | None:
        """Give the quantity as it turned out, magnitude, reflection and remarks; None after a defect."""
        if not quantity:
            quantity = self._unit(numbers)
        first = numbers[:, 0]
        if quantity in ("r-and-x", "z-and-degrees"):
            return self._impedance(quantity, numbers)
        if quantity == "real-and-imaginary":
            reflection = first + 1j * numbers[:, 1]
            return quantity, np.abs(reflection), reflection, ()
        if quantity == "vswr":
            return self._vswr(first)
        remarks: tuple[str, ...] = ()
        if quantity in ("return-loss", "reflection-db", "db-and-degrees"):
            loss, remarks = self._loss(quantity, first)
            if loss is None:
                return None
            magnitude = magnitude_from_return_loss(loss)
        elif quantity in ("magnitude", "magnitude-and-degrees"):
            magnitude, remarks = self._magnitude(first)
        else:
            return None
        if numbers.shape[1] == 1:
            return quantity, magnitude, None, remarks
        turn = self._turn(numbers[:, 1])
        return None if turn is None else (quantity, magnitude, magnitude * turn, remarks)

    def _unit(self, numbers: Real) -> str:
        """Distinguish dB from magnitude where no unit is given: only what cannot be the other is taken."""
        first = numbers[:, 0]
        if np.all(first >= 0) and np.all(first <= MOST_MAGNITUDE):
            what = f"{self._head()} may hold magnitudes or dB: all its figures lie between 0 and {MOST_MAGNITUDE:g}"
            self.sheet.defect(self._place(), what, SETTLE_UNIT)
            return "none"
        return "db-and-degrees" if numbers.shape[1] == 2 else "reflection-db"

    def _place(self) -> Cell:
        return self.cells[0][0]

    def _head(self) -> str:
        return f"column {self.found.columns[0] + 1}"

    def _loss(self, quantity: str, values: Real) -> tuple[Real | None, tuple[str, ...]]:
        """Return loss, positive, of figures of either sign; of both signs only where the user has named the sign."""
        if self.found.stated and quantity != "db-and-degrees":
            return (values if quantity == "return-loss" else -values), ()
        if np.any(values > 0) and np.any(values < 0):
            sign = np.sign(values[np.flatnonzero(values)[0]])
            for index in np.flatnonzero(values * sign < 0):
                cell = self.cells[int(index)][0]
                self.sheet.defect(cell, f"{quoted(cell.text)}: the loss changes its sign here", SETTLE_SIGN)
            return None, ()
        usual = np.all(values >= 0) if quantity == "return-loss" else np.all(values <= 0)
        remark = "positive figures taken as loss" if np.any(values > 0) else "negative figures taken as loss"
        return np.abs(values), () if usual else (remark,)

    def _magnitude(self, values: Real) -> tuple[Real, tuple[str, ...]]:
        for index in np.flatnonzero(values < 0):
            cell = self.cells[int(index)][0]
            self.sheet.defect(
                cell, f"magnitude {quoted(cell.text)} is below zero", "are these dB? --quantity reflection-db"
            )
        return (values / 100, ("percent",)) if self.found.percent else (values, ())

    def _vswr(self, values: Real) -> Made | None:
        below = np.flatnonzero(values < 1)
        for index in below:
            cell = self.cells[int(index)][0]
            self.sheet.defect(cell, f"VSWR {quoted(cell.text)} is below 1", "is this column a return loss?")
        if below.size:
            return None
        count = int(np.count_nonzero(np.isinf(values)))
        reported = (
            f"{count} off the scale taken as a reflection of all, though a scale may end at VSWR {OFF_SCALE_VSWR:g}"
        )
        return "vswr", magnitude_from_vswr(values), None, (reported,) if count else ()

    def _turn(self, angles: Real) -> Complex | None:
        radians = self.found.radians
        if radians is None and np.any(np.abs(angles) > 2 * np.pi + 0.01):
            radians = False
        if radians is None:
            cell = self.cells[0][1]
            self.sheet.defect(cell, "these angles may be degrees or radians", SETTLE_ANGLE)
            return None
        return np.exp(1j * (angles if radians else np.deg2rad(angles)))

    def _impedance(self, quantity: str, numbers: Real) -> Made | None:
        if self.ohm is None:
            words = QUANTITIES[quantity][0]
            what = f"{words} need the reference in which they turn into a reflection"
            self.sheet.defect(self._place(), what, SETTLE_OHM)
            return None
        if quantity == "r-and-x":
            load = numbers[:, 0] + 1j * numbers[:, 1]
        else:
            turn = self._turn(numbers[:, 1])
            if turn is None:
                return None
            load = numbers[:, 0] * turn
        with np.errstate(all="ignore"):
            reflection = reflection_from_ohm(load, self.ohm)
        for index in np.flatnonzero(~np.isfinite(reflection)):
            cell = self.cells[int(index)][0]
            self.sheet.defect(cell, "this impedance has no reflection", "export the sweep again")
        return quantity, np.abs(reflection), reflection, ()


def _sizes(sheet: Sheet, cells: list[list[Cell]], magnitude: Real, quantity: str) -> None:
    """Nothing passive reflects more than all; noise may seem to."""
    for index in np.flatnonzero(~(magnitude <= MOST_MAGNITUDE)):
        cell = cells[int(index)][0]
        what = f"{quoted(cell.text)} would be a reflection of magnitude {magnitude[index]:.3g}"
        remedy = "nothing passive reflects more than 1: another quantity, or repeat the calibration"
        if quantity == "r-and-x" and cell.text.startswith("-"):
            what, remedy = f"R {quoted(cell.text)} is below zero", "no antenna has that: repeat the calibration"
        sheet.defect(cell, what, remedy)


def _rivals(
    sheet: Sheet, table: TextTable, found: ColumnPlan, settled: bool, ohm: float | None, magnitude: Real
) -> None:
    """Other columns of the table must describe the same trace, or which one is meant is open."""
    for quantity, columns in found.rivals:
        candidate = Sheet(sheet.path, sheet.lines)
        read = _numbers(candidate, table, columns, settled, quantity == "vswr")
        if read is None:
            continue
        cells = [[row[index] for index in columns] for row in table.rows]
        percent = "percent" in concepts(table.header[columns[0]].text)
        other_way = replace(found, quantity=quantity, columns=columns, stated=False, rivals=(), percent=percent)
        made = _Maker(candidate, cells, other_way, ohm).made(quantity, read)
        if made is None or not float(median(np.abs(made[1] - magnitude))) > SAME_TRACE:
            continue
        own, other = table.header[found.columns[0]], table.header[columns[0]]
        what = f"{quoted(other.text)} does not belong to the same trace as {quoted(own.text)}"
        remedy = f"name the column to read: --column {found.columns[0] + 1} or --column {columns[0] + 1}"
        if "r-and-x" in (quantity, found.quantity) or "z-and-degrees" in (quantity, found.quantity):
            remedy += f"; or R and X are not of {ohm or 0:g} ohm: --impedance"
        sheet.defect(other, what, remedy)
