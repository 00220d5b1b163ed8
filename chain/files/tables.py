"""Tables of a file by their keys: what each takes, how it is read, how it looks in the JSON Schema; and one table read.

A table is a class whose attributes are made by `key`. Reading one reports every defect at once and never stops at the first.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from inspect import cleandoc
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, TypeVar

from chain.errors import Defect, quoted
from chain.files.toml import PlacedDefect, Where, closest
from library.frozen import dataclass

if TYPE_CHECKING:
    from library.parts import Library

Own = TypeVar("Own", bound="Table")

LARGEST_REPORTED = 10**18
"""Largest number that is repeated in a message."""


class Refused(ValueError):
    """A value that will not do, and what to write instead; `inside` is where in the value, `others` more of the kind."""

    def __init__(self, what: str, remedy: str = "", inside: tuple[str | int, ...] = ()) -> None:
        super().__init__(what)
        self.what, self.remedy, self.inside = what, remedy, inside
        self.others: list[Refused] = []


class TableDefect(NamedTuple):
    """One defect of a table: where in it, what, and the remedy; `unknown_to` holds the keys of a table that lacks the one there."""

    where: tuple[str | int, ...]
    what: str
    remedy: str
    unknown_to: tuple[str, ...] = ()


@dataclass(frozen=True)
class KeyKind:
    """What a key takes: `read` gives the value, or raises `Refused`; it is given the library and the name of the key.

    `inner` is the table that lies inside, for a key that takes one.
    """

    read: Callable[[Any, Library | None, str], Any]
    schema: Mapping[str, Any]
    inner: type[Table] | None = None


class Key(NamedTuple):
    """One key of a table."""

    kind: KeyKind
    description: str
    examples: Sequence[Any]


def key(kind: KeyKind, description: str, examples: Sequence[Any]) -> Any:
    """Declare a key of a table; it may always be left out and is None then."""
    return Key(kind, description, examples)


def wrong(what: str, remedy: str = "") -> Refused:
    """Build the refusal of a value."""
    return Refused(what, remedy)


class Table:
    """Base of all tables: nothing unknown, nothing converted, no NaN and no infinity."""

    keys: ClassVar[dict[str, Key]] = {}
    required: ClassVar[tuple[str, ...]] = ()
    """Keys that it must have."""

    def __init_subclass__(cls) -> None:
        cls.keys = {}
        for each in reversed(cls.__mro__):
            cls.keys |= vars(each).get("own_keys", {})
        own = {name: value for name, value in vars(cls).items() if isinstance(value, Key)}
        cls.own_keys = own
        cls.keys |= own
        for name in own:
            setattr(cls, name, None)

    own_keys: ClassVar[dict[str, Key]] = {}

    def __init__(self, **values: Any) -> None:
        vars(self).update(values)

    @classmethod
    def read(cls: type[Own], raw: Mapping[str, Any], library: Library | None) -> tuple[Own, list[TableDefect]]:
        """Read a table: what could be read of it, and every defect."""
        values: dict[str, Any] = {}
        defects: list[TableDefect] = []
        for name, (kind, _, _) in cls.keys.items():
            if name not in raw:
                continue
            value = raw[name]
            if kind.inner is not None and isinstance(value, dict):
                found, inside = kind.inner.read(value, library)
                defects += [TableDefect((name, *defect.where), *defect[1:]) for defect in inside]
                if not inside:
                    values[name] = found
                continue
            try:
                values[name] = kind.read(value, library, name)
            except Refused as error:
                every = (error, *error.others)
                defects += [TableDefect((name, *each.inside), each.what, each.remedy) for each in every]
        defects += [TableDefect((name,), "", "", tuple(cls.keys)) for name in raw if name not in cls.keys]
        return cls(**values), defects

    @classmethod
    def schema(cls) -> dict[str, Any]:
        """JSON Schema of the table."""
        return {
            "additionalProperties": False,
            "description": cleandoc(cls.__doc__ or ""),
            "properties": {
                name: {**each.kind.schema, "description": each.description, "examples": list(each.examples)}
                for name, each in cls.keys.items()
            },
            "type": "object",
        }


def named(value: object) -> str:
    """Give the type of a TOML value in words (types of TOML 1.0)."""
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text", list: "a list", dict: "a table"}
    return names.get(type(value), "a date or time")


def quoted_value(value: object) -> str:
    """Give a value of the file in words that are safe to show."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > LARGEST_REPORTED:
        return "this number"
    return named(value) if isinstance(value, (dict, list)) else quoted(value)


