"""Tables as the text of a TOML file: simple values first, then each table under its head, a key a line."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from numbers import Integral
from os import PathLike
from typing import Any

from chain.errors import RangeError, quoted
from chain.units import is_number
from library.records import Connector


def toml_text(tables: Mapping[str, Any]) -> str:
    """The text of a file that holds these tables; lists of tables inside a table are written in one line."""
    lines = [f"{_key(key)} = {_value(value)}" for key, value in tables.items() if not _is_table(value)]
    for key, value in tables.items():
        for row in value if isinstance(value, list) and _is_table(value) else [value] if _is_table(value) else []:
            lines += ["", f"[[{_key(key)}]]" if isinstance(value, list) else f"[{_key(key)}]"]
            lines += [f"{_key(name)} = {_value(each)}" for name, each in row.items()]
    return "\n".join([*lines, ""])


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, list) and bool(value) and isinstance(value[0], Mapping))


def _key(name: object) -> str:
    return _text(str(name)) if not str(name).isidentifier() or not str(name).isascii() else str(name)


def _text(value: str) -> str:
    r"""A text in quotes: JSON's escapes are TOML's, but for pairs of surrogates, and DEL stands for itself in JSON alone.

    >>> _text('a "b" \U0001f4e1\x7f')
    '"a \\"b\\" 📡\\u007f"'
    """
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (str, Connector, PathLike)):
        return _text(str(value))
    if is_number(value, Integral):
        return str(int(value))
    if is_number(value):
        return repr(float(value))
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(name)} = {_value(each)}" for name, each in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(map(_value, value)) + "]"
    raise RangeError(
        f"{type(value).__name__} {quoted(value)} is nothing that a set-up holds", 'quantities are texts: "0.6 m"'
    )
