"""Units that stand in the cells of a table, as in `470.000 MHz;15.2 dB`: put aside, and given to the header."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["headed", "unit_behind", "without_units"]

UNIT = re.compile(
    r"(?<=[0-9.])\s*(GHz|MHz|kHz|Hz|dB|ohms?|\u03a9|\u2126|deg|\u00b0|:\s?1)(?=[\s;,|\"]|$)", re.IGNORECASE
)
FIGURES = re.compile(r"\s*\"?[+-]?[0-9]")


def without_units(text: str) -> str:
    """A line of figures with blanks for the units in it, so that every cell keeps its place; other lines as they are."""
    return UNIT.sub(lambda found: " " * len(found.group()), text) if FIGURES.match(text) else text


def unit_behind(text: str, end: int) -> str:
    """Unit that stands behind a figure which ends there, empty for none and for the `:1` of a ratio."""
    found = UNIT.match(text, end)
    return "" if not found or found[1].startswith(":") else found[1]


def headed(name: str, units: Sequence[str]) -> str:
    """Header of a column with the unit of its cells, unless it has one itself."""
    unit = next(filter(None, units), "")
    has_own = re.search(r"(?<![a-z])(?:[gmk]?hz|db|ohms?|deg)(?![a-z])", name, re.IGNORECASE)
    return name if not unit or has_own else f"{name} {unit}"
