"""Readers of the values in a set-up file: from what TOML gives to SI figures, and how each looks in the JSON Schema.

A reader takes the value as TOML gives it, returns the figure and raises what `wrong` builds. It is called by the models of
`chain.files.schema` alone; what each one takes is told there, key by key.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from pydantic import ValidationInfo
from pydantic_core import PydanticCustomError

from chain.errors import UnitError, plain, quoted
from chain.units import KINDS, NUMBER, Tolerance, parse_quantity, parse_tolerance
from library.records import MAGNITUDE_KINDS, Connector, Limit

__all__ = [
    "ARMS_SCHEMA",
    "ELEMENT_SCHEMA",
    "END_SCHEMA",
    "FEED_SCHEMA",
    "MAGNITUDE_KIND_SCHEMA",
    "PATH_SCHEMA",
    "REFERENCE_SCHEMA",
    "REFLECTION_SCHEMA",
    "SHOWS_SCHEMA",
    "TABLE",
    "TEXT_SCHEMA",
    "TOLERANCE_SCHEMA",
    "named",
    "pattern",
    "read_analyzer",
    "read_connector",
    "read_element",
    "read_magnitude_kind",
    "read_path",
    "read_reference",
    "read_reflection",
    "read_shows",
    "read_tolerance",
    "reader",
]

ELEMENTS = ("half-wave", "folded", "loop", "several")
LARGEST_BARE = 10**15
"""Largest number that is repeated in a message."""
PAIR = 2
SHOWS = ("vswr", "return loss", "complex")
"""What a screen gives, from least to most."""
TABLE = "table"
"""Stands in these schemas for a reference to a table that only the whole schema holds."""


def wrong(what: str, remedy: str = "") -> PydanticCustomError:
    """Build a fault that carries its own words, so that no text of the user's is taken for a template."""
    return PydanticCustomError("told", "{what}", {"what": what, "remedy": remedy})


def reader(kind: str) -> Callable[[object], float]:
    """Give the reader of a kind of quantity."""

    def read(value: object) -> float:
        try:
            return parse_quantity(_text(value, KINDS[kind].noun, KINDS[kind].example), kind)
        except UnitError as error:
            raise wrong(error.message, error.help) from None

    return read


def _text(value: object, noun: str, example: str) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise wrong(f"{noun} is needed here, not {named(value)}", f'write it as in "{example}"')
    if isinstance(value, float) and not math.isfinite(value):
        raise wrong(f"{quoted(value)} is not a finite number", f'write it as in "{example}"')
    if abs(value) > LARGEST_BARE:
        raise wrong(f"this number has no unit, and is far too large for {noun}", f'write it as in "{example}"')
    text = f"{value} {example.split()[-1]}" if example[0].isdigit() else f"{example.split()[0]} {value}"
    raise wrong(f"{quoted(value)} has no unit", f'write "{text}", in quotes, if that is meant')


def named(value: object) -> str:
    """Give the type of a TOML value in words.

    Source: Types of TOML 1.0.
    """
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text", list: "a list", dict: "a table"}
    return names.get(type(value), "a date or time")


def read_tolerance(value: object) -> Tolerance:
    """Read the half-width of an impedance, in ohm or in percent."""
    try:
        return parse_tolerance(_text(value, "a tolerance", "3 ohm"), "impedance")
    except UnitError as error:
        raise wrong(error.message, error.help) from None


def read_connector(value: object, info: ValidationInfo) -> Connector:
    """Read the name of a connector of the library that the context holds."""
    if not isinstance(value, str):
        raise wrong(f"a connector is needed here, not {named(value)}", 'write it as in "BNC-75 plug"')
    from library.errors import LibraryError
    from library.mating import parse_connector

    try:
        return parse_connector(value, (info.context or {}).get("library"))
    except LibraryError as error:
        raise wrong(plain(error.message), error.help or 'write it as in "BNC-75 plug"') from None


def read_reflection(value: object) -> Limit:
    """Read the limit of a reflection: one figure, a table over frequency, or a magnitude that was measured."""
    read = reader("return_loss")
    kind = "disc"
    if isinstance(value, dict):
        known = value.get("known", "ring")
        if set(value) - {"magnitude", "known"} or "magnitude" not in value or known not in MAGNITUDE_KINDS:
            remedy = 'write { magnitude = "26 dB", known = "ring" } for a magnitude that was measured'
            raise wrong("this table is no reflection", remedy)
        kind, value = str(known), value["magnitude"]
    if not isinstance(value, list):
        return Limit((0.0,), (read(value),), kind)
    if not value or not all(isinstance(row, list) and len(row) == PAIR for row in value):
        raise wrong("a table of reflections is made of pairs", 'write [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]')
    freq_hz = tuple(reader("frequency")(row[0]) for row in value)
    if any(second <= first for first, second in pairwise(freq_hz)):
        raise wrong("the frequencies of this table do not rise", "put the lowest frequency first, each once")
    return Limit(freq_hz, tuple(read(row[1]) for row in value), kind)


