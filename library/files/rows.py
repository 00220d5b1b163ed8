"""From a row of a data file to a record, by the one table of fields: name, type, unit, default, how a set-up states it.

That table is `library/data/fields.csv`: loader, schema of part files (`library.files.schema`), what an item of a set-up may
state of its own, what is reported of it as assumed, and which values are sizes of unknowns all follow from it.

Built-in files are trusted (a test validates them), a user's files pass `library.files.schema` first; both come through here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import MISSING, fields
from functools import cache
from typing import Any, NamedTuple

from library import records
from library.files.store import csv_rows
from library.formulas import ladder_abcd
from library.records import Connector, Evidence, Limit


class PartKind(NamedTuple):
    """A kind of part, a row of `kinds.csv`."""

    kind: str
    record: str
    shares: tuple[str, ...]
    item_keys: tuple[str, ...]
    matching: bool
    exchanged: bool
    words: str


def _part_kind(row: dict[str, str]) -> PartKind:
    lists = tuple(row["shares"].split()), tuple(row["item"].split())
    return PartKind(
        row["kind"], row["record"], *lists, row["matching"] == "yes", row["exchanged"] == "yes", row["words"]
    )


PART_KINDS = {row["kind"]: _part_kind(row) for row in csv_rows("kinds.csv")}
"""Kinds of parts, in the order in which they are listed."""
MATCHING = tuple(kind for kind, each in PART_KINDS.items() if each.matching)
"""Kinds that may join unequal impedances."""
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
    shared = PART_KINDS[kind].shares if kind in PART_KINDS else ()
    return tuple(field for name in (*shared, kind) for field in table.get(name, ()))


Row = dict[str, Any]
Reader = Callable[[Any], Any]

SAMPLES = 32
HIGHEST_LOSS_DB = 60.0
"""Return loss at which a limit is cut off: better than that is not a statement about a whole part."""


def connector_of(text: str) -> Connector:
    """Take a well-formed connector name apart; `library.mating.parse_connector` is the one that checks."""
    words, _, variant = text.partition("(")
    family, _, gender = words.strip().rpartition(" ")
    return Connector(family, gender, variant.rstrip(") "))


def limit_of(spec: dict[str, Any]) -> Limit:
    """Reflection limit from one of its four forms in a data file [dB].

    Source: RL = -20 log10((s - 1)/(s + 1)). The VSWR form is sampled so closely that straight lines keep within 0.1
    dB of it.
    """
    kind = spec.get("magnitude_kind", "disc")
    if "return_loss_db" in spec:
        return Limit((0.0,), (float(spec["return_loss_db"]),), kind)
    if "points_mhz_db" in spec:
        points = [(float(mhz) * 1e6, float(level)) for mhz, level in spec["points_mhz_db"]]
    elif "bands_mhz_db" in spec:
        points = []
        for low, high, level in spec["bands_mhz_db"]:
            # A step needs two points; the worse side keeps the shared edge.
            points += [(float(low) * 1e6 * (1 + 1e-9), float(level)), (float(high) * 1e6, float(level))]
    else:
        slope, top_hz = float(spec.get("vswr_per_ghz", 0.0)), float(spec.get("to_mhz", 0.0)) * 1e6
        count = SAMPLES if slope else 0
        hertz = [top_hz * (step / count) ** 2 for step in range(count + 1)] if count else [0.0]
        points = [(freq, _vswr_db(float(spec["vswr"]) + slope * freq / 1e9)) for freq in hertz]
    return Limit(tuple(freq for freq, _ in points), tuple(level for _, level in points), kind)


def _vswr_db(vswr: float) -> float:
    return HIGHEST_LOSS_DB if vswr <= 1.002 else -20 * math.log10((vswr - 1) / (vswr + 1))


def ladder_loss_db(arms: list[list[Any]], near_ohm: float, far_ohm: float) -> float:
    """Loss of a ladder of resistors between its two nominal impedances [dB].

    Source: Chain matrix of the ladder; S21 = 2 sqrt(Zn Zf)/(A Zf + B + C Zn Zf + D Zn).
    """
    a, b, c, d = ladder_abcd((str(place), float(ohm)) for place, ohm in arms)
    total = a * far_ohm + b + c * near_ohm * far_ohm + d * near_ohm
    return float(20 * math.log10(total / (2 * math.sqrt(near_ohm * far_ohm))))


def _floats(value: Any) -> tuple[float, ...]:
    return tuple(float(each) for each in value)


def _pairs(value: Any) -> tuple[tuple[Any, ...], ...]:
    return tuple(tuple(each) for each in value)


def _arms(value: Any) -> tuple[tuple[str, float], ...]:
    return tuple((str(place), float(ohm)) for place, ohm in value)


NETWORK_ARMS: dict[str, tuple[str, str, float, str]] = {
    "series_inductor_nh": ("series", "inductor", 1e-9, ""),
    "series_capacitor_pf": ("series", "capacitor", 1e-12, ""),
    "shunt_inductor_nh": ("shunt", "inductor", 1e-9, ""),
    "shunt_capacitor_pf": ("shunt", "capacitor", 1e-12, ""),
    "line_ohm": ("series", "line", 1.0, ""),
    "open_stub_ohm": ("shunt", "line", 1.0, "open"),
    "short_stub_ohm": ("shunt", "line", 1.0, "short"),
}
"""Key of an arm's value: way, what it is, the unit in SI, and how a stub ends."""


