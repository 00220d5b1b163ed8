"""Readers of the values in a set-up file: from what TOML gives to SI figures, and how each looks in the JSON Schema.

A reader takes the value as TOML gives it, returns the figure and raises what `wrong` builds. Each stands in the `KeyKind` of
the keys that it reads; which ones, `chain.files.schema` shows.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from chain.errors import UnitError, plain, quoted
from chain.files.tables import KeyKind, named, plain_kind, wrong
from chain.units import KINDS, NUMBER, UNIT_WORDS, Tolerance, parse_quantity, parse_tolerance
from library.records import MAGNITUDE_KINDS, Connector, Limit

if TYPE_CHECKING:
    from library.parts import Library

ELEMENTS = ("half-wave", "folded", "loop", "several")
LARGEST_BARE = 10**15
"""Largest number that is repeated in a message."""
PAIR = 2
LEAST_MEASURED_DB = 0.1
"""Least return loss of an end whose reflection was measured: of one that turns everything back nothing behind it is seen."""
SHOWS = ("vswr", "return loss", "complex")
SHOWN_AS = {
    "swr": "vswr",
    "rl": "return loss",
    "db": "return loss",
    "return-loss": "return loss",
    "r and x": "complex",
    "r+jx": "complex",
}
"""Other words for what a screen gives."""
"""What a screen gives, from least to most."""
TABLE = "table"
"""Stands in these schemas for a reference to a table that only the whole schema holds."""


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


def read_tolerance(value: object) -> Tolerance:
    """Read the half-width of an impedance, in ohm or in percent."""
    try:
        return parse_tolerance(_text(value, "a tolerance", "3 ohm"), "impedance")
    except UnitError as error:
        raise wrong(error.message, error.help) from None


def read_connector(value: object, library: Library | None, _key: str = "") -> Connector:
    """Read the name of a connector of the library that the context holds."""
    if not isinstance(value, str):
        raise wrong(f"a connector is needed here, not {named(value)}", 'write it as in "BNC-75 plug"')
    from library.errors import LibraryError
    from library.mating import parse_connector

    try:
        return parse_connector(value, library)
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
        return _passing(Limit((0.0,), (read(value),), kind))
    if not value or not all(isinstance(row, list) and len(row) == PAIR for row in value):
        raise wrong("a table of reflections is made of pairs", 'write [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]')
    freq_hz = tuple(reader("frequency")(row[0]) for row in value)
    if any(second <= first for first, second in pairwise(freq_hz)):
        raise wrong("the frequencies of this table do not rise", "put the lowest frequency first, each once")
    return _passing(Limit(freq_hz, tuple(read(row[1]) for row in value), kind))


def _passing(limit: Limit) -> Limit:
    """A limit of any size; of a measured magnitude only one that leaves something to pass."""
    if limit.kind == "ring" and min(limit.return_loss_db) < LEAST_MEASURED_DB:
        raise wrong(
            "an end that is measured to reflect everything lets nothing pass",
            f'write the magnitude that was measured, {LEAST_MEASURED_DB:g} dB or more, or the limit alone, as in "26 dB"',
        )
    return limit


def read_reference(value: object) -> tuple[float, float]:
    """Read the impedance of both ports of a file, or of each."""
    read = reader("impedance")
    if isinstance(value, list) and len(value) == PAIR:
        return read(value[0]), read(value[1])
    ohm = read(value)
    return ohm, ohm


def read_analyzer(value: object, library: Library | None, _key: str = "") -> str:
    """Read the class of an analyzer, one of the library that the context holds."""
    if not isinstance(value, str):
        raise wrong(f"a class of analyzer is needed here, not {named(value)}", 'write "handheld" or "bench"')
    from library.errors import LibraryError
    from library.load import load_library

    try:
        return (library or load_library()).analyzer(value).id
    except LibraryError as error:
        raise wrong(plain(error.message), f"there are {', '.join(map(quoted, error.near))}") from None


def read_shows(value: object) -> str:
    """Read what a screen gives at most."""
    stated = value.strip().casefold() if isinstance(value, str) else ""
    if SHOWN_AS.get(stated, stated) in SHOWS:
        return SHOWN_AS.get(stated, stated)
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
        from chain.files.toml import closest

        remedy = closest(value, ELEMENTS) if isinstance(value, str) else f"it is one of {', '.join(ELEMENTS)}"
        raise wrong(f"{quoted(value)} is no element that is known here", remedy)
    return value


RATIO_NAME = "[vV]?[sS][wW][rR]"
LOSS_NAME = r"([rR][lL]|[rR][eE][tT][uU][rR][nN] [lL][oO][sS][sS]|\|?\s*[sS](11|22)\s*\|?)"
IS = r"\s*([:=]|of|is)?\s*"


def pattern(kind: str) -> dict[str, Any]:
    """Give the JSON Schema of a kind of quantity."""
    rule = KINDS[kind]
    units = [_letters(unit) if rule.any_case else _micro(unit) for unit in rule.units]
    units += [f"{_letters(word)}[sS]?" for word, unit in UNIT_WORDS.items() if unit in rule.units]
    units += ["[kK]?[\u03a9\u2126]"] if kind == "impedance" else ["\u2103"] if kind == "temperature" else []
    number = rf"[+\u2212-]?{NUMBER.pattern.removeprefix('[+-]?')}"
    figure = rf"{number}\s*({'|'.join(units)})"
    spelled = ", ".join(each for each in rule.units if each != "kohm")
    if kind in ("return_loss", "vswr"):
        ratio, loss = rf"({RATIO_NAME}{IS}{number}|{number}\s*:\s*1)", rf"{LOSS_NAME}{IS}{number}(\s*[dD][bB])?"
        figure = rf"({ratio}(\s*:\s*1)?|{loss}|{figure})"
        spelled = "dB or `VSWR x`"
    return {"type": "string", "pattern": rf"^\s*{figure}\s*$", "$comment": spelled}


def _micro(unit: str) -> str:
    return unit.replace("u", "[uµμ]") if unit in ("um", "uH", "uF") else re.escape(unit)


def _letters(word: str) -> str:
    """A word in letters of any case."""
    return "".join(f"[{each.lower()}{each.upper()}]" if each.isalpha() else re.escape(each) for each in word)


def _pair(first: Mapping[str, Any], second: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "array", "prefixItems": [first, second], "minItems": PAIR, "maxItems": PAIR}


def _quantity(kind: str) -> KeyKind:
    return plain_kind(reader(kind), pattern(kind))


def _anything(schema: Mapping[str, Any]) -> KeyKind:
    """What is read by those who know more."""
    return plain_kind(lambda value: value, schema)


LENGTH = _quantity("length")
FREQUENCY = _quantity("frequency")
LOSS = _quantity("loss")
LOSS_TOLERANCE = _quantity("loss_tolerance")
READING_ERROR = _quantity("reading_error")
IMPEDANCE = _quantity("impedance")
INDUCTANCE = _quantity("inductance")
CAPACITANCE = _quantity("capacitance")
VOLTAGE = _quantity("voltage")
POWER = _quantity("power")
ANGLE = _quantity("angle")
TEMPERATURE = _quantity("temperature")
PERCENT = _quantity("percent")
RETURN_LOSS = _quantity("return_loss")
RATIO = _quantity("vswr")

TEXT_SCHEMA: dict[str, Any] = {"type": "string"}
TABLE_SCHEMA: dict[str, Any] = {
    "type": "array",
    "minItems": 1,
    "items": _pair(FREQUENCY.schema, RETURN_LOSS.schema),
}
MAGNITUDE_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {
        "magnitude": {
            "anyOf": [RETURN_LOSS.schema, TABLE_SCHEMA],
            "description": "The magnitude, as a return loss.",
        },
        "known": {"enum": list(MAGNITUDE_KINDS), "description": "ring: measured, its phase unknown; disc: a limit."},
    },
    "required": ["magnitude"],
    "additionalProperties": False,
}

TOLERANCE = plain_kind(read_tolerance, {"anyOf": [IMPEDANCE.schema, PERCENT.schema]})
CONNECTOR = KeyKind(read_connector, TEXT_SCHEMA)
ANALYZER = KeyKind(read_analyzer, TEXT_SCHEMA)
REFLECTION = plain_kind(read_reflection, {"anyOf": [RETURN_LOSS.schema, TABLE_SCHEMA, MAGNITUDE_SCHEMA]})
REFERENCE = plain_kind(read_reference, {"anyOf": [IMPEDANCE.schema, _pair(IMPEDANCE.schema, IMPEDANCE.schema)]})
PATH = plain_kind(read_path, _pair(TEXT_SCHEMA, TEXT_SCHEMA))
ELEMENT = plain_kind(read_element, {"enum": list(ELEMENTS)})
MAGNITUDE_KIND = plain_kind(read_magnitude_kind, {"enum": list(MAGNITUDE_KINDS)})
SHOWN = plain_kind(read_shows, {"anyOf": [{"enum": list(SHOWS)}, TEXT_SCHEMA]})
FEED = _anything({"type": "array", "items": {TABLE: "item"}})
ARMS = _anything({"type": "array", "items": {TABLE: "arm"}})
END = _anything(
    {"anyOf": [{"const": "open"}, IMPEDANCE.schema, {"type": "array", "minItems": 1, "items": {TABLE: "item"}}]}
)
