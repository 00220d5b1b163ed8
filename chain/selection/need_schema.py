"""Keys of a need file beside those of an item: what is wanted, what is owned, what is on offer; and its JSON Schema."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, cast

from pydantic import Field, PlainValidator, WithJsonSchema

from chain.errors import UnitError
from chain.files.quantities import named, wrong
from chain.files.schema import (
    REQUIRED,
    AnalyzerKeys,
    Coupler,
    Frequency,
    Impedance,
    Length,
    Ratio,
    ReturnLoss,
    Table,
)
from chain.files.schema_export import setup_schema
from chain.money import Price, parse_price

__all__ = ["MOST_ITEMS", "PART_TABLES", "PLANES", "HaveModel", "NeedModel", "OfferModel", "need_schema"]

PLANES = ("near", "after-pad", "far")
DIRECT = ("block", "pass")
MOST_ITEMS = 8
MOST_STOCK = 10**9
PART_TABLES = ("pad", "adapter", "coax", "section", "transformer", "network", "splitter", "termination")
"""Tables of new parts given in full, as in a part file."""


def _read_price(value: object) -> Price:
    if not isinstance(value, str):
        raise wrong(
            f"a price is needed here, not {named(value)}", 'write it in quotes with its currency, as in "6.50 EUR"'
        )
    try:
        return parse_price(value)
    except UnitError as error:
        raise wrong(error.message, error.help) from None


MONEY_SCHEMA = {"type": "string", "pattern": r"^\s*[0-9]+(\.[0-9]{0,2}0*)?\s*[A-Z]{3}\s*(/\s*m)?\s*$"}
Money = Annotated[Price | None, PlainValidator(_read_price), WithJsonSchema(MONEY_SCHEMA)]


class WantKeys(Table):
    """What the chain is for."""

    near: Coupler = Field(None, description="Connector of the analyzer's port.", examples=["N-50 jack"])
    far: Coupler = Field(None, description="Connector of the antenna.", examples=["F-75 jack"])
    near_impedance: Impedance = Field(
        None, description="The analyzer's reference; 50 ohm if left out.", examples=["50 ohm"]
    )
    far_impedance: Impedance = Field(
        None, description="The antenna's reference; 75 ohm if left out.", examples=["75 ohm"]
    )
    start: Frequency = Field(None, description="Lowest frequency.", examples=["174 MHz"])
    stop: Frequency = Field(None, description="Highest frequency.", examples=["240 MHz"])
    limit: Ratio = Field(None, description="Limit that the chain must tell apart.", examples=["VSWR 2.0"])
    most_items: int | None = Field(None, ge=1, le=MOST_ITEMS, description="Longest chain; 4 if left out.", examples=[4])
    budget: Money = Field(None, description="Most that may be spent.", examples=["40 EUR"])
    planes: list[str] | None = Field(
        None,
        description="Calibration planes allowed: near, after-pad, far; all if left out.",
        examples=[["near", "far"]],
    )
    dc: str | None = Field(None, description="block: DC must not pass; pass: it must.", examples=["block"])
    lead: bool | None = Field(None, description="True: a lead must be among the items.", examples=[True])
    lead_length: Length = Field(None, description="Length leads are cut to; 0.6 m if left out.", examples=["0.6 m"])
    load: ReturnLoss = Field(
        None, description="Return loss of the load for planes behind the port.", examples=["32 dB"]
    )
    phase: bool | None = Field(None, description="The same as shows: true is complex, false is vswr.", examples=[True])


class NeedModel(AnalyzerKeys, WantKeys):
    """What the chain is for, and what the analyzer can do."""


class HaveModel(Table):
    """How many of an item are owned."""

    count: int | None = Field(None, ge=0, le=MOST_STOCK, description="How many there are; 1 if left out.", examples=[1])


class OfferModel(Table):
    """What an item costs, and how many there are."""

    price: Money = Field(None, description="Price of one, or of a metre of cable.", examples=["6.50 EUR", "0.80 EUR/m"])
    stock: int | None = Field(
        None, ge=0, le=MOST_STOCK, description="How many there are (of cable by the metre: metres).", examples=[3]
    )


# The table reader looks up there which keys it must ask for.
cast("dict[type[Table], tuple[str, ...]]", REQUIRED).update(
    {NeedModel: ("near", "far", "start", "stop", "limit"), HaveModel: (), OfferModel: ("price",)}
)


@dataclass(frozen=True)
class _Rows:
    model: type[Table]
    title: str
    text: str


ROWS = {
    "have": _Rows(HaveModel, "have", "Something owned: a part with any figure of its own, or a measured two-port."),
    "offer": _Rows(OfferModel, "offer", "Something that can be bought, otherwise as above."),
}


def need_schema() -> dict[str, Any]:
    """Give the JSON Schema of a need file.

    Source: The models of this module, of `chain.files.schema` and of `library.schema`.
    """
    from library.schema import PartFile

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
            "need": _table(NeedModel, "need"),
            **{name: {"type": "array", "items": {"$ref": f"#/$defs/{name}"}} for name in ROWS},
            **{name: parts["properties"][name] for name in PART_TABLES},
        },
        "required": ["need"],
        "additionalProperties": False,
        "$defs": {**parts["$defs"], **{name: setup["$defs"][name] for name in ("item", "attenuation", "arm")}},
    }
    item = setup["$defs"]["item"]
    for name, rows in ROWS.items():
        own = _table(rows.model, name)
        joined = {**item, "title": rows.title, "description": rows.text}
        joined["properties"] = {**item["properties"], **own["properties"]}
        joined["required"] = list(REQUIRED[rows.model])
        found["$defs"][name] = joined
    return found


def _table(model: type[Table], title: str) -> dict[str, Any]:
    schema = model.model_json_schema()
    schema.pop("$defs", None)
    schema["title"] = title
    for key, value in schema["properties"].items():
        told = {word: each for word, each in value.items() if word not in ("default", "title", "anyOf")}
        choices = [each for each in value.get("anyOf", []) if each != {"type": "null"}]
        schema["properties"][key] = {**choices[0], **told} if choices else told
    if REQUIRED[model]:
        schema["required"] = list(REQUIRED[model])
    return schema
