"""Files that have been read since a command began: none of them is written over."""

from __future__ import annotations

import os
import sys
from typing import Any

OWN_CODE = (".py", ".pyc", ".so", ".pyd")


class _Opened:
    """Names of the files opened for reading since the command began: by the interpreter's own word, so that none is missed."""

    def __init__(self) -> None:
        self.names: set[str] = set()
        self.installed = False

    def begin(self) -> None:
        """Forget what was opened before; an audit hook stays for the life of the process."""
        self.names.clear()
        if not self.installed:
            self.installed = True
            sys.addaudithook(self._heard)

    def _heard(self, event: str, args: tuple[Any, ...]) -> None:
        if event != "open" or not isinstance(args[0], (str, bytes)):
            return
        name, mode, flags = os.fsdecode(args[0]), args[1], args[2]
        reads = "r" in mode or "+" in mode if isinstance(mode, str) else flags & 3 != os.O_WRONLY
        if reads and not name.endswith(OWN_CODE):
            self.names.add(name)


_OPENED = _Opened()


def watch_reading() -> None:
    """Note from now on which files are read."""
    _OPENED.begin()


def opened_names() -> tuple[str, ...]:
    """Names of what has been read by now, own code aside."""
    return tuple(_OPENED.names)
