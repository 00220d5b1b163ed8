"""Tables of a file by their keys: what each key takes, how it is read, and how it looks in the JSON Schema.

A table is a class whose attributes are made by `key`. Reading one tells every fault at once and never stops at the first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from inspect import cleandoc
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, TypeVar

from chain.errors import quoted
from library.frozen import dataclass

if TYPE_CHECKING:
    from library.parts import Library

Own = TypeVar("Own", bound="Table")

LARGEST_TOLD = 10**18
"""Largest number that is repeated in a message."""


class Refused(ValueError):
    """A value that will not do, and what to write instead; `inside` is where in the value, `others` more of the kind."""

    def __init__(self, what: str, remedy: str = "", inside: tuple[str | int, ...] = ()) -> None:
        super().__init__(what)
        self.what, self.remedy, self.inside = what, remedy, inside
        self.others: list[Refused] = []


class Fault(NamedTuple):
    """One fault of a table: where in it, what, and the remedy; `unknown_to` holds the keys of a table that lacks the one there."""

    where: tuple[str | int, ...]
    what: str
    remedy: str
    unknown_to: tuple[str, ...] = ()


@dataclass(frozen=True)
class Kind:
    """What a key takes: `read` gives the value, or raises `Refused`; it is given the library and the name of the key.

    `inner` is the table that lies inside, for a key that takes one.
    """

    read: Callable[[Any, Library | None, str], Any]
    schema: Mapping[str, Any]
    inner: type[Table] | None = None


class Key(NamedTuple):
    """One key of a table."""

    kind: Kind
    description: str
    examples: Sequence[Any]


def key(kind: Kind, description: str, examples: Sequence[Any]) -> Any:
    """Declare a key of a table; it may always be left out and is None then."""
    return Key(kind, description, examples)


def wrong(what: str, remedy: str = "") -> Refused:
    """Build the refusal of a value."""
    return Refused(what, remedy)


class Table:
    """Base of all tables: nothing unknown, nothing converted, no NaN and no infinity."""

    keys: ClassVar[dict[str, Key]] = {}

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
    def read(cls: type[Own], raw: Mapping[str, Any], library: Library | None) -> tuple[Own, list[Fault]]:
        """Read a table: what could be read of it, and every fault."""
        values: dict[str, Any] = {}
        faults: list[Fault] = []
        for name, (kind, _, _) in cls.keys.items():
            if name not in raw:
                continue
            value = raw[name]
            if kind.inner is not None and isinstance(value, dict):
                found, inside = kind.inner.read(value, library)
                faults += [Fault((name, *fault.where), *fault[1:]) for fault in inside]
                if not inside:
                    values[name] = found
                continue
            try:
                values[name] = kind.read(value, library, name)
            except Refused as error:
                every = (error, *error.others)
                faults += [Fault((name, *each.inside), each.what, each.remedy) for each in every]
        faults += [Fault((name,), "", "", tuple(cls.keys)) for name in raw if name not in cls.keys]
        return cls(**values), faults

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
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > LARGEST_TOLD:
        return "this number"
    return named(value) if isinstance(value, (dict, list)) else quoted(value)


def plain_kind(read: Callable[[Any], Any], schema: Mapping[str, Any]) -> Kind:
    """A kind whose reader looks at the value alone."""
    return Kind(lambda value, _library, _key: read(value), schema)


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


def number(most: float, above: float | None = None, least: float | None = None) -> Kind:
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

    return Kind(read, {"type": "number"} | {SCHEMA_WORDS[word]: limit for word, limit in limits.items()})


def whole(least: int, most: int) -> Kind:
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

    return Kind(read, {"type": "integer"} | {SCHEMA_WORDS[word]: limit for word, limit in limits.items()})


def _text(value: object) -> str:
    if isinstance(value, str):
        return value
    raise Refused(
        f"a text is needed here, not {named(value)}", "put it in quotes" if isinstance(value, (int, float)) else ""
    )


def label(longest: int) -> Kind:
    """A text that is not empty and not too long."""

    def read(value: object) -> str:
        text = _text(value)
        if not text:
            raise Refused("this text must not be empty")
        if len(text) > longest:
            raise Refused(f"{quoted(text)} is too long", f"{longest} characters are allowed")
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


def inner(table: type[Table], place: str) -> Kind:
    """A table inside the table, known to the whole schema by a name."""

    def read(value: object) -> Any:
        raise Refused(f"a table is needed here, not {named(value)}", "write it in { }")

    return Kind(lambda value, _library, _key: read(value), {"$ref": f"#/$defs/{place}"}, table)


TEXT = plain_kind(_text, {"type": "string"})
FLAG = plain_kind(_flag, {"type": "boolean"})
TEXTS = plain_kind(_texts, {"type": "array", "items": {"type": "string"}})
NAMES = plain_kind(_names, {"type": "array", "items": {"type": "string"}, "minItems": 1})
