"""Tables of offers (CSV): part, price, currency, stock, and any key of an item that fits in a cell."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from chain.errors import Defect, InputError, UnitError, quoted
from chain.files.schema import ItemModel
from chain.files.tables import Diagnostics, Refused
from chain.files.toml import closest, decode, read_file
from chain.money import parse_price
from chain.selection.need import LIMITS, Offer
from chain.selection.need_rows import Rules, offer_of, place_one
from chain.setups import Item
from library.files.store import read_plain
from library.records import Limit

LARGEST = 50_000_000
EURO = re.compile(rb"[0-9 ;,\t]\x80|\x80[0-9 ]")
"""The sign in the encoding of Windows, beside a figure or a cell's edge."""
MOST_REPORTED = 50
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
    items = _Items(into, rules)
    for line, row in _rows(table, text, delimiter):
        if not table.header:
            table.header = [cell.strip().casefold() for cell in row]
            if not _header(table, line, row):
                break
            items.use(table.header)
            continue
        cells = items.cells(row)
        offer = _usual(table, line, row, cells, items, rules) or _offer(table, line, row, items, into, rules)
        if offer is None:
            continue
        _take(offer, (*cells, str(offer.price)), offers, rules)
    if not table.header and not table.defects:
        table.defects.append(Defect(path, 1, 1, "there is no line of column names", f"begin with {','.join(OWN)}"))
    into.elsewhere += _reported(table)
    return list(offers.values())


def _text(path: str) -> str:
    try:
        raw = read_plain(path, LARGEST)
    except (OSError, ValueError):
        # It fails here as well, and says why.
        raw = read_file(path)
    if len(raw) > LARGEST:
        raise InputError([Defect(path, 0, 0, f"the table is over {LARGEST // 10**6} MB")])
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
            if any(map(str.strip, row)) and not row[0].startswith("#"):
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


class _Items:
    """Items of the rows of a table, each placed once.

    Many rows of a shop state one part with one limit or another: the part is placed once, and each limit read once.
    """

    def __init__(self, into: Diagnostics, rules: Rules) -> None:
        self.known: dict[tuple[str, ...], Item | None] = {}
        self._into, self._rules = into, rules
        self._usual: dict[tuple[str, ...], tuple[Item, Limit | None] | None] = {}
        self._limited: dict[str, Item | None] = {}
        self._limits: dict[str, Limit | None] = {}

    def use(self, header: list[str]) -> None:
        """Take the names of the columns."""
        self.width = len(header)
        self._own = [at for at, name in enumerate(header) if name not in OWN[1:]]
        self._names = [header[at] for at in self._own]
        self.price, self.currency, self.stock = (header.index(name) if name in header else -1 for name in OWN[1:])

    def cells(self, row: list[str]) -> tuple[str, ...]:
        """The cells of a row that describe its item."""
        return tuple([row[at].strip() for at in self._own if at < len(row)])

    def usual(self, cells: tuple[str, ...]) -> tuple[Item, Limit | None] | None:
        """The item of a row that was met before, or that states nothing but a part and a limit of its reflection, both sound."""
        item = self.known.get(cells)
        if item is not None:
            return item, None
        if cells not in self._usual:
            keys = {name: cell for name, cell in zip(self._names, cells, strict=True) if cell}
            stated = keys.keys() == {"part", "reflection"}
            self._usual[cells] = self._with_limit(keys["part"], keys["reflection"]) if stated else None
        return self._usual[cells]

    def _with_limit(self, name: str, text: str) -> tuple[Item, Limit] | None:
        """A part, whatever limit is stated on it, and the limit; None where anything is to be said about them."""
        if text not in self._limits:
            try:
                self._limits[text] = ItemModel.keys["reflection"].kind.read(text, self._into.parts, "reflection")
            except Refused:
                self._limits[text] = None
        limit = self._limits[text]
        if limit is None:
            return None
        if name not in self._limited:
            own = Diagnostics(self._into.parts, self._into.folder, parts_whole=self._into.parts_whole)
            item = place_one({"part": name, "reflection": text}, ("row",), own, self._rules)
            # Every limit that the part has must be the one stated, so that another can take its place.
            held = item and [getattr(item.part, each, None) for each in LIMITS]
            alike = held and any(held) and all(each in (None, limit) for each in held)
            self._limited[name] = item if alike and not own.defects and not own.warnings else None
        found = self._limited[name]
        return None if found is None else (found, limit)


def _usual(
    table: _OfferTable, line: int, row: list[str], cells: tuple[str, ...], items: _Items, rules: Rules
) -> Offer | None:
    """The offer of a row in which nothing is amiss and nothing unusual stated; otherwise None, and `_offer` looks closer."""
    if len(row) != items.width or not row[items.price]:
        return None
    usual = items.usual(cells)
    if usual is None:
        return None
    currency = row[items.currency].strip() if items.currency >= 0 else ""
    try:
        price = parse_price(row[items.price].strip(), currency or None)
        stock = _stock(row[items.stock].strip() if items.stock >= 0 else "")
        return offer_of(usual[0], price, stock, rules, f"{table.path}:{line}", usual[1])
    except UnitError:
        return None


def _offer(
    table: _OfferTable,
    line: int,
    row: list[str],
    items: _Items,
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
    key = items.cells(row)
    if key not in items.known:
        items.known[key] = _item(table, line, row, cells, into, rules)
    item = items.known[key]
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


@lru_cache(maxsize=4096)
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
    if len(found) <= MOST_REPORTED:
        return found
    more = len(found) - MOST_REPORTED
    last = found[MOST_REPORTED]
    return [*found[:MOST_REPORTED], Defect(table.path, last.line, 1, f"{more} more defects from here on")]
