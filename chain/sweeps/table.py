"""The table in an exported text: separator and decimal sign, where it begins and ends, and the header above it."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import NamedTuple

from chain.errors import Defect
from chain.sweeps.options import SweepOptions
from chain.sweeps.text import AMBIGUOUS, LONGEST_LINE, MOST_POINTS, bounded, figure, whole_file
from library.words import concepts

UNIT = re.compile(
    r"(?<=[0-9.])\s*(GHz|MHz|kHz|Hz|dB|ohms?|\u03a9|\u2126|deg|\u00b0|:\s?1)(?=[\s;,|\"]|$)", re.IGNORECASE
)
FIGURES = re.compile(r"\s*\"?[+-]?[0-9]")


def without_units(text: str) -> str:
    """A line of figures with blanks for the units in it, so that every cell keeps its place; other lines as they are."""
    return UNIT.sub(lambda found: " " * len(found.group()), text) if FIGURES.match(text) else text


def unit_behind(text: str, end: int) -> str:
    """Unit that stands behind a figure which ends there, empty for none and for the `:1` of a ratio."""
    found = UNIT.match(text, end)
    return "" if not found or found[1].startswith(":") else found[1]


def headed(name: str, units: Sequence[str]) -> str:
    """Header of a column with the unit of its cells, unless it has one itself."""
    unit = next(filter(None, units), "")
    has_own = re.search(r"(?<![a-z])(?:[gmk]?hz|db|ohms?|deg)(?![a-z])", name, re.IGNORECASE)
    return name if not unit or has_own else f"{name} {unit}"


CHANNEL_WORD = re.compile(
    r"(?<![^\s;,|\"])(?:(?:channel|chan|ch|kanal|canale|canal|uhf|vhf)\b\.?\s*|(?:channel|chan|ch|kanal|uhf|vhf|[eck]))"
    r"(?=[0-9]{1,3}[a-z]?(?:[\s;,|\":=]|$))",
    re.IGNORECASE,
)
PAIR = re.compile(
    r"\s*(?:(?:channel|chan|ch|kanal|canale|canal|uhf|vhf)?\.?\s*[eck]?[0-9]+[a-z]?|[0-9]+(?:[.,][0-9]+)?\s*[gmk]?hz)"
    r"(?P<joint>\s*[:=]\s*|\s+-\s+|\s+)(?P<word>v?swr\b\s*[:=]?\s*)?(?=[0-9]+(?:[.,][0-9]+)?(?:\s*:\s?1)?\s*$)",
    re.IGNORECASE,
)
"""A reading as people jot it down: `ch 21: 1.30`, `21 - 1.30`, `474 MHz = 1.30`, `CH21 SWR 1.30`."""
BLOCK_NAME = re.compile(r"[0-9]{1,2}[A-N]", re.IGNORECASE)
"""Name of a block of DAB, which a figure never is."""


def without_joints(text: str) -> str:
    """A reading as it is jotted down, with blanks for what joins place and figure; other lines as they are.

    >>> without_joints("ch 21: 1.30"), without_joints("CH21 SWR 1.30"), without_joints("21 -1.30")
    ('ch 21  1.30', 'CH21     1.30', '21 -1.30')
    """
    found = PAIR.match(text)
    # A tab parts cells by itself, and as a blank it would make other cells of one line than of the next.
    joined = found and (found["word"] or found["joint"] != "\t")
    return text if not found or not joined else f"{text[: found.start('joint')]:<{found.end()}}{text[found.end() :]}"


LETTER = re.compile(r"(?<![0-9])[^\W\d_]")


def without_channel_words(text: str) -> str:
    """A line of figures with blanks for the word or letter before the number of a channel; other lines as they are.

    >>> without_channel_words("E21,1.3"), without_channel_words("ch 25 1.2"), without_channel_words("Ch 1 Return loss")
    (' 21,1.3', '   25 1.2', 'Ch 1 Return loss')
    """
    plain = CHANNEL_WORD.sub(lambda found: " " * len(found.group()), text, count=1)
    return text if plain == text or LETTER.search(UNIT.sub("", plain)) else plain


def channel_text(line: str, cell: Cell) -> str:
    """A cell with the word or letter before it that was taken for that of a channel."""
    before = next((found for found in CHANNEL_WORD.finditer(line) if found.end() == cell.column - 1), None)
    return f"{before.group() if before else ''}{cell.text}"


MARKS = ("\t", ";", ",", "|", " ")
COMMENT = ("!", "#", "%", "//")
MOST_COLUMNS = 200
TORN = 3
"""Cells of a line that has two figures, of which a decimal comma has torn one."""
SAMPLE = 60
"""Lines at the beginning and about the middle that settle the separator."""
WORD = re.compile(r"(?!nan|inf)[^\W\d_]{3,}", re.IGNORECASE)
EXAMPLE = "begin with a header such as 'frequency_mhz,vswr' or 'channel,vswr'"


class Cell(NamedTuple):
    """Text of a cell and where it stands, from 1."""

    text: str
    line: int
    column: int


@dataclass
class Sheet:
    """Lines of a file with the defects found in it so far."""

    path: str
    lines: Sequence[str]
    defects: list[Defect] = field(default_factory=list)

    def defect(self, cell: Cell, message: str, help_text: str = "") -> None:
        """Note a defect at a cell."""
        source = self.lines[cell.line - 1]
        self.defects.append(
            Defect(self.path, cell.line, cell.column, message, help_text, source, max(1, len(cell.text)))
        )


@dataclass(frozen=True)
class TextTable:
    """Header, empty where there is none, and rows of cells, with the separator and the decimal sign they are written in."""

    header: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]
    mark: str
    sign: str

    @property
    def width(self) -> int:
        """How many columns there are: as the header says, else as most rows have it."""
        return len(self.header) or Counter(len(row) for row in self.rows).most_common(1)[0][0]


class _TextLine(NamedTuple):
    number: int
    text: str
    remark: bool


@dataclass
class _TextBlock:
    heads: list[_TextLine]
    rows: list[tuple[Cell, ...]] = field(default_factory=list)
    numbers: int = 0
    """Rows that hold figures, not only remains of them."""
    widest: int = 0
    """Most cells of a row, those counted that are empty at its end."""


def find_table(sheet: Sheet, options: SweepOptions) -> TextTable:
    """Find the table of a text file."""
    lines = _lines(sheet)
    signs = {"point": ".", "comma": ","}.get(options.decimal, ".,")
    mark, sign = _layout(lines, signs, bool(options.decimal))
    blocks = [block for block in _blocks(sheet, lines, (mark, sign), bool(options.decimal)) if block.rows]
    block = _chosen(sheet, blocks, options)
    _refuse_torn(sheet, block, mark)
    return TextTable(_with_units(sheet, _header(block, mark), block.rows), tuple(block.rows), mark, sign)


def _refuse_torn(sheet: Sheet, block: _TextBlock, mark: str) -> None:
    """Refuse decimal commas between cells that commas part too, where no reader could know them from one another."""
    header = _header(block, mark) or next((_cells(line, mark) for line in reversed(block.heads)), ())
    if mark != "," or any(len(row) != TORN or not all(cell.text.isdigit() for cell in row) for row in block.rows):
        return
    if len(header) in (0, TORN - 1):
        first, second, third = block.rows[0]
        remedy = (
            f"write {first.text},{second.text}.{third.text} in every line, or {first.text};{second.text},{third.text}"
        )
        remedy += " with a semicolon in the header too" if header else ""
        sheet.defect(first, "commas part the cells and stand for the decimal point as well", remedy)
        raise bounded(sheet.defects)


def _with_units(sheet: Sheet, header: tuple[Cell, ...], rows: Sequence[tuple[Cell, ...]]) -> tuple[Cell, ...]:
    """The header with the units that stand in the cells; a column keeps to one."""
    if not any(without_units(sheet.lines[row[0].line - 1]) != sheet.lines[row[0].line - 1] for row in rows[:1]):
        return header
    found = []
    for place, name in enumerate(header):
        cells = [row[place] for row in rows if place < len(row)]
        units = [unit_behind(sheet.lines[each.line - 1], each.column - 1 + len(each.text)) for each in cells]
        first = next(filter(None, units), "")
        for cell, unit in zip(cells, units, strict=True):
            if unit and unit.casefold() != first.casefold():
                sheet.defect(cell, f"{unit} here, {first} above", "one unit in each column")
        text = headed(name.text, units)
        if first.casefold().endswith("hz") and text == name.text and first.casefold() not in text.casefold():
            sheet.defect(cells[0], f"{first} here, another unit in the header", "one unit in each column")
        found.append(Cell(text, *name[1:]))
    if sheet.defects:
        raise bounded(sheet.defects)
    return tuple(found)


def _lines(sheet: Sheet) -> list[_TextLine]:
    out = []
    for number, text in enumerate(sheet.lines, 1):
        stripped = text.strip()
        if not stripped:
            continue
        remark = stripped.startswith(COMMENT)
        if len(text) > LONGEST_LINE:
            if not remark:
                message = f"this line is longer than {LONGEST_LINE} characters"
                sheet.defect(Cell("", number, 1), message, "one frequency on each line")
            continue
        out.append(
            _TextLine(number, text if remark else without_units(without_channel_words(without_joints(text))), remark)
        )
    return out


def _cells(line: _TextLine, mark: str) -> tuple[Cell, ...]:
    """Cells of a line, each with the column where its text begins; empty ones at the end are dropped."""
    text = line.text
    if line.remark:
        # What stands behind the sign of a remark may be the header.
        text = re.sub(r"^(\s*)([!#%]+|//+)", lambda found: " " * len(found.group()), text)
    if mark == " ":
        words = islice(re.finditer(r"\S+", text), MOST_COLUMNS + 1)
        return tuple(Cell(found.group(), line.number, found.start() + 1) for found in words)
    cells, at = [], 0
    for part in _split(text, mark):
        stripped = part.strip()
        start = text.find(stripped, at) if stripped else at
        start = at if start < 0 else start
        cells.append(Cell(stripped, line.number, start + 1))
        at = start + len(stripped)
    while cells and not cells[-1].text:
        cells.pop()
    return tuple(cells)


def _split(text: str, mark: str) -> list[str]:
    if '"' in text:
        try:
            parts = next(csv.reader([text.strip(" ")], delimiter=mark, skipinitialspace=True, strict=False), [])
            return parts[: MOST_COLUMNS + 1]
        except csv.Error:
            pass
    return text.split(mark, MOST_COLUMNS)


def _layout(lines: list[_TextLine], signs: str, settled: bool) -> tuple[str, str]:
    """Separator and decimal sign that make most figures of most lines."""
    plain = [line for line in lines if not line.remark]
    middle = max(SAMPLE, len(plain) // 2)
    sample = plain[:SAMPLE] + plain[middle : middle + SAMPLE]
    best, found = (0.0, 0.0), ("", "")
    for mark in MARKS:
        for sign in signs:
            if mark == sign and not any('"' in line.text for line in sample):
                continue
            whole, part = 0.0, 0.0
            for line in sample:
                cells = _cells(line, mark)
                known = _numbers(cells, sign, settled)
                whole += known / len(cells) if known > 1 else 0.0
                part += known / len(cells) if known and len(cells) > 1 else 0.0
            if (whole, part) > best:
                best, found = (whole, part), (mark, sign)
    return found if found[0] else (_separator(lines), signs[0])


def _separator(lines: list[_TextLine]) -> str:
    """Separator of a file without figures, from its header."""
    for mark in MARKS:
        if any(len(_cells(line, mark)) > 1 and "frequency" in concepts(line.text) for line in lines[:SAMPLE]):
            return mark
    return ","


def _numbers(cells: Sequence[Cell], sign: str, settled: bool) -> int:
    block = len(cells) == 2 and bool(BLOCK_NAME.fullmatch(cells[0].text))
    return block + sum(isinstance(figure(cell.text, sign, settled), float) for cell in cells)


def _blocks(sheet: Sheet, lines: list[_TextLine], layout: tuple[str, str], settled: bool) -> list[_TextBlock]:
    """Runs of figures, each with the lines of text above it."""
    mark, sign = layout
    blocks = [_TextBlock([])]
    for line in lines:
        block = blocks[-1]
        if line.remark:
            if not block.rows:
                block.heads.append(line)
            continue
        cells = _cells(line, mark)
        known = _numbers(cells, sign, settled)
        if known > 1 or (_broken(cells, known, sign, block) and (block.rows or _headed(block, mark))):
            if len(block.rows) == MOST_POINTS:
                sheet.defect(cells[0], f"holds more than {MOST_POINTS} points", "thin the sweep out")
                raise bounded(sheet.defects)
            block.rows.append(cells)
            block.numbers += known > 1
            block.widest = max(block.widest, len(cells), 0 if mark == " " else line.text.count(mark) + 1)
        elif block.rows:
            blocks.append(_TextBlock([line]))
        else:
            block.heads.append(line)
    for block in blocks:
        while block.rows and _closing(block.rows[-1], sign):
            block.rows.pop()
    return blocks


def _closing(cells: Sequence[Cell], sign: str) -> bool:
    """Distinguish a line of words below a table from a last row that is damaged."""
    return not _numbers(cells, sign, True) and any(WORD.search(cell.text) for cell in cells)


def _broken(cells: Sequence[Cell], known: int, sign: str, block: _TextBlock) -> bool:
    """Distinguish a row of the table that is damaged from a line of text between tables."""
    if known or any(figure(cell.text, sign) == AMBIGUOUS for cell in cells):
        return True
    alike = bool(block.rows) and len(cells) == len(block.rows[0]) and len(cells) > 1
    return alike and not any(concepts(cell.text) for cell in cells)


def _headed(block: _TextBlock, mark: str) -> bool:
    """Whether the line above is a header, so that what follows ought to be figures."""
    last = next((line for line in reversed(block.heads) if not line.remark), block.heads[-1] if block.heads else None)
    return (
        last is not None and len(_cells(last, mark)) > 1 and bool({"frequency", "channel"} & concepts(last.text).keys())
    )


def _chosen(sheet: Sheet, blocks: list[_TextBlock], options: SweepOptions) -> _TextBlock:
    if not blocks:
        for number, line in enumerate(sheet.lines[:SAMPLE], 1):
            if "frequency" in concepts(line) and not line.strip().startswith(COMMENT):
                sheet.defect(Cell("", number, 1), "no figures follow the header", "add a line for each frequency")
                raise bounded(sheet.defects)
        raise whole_file(sheet.path, "holds no figures", EXAMPLE)
    long = [block for block in blocks if block.numbers > 1] or blocks
    titled = [block for block in long if any("frequency" in concepts(line.text) for line in block.heads)]
    wanted = long if options.block is not None or len(long) == 1 else titled if len(titled) == 1 else long
    if options.block is not None:
        if options.block > len(wanted):
            raise whole_file(sheet.path, f"holds {len(wanted)} tables, none with the number {options.block}")
        return wanted[options.block - 1]
    if len(wanted) > 1:
        spans = [f"lines {block.rows[0][0].line} to {block.rows[-1][0].line}" for block in wanted[:6]]
        message = f"holds {len(wanted)} tables: {', '.join(spans)}"
        raise whole_file(sheet.path, message, "name one: --block 1 for the first")
    return wanted[0]


def _header(block: _TextBlock, mark: str) -> tuple[Cell, ...]:
    """Names of the columns: the nearest line of text above with as many cells, and the one above it if that holds units only."""
    width = max((len(cells) for cells in block.rows[:1]), default=0)
    # A column of notes is empty in some rows, and at the end of a line nothing shows it.
    widths = {width, block.widest, max((len(cells) for cells in block.rows), default=0)}
    lines = [line for line in reversed(block.heads) if not line.remark]
    lines += [line for line in reversed(block.heads) if line.remark]
    fitting = [cells for cells in (_names(line, mark, width) for line in lines) if len(cells) in widths]
    if not fitting:
        named = [_names(line, mark, width) for line in lines if {"frequency", "channel"} & concepts(line.text).keys()]
        return next((cells for cells in named if len(cells) > 1), ())
    first = fitting[0]
    if len(fitting) > 1 and len(fitting[1]) == len(first) and all(_is_unit(cell.text) for cell in first):
        return tuple(
            Cell(f"{name.text} {unit.text}".strip(), *name[1:]) for name, unit in zip(fitting[1], first, strict=True)
        )
    return first


def _names(line: _TextLine, mark: str, width: int) -> tuple[Cell, ...]:
    cells = _cells(line, mark)
    if mark != " " or len(cells) == width:
        return cells
    # Between names there are often two blanks or more, within them one.
    text = re.sub(r"^(\s*)[!#%]+", lambda found: " " * len(found.group()), line.text) if line.remark else line.text
    wide = [Cell(each.group(), line.number, each.start() + 1) for each in re.finditer(r"\S+(?: \S+)*", text)]
    return tuple(wide) if len(wide) == width else cells


def _is_unit(text: str) -> bool:
    from library.words import spelt

    word = spelt(text).strip()
    return word in ("", "hz", "khz", "mhz", "ghz", "db", "deg", "degrees", "rad", "ohm", "percent", "lin", "u", "1")
