"""JSON Schema of a set-up file, put together from those of its tables."""

from __future__ import annotations

from typing import Any

from chain.files.quantities import TABLE
from chain.files.schema import (
    AntennaModel,
    ArmModel,
    AttenuationModel,
    CalibrationModel,
    FarModel,
    FrequenciesModel,
    ItemModel,
    NearModel,
)
from chain.files.setup_file import MOST_ITEMS
from chain.files.tables import Table
from chain.files.whole_file import LONGEST_TITLE

TABLES: dict[str, type[Table]] = {
    "sweep": FrequenciesModel,
    "near": NearModel,
    "item": ItemModel,
    "attenuation": AttenuationModel,
    "arm": ArmModel,
    "far": FarModel,
    "antenna": AntennaModel,
    "calibration": CalibrationModel,
}
EITHER: dict[str, list[dict[str, Any]]] = {
    "sweep": [{"required": ["start", "stop"]}, {"required": ["region", "channels"]}],
    "item": [{"required": ["part"]}, {"required": ["touchstone"]}],
}


def setup_schema() -> dict[str, Any]:
    """Give the JSON Schema of a set-up file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Set-up of a measuring chain",
        "description": "What lies between an analyzer and an antenna, near to far. Quantities are texts with a unit.",
        "type": "object",
        "properties": {
            "title": {
                "type": "string",
                "maxLength": LONGEST_TITLE,
                "description": "Title of the set-up; the name of the file if left out.",
                "examples": ["Band III aerial on a 50-ohm analyzer"],
            },
            "library": {
                "type": "array",
                "items": {"type": "string"},
                "description": "Part files of your own, on top of the built-in library; paths start at this file.",
                "examples": [["my-parts.toml"]],
            },
            "sweep": {"$ref": "#/$defs/sweep"},
            "near": {"$ref": "#/$defs/near"},
            "chain": {
                "type": "array",
                "minItems": 1,
                "maxItems": MOST_ITEMS,
                "items": {"$ref": "#/$defs/item"},
                "description": "Items in order, from the analyzer to the antenna.",
            },
            "far": {"$ref": "#/$defs/far"},
            "antenna": {"$ref": "#/$defs/antenna"},
            "calibration": {"$ref": "#/$defs/calibration"},
        },
        "required": ["sweep", "near", "chain", "far"],
        "additionalProperties": False,
        "$defs": {name: _definition(name, model) for name, model in TABLES.items()},
    }


def table_schema(table: type[Table], title: str) -> dict[str, Any]:
    """Schema of one table, with what is required of it."""
    found = {**table.schema(), "title": title}
    found["properties"] = {key: _linked(value) for key, value in found["properties"].items()}
    if table.required:
        found["required"] = list(table.required)
    return found


def _definition(name: str, table: type[Table]) -> dict[str, Any]:
    return table_schema(table, name) | ({"oneOf": EITHER[name]} if name in EITHER else {})


def _linked(schema: Any) -> Any:
    """Put references in the place of the names of tables."""
    if isinstance(schema, list):
        return [_linked(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    if TABLE in schema:
        return {"$ref": f"#/$defs/{schema[TABLE]}"}
    return {word: _linked(value) for word, value in schema.items()}
