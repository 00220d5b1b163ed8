"""How wide the terminal is. The standard library's own answer loads three compressors, a tenth of the time in which help appears."""

from __future__ import annotations

import os
from contextlib import suppress

USUAL = 80


def terminal_columns(descriptor: int) -> int:
    """Columns of a terminal: by the variable that states them, by the terminal's own word, or 80 where neither is known."""
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated):
        return int(stated)
    with suppress(OSError):
        return os.get_terminal_size(descriptor).columns or USUAL
    return USUAL
