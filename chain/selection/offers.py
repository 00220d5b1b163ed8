"""Tables of offers (CSV): part, price, currency, stock, and any key of an item that fits in a cell."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chain.errors import Defect, InputError, UnitError, quoted
from chain.files.schema import ItemModel
from chain.files.tables import Diagnostics
from chain.files.toml import closest, decode
from chain.money import parse_price
from chain.selection.need import Offer
from chain.selection.need_rows import Rules, offer_of, place_one
from chain.setups import Item
from library.files.store import read_plain

LARGEST = 50_000_000
EURO = re.compile(rb"[0-9 ;,\t]\x80|\x80[0-9 ]")
"""The sign in the encoding of Windows, beside a figure or a cell's edge."""
MOST_TOLD = 50
"""Most defects of one table that are reported one by one."""
OWN = ("part", "price", "currency", "stock")
ROOMY = ("attenuation", "arm", "path", "reference", "id")
"""Keys of an item that do not fit in a cell."""
COLUMNS = (*OWN, *(key for key in ItemModel.keys if key not in (*OWN, *ROOMY)))
FLAGS = ("reversed", "ideal")
NUMBERS = ("velocity_factor",)


@dataclass
class _OfferTable:
    """One file while it is read."""

    path: str
    lines: list[str]
    header: list[str]
    defects: list[Defect]

    def defect(self, line: int, column: str, row: list[str], what: str, remedy: str = "") -> None:
        """Take down a defect of one cell."""
        source = self.lines[line - 1] if line <= len(self.lines) else ""
        at, width = 0, max(1, len(source))
        place = self.header.index(column) if column in self.header else -1
        if 0 <= place < len(row):
            for cell in row[:place]:
                at = source.find(cell, at) + len(cell) + 1 if cell in source[at:] else at + 1
            found = source.find(row[place], at)
            at, width = (found, len(row[place])) if found >= 0 else (at, 1)
        self.defects.append(Defect(self.path, line, at + 1, what, remedy, source, max(1, width)))


def read_offers(name: str, folder: Path, into: Diagnostics, rules: Rules) -> list[Offer]:
    """Read a table of offers.

    Source: RFC 4180, with a line of column names; comma, semicolon or tab between cells; lines that begin with # are
    remarks.
    """
    path = str(folder / name)
    try:
        text = _text(path)
    except InputError as error:
        into.elsewhere += error.defects
        return []
    lines = text.splitlines()
    first = next((line for line in lines if line.strip() and not line.startswith("#")), "")
    delimiter = max(",;\t", key=first.count)
    table = _OfferTable(path, lines, [], [])
    offers: dict[tuple[str, ...], Offer] = {}
    items: dict[tuple[str, ...], Item | None] = {}
    for line, row in _rows(table, text, delimiter):
        if not table.header:
            table.header = [cell.strip().casefold() for cell in row]
            if not _header(table, line, row):
                break
            continue
        offer = _offer(table, line, row, items, into, rules)
        if offer is None:
            continue
        _take(offer, (*_item_cells(table.header, row), str(offer.price)), offers, rules)
    if not table.header and not table.defects:
        table.defects.append(Defect(path, 1, 1, "there is no line of column names", f"begin with {','.join(OWN)}"))
    into.elsewhere += _reported(table)
    return list(offers.values())


def _text(path: str) -> str:
    from chain.files.toml import read_file

    try:
        size = Path(path).stat().st_size if Path(path).is_file() else 0
    except (OSError, ValueError):
        size = 0
    if size > LARGEST:
        raise InputError([Defect(path, 0, 0, f"the table is over {LARGEST // 10**6} MB")])
    raw = read_plain(path, LARGEST) if size else read_file(path)
    if not raw.strip():
        raise InputError([Defect(path, 1, 1, "the table is empty", f"begin with {','.join(OWN)}")])
    try:
        return decode(raw, path)
    except InputError:
        # Spreadsheets of Windows write the euro sign as one byte.
        if not EURO.search(raw):
            raise
        return raw.decode("cp1252", errors="replace")


