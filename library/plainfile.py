"""Files that somebody names: opened so that no pipe, device or endless file is waited for."""

from __future__ import annotations

import os
import stat
from os import PathLike

__all__ = ["NotPlainError", "read_plain"]


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
