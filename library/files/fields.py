"""The one table of the fields of parts, families, analyzers and standards: name, type, unit, default, and how a set-up says it.

The loader (`library.files.rows`), the schema of part files (`library.files.schema`), what an item of a set-up may state of its own, what is
reported of it as assumed, and which figures are sizes of unknowns all follow from `library/data/fields.csv`.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any, NamedTuple

from library.files.store import csv_rows

ALSO = {
    "pad": ("part", "two-port"),
    "adapter": ("part",),
    "coax": ("part",),
    "section": ("part", "two-port"),
    "transformer": ("part", "two-port"),
    "network": ("part", "two-port"),
    "splitter": ("part",),
    "termination": ("termination-figures",),
}
"""What kinds have in common, before their own fields."""
SCALES = {"mhz": ("hz", 1e6, True), "mm": ("m", 1e3, False), "nh": ("h", 1e9, False), "pf": ("f", 1e12, False)}
"""Unit at the end of a key, that of the record, and the factor or (rounded once only) the divisor between the two."""


class PartField(NamedTuple):
    """One field: `key` in a part file and what it takes, `field` of the record (`-`: none), `item` key of a set-up."""

    kind: str
    key: str
    takes: str
    default_text: str
    field: str
    item: str
    quantity: str
    size: bool
    words: str

    @property
    def required(self) -> bool:
        """Whether a row must have it."""
        return not self.default_text

    @property
    def default(self) -> Any:
        """What a row that leaves it out means."""
        return json.loads(self.default_text)

    def scaled(self, value: float) -> float:
        """A figure of a file in the unit of the record."""
        stem, _, unit = self.key.rpartition("_")
        if unit == "percent":
            return float(value) / 100
        own, factor, times = SCALES.get(unit, ("", 1.0, True))
        if not own or self.field != f"{stem}_{own}":
            return float(value)
        return float(value) * factor if times else float(value) / factor


@cache
def _table() -> dict[str, tuple[PartField, ...]]:
    found: dict[str, list[PartField]] = {}
    for row in csv_rows("fields.csv"):
        field = row["field"] or row["key"]
        head = row["kind"], row["key"], row["takes"], row["default"]
        made = PartField(*head, field, row["item"], row["quantity"], row["size"] == "yes", row["words"])
        found.setdefault(made.kind, []).append(made)
    return {kind: tuple(rows) for kind, rows in found.items()}


@cache
def fields_of(kind: str) -> tuple[PartField, ...]:
    """Fields of a kind of row, those it shares with others first; none where the table does not know it."""
    table = _table()
    return tuple(field for name in (*ALSO.get(kind, ()), kind) for field in table.get(name, ()))
