"""A part as the text of a part file, checked by the very rules that the file is read by."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from library.errors import LibraryError
from library.files.ownfile import defects_of
from library.files.store import tomllib


def part_text(kind: str, row: Mapping[str, Any], remarks: Sequence[str] = ()) -> str:
    """Write one part as a part file."""
    lines = [f"# {_printable(remark)}" for remark in remarks]
    lines += [*([""] if lines else []), f"[[{kind}]]"]
    lines += [f"{key} = {_value(value)}" for key, value in row.items()]
    text = "\n".join(lines) + "\n"
    found = defects_of(tomllib.loads(text))
    if found:
        reported = "; ".join(f"{'.'.join(map(str, where))}: {what}" for where, what in found)
        raise LibraryError(reported, defects=found)
    return text


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(_printable(value), ensure_ascii=False)
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {_value(each)}" for key, each in value.items()) + "}"
    return "[" + ", ".join(_value(each) for each in value) + "]"
