"""How far a long computation has come, on a terminal only."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from chain.cli.options import Common

__all__ = ["progress"]

PATIENCE_S = 1.0


@contextmanager
def progress(shared: Common) -> Iterator[Callable[[float], None]]:
    """Give a function that shows the finished share on stderr, after the first second and only to a person.

    Parameters
    ----------
    shared : the shared options; nothing is shown with `--quiet`.

    Returns
    -------
    context manager of a function that takes a share of 0 to 1.

    Examples
    --------
    >>> with progress(Common(False, True, "auto", None, None, False, False)) as report:
    ...     report(0.5)

    Source
    ------
    Own convention.
    """
    begun = time.monotonic()
    watched = not shared.quiet and sys.stderr.isatty()
    shown = False

    def report(share: float) -> None:
        nonlocal shown
        if watched and time.monotonic() - begun > PATIENCE_S:
            shown = True
            sys.stderr.write(f"\rsimulating: {share:4.0%}")
            sys.stderr.flush()

    try:
        yield report
    finally:
        if shown:
            sys.stderr.write("\r" + " " * 20 + "\r")
            sys.stderr.flush()
