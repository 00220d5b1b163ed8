"""Files that somebody names: opened so that no pipe, device or endless file is waited for."""

from __future__ import annotations

import os
import stat
from os import PathLike
from pathlib import Path

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
