"""Rows of what is owned and on offer: the item placed as in a set-up, its price and number read beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from chain.errors import UnitError, quoted
from chain.files.items import place_items
from chain.files.schema import ItemModel
from chain.files.tables import Diagnostics, Table, named, read_table, unknown_key
from chain.files.toml import Where
from chain.money import Price
from chain.selection.need import Offer
from chain.selection.need_schema import HaveModel, OfferModel
from chain.setups import Item
from library.errors import LibraryError
from library.records import Limit

PLENTY = 10**6
"""Stock taken where none is stated."""
LEAD_LENGTH = "0.6 m"


@dataclass
class Rules:
    """What all rows of a need share. `currency` is that of the first price met, `first_price` where that was."""

    lead_length: str = LEAD_LENGTH
    currency: str = ""
    first_price: str = ""
    lengths_assumed: bool = False
    stock_assumed: bool = False
    remarks: list[str] = field(default_factory=list)
    """What was left out or put together, each with file and line."""


def read_rows_of(key: str, raw: object, places: Sequence[str], into: Diagnostics, rules: Rules) -> list[Offer]:
    """Read `[[have]]` or `[[offer]]`."""
    if not isinstance(raw, list):
        into.defect((key,), f"a list of tables is needed here, not {named(raw)}", f"write [[{key}]] before each")
        return []
    found = []
    for number, table in enumerate(raw):
        where: Where = (key, number)
        if not isinstance(table, dict):
            into.defect(where, f"a table is needed here, not {named(table)}", f"write [[{key}]] before each")
            continue
        offer = _row(key, table, where, places[number], into, rules)
        if offer is not None and offer.stock:
            found.append(offer)
        elif offer is not None:
            rules.remarks.append(f"{places[number]}: {quoted(offer.name)} is out of stock and left out")
    return found


def _row(key: str, table: dict[str, Any], where: Where, place: str, into: Diagnostics, rules: Rules) -> Offer | None:
    model: type[Table] = HaveModel if key == "have" else OfferModel
    own, item_keys, meant = _split(table, model, where, into)
    read: Any = read_table(model, own, where, into)
    if "price" in meant:
        # Its misspelt key is reported already.
        into.defects = [each for each in into.defects if (each.where, each.message) != (where, "price is missing")]
    item = None if "part" in meant else place_one(item_keys, where, into, rules)
    if item is None:
        return None
    if isinstance(read, HaveModel):
        return Offer(item, 0, 1 if read.count is None else read.count, True, place)
    if read.price is None:
        return None
    try:
        return offer_of(item, read.price, read.stock, rules, place)
    except UnitError as error:
        into.defect((*where, "price"), error.message, error.help)
        return None


def _split(
    table: dict[str, Any], model: type[Table], where: Where, into: Diagnostics
) -> tuple[dict[str, Any], dict[str, Any], set[str]]:
    """Keys of the row itself, those of its item, and the missing ones that a misspelt key stands for."""
    own = {key: value for key, value in table.items() if key in model.keys}
    rest = {key: value for key, value in table.items() if key not in own}
    meant: set[str] = set()
    for key in [key for key in rest if key not in ItemModel.keys]:
        missing: list[str] = [
            each for each in ("price", "part") if each not in table and (each == "part" or each in model.keys)
        ]
        meant |= unknown_key((*where, key), [*model.keys, *ItemModel.keys], missing, into)
        del rest[key]
    return own, rest, meant


def place_one(keys: dict[str, Any], where: Where, into: Diagnostics, rules: Rules) -> Item | None:
    """Place one item of its own, apart from any chain."""
    name = next((keys[key] for key in ("id", "part", "touchstone") if isinstance(keys.get(key), str)), "part")
    row = {"id": name[:60] or "part", **{key: value for key, value in keys.items() if key != "id"}}
    if "length" not in keys and isinstance(keys.get("part"), str):
        # A part that the library lacks is reported when it is placed.
        with suppress(LibraryError):
            if into.parts.part(keys["part"]).kind == "coax":
                row["length"] = rules.lead_length
                rules.lengths_assumed = True
    quiet = Diagnostics(into.parts, into.folder, parts_whole=into.parts_whole, reports_assumed=False)
    placed = place_items([row], ("row",), quiet, {})
    for defect in quiet.defects:
        into.defect((*where, *defect.where[2:]), defect.message, defect.help, defect.spot)
    into.measured_hz.update(quiet.measured_hz)
    into.warnings += [f"{row['id']}: {each.partition(': ')[2]}" for each in quiet.warnings]
    return placed[0][1] if placed and not quiet.defects else None


def offer_of(
    item: Item, price: Price, stock: int | None, rules: Rules, place: str, limit: Limit | None = None
) -> Offer:
    """Price and stock of an offer, cable by the metre cut to the lead's length."""
    rules.stock_assumed |= stock is None
    if not rules.currency:
        rules.currency, rules.first_price = price.currency, place
    if price.currency != rules.currency:
        what = f"this price is in {price.currency}, that of {rules.first_price} in {rules.currency}"
        raise UnitError(what, "prices are not converted: state all of them in one currency")
    elements = PLENTY if stock is None else stock
    cost = price.hundredths
    if price.per_metre:
        if item.part.kind != "coax":
            raise UnitError(f"{quoted(item.id)} is no cable, and has no price per metre", "leave '/m' out")
        # A started hundredth counts, but not one that only rounding has started.
        cost = math.ceil(round(cost * item.length_m, 6))
        elements = PLENTY if stock is None else math.floor(round(stock / item.length_m, 6))
    return Offer(item, cost, elements, False, place, limit)
