"""The built-in data files, read no further than is asked: a TOML parser in Python manages about 1 MB/s."""

from __future__ import annotations

import csv
import re
import sys
from functools import cache
from pkgutil import get_data
from typing import Any

if sys.version_info >= (3, 11):
    import tomllib as tomllib
else:
    import tomli as tomllib

PART_FILES = {
    "pads.toml": ("pad",),
    "coax.toml": ("coax",),
    "matching.toml": ("section", "transformer", "network"),
    "splitters.toml": ("splitter",),
    "terminations.toml": ("termination",),
    "adapters.toml": ("adapter",),
    "dc_blocks.toml": ("adapter",),
}
"""Files that hold parts, and the kinds in each."""

ID_LINE = re.compile(r'^id = "([^"]+)"$', re.MULTILINE)


@cache
def text_of(file: str) -> str:
    """Read the text of a built-in file."""
    # pathlib and importlib.resources would each add 5 ms to the start of every command.
    data = get_data("library", f"data/{file}")
    assert data is not None, "the loader of this package gives its data files"
    return data.decode("utf-8").replace("\r\n", "\n")


@cache
def csv_rows(file: str) -> tuple[dict[str, str], ...]:
    """Rows of a built-in table by its heads, remarks left out."""
    return tuple(csv.DictReader(line for line in text_of(file).splitlines() if not line.startswith("#")))


@cache
def document(file: str) -> dict[str, Any]:
    """Parse a built-in file whole."""
    return tomllib.loads(text_of(file))


def ids_in(file: str) -> tuple[str, ...]:
    """List the ids written out in a built-in file, without parsing it.

    Source: Every `id` stands on a line of its own in the built-in files; a test holds them to it.
    """
    return tuple(ID_LINE.findall(text_of(file)))


def block(file: str, name: str) -> tuple[str, dict[str, Any]] | None:
    """Parse one row of a built-in file alone.

    Source: The block between two `[[kind]]` headers around the id; a test compares every block with the file parsed
    whole.
    """
    text = text_of(file)
    at = text.find(f'\nid = "{name}"\n')
    if at < 0 or '"' in name:
        return None
    start = text.rfind("\n[[", 0, at) + 1
    end = text.find("\n[[", at)
    ((kind, (row,)),) = tomllib.loads(text[start : end + 1 if end >= 0 else None]).items()
    return kind, row
