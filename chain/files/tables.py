"""One table of a set-up file against its model: everything that is wrong with it, and what is left when that is put aside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import ValidationError

from chain.errors import Defect, quoted
from chain.files.positions import SyntaxFault, Where, closest
from chain.files.quantities import named
from chain.files.schema import MOST_POINTS, REQUIRED, Table

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from library.load import Library

__all__ = ["Notes", "read_table", "unknown_key"]

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


@dataclass
class Notes:
    """What comes up while a set-up is read."""

    library: Library
    folder: Path
    faults: list[SyntaxFault] = field(default_factory=list)
    ids_whole: bool = True
    """Whether every item has an id of its own that can be named."""
    library_whole: bool = True
    """Whether every part file that the set-up names could be read."""
    elsewhere: list[Defect] = field(default_factory=list)
    """Defects of other files that the set-up names."""
    assumed: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    highest_hz: float = 0.0
    """Highest frequency of the sweep, where it is known."""
    measured_hz: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest frequency of each measured file, by its path."""

    def fault(self, where: Where, message: str, help: str = "", spot: str = "value") -> None:
        """Take down one fault."""
        self.faults.append(SyntaxFault(where, message, help, spot))


def read_table(model: type[Model], raw: object, where: Where, notes: Notes) -> Model:
    """Read one table; its faults go to the notes."""
    if not isinstance(raw, dict):
        notes.fault(where, f"a table is needed here, not {named(raw)}", f"write [{where[0]}] on a line of its own")
        return model()
    wrong: set[str] = set()
    suggested: set[str] = set()
    context = {"library": notes.library}
    missing = [key for key in REQUIRED[model] if key not in raw]
    try:
        return _complete(model.model_validate(raw, context=context), missing, suggested, where, notes)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            wrong.add(str(each["loc"][0]))
            place = (*where, *each["loc"])
            if each["type"] == "extra_forbidden":
                fields = model.model_fields if len(each["loc"]) == 1 else _inner_keys(model, str(each["loc"][0]))
                suggested |= unknown_key(place, fields, missing, notes)
            else:
                notes.fault(place, *_told(each))
    left = {key: value for key, value in raw.items() if key not in wrong}
    return _complete(model.model_validate(left, context=context), missing, suggested, where, notes)


def _complete(model: Model, missing: list[str], suggested: set[str], where: Where, notes: Notes) -> Model:
    """Take down the keys that are missing, but for those that a misspelt key stands for."""
    for key in missing:
        if key not in suggested:
            examples = type(model).model_fields[key].examples or [""]
            notes.fault(where, f"{key} is missing", f'add {key} = "{examples[0]}"', "header")
    return model


def _inner_keys(model: type[Table], key: str) -> Any:
    from chain.files.schema import AttenuationModel

    return AttenuationModel.model_fields if key == "attenuation" else model.model_fields


def unknown_key(where: Where, known: Any, missing: list[str], notes: Notes) -> set[str]:
    """Take down a key that a table does not have."""
    key = str(where[-1])
    hint = closest(key, missing, OTHER_NAMES)
    if not hint.startswith("did you mean"):
        hint = closest(key, known, OTHER_NAMES)
    table = ".".join(each for each in where[:-1] if isinstance(each, str))
    place = f"[[{table}]]" if isinstance(where[-2:][0], int) else f"[{table}]" if table else "the set-up"
    notes.fault(where, f"{quoted(key)} is not a key of {place}", hint, "key")
    return {each for each in missing if hint == f"did you mean {quoted(each)}?"}


def _told(error: ErrorDetails) -> tuple[str, str]:
    """Message and help for a value that the model refuses."""
    context: dict[str, Any] = error.get("ctx", {})
    if error["type"] == "told":
        return context["what"], context["remedy"]
    value, key = error["input"], str(error["loc"][-1])
    told: Callable[[object], tuple[str, str]] | None = WORDS.get(error["type"])
    if told is None:
        return f"{quoted_value(value)} will not do for {quoted(key)}", ""
    message, remedy = told(value)
    if "le" in context or "lt" in context or "ge" in context or "gt" in context:
        limits = [f"{word} {context[sign]:g}" for sign, word in LIMITS.items() if sign in context]
        message = f"{quoted_value(value)} is out of range: {key} must be {' and '.join(limits)}"
        remedy = f"a sweep has 1 to {MOST_POINTS} points" if key == "points" else remedy
    return message, remedy


def quoted_value(value: object) -> str:
    """Give a value of the file in words that are safe to show."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**18:
        return "this number"
    return named(value) if isinstance(value, (dict, list)) else quoted(value)


LIMITS = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}


def _number(value: object) -> tuple[str, str]:
    if isinstance(value, str):
        return (
            f"a bare number is needed here, not {quoted(value)} in quotes",
            "write it without quotes and without a unit",
        )
    return f"a number is needed here, not {named(value)}", ""


def _whole(value: object) -> tuple[str, str]:
    if isinstance(value, float):
        return f"a whole number is needed here, not {quoted(value)}", "leave the decimals out"
    if isinstance(value, str):
        return f"a whole number is needed here, not {quoted(value)} in quotes", "write it without quotes"
    return f"a whole number is needed here, not {named(value)}", ""


def _plain_text(value: object) -> tuple[str, str]:
    return f"a text is needed here, not {named(value)}", "put it in quotes" if isinstance(value, (int, float)) else ""


def _flag(value: object) -> tuple[str, str]:
    return f"true or false is needed here, not {quoted_value(value)}", "write true or false, without quotes"


WORDS: dict[str, Callable[[object], tuple[str, str]]] = {
    "float_type": _number,
    "finite_number": lambda value: (f"{quoted(value)} is not a finite number", ""),
    "int_type": _whole,
    "int_from_float": _whole,
    "string_type": _plain_text,
    "string_too_short": lambda value: ("an empty text will not do here", ""),
    "string_too_long": lambda value: (f"{quoted(value)} is too long", "60 characters are the most"),
    "bool_type": _flag,
    "list_type": lambda value: (f"a list is needed here, not {named(value)}", "write it in [ ]"),
    "model_type": lambda value: (f"a table is needed here, not {named(value)}", "write it in { }"),
    "greater_than": _number,
    "greater_than_equal": _number,
    "less_than": _number,
    "less_than_equal": _number,
}
