"""How far a long computation has come, on a terminal only."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from shutil import get_terminal_size

from chain.cli.options import Common
from chain.cli.writing import refuse_what_was_read

__all__ = ["bar", "progress"]

PATIENCE_S = 1.0
CELLS = 30


def bar(share: float, columns: int) -> str:
    """A bar of plain characters, shorter on a narrow terminal."""
    words = f"simulating {share:4.0%}"
    cells = min(CELLS, columns - len(words) - 4)
    if cells < 5:
        return words
    full = int(cells * min(max(share, 0.0), 1.0))
    return f"simulating [{'#' * full}{'.' * (cells - full)}] {share:4.0%}"


@contextmanager
def progress(shared: Common) -> Iterator[Callable[[float], None]]:
    """Give a function that shows the finished share on stderr, after the first second and only to a person."""
    refuse_what_was_read()
    begun = time.monotonic()
    watched = not shared.quiet and sys.stderr.isatty()
    shown = False
    width = get_terminal_size().columns

    def report(share: float) -> None:
        nonlocal shown
        if watched and time.monotonic() - begun > PATIENCE_S:
            shown = True
            sys.stderr.write(f"\r{bar(share, width)}")
            sys.stderr.flush()

    try:
        yield report
    finally:
        if shown:
            sys.stderr.write("\r" + " " * len(bar(0.0, width)) + "\r")
            sys.stderr.flush()
