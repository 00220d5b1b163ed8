"""Keys of a need file beside those of an item: what is wanted, what is owned, what is on offer; and its JSON Schema."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from chain.errors import UnitError
from chain.files.quantities import CONNECTOR, FREQUENCY, IMPEDANCE, LENGTH, RATIO, RETURN_LOSS
from chain.files.schema import AnalyzerKeys
from chain.files.schema_export import setup_schema, table_schema
from chain.files.tables import FLAG, TEXT, TEXTS, Table, key, named, plain_kind, whole, wrong
from chain.money import Price, parse_price
from library.files.rows import PART_KINDS
from library.frozen import dataclass

if TYPE_CHECKING:
    from library.records import Connector

PLANES = ("near", "after-pad", "far")
DIRECT = ("block", "pass")
MOST_ITEMS = 8
MOST_STOCK = 10**9


def _read_price(value: object) -> Price:
    if not isinstance(value, str):
        raise wrong(
            f"a price is needed here, not {named(value)}", 'write it in quotes with its currency, as in "6.50 EUR"'
        )
    try:
        return parse_price(value)
    except UnitError as error:
        raise wrong(error.message, error.help) from None


CURRENCY = "([A-Za-z]{3}|[\u20ac$\u00a3])"
AMOUNT = "[+]?[0-9][0-9.,' ]*"
PRICE = rf"^\s*({CURRENCY}\s*{AMOUNT}|{AMOUNT}\s*{CURRENCY})\s*(/\s*m)?\s*$"
"""Before or behind, a code or a sign, a point or a comma: as the reader takes it."""
MONEY_SCHEMA = {"type": "string", "pattern": PRICE}
MONEY = plain_kind(_read_price, MONEY_SCHEMA)


class WantKeys(Table):
    """What the chain is for."""

    near: Connector | None = key(CONNECTOR, "Connector of the analyzer's port.", ["N-50 jack"])
    far: Connector | None = key(CONNECTOR, "Connector of the antenna.", ["F-75 jack"])
    near_impedance: float | None = key(IMPEDANCE, "The analyzer's reference; 50 ohm if left out.", ["50 ohm"])
    far_impedance: float | None = key(IMPEDANCE, "The antenna's reference; 75 ohm if left out.", ["75 ohm"])
    start: float | None = key(FREQUENCY, "Lowest frequency.", ["174 MHz"])
    stop: float | None = key(FREQUENCY, "Highest frequency.", ["240 MHz"])
    limit: float | None = key(RATIO, "Limit that the chain must tell apart.", ["VSWR 2.0"])
    most_items: int | None = key(whole(1, MOST_ITEMS), "Longest chain; 4 if left out.", [4])
    budget: Price | None = key(MONEY, "Most that may be spent.", ["40 EUR"])
    planes: list[str] | None = key(
        TEXTS, "Calibration planes allowed: near, after-pad, far; all if left out.", [["near", "far"]]
    )
    dc: str | None = key(TEXT, "block: DC must not pass; pass: it must.", ["block"])
    lead: bool | None = key(FLAG, "True: a lead must be among the items.", [True])
    lead_length: float | None = key(LENGTH, "Length leads are cut to; 0.6 m if left out.", ["0.6 m"])
    load: float | None = key(RETURN_LOSS, "Return loss of the load for planes behind the port.", ["32 dB"])
    phase: bool | None = key(FLAG, "The same as shows: true is complex, false is vswr.", [True])


class NeedModel(AnalyzerKeys, WantKeys):
    """What the chain is for, and what the analyzer can do."""

    required = ("near", "far", "start", "stop", "limit")


class HaveModel(Table):
    """How many of an item are owned."""

    count: int | None = key(whole(0, MOST_STOCK), "How many there are; 1 if left out.", [1])


class OfferModel(Table):
    """What an item costs, and how many there are."""

    required = ("price",)

    price: Price | None = key(MONEY, "Price of one, or of a metre of cable.", ["6.50 EUR", "0.80 EUR/m"])
    stock: int | None = key(whole(0, MOST_STOCK), "How many there are (of cable by the metre: metres).", [3])


@dataclass(frozen=True)
class _ListTable:
    model: type[Table]
    title: str
    text: str


ROWS = {
    "have": _ListTable(
        HaveModel, "have", "Something owned: a part with any figure of its own, or a measured two-port."
    ),
    "offer": _ListTable(OfferModel, "offer", "Something that can be bought, otherwise as above."),
}


def need_schema() -> dict[str, Any]:
    """Give the JSON Schema of a need file."""
    from library.files.schema import PartFile

    setup = setup_schema()
    parts = PartFile.model_json_schema()
    found: dict[str, Any] = {
        "$schema": setup["$schema"],
        "title": "What a chain is needed for, what is owned and what is on offer",
        "description": "Quantities are texts with a unit, prices texts with a currency.",
        "type": "object",
        "properties": {
            "title": setup["properties"]["title"],
            "library": setup["properties"]["library"],
            "offers": {
                "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
                "description": "Tables of offers (CSV: part, price, currency, stock and any key of an item).",
                "examples": ["shop.csv"],
            },
            "need": table_schema(NeedModel, "need"),
            **{name: {"type": "array", "items": {"$ref": f"#/$defs/{name}"}} for name in ROWS},
            **{name: parts["properties"][name] for name in PART_KINDS},
        },
        "required": ["need"],
        "additionalProperties": False,
        "$defs": {**parts["$defs"], **{name: setup["$defs"][name] for name in ("item", "attenuation", "arm")}},
    }
    item = setup["$defs"]["item"]
    for name, rows in ROWS.items():
        own = table_schema(rows.model, name)
        joined = {**item, "title": rows.title, "description": rows.text}
        joined["properties"] = {**item["properties"], **own["properties"]}
        joined["required"] = list(rows.model.required)
        found["$defs"][name] = joined
    return found
