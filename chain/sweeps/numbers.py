"""Figures as people and programs write them: decimal point or comma, groups of thousands, signs; never a guess between two readings."""

from __future__ import annotations

import math
import re

__all__ = ["AMBIGUOUS", "figure", "off_scale"]

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
    """Number that a text stands for.

    Source: ISO 80000-1: a comma or a point as the decimal sign, groups of three figures.
    """
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
    """Tell whether a text stands for a VSWR beyond what the analyzer shows.

    Source: Spellings of infinity in programming languages; own convention.
    """
    return OFF_SCALE.fullmatch(text.strip()) is not None