def plain_kind(read: Callable[[Any], Any], schema: Mapping[str, Any]) -> KeyKind:
    """A kind whose reader looks at the value alone."""
    return KeyKind(lambda value, _library, _key: read(value), schema)


def _in_range(value: float, key: str, limits: Mapping[str, float]) -> None:
    """Refuse a number beyond the one of its limits that it passes."""
    beyond = {
        "above": lambda limit: value <= limit,
        "at least": lambda limit: value < limit,
        "at most": lambda limit: value > limit,
    }
    for word, limit in limits.items():
        if beyond[word](limit):
            remedy = f"a sweep has 1 to {limits['at most']:g} points" if key == "points" else ""
            raise Refused(f"{quoted_value(value)} is out of range: {key} must be {word} {limit:g}", remedy)


def _limits(above: float | None, least: float | None, most: float) -> dict[str, float]:
    found = {"at most": most, "at least": least, "above": above}
    return {word: limit for word, limit in found.items() if limit is not None}


SCHEMA_WORDS = {"at most": "maximum", "at least": "minimum", "above": "exclusiveMinimum"}


def number(most: float, above: float | None = None, least: float | None = None) -> KeyKind:
    """A bare number within limits."""
    limits = _limits(above, least, most)

    def read(value: object, _library: Library | None, key: str) -> float:
        if isinstance(value, str):
            what = f"a bare number is needed here, not {quoted(value)} in quotes"
            raise Refused(what, "write it without quotes and without a unit")
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise Refused(f"a number is needed here, not {named(value)}")
        if isinstance(value, float) and not math.isfinite(value):
            raise Refused(f"{quoted(value)} is not a finite number")
        _in_range(value, key, limits)
        return float(value)

    return KeyKind(read, {"type": "number"} | {SCHEMA_WORDS[word]: limit for word, limit in limits.items()})


def whole(least: int, most: int) -> KeyKind:
    """A whole number within limits."""
    limits = _limits(None, least, most)

    def read(value: object, _library: Library | None, key: str) -> int:
        if isinstance(value, float):
            raise Refused(f"a whole number is needed here, not {quoted(value)}", "leave the decimals out")
        if isinstance(value, str):
            raise Refused(f"a whole number is needed here, not {quoted(value)} in quotes", "write it without quotes")
        if isinstance(value, bool) or not isinstance(value, int):
            raise Refused(f"a whole number is needed here, not {named(value)}")
        _in_range(value, key, limits)
        return value

    return KeyKind(read, {"type": "integer"} | {SCHEMA_WORDS[word]: limit for word, limit in limits.items()})


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    raise Refused(
        f"a text is needed here, not {named(value)}", "put it in quotes" if isinstance(value, (int, float)) else ""
    )


def label(longest: int) -> KeyKind:
    """A text that is not empty and not too long."""

    def read(value: object) -> str:
        text = _text(value)
        if not text:
            raise Refused("this text must not be empty")
        if len(text) > longest:
            raise Refused(f"{quoted(text)} is too long", f"at most {longest} characters are allowed")
        return text

    return plain_kind(read, {"type": "string", "maxLength": longest, "minLength": 1})


def _flag(value: object) -> bool:
    if isinstance(value, bool):
        return value
    raise Refused(f"true or false is needed here, not {quoted_value(value)}", "write true or false, without quotes")


def _texts(value: object) -> list[str]:
    if not isinstance(value, list):
        raise Refused(f"a list is needed here, not {named(value)}", "write it in [ ]")
    refused = []
    for index, each in enumerate(value):
        try:
            _text(each)
        except Refused as error:
            refused.append(Refused(error.what, error.remedy, (index,)))
    if refused:
        refused[0].others = refused[1:]
        raise refused[0]
    return value


def _names(value: object) -> list[str]:
    found = _texts(value)
    if not found:
        raise Refused("this list must not be empty", "leave the key out, or name one")
    return found


def inner(table: type[Table], place: str) -> KeyKind:
    """A table inside the table, known to the whole schema by a name."""

    def read(value: object) -> Any:
        raise Refused(f"a table is needed here, not {named(value)}", "write it in { }")

    return KeyKind(lambda value, _library, _key: read(value), {"$ref": f"#/$defs/{place}"}, table)