def _network_arms(value: Any) -> tuple[records.NetworkArm, ...]:
    return tuple(_network_arm(each) for each in value)


def _network_arm(row: Row) -> records.NetworkArm:
    key = next(key for key in NETWORK_ARMS if row.get(key) is not None)
    way, what, unit, end = NETWORK_ARMS[key]
    return records.NetworkArm(
        way,
        what,
        float(row[key]) * unit,
        float(row.get("tolerance_percent", 0.0)) / 100,
        float(row.get("quality_factor", 0.0)),
        float(row.get("length_mm") or 0.0) / 1000,
        float(row.get("velocity_factor", 1.0)),
        float(row.get("per_sqrt_mhz_db_per_100m", 0.0)),
        float(row.get("per_mhz_db_per_100m", 0.0)),
        end,
    )


def _losses(value: Any) -> tuple[tuple[str, str, float], ...]:
    return tuple((str(first), str(second), float(loss)) for first, second, loss in value)


def _numbers(value: Any) -> tuple[tuple[float, ...], ...]:
    return tuple(_floats(each) for each in value)


def _connectors(value: Any) -> tuple[Connector, ...]:
    return tuple(connector_of(each) for each in value)


READERS: dict[str, Reader] = {
    "Name": connector_of,
    "Reflection | None": limit_of,
    "list[Arm]": _arms,
    "list[Loss]": _losses,
    "list[Name]": _connectors,
    "list[NetworkArmRow]": _network_arms,
    "list[Piece]": _numbers,
    "list[Text]": tuple,
    "bool": bool,
    "Count": int,
    "dict[str, Positive]": lambda value: tuple((str(key), float(mhz) * 1e6) for key, mhz in value.items()),
}
"""Types of `fields.csv` that are neither figures nor texts, and how their values are read."""
FIGURES = ("Positive", "NotNegative", "Tolerance", "Percent", "Velocity", "Celsius", "Share")


def _reader(field: PartField) -> Reader:
    takes = field.takes.partition(" from ")[0].partition(" to ")[0]
    if takes in READERS:
        return READERS[takes]
    if takes == "list[Positive]":
        return lambda value: tuple(float(each) * (1e6 if field.key.endswith("_mhz") else 1.0) for each in value)
    return field.scaled if takes.removesuffix(" | None") in FIGURES else str


@cache
def columns(kind: str) -> dict[str, tuple[str, Reader]]:
    """Per key of a kind of row: field of the record, and how the value is read (units become SI here)."""
    if kind == "raster":
        return RASTER
    return {each.key: (each.field, _reader(each)) for each in fields_of(kind) if each.field != "-"}


@cache
def _left_out(kind: str) -> dict[str, Any]:
    """What a row may leave out although its record has no default."""
    if kind == "raster":
        return {"a": "0", "b": "0", "c": "0", "first": 1, "last": 0}
    own = {each.name for each in fields(KINDS[kind]) if each.default is MISSING and each.default_factory is MISSING}
    found: dict[str, Any] = {}
    for each in fields_of(kind):
        if each.field in own and not each.required:
            found[each.field] = None if each.default is None else _reader(each)(each.default)
    return found


RASTER: dict[str, tuple[str, Reader]] = {
    key: (key, str) for key in ("id", "region", "service", "band", "a", "b", "c", "width_mhz", "edge_c", "occupied_mhz")
} | {"first": ("first", int), "last": ("last", int), "omit": ("omit", tuple), "extra": ("extra", _pairs)}

KINDS: dict[str, Any] = {kind: getattr(records, each.record) for kind, each in PART_KINDS.items()} | {
    "family": records.Family,
    "analyzer": records.AnalyzerClass,
    "standards": records.StandardSet,
    "raster": records.Raster,
}
"""Kind of row (the name of its table in a file) and the record it becomes."""


def record(kind: str, row: Row) -> Any:
    """Make the record of a row."""
    known = columns(kind)
    made = _left_out(kind) | {known[key][0]: known[key][1](value) for key, value in row.items() if key in known}
    if "name" in known and not row.get("name"):
        made["name"] = row["id"]
    made = {name: value for name, value in made.items() if name != "loss_db" or value is not None}
    made["evidence"] = Evidence(row.get("evidence", "stated"), row.get("source", ""), row.get("note", ""))
    if row.get("evidence_of"):
        made["evidence_of"] = tuple(
            (known[key][0] if key in known else key, Evidence(standing, row.get("source", "")))
            for key, standing in row["evidence_of"].items()
        )
    if kind == "pad":
        made.setdefault("model", "resistors" if made["arms"] else "specification")
        made.setdefault("loss_db", ladder_loss_db(row.get("arms", []), made["near_ohm"], made["far_ohm"]))
    if kind == "coax":
        static = row.get("static_evidence", row.get("evidence", "stated"))
        made["static_evidence"] = Evidence(str(static), str(row.get("static_source", row.get("source", ""))))
        lead = Evidence(str(row.get("lead_evidence", "stated")), str(row.get("lead_source", "")))
        made["lead_evidence"] = lead if made["limit"] else None
    return KINDS[kind](**made)