def _rows(table: _OfferTable, text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold something, each with the line it begins at."""
    reader = csv.reader(text.splitlines(keepends=True), delimiter=delimiter, skipinitialspace=True)
    begin = 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row) and not row[0].startswith("#"):
                yield begin, row
            begin = reader.line_num + 1
    except csv.Error as error:
        table.defects.append(Defect(table.path, reader.line_num, 1, f"not a table: {error}", "is a quote left open?"))


def _header(table: _OfferTable, line: int, row: list[str]) -> bool:
    for name in table.header:
        if name not in COLUMNS:
            cells = [cell.strip() for cell in row]
            at = table.header.index(name)
            kept, table.header = table.header, [*table.header]
            table.defect(line, name, cells, f"{quoted(cells[at])} is no column of offers", closest(name, COLUMNS))
            table.header = kept
    for name in ("part", "price"):
        if name not in table.header and not any(quoted(name) in each.help for each in table.defects):
            if name == "part" and "touchstone" in table.header:
                continue
            table.defect(line, "", row, f"column {name} is missing", f"begin with {','.join(OWN)}")
    twice = [name for place, name in enumerate(table.header) if name in table.header[:place]]
    if twice:
        table.defect(line, "", row, f"column {quoted(twice[0])} is there twice", "leave one out")
    return not table.defects


def _item_cells(header: list[str], row: list[str]) -> tuple[str, ...]:
    return tuple(cell.strip() for name, cell in zip(header, row, strict=False) if name not in OWN[1:])


def _offer(
    table: _OfferTable,
    line: int,
    row: list[str],
    items: dict[tuple[str, ...], Item | None],
    into: Diagnostics,
    rules: Rules,
) -> Offer | None:
    if len(row) > len(table.header) and any(cell.strip() for cell in row[len(table.header) :]):
        _too_many(table, line, row)
        return None
    cells = {name: cell.strip() for name, cell in zip(table.header, row, strict=False)}
    before = len(table.defects)
    price = stock = None
    try:
        price = parse_price(cells.get("price", ""), cells.get("currency") or None)
    except UnitError as error:
        table.defect(line, "currency" if "no currency" in error.message else "price", row, error.message, error.help)
    try:
        stock = _stock(cells.get("stock", ""))
    except UnitError as error:
        table.defect(line, "stock", row, error.message, error.help)
    key = _item_cells(table.header, row)
    if key not in items:
        items[key] = _item(table, line, row, cells, into, rules)
    item = items[key]
    if item is None and len(table.defects) == before:
        # The same faulty item as before: its defects are reported once more, at this line.
        _item(table, line, row, cells, into, rules)
    if item is None or price is None or len(table.defects) > before:
        return None
    try:
        return offer_of(item, price, stock, rules, f"{table.path}:{line}")
    except UnitError as error:
        table.defect(line, "currency" if "price is in" in error.message else "price", row, error.message, error.help)
        return None


def _too_many(table: _OfferTable, line: int, row: list[str]) -> None:
    what = f"{len(row)} cells, where there are {len(table.header)} columns"
    at = table.header.index("price")
    price = [cell.strip() for cell in row[at : at + 2]]
    remedy = ""
    if all(cell.split(" ")[0].isdigit() for cell in price):
        what, remedy = f"{what}: a decimal comma?", f"write the price as {'.'.join(price)}"
    table.defect(line, "price", row, what, remedy)


def _stock(cell: str) -> int | None:
    if not cell:
        return None
    if cell.startswith("-") and cell[1:].isdigit():
        raise UnitError(f"a stock of {quoted(cell)} is below zero", "write 0 for what is out of stock")
    if not (cell.isascii() and cell.isdigit()) or len(cell) > len("1000000000"):
        raise UnitError(f"{quoted(cell)} is no stock", "write a whole number, or leave the cell empty")
    return int(cell)


def _item(
    table: _OfferTable, line: int, row: list[str], cells: dict[str, str], into: Diagnostics, rules: Rules
) -> Item | None:
    keys: dict[str, Any] = {name: cell for name, cell in cells.items() if cell and name not in OWN[1:]}
    for name in FLAGS:
        if name in keys:
            keys[name] = {"true": True, "false": False}.get(keys[name].casefold(), keys[name])
    for name in NUMBERS:
        if name in keys:
            try:
                keys[name] = float(keys[name])
            except ValueError:
                table.defect(line, name, row, f"{quoted(keys[name])} is no number")
                return None
    own = Diagnostics(into.parts, into.folder, parts_whole=into.parts_whole)
    item = place_one(keys, ("row",), own, rules)
    for defect in own.defects:
        column = str(defect.where[1]) if len(defect.where) > 1 else "part"
        table.defect(line, column, row, defect.message, defect.help)
    into.warnings += own.warnings
    into.measured_hz.update(own.measured_hz)
    return item


def _take(offer: Offer, key: tuple[str, ...], offers: dict[tuple[str, ...], Offer], rules: Rules) -> None:
    """Put an offer beside the others; one given again adds to the stock of the first."""
    if not offer.stock:
        rules.remarks.append(f"{offer.where}: {quoted(offer.name)} is out of stock and left out")
        return
    known = offers.get(key)
    if known is None:
        offers[key] = offer
        return
    from dataclasses import replace

    offers[key] = replace(known, stock=known.stock + offer.stock)
    line = known.where.rpartition(":")[2]
    rules.remarks.append(
        f"{offer.where}: the same offer of {quoted(offer.name)} as in line {line}; their stocks are added"
    )


def _reported(table: _OfferTable) -> list[Defect]:
    found = sorted(table.defects, key=lambda each: (each.line, each.column))
    if len(found) <= MOST_TOLD:
        return found
    more = len(found) - MOST_TOLD
    last = found[MOST_TOLD]
    return [*found[:MOST_TOLD], Defect(table.path, last.line, 1, f"{more} more faults from here on")]
