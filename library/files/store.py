"""Files read: those built in no further than is asked (a TOML parser in Python manages about 1 MB/s), a user's without waiting."""

from __future__ import annotations

import csv
import os
import re
import stat
import sys
from functools import cache
from os import PathLike
from pathlib import Path
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


LONGEST_PATH = 1000
"""Longest path that is proposed whole: a part of it would lead nowhere."""
MOST_NAMES = 500
"""Most files of a folder that a missing one is compared with."""


class NotPlainError(OSError):
    """A name that stands for a folder, a pipe or a device."""

    def __init__(self) -> None:
        super().__init__(None, "not a plain file")


def read_plain(path: str | PathLike[str], most: int) -> bytes:
    """Read a plain file, at most one byte more than `most`.

    Source: POSIX.1-2017, open(): O_NONBLOCK opens a pipe without a writer at once. A file that states a length of zero
    is taken at its word: the kernel's logs do, and a read of them would wait for the next message.
    """
    # Looked at before it is opened, since opening a device may do something; and again, since names can be swapped.
    if not stat.S_ISREG(os.stat(path).st_mode):  # noqa: PTH116, a Path would need its own error of a null byte
        raise NotPlainError
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags), "rb") as stream:
        found = os.fstat(stream.fileno())
        if not stat.S_ISREG(found.st_mode):
            raise NotPlainError
        return stream.read(most + 1) if found.st_size else b""


def files_like(path: str | PathLike[str], endings: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Files, nearest name first, that may have been meant by one that is not there, in the folder where it was looked for.

    Source: Ratio of matching blocks (`difflib`).
    """
    from library.errors import near_names

    try:
        there = sorted(each.name for each in Path(path).parent.iterdir() if not each.is_dir())
    except (OSError, ValueError):
        return ()
    names = [name for name in there if not endings or name.lower().endswith(endings)][:MOST_NAMES]
    return tuple(str(Path(path).parent / name) for name in near_names(Path(path).name[:80], names, 1, 0.6))
