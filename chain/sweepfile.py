"""A measured sweep: a one-port Touchstone file with phase, or two columns of text without, read with every defect in place."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chain import touchstone
from chain.errors import Defect, InputError, plain, quoted
from chain.ratios import magnitude_from_return_loss, magnitude_from_vswr, return_loss_db, vswr
from chain.readings import Readings
from chain.sweepoptions import DEFAULTS, SweepOptions

__all__ = ["MOST_BYTES", "MOST_POINTS", "read_sweep"]

MOST_BYTES = 5_000_000
MOST_POINTS = 20001
MOST_DEFECTS = 20
MOST_MAGNITUDE = 1.1
"""Largest reflection taken for one: noise lifts that of an open a little above 1, more is another quantity."""

UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
QUANTITIES = {
    "vswr": r"\bv?swr\b|stehwelle",
    "return_loss": r"return[ _]?loss|\brl\b|s[ _]?11|r(ü|ue)ckfl",
}
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass
class _Cell:
    text: str
    line: int
    column: int


@dataclass
class _Sheet:
    """Lines of a two-column file, with the faults found in it so far."""

    path: str
    lines: list[str]
    faults: list[Defect]

    def fault(self, cell: _Cell, message: str, help_text: str) -> None:
        source = self.lines[cell.line - 1]
        width = max(1, len(cell.text))
        self.faults.append(Defect(self.path, cell.line, cell.column, message, help_text, source, width))


def read_sweep(path: str, options: SweepOptions = DEFAULTS, plane_ohm: float | None = None) -> Readings:
    """Read a sweep of the analyzer.

    Parameters
    ----------
    path : a file named `.s1p` (or `.ts`), or a text file of two columns under a header that names them, such as
        `frequency_mhz,vswr` or `Frequency [MHz];Return loss [dB]`.
    options : what the user settles about the file.
    plane_ohm : reference at the calibration plane, where it is known [ohm].

    Returns
    -------
    Readings, rising in frequency; complex from a Touchstone file, whose own reference impedance is told and not applied:
    a reading is in the impedance of the standards it was calibrated with.

    Raises
    ------
    InputError : the file is at fault; every defect with line and column.

    Examples
    --------
    >>> read_sweep("demo/boathouse.csv").interpretation.split(";")[0]
    "return loss, column 'return_loss_db'"

    Source
    ------
    Touchstone by `chain.touchstone`; definitions of VSWR and return loss.
    """
    if Path(path).suffix.lower() in (".s1p", ".ts"):
        return _touchstone(path)
    sheet = _Sheet(path, _lines(path), [])
    freq_hz, values, kind, name = _columns(sheet)
    if sheet.faults:
        raise InputError(sorted(sheet.faults, key=lambda each: (each.line, each.column))[:MOST_DEFECTS])
    if kind == "vswr":
        magnitude = np.asarray(magnitude_from_vswr(values))
    else:
        magnitude = np.asarray(magnitude_from_return_loss(np.abs(values)))
    words = {"vswr": "VSWR", "return_loss": "return loss"}[kind]
    told = f"{words}, column {quoted(name)}; {_example(freq_hz, magnitude)}; no phase"
    return Readings(freq_hz, magnitude, None, told)


def _touchstone(path: str) -> Readings:
    freq_hz, s, reference_ohm = touchstone.read(path, 1)
    reflection = s[:, 0, 0]
    magnitude = np.abs(reflection)
    most = int(np.argmax(magnitude))
    if magnitude[most] > MOST_MAGNITUDE:
        text = f"holds a reflection of magnitude {magnitude[most]:.3g} at {freq_hz[most] / 1e6:g} MHz"
        raise InputError([Defect(path, 0, 0, text, "nothing passive reflects more than 1: repeat the calibration")])
    told = (
        f"complex reflection; {_example(freq_hz, magnitude)}; "
        f"its header says {reference_ohm[0]:g} ohm, which is told and not applied"
    )
    return Readings(freq_hz, magnitude, reflection, told)


def _example(freq_hz: NDArray[np.float64], magnitude: NDArray[np.float64]) -> str:
    ratio, loss = float(vswr(magnitude[0])), float(return_loss_db(magnitude[0]))
    return f"{freq_hz.size} points, the first {freq_hz[0] / 1e6:g} MHz, VSWR {ratio:.2f} or {loss:.1f} dB"


def _lines(path: str) -> list[str]:
    try:
        size = Path(path).stat().st_size
        raw = Path(path).read_bytes() if size <= MOST_BYTES else b""
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "unknown cause"
        raise InputError([Defect(path, 0, 0, f"cannot be read: {plain(reason)}", "")]) from error
    if size > MOST_BYTES:
        raise InputError([Defect(path, 0, 0, f"is larger than {MOST_BYTES // 1_000_000} MB", "thin the sweep out")])
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
    if "\0" in text:
        raise InputError([Defect(path, 0, 0, "is not a text file", "name a .s1p file, or a text file of two columns")])
    return re.split(r"\r\n|\r|\n", text)


def _columns(sheet: _Sheet) -> tuple[NDArray[np.float64], NDArray[np.float64], str, str]:
    """Frequencies, values, what the values are and the name of their column."""
    rows = [
        (number, line) for number, line in enumerate(sheet.lines, 1) if line.strip() and line.strip()[0] not in "!#%"
    ]
    if not rows:
        raise InputError(
            [Defect(sheet.path, 0, 0, "holds no figures", "begin with a header such as 'frequency_mhz,vswr'")]
        )
    if len(rows) - 1 > MOST_POINTS:
        text = f"holds {len(rows) - 1} points, more than {MOST_POINTS}"
        raise InputError([Defect(sheet.path, 0, 0, text, "thin the sweep out")])
    mark = next((each for each in "\t;" if each in rows[0][1]), ",")
    header, *body = [_cells(number, line, mark) for number, line in rows]
    factor, kind = _header(sheet, header)
    if len(header) != 2:
        raise InputError(sheet.faults)
    comma = mark != ","
    pairs = [_pair(sheet, cells, comma) for cells in body]
    found = np.array([pair for pair in pairs if pair is not None]).reshape(-1, 2)
    if not body:
        sheet.fault(header[0], "no figures follow the header", "add a line for each frequency")
    elif len(found) == len(body):
        _check_figures(sheet, body, found, kind)
    return found[:, 0] * factor, found[:, 1], kind, header[-1].text


def _cells(number: int, line: str, mark: str) -> list[_Cell]:
    """Cells of a line, each with the column where its text begins."""
    cells, at = [], 0
    for text in next(csv.reader([line], delimiter=mark, strict=False), []):
        stripped = text.strip()
        start = line.find(stripped, at) if stripped else at
        start = at if start < 0 else start
        cells.append(_Cell(stripped, number, start + 1))
        at = start + len(stripped)
    return cells


def _header(sheet: _Sheet, header: list[_Cell]) -> tuple[float, str]:
    """Factor of the frequency unit, and what the second column holds."""
    example = "write a header such as 'frequency_mhz,vswr' or 'frequency_mhz,return_loss_db'"
    if len(header) != 2:
        sheet.fault(header[0], f"the header names {len(header)} columns where two are needed", example)
        return 1.0, "vswr"
    if NUMBER.fullmatch(header[0].text.replace(",", ".")):
        sheet.fault(header[0], "the file has no header", example)
        return 1.0, "vswr"
    words = re.split(r"[^a-z]+", header[0].text.lower())
    factor = next((UNITS[word] for word in words if word in UNITS), 0.0)
    if not factor:
        sheet.fault(header[0], f"{quoted(header[0].text)} names no unit of frequency", example)
    name = header[1].text.lower().replace("_", " ")
    kind = next((each for each, pattern in QUANTITIES.items() if re.search(pattern, name)), "")
    if not kind:
        sheet.fault(header[1], f"{quoted(header[1].text)} is neither VSWR nor return loss", example)
    return factor or 1.0, kind or "vswr"


def _pair(sheet: _Sheet, cells: list[_Cell], comma: bool) -> tuple[float, float] | None:
    if len(cells) != 2:
        remedy = "write one frequency and one figure" + ("" if comma else ", with decimal points, not commas")
        sheet.fault(cells[0], f"this line has {len(cells)} columns where two are needed", remedy)
        return None
    values = []
    for cell in cells:
        text = cell.text.replace(",", ".") if comma else cell.text
        value = float(text) if NUMBER.fullmatch(text) else math.nan
        if not math.isfinite(value):
            sheet.fault(cell, f"{quoted(cell.text)} is not a number", "write the figure alone, its unit in the header")
        values.append(value)
    return (values[0], values[1]) if all(math.isfinite(value) for value in values) else None


def _check_figures(sheet: _Sheet, body: list[list[_Cell]], found: NDArray[np.float64], kind: str) -> None:
    """Frequencies that rise, and values that their quantity can have."""
    below, above = bool((found[:, 1] < 0).any()), bool((found[:, 1] > 0).any())
    sign = found[0, 1]
    for index, (freq, value) in enumerate(found):
        first, second = body[index]
        if freq <= 0:
            sheet.fault(first, f"frequency {quoted(first.text)} is not above zero", "correct the figure")
        elif index and freq <= found[index - 1, 0]:
            sheet.fault(first, "frequencies do not rise here", "sort the lines and drop repeated ones")
        if kind == "vswr" and value < 1:
            sheet.fault(second, f"VSWR {quoted(second.text)} is below 1", "is this column a return loss?")
        if kind == "return_loss" and below and above and value * sign < 0:
            sheet.fault(second, "return loss changes its sign here", "all of one sign: which end is the larger loss?")