TEXT = plain_kind(_text, {"type": "string"})
FLAG = plain_kind(_flag, {"type": "boolean"})
TEXTS = plain_kind(_texts, {"type": "array", "items": {"type": "string"}})
NAMES = plain_kind(_names, {"type": "array", "items": {"type": "string"}, "minItems": 1})


Model = TypeVar("Model", bound=Table)

OTHER_NAMES = {
    "attenuator": "pad",
    "calibrated_at": "plane",
    "dc": "dc_feed",
    "f_start": "start",
    "f_stop": "stop",
    "from": "start",
    "items": "chain",
    "kind": "part",
    "len": "length",
    "l": "length",
    "model": "part",
    "name": "id",
    "nf": "points",
    "return_loss": "reflection",
    "rl": "reflection",
    "reverse": "reversed",
    "flipped": "reversed",
    "rs": "series",
    "rp": "shunt",
    "temp": "temperature",
    "to": "stop",
    "type": "part",
    "velocity": "velocity_factor",
    "vf": "velocity_factor",
    "vswr": "limit",
    "z": "impedance",
    "z0": "impedance",
}
"""What people write for a key; used in hints only."""


@dataclasses.dataclass
class Diagnostics:
    """What comes up while a set-up is read."""

    parts: Library
    folder: Path
    defects: list[PlacedDefect] = field(default_factory=list)
    ids_whole: bool = True
    """Whether every item has an id of its own that can be named."""
    parts_whole: bool = True
    """Whether every part file that the set-up names could be read."""
    elsewhere: list[Defect] = field(default_factory=list)
    """Defects of other files that the set-up names."""
    assumed: list[str] = field(default_factory=list)
    reports_assumed: bool = True
    """Whether anybody asks what was assumed of items."""
    warnings: list[str] = field(default_factory=list)
    places: dict[str, Where] = field(default_factory=dict)
    """Where in the file a warning belongs, by its text, as far as it belongs to one place."""
    highest_hz: float = 0.0
    """Highest frequency of the sweep, where it is known."""
    measured_hz: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest frequency of each measured file, by its path."""

    def defect(self, where: Where, message: str, help: str = "", spot: str = "value") -> None:
        """Take down one defect."""
        self.defects.append(PlacedDefect(where, message, help, spot))

    def warn(self, where: Where, text: str) -> None:
        """Take down one warning and its place."""
        self.warnings.append(text)
        self.places[text] = where


def read_table(model: type[Model], raw: object, where: Where, into: Diagnostics) -> Model:
    """Read one table; its defects go to the diagnostics."""
    if not isinstance(raw, dict):
        into.defect(where, f"a table is needed here, not {named(raw)}", f"write [{where[0]}] on a line of its own")
        return model()
    suggested: set[str] = set()
    missing = [key for key in model.required if key not in raw]
    found, defects = model.read(raw, into.parts)
    for defect in defects:
        place = (*where, *defect.where)
        if defect.unknown_to:
            suggested |= unknown_key(place, defect.unknown_to, missing, into)
        else:
            into.defect(place, defect.what, defect.remedy)
    return _complete(found, missing, suggested, where, into)


def _complete(model: Model, missing: list[str], suggested: set[str], where: Where, into: Diagnostics) -> Model:
    """Take down the keys that are missing, but for those that a misspelt key stands for."""
    for key in missing:
        if key not in suggested:
            example = type(model).keys[key].examples[0]
            # One name cannot serve two tables.
            remedy = f'add {key} = "{example}"' + (", a name of its own" if key == "id" else "")
            into.defect(where, f"{key} is missing", remedy, "header")
    return model


def unknown_key(where: Where, known: Any, missing: list[str], into: Diagnostics, top: str = "the set-up") -> set[str]:
    """Take down a key that a table does not have."""
    key = str(where[-1])
    hint = closest(key, missing, OTHER_NAMES)
    if not hint.startswith("did you mean"):
        hint = closest(key, known, OTHER_NAMES)
    table = ".".join(each for each in where[:-1] if isinstance(each, str))
    place = f"[[{table}]]" if isinstance(where[-2:][0], int) else f"[{table}]" if table else top
    into.defect(where, f"{quoted(key)} is not a key of {place}", hint, "key")
    return {each for each in missing if hint == f"did you mean {quoted(each)}?"}
