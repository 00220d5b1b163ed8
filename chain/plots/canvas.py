"""A grid of characters with colours: what charts on a terminal are drawn on."""

from __future__ import annotations

import math

import numpy as np
from rich.style import Style
from rich.text import Text

from chain.arrays import Real
from chain.plots.figure import PALETTE, Look

FRAMES = {
    True: {"side": "|", "floor": "-", "corner": "+", "tick": "+"},
    False: dict(side="│", floor="─", corner="└", tick="┬"),
}
"""Characters of axes, by whether there is nothing but ASCII."""
FINER = 5
"""Places looked at within a column, so that no peak between two columns is lost."""


class Canvas:
    """Characters in rows from the top and columns from the left; places are given as shares, 0 to 1, from the lower left."""

    def __init__(self, ascii_only: bool, width: int, height: int) -> None:
        self.ascii_only, self.width, self.height = ascii_only, width, height
        self.cells: list[list[tuple[str, Style]]] = [[(" ", Style.null())] * width for _ in range(height)]

    def column(self, share: float) -> int:
        """Column of a share of the width; -1 if it lies outside."""
        found = round(share * (self.width - 1)) if math.isfinite(share) else -1
        return found if 0 <= found < self.width else -1

    def row(self, share: float) -> int:
        """Row of a share of the height; the nearest one if it lies outside."""
        return min(max(round((1 - share) * (self.height - 1)), 0), self.height - 1)

    def put(self, column: int, row: int, look: Look, sign: str = "", under: bool = False) -> None:
        """Put a character of a look; with `under` only where nothing is yet."""
        if not (0 <= column < self.width and 0 <= row < self.height) or (under and self.cells[row][column][0] != " "):
            return
        own = look.ascii if self.ascii_only else look.sign
        self.cells[row][column] = (sign or own, style_of(look))

    def write(self, column: int, row: int, text: str) -> None:
        """Write a text that stays inside the grid."""
        start = int(np.clip(column, 0, max(self.width - len(text), 0)))
        for number, sign in enumerate(text[: self.width]):
            self.cells[row][start + number] = (sign, Style.null())

    def line(self, x: Real, y: Real, look: Look) -> None:
        """Draw a line through places; NaN leaves a gap."""
        for column, values in enumerate(self._by_column(x, y)):
            known = values[np.isfinite(values)]
            if known.size:
                for row in range(self.row(float(known.max())), self.row(float(known.min())) + 1):
                    self.put(column, row, look)

    def band(self, x: Real, low: Real, high: Real, look: Look) -> None:
        """Fill between two lines every row whose middle lies between them."""
        middles = 1 - np.arange(self.height) / (self.height - 1)
        for column, (first, last) in enumerate(zip(self._by_column(x, low), self._by_column(x, high), strict=True)):
            if np.isfinite(first).any() and np.isfinite(last).any():
                inside = (middles >= np.nanmin(first)) & (middles <= np.nanmax(last))
                for row in np.flatnonzero(inside):
                    self.put(column, int(row), look)

    def marks(self, x: Real, low: Real, high: Real, look: Look) -> None:
        """Draw an upright bar, or a single mark, for each place."""
        for place, first, last in zip(x, low, high, strict=True):
            if np.isfinite(first) and np.isfinite(last):
                for row in range(self.row(float(last)), self.row(float(first)) + 1):
                    self.put(self.column(float(place)), row, look)

    def _by_column(self, x: Real, y: Real) -> list[Real]:
        """Values that fall into each column."""
        fine = (np.arange(self.width * FINER) + 0.5) / FINER - 0.5
        at = fine / max(self.width - 1, 1)
        values = np.interp(at, x, y, left=np.nan, right=np.nan)
        # The first and the last column are half outside.
        half = 0.5 / max(self.width - 1, 1)
        values[(at <= x[0]) & (at >= x[0] - half)] = y[0]
        values[(at >= x[-1]) & (at <= x[-1] + half)] = y[-1]
        out = [values[FINER * column : FINER * (column + 1)] for column in range(self.width)]
        owner = np.clip(np.round(x * (self.width - 1)), 0, self.width - 1).astype(int)
        return [np.concatenate([each, y[owner == column]]) for column, each in enumerate(out)]

    def text(self, row: int) -> Text:
        """One row, without the blanks at its end unless something follows."""
        found = Text()
        for sign, style in self.cells[row]:
            found.append(sign, style)
        return found


def style_of(look: Look) -> Style:
    """Colour of a look on a terminal: black is left to the terminal's own ink."""
    return Style.null() if look.colour == PALETTE["black"] else Style(color=look.colour)
