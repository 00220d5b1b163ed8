"""What can go wrong, and the exit status that each kind gives.

::

    ChainError                3   base of all of them
    ├── InputError            2   a file of the user's is at fault; carries every defect found
    │   └── FitError          2   two ends do not fit together
    ├── UnitError             2   a text is not the quantity that is needed; carries message and help apart
    ├── RangeError            2   a figure lies outside what a model or a formula holds for
"""

from __future__ import annotations

import copyreg
import unicodedata
from collections.abc import Iterable
from typing import Any

from library.frozen import dataclass

TAB = 4
WIDEST = 110
"""Longest piece of a source line that is shown, in characters."""


class ChainError(Exception):
    """Base class: text for people in `str()`, message and remedy apart, exit status in `exit_code`."""

    exit_code = 3

    def __init__(self, message: str = "", help: str = "") -> None:
        self.message, self.help = message, help
        super().__init__(message, help)

    def __str__(self) -> str:
        return f"{self.message} ({self.help})" if self.help else self.message

    def __reduce__(self) -> tuple[Any, ...]:
        # Exceptions are usually made again from `args`, which are not what every class here takes: a process pool dies of that.
        return copyreg.__newobj__, (type(self), *self.args), vars(self)  # type: ignore[attr-defined]


class RangeError(ChainError):
    """A figure lies outside the span that a model or a formula holds for."""

    exit_code = 2


class UnitError(ChainError):
    """A text is not the quantity that is needed; `help` is the remedy, or empty."""

    exit_code = 2


@dataclass(frozen=True)
class Defect:
    """One defect of a file: where (line and column count characters from 1; line 0: the file as a whole), what, remedy."""

    path: str
    line: int
    column: int
    message: str
    help: str = ""
    source: str = ""
    """The line itself, as it stands in the file."""
    width: int = 1
    """Characters to mark, from `column` on."""
    stands_for: int = 1
    """How many defects this one stands for, where a file has too many to show them all."""


class InputError(ChainError):
    """A file is at fault. `defects` holds every defect found, in file order."""

    exit_code = 2

    def __init__(self, defects: Iterable[Defect]) -> None:
        self.defects = tuple(defects)
        super().__init__("; ".join(defect.message for defect in self.defects))

    def __str__(self) -> str:
        blocks = [show(defect) for defect in self.defects]
        files = list(dict.fromkeys(defect.path for defect in self.defects))
        for path in filter(None, files):
            count = sum(defect.stands_for for defect in self.defects if defect.path == path)
            blocks.append(f"{count} error{'' if count == 1 else 's'} in {plain(path)}")
        return "\n".join(blocks)


class FitError(InputError):
    """Two ends of the chain do not fit together; `defects` hold every pair, in its place where the file is known."""

    def __init__(self, message: str, help: str = "", defects: Iterable[Defect] = ()) -> None:
        super().__init__(tuple(defects) or (Defect("", 0, 0, message, help),))


def show(defect: Defect) -> str:
    """Text of one defect: position and defect, the line with a caret run, at most one line of help."""
    if not defect.line:
        lines = [f"{plain(defect.path)}{': ' * bool(defect.path)}error: {plain(defect.message)}"]
    else:
        lines = [f"{plain(defect.path)}:{defect.line}:{defect.column}: error: {plain(defect.message)}"]
        lines += _excerpt(defect) if defect.source.strip() else []
    if defect.help:
        lines.append(f"help: {plain(defect.help)}")
    return "\n".join(lines)


def _excerpt(defect: Defect) -> list[str]:
    start = defect.column - 1
    first = max(0, start - WIDEST // 2) if len(defect.source) > WIDEST else 0
    last = first + WIDEST
    before = _cells(defect.source[first:start])
    marked = _cells(defect.source[start : min(start + defect.width, last)], len(before))
    after = _cells(defect.source[start + defect.width : last], len(before) + len(marked))
    lead = "..." if first else ""
    gutter = f"{defect.line:>3}"
    text = "".join(before + marked + after).replace("\0", "").rstrip()
    tail = "..." if last < len(defect.source) else ""
    indent = " " * (len(lead) + len(before))
    return [f"{gutter} | {lead}{text}{tail}", f"{' ' * len(gutter)} | {indent}{'^' * max(1, len(marked))}"]


def _cells(text: str, at: int = 0) -> list[str]:
    """Screen cells of a text that starts at cell `at`; the second cell of a wide character is a NUL."""
    cells: list[str] = []
    for character in text:
        if character == "\t":
            cells += " " * (TAB - (at + len(cells)) % TAB)
        elif unicodedata.combining(character) and cells:
            cells[-1] += character
        else:
            cells.append(plain(character))
            if unicodedata.east_asian_width(character) in "WF":
                cells.append("\0")
    return cells


def plain(text: str) -> str:
    """Text with every control, format and unassigned character replaced, so that it cannot steer a terminal.

    Source: Unicode general categories Cc, Cf, Cs, Co, Cn, Zl, Zp.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join("?" if _steers(each) else each for each in text)


def _steers(character: str) -> bool:
    category = unicodedata.category(character)
    return category[0] == "C" or category in ("Zl", "Zp")


def quoted(text: object, most: int = 40) -> str:
    """Text of the user's in quotes, safe to print, cut to a sensible length."""
    # One character more tells that it is cut; a long text is not looked through for it.
    word = plain(str(text)[: most + 1])
    return f"'{word[: most - 3]}...'" if len(word) > most else f"'{word}'"
