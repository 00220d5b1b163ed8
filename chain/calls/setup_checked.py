"""A set-up that a caller hands over, looked over: `dataclasses.replace` puts any value into a record, the reader of files has seen none."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from numbers import Integral
from typing import Any

from chain.errors import RangeError, quoted
from chain.files.quantities import ELEMENTS, SHOWS
from chain.files.schema import MOST_POINTS
from chain.files.setup_file import MOST_ITEMS, MOST_LOSS_DB, loss_db, up_to_date
from chain.setups import Antenna, Calibration, Far, Item, Near, Setup, Sweep
from chain.units import KINDS, is_number
from library.records import MAGNITUDE_KINDS, Connector, Limit, Part

RECORDS = {"sweep": Sweep, "near": Near, "far": Far, "calibration": Calibration, "antenna": Antenna}
"""Tables of a set-up and their records."""
KIND_OF = {
    "_hz": "frequency",
    "_m": "length",
    "_ohm": "impedance",
    "_vswr": "vswr",
    "_db": "return_loss",
    "_h": "inductance",
    "_f": "capacitance",
    "_v": "voltage",
    "_dbm": "power",
    "_c": "temperature",
    "_deg": "angle",
    "_1ghz": "angle",
}
"""Kind of quantity that the end of a field's name stands for; its span is the one of a set-up file."""
SPAN_OF = {"antenna_q": (0.0, 10_000.0), "velocity_factor": (1e-3, 1.0)}
"""Spans of figures without a unit."""
CHOICES = {"shows": SHOWS, "element": ("", *ELEMENTS), "type": None}


def checked(setup: Setup, name: str = "setup") -> Setup:
    """The set-up, if every figure of it has the type and the span that its key has in a file; its remarks as of these figures.

    Raises RangeError naming the item or table, the field, the value and its span.
    """
    for table, record in RECORDS.items():
        _record(getattr(setup, table), record, f"{name}.{table}", True)
    items = setup.items
    if not isinstance(items, tuple) or not items or len(items) > MOST_ITEMS:
        raise RangeError(f"{name}.items is no tuple of 1 to {MOST_ITEMS} items", "write items=(*setup.items,)")
    for item in _all_items(items, name):
        if not isinstance(item.part, Part):
            raise RangeError(
                f"item '{item.id}': part {quoted(item.part)} is no part",
                "take one of the library's, or replace(item.part, ...)",
            )
        _record(item.part, type(item.part), f"item '{item.id}': part", False)
    _sweep(setup.sweep, name)
    _names(setup, name)
    total = sum(loss_db(item, setup.sweep.stop_hz) for item in items)
    if not total <= MOST_LOSS_DB:
        raise RangeError(
            f"the chain loses {total:.0f} dB one way at the top of its sweep: nothing comes back through it",
            f"{MOST_LOSS_DB:g} dB at most can be computed",
        )
    return up_to_date(setup)


def _all_items(items: Sequence[Any], name: str) -> Iterator[Item]:
    for number, item in enumerate(items):
        _record(item, Item, f"item {quoted(item.id)}" if isinstance(item, Item) else f"{name}.items[{number}]", True)
        yield item
        for arm in item.arms:
            yield from _all_items(arm.items, f"item {quoted(item.id)}")


def _record(record: Any, kind: type, where: str, strict: bool) -> None:
    if not isinstance(record, kind):
        raise RangeError(
            f"{where} is no {kind.__name__} but {type(record).__name__} {quoted(record)}",
            "change one: replace(record, field=value)",
        )
    assert is_dataclass(record)
    for each in fields(record):
        _value(getattr(record, each.name), each.name, str(each.type), where, strict)


def _value(value: Any, name: str, declared: str, where: str, strict: bool) -> None:
    """One field: a number within its span, a text among those known, a flag, a connector."""
    optional = declared.endswith("| None")
    kind = declared.removesuffix("| None").strip()
    if value is None and optional:
        return
    if kind == "float":
        _figure(value, name, where, strict)
    elif kind == "bool" and not isinstance(value, bool):
        raise RangeError(f"{where}: {name} is True or False, not {quoted(value)}")
    elif kind == "Connector" and not isinstance(value, Connector):
        raise RangeError(
            f"{where}: {name} is no Connector but {quoted(value)}", "parse_connector of the library reads one"
        )
    elif kind == "Limit" and not isinstance(value, Limit):
        raise RangeError(f"{where}: {name} is no Limit but {quoted(value)}")
    elif kind == "str":
        known = CHOICES.get(name) or (MAGNITUDE_KINDS if strict and name.endswith("_kind") else None)
        if not isinstance(value, str) or (known and value not in known):
            remedy = f"it is one of {', '.join(each or quoted('') for each in known)}" if known else "it is a text"
            raise RangeError(f"{where}: {name} {quoted(value)} is not known", remedy)


def _figure(value: Any, name: str, where: str, strict: bool) -> None:
    if not is_number(value):
        what = f"{where}: {name} is a number, not {type(value).__name__} {quoted(value)}"
        raise RangeError(what, "figures of a record are plain numbers in the unit that ends the name of their field")
    low, high, unit = _span(name, strict)
    if not low <= float(value) <= high:
        ends = f"from {low:g} on" if math.isinf(high) else f"from {low:g} to {high:g}"
        raise RangeError(f"{where}: {name} = {float(value):g} is out of range", f"it lies {ends}{unit}")


def _span(name: str, strict: bool) -> tuple[float, float, str]:
    """Lowest and highest value of a field, and the words for its unit; a part's own figures are never below zero."""
    if name in SPAN_OF:
        return (*SPAN_OF[name], "")
    end = next((end for end in sorted(KIND_OF, key=len, reverse=True) if name.endswith(end)), "")
    if not end:
        return 0.0, math.inf, ""
    kind = KINDS[KIND_OF[end]]
    unit = f" {next(iter(kind.units))}" if end != "_vswr" else ""
    if not strict and end != "_c":
        return 0.0, math.inf, unit
    return kind.low, kind.high, unit


def _sweep(sweep: Sweep, name: str) -> None:
    points = sweep.points
    if not is_number(points, Integral) or not 1 <= points <= MOST_POINTS:
        raise RangeError(
            f"{name}.sweep: points {quoted(points)} is out of range", f"it is a whole number from 1 to {MOST_POINTS}"
        )
    if sweep.start_hz <= 0 or sweep.stop_hz < sweep.start_hz or (sweep.stop_hz == sweep.start_hz and points > 1):
        what = f"{name}.sweep: {sweep.start_hz:g} to {sweep.stop_hz:g} Hz does not rise from above zero"
        raise RangeError(what, "stop_hz lies above start_hz, or points is 1")


def _names(setup: Setup, name: str) -> None:
    """Names that stand for something else: the plane, and ids once each."""
    ids = [item.id for item in setup.items]
    if len(set(ids)) < len(ids):
        raise RangeError(
            f"{name}: two items have the id {quoted(max(ids, key=ids.count))}", "give each item an id of its own"
        )
    plane = setup.calibration.plane
    if plane not in ("near", *ids):
        raise RangeError(
            f"{name}.calibration: plane {quoted(plane)} is no item", f"it is one of near, {', '.join(ids)}"
        )