def read_reference(value: object) -> tuple[float, float]:
    """Read the impedance of both ports of a file, or of each."""
    read = reader("impedance")
    if isinstance(value, list) and len(value) == PAIR:
        return read(value[0]), read(value[1])
    ohm = read(value)
    return ohm, ohm


def read_analyzer(value: object, info: ValidationInfo) -> str:
    """Read the class of an analyzer, one of the library that the context holds."""
    if not isinstance(value, str):
        raise wrong(f"a class of analyzer is needed here, not {named(value)}", 'write "handheld" or "bench"')
    from library.errors import LibraryError
    from library.load import Library, load_library

    try:
        library: Library = (info.context or {}).get("library") or load_library()
        return library.analyzer(value).id
    except LibraryError as error:
        raise wrong(plain(error.message), f"there are {', '.join(map(quoted, error.near))}") from None


def read_shows(value: object) -> str:
    """Read what a screen gives at most."""
    if isinstance(value, str) and value.casefold() in SHOWS:
        return value.casefold()
    given = quoted(value) if isinstance(value, str) else named(value)
    raise wrong(f"{given} is nothing that an analyzer shows", f"write one of {', '.join(map(quoted, SHOWS))}")


def read_magnitude_kind(value: object) -> str:
    """Read how magnitudes are spread within a limit."""
    if isinstance(value, str) and value in MAGNITUDE_KINDS:
        return value
    given = quoted(value) if isinstance(value, str) else named(value)
    raise wrong(
        f"{given} does not say how magnitudes are spread", f"write one of {', '.join(map(quoted, MAGNITUDE_KINDS))}"
    )


def read_path(value: object) -> tuple[str, str]:
    """Read the two ports of a splitter that the chain runs through."""
    if not isinstance(value, list) or len(value) != PAIR or not all(isinstance(each, str) for each in value):
        raise wrong("a path is two ports of the splitter", 'write it as in ["in", "out1"]')
    return value[0], value[1]


def read_element(value: object) -> str:
    """Read the name of a driven element."""
    if not isinstance(value, str) or value not in ELEMENTS:
        from chain.files.positions import closest

        remedy = closest(value, ELEMENTS) if isinstance(value, str) else f"it is one of {', '.join(ELEMENTS)}"
        raise wrong(f"{quoted(value)} is no element that is known here", remedy)
    return value


def pattern(kind: str) -> dict[str, Any]:
    """Give the JSON Schema of a kind of quantity.

    Source: Units of the kind.
    """
    rule = KINDS[kind]
    units = [unit.replace("u", "[uµμ]") if unit in ("um", "uH", "uF") else unit for unit in rule.units]
    units += ["k?[\u03a9\u2126]"] if kind == "impedance" else []
    figure = rf"{NUMBER.pattern}\s*({'|'.join(units)})"
    if kind in ("return_loss", "vswr"):
        figure = rf"((RL\s+)?{figure}|VSWR\s*{NUMBER.pattern})"
    return {"type": "string", "pattern": rf"^\s*{figure}\s*$"}


def _pair(first: dict[str, Any], second: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "prefixItems": [first, second], "minItems": PAIR, "maxItems": PAIR}


TABLE_SCHEMA: dict[str, Any] = {
    "type": "array",
    "minItems": 1,
    "items": _pair(pattern("frequency"), pattern("return_loss")),
}
MAGNITUDE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {
        "magnitude": {
            "anyOf": [pattern("return_loss"), TABLE_SCHEMA],
            "description": "The magnitude, as a return loss.",
        },
        "known": {"enum": list(MAGNITUDE_KINDS), "description": "ring: measured, its phase unknown; disc: a limit."},
    },
    "required": ["magnitude"],
    "additionalProperties": False,
}
REFLECTION_SCHEMA: dict[str, Any] = {"anyOf": [pattern("return_loss"), TABLE_SCHEMA, MAGNITUDE_SCHEMA]}
TEXT_SCHEMA: dict[str, Any] = {"type": "string"}
MAGNITUDE_KIND_SCHEMA: dict[str, Any] = {"enum": list(MAGNITUDE_KINDS)}
SHOWS_SCHEMA: dict[str, Any] = {"enum": list(SHOWS)}
TOLERANCE_SCHEMA: dict[str, Any] = {"anyOf": [pattern("impedance"), pattern("percent")]}
REFERENCE_SCHEMA: dict[str, Any] = {
    "anyOf": [pattern("impedance"), _pair(pattern("impedance"), pattern("impedance"))],
}
PATH_SCHEMA: dict[str, Any] = _pair(TEXT_SCHEMA, TEXT_SCHEMA)
ELEMENT_SCHEMA: dict[str, Any] = {"enum": list(ELEMENTS)}
FEED_SCHEMA: dict[str, Any] = {"type": "array", "items": {TABLE: "item"}}
ARMS_SCHEMA: dict[str, Any] = {"type": "array", "items": {TABLE: "arm"}}
END_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"const": "open"},
        pattern("impedance"),
        {"type": "array", "minItems": 1, "items": {TABLE: "item"}},
    ]
}
