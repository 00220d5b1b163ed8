"""From the bytes of a sweep file to its lines and numbers, whatever wrote them: encodings, line ends, sizes, decimal point or comma."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Sequence
from itertools import pairwise

from chain.errors import Defect, InputError, plain, quoted
from library.files.store import LONGEST_PATH, NotPlainError, files_like, read_plain

FALLING = "the file falls in frequency and was turned round"
AT_ZERO = "the point at 0 Hz left out"
MOST_BYTES = 20_000_000
MOST_LINES = 100_000
MOST_POINTS = 20001
LONGEST_LINE = 10_000
"""Longest line of figures [characters]; comments may be of any length."""
MOST_DEFECTS = 20
"""Most defects that are shown of one file."""
BREAK = re.compile(r"\r\n|\r|\n")


def whole_file(path: str, message: str, help_text: str = "") -> InputError:
    """Error that is about a file as a whole."""
    return InputError([Defect(path, 0, 0, message, help_text)])


def falls(values: Sequence[float]) -> bool:
    """Recognise figures that fall from the first to the last."""
    steps = list(pairwise(values))
    return any(one > other for one, other in steps) and not any(one < other for one, other in steps)


def bounded(defects: list[Defect]) -> InputError:
    """Error of all defects of a file in file order, the last one standing for those that are too many to show."""
    ordered = sorted(defects, key=lambda each: (each.line, each.column))
    rest = len(ordered) - MOST_DEFECTS
    if rest > 0:
        first = ordered[MOST_DEFECTS]
        more = Defect(first.path, first.line, first.column, f"{rest} more from here on", stands_for=rest)
        ordered = [*ordered[:MOST_DEFECTS], more]
    return InputError(ordered)


def lines_of(path: str) -> list[str]:
    """Lines of a text file in any usual encoding (the Unicode standard on byte order marks)."""
    text = _decoded(_bytes(path))
    if "\0" in text:
        raise whole_file(
            path, "is not a text file", "name a Touchstone file, or a table of frequencies and figures as text"
        )
    if text.count("\n") + text.count("\r") > 2 * MOST_LINES:
        raise whole_file(path, f"has more than {MOST_LINES} lines", "thin the sweep out")
    lines = BREAK.split(text)
    if len(lines) > MOST_LINES:
        raise whole_file(path, f"has more than {MOST_LINES} lines", "thin the sweep out")
    return lines


def _bytes(path: str) -> bytes:
    try:
        if path == "-":
            raw = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            raw = read_plain(path, MOST_BYTES)
    except NotPlainError:
        raise whole_file(path, "is not a plain file", "name a file") from None
    except FileNotFoundError:
        near = files_like(path)
        raise whole_file(
            path, "there is no such file", f"did you mean {quoted(near[0], LONGEST_PATH)}?" if near else ""
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name that a file can have"
        raise whole_file(path, f"cannot be read: {plain(reason)}") from error
    if len(raw) > MOST_BYTES:
        raise whole_file(path, f"is larger than {MOST_BYTES // 1_000_000} MB", "thin the sweep out")
    return raw


def _decoded(raw: bytes) -> str:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        # The codec keeps a second byte order mark, which a copied-together file may have.
        return raw.decode("utf-16", errors="replace").lstrip("\ufeff")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


AMBIGUOUS = "ambiguous"
SPELLINGS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2019": "'"})
# One way only for every digit to match, as in `chain.sweeps.touchstone_header`.
EXPONENT = r"(?:[eE][+-]?\d{1,4})?"
PLAIN = {
    sign: re.compile(rf"[+-]?(?:\d+(?:{re.escape(sign)}\d*)?|{re.escape(sign)}\d+){EXPONENT}", re.ASCII)
    for sign in ".,"
}
GROUPED = {
    # Two groups and more, or one with decimals behind it, cannot be meant in another way.
    sign: re.compile(
        rf"[+-]?\d{{1,3}}(?:(?:{re.escape(other)}\d{{3}}){{2,}}(?:{re.escape(sign)}\d*)?"
        rf"|{re.escape(other)}\d{{3}}{re.escape(sign)}\d*|(?:[ ']\d{{3}})+(?:{re.escape(sign)}\d*)?)",
        re.ASCII,
    )
    for sign, other in ((".", ","), (",", "."))
}
ONE_GROUP = {
    sign: re.compile(rf"[+-]?[1-9]\d{{0,2}}{re.escape(other)}\d{{3}}", re.ASCII)
    for sign, other in ((".", ","), (",", "."))
}
OFF_SCALE = re.compile(r"\+?(?:inf|infinity|infinite|∞|overflow|overrange|1\.#inf\d*)", re.IGNORECASE | re.ASCII)
GROUPS = {".": re.compile("[ ',]"), ",": re.compile("[ '.]")}


def figure(text: str, sign: str, settled: bool = False) -> float | str | None:
    """Number that a text stands for (ISO 80000-1: a comma or a point as the decimal sign, groups of three figures)."""
    words = text.translate(SPELLINGS).strip()
    if not words or len(words) > 60:
        return None
    if PLAIN[sign].fullmatch(words):
        return _finite(words.replace(",", "."))
    if GROUPED[sign].fullmatch(words) or (settled and ONE_GROUP[sign].fullmatch(words)):
        return _finite(GROUPS[sign].sub("", words).replace(",", "."))
    return AMBIGUOUS if ONE_GROUP[sign].fullmatch(words) else None


def _finite(words: str) -> float | None:
    value = float(words)
    return value if math.isfinite(value) else None


def off_scale(text: str) -> bool:
    """Whether a text stands for a VSWR beyond what the analyzer shows.

    Source: Spellings of infinity in programming languages; own convention.
    """
    return OFF_SCALE.fullmatch(text.strip()) is not None
