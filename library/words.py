"""Words for what the library calls otherwise: everyday ones, to search by too, and those that head columns of exported sweeps."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache

from library.files.store import csv_rows


def plainly(text: str) -> str:
    """Text in small letters, single blanks for blanks, hyphens and lines below."""
    return " ".join(re.split(r"[\s_-]+", text.casefold().strip()))


@cache
def everyday(kind: str) -> Mapping[str, tuple[str, ...]]:
    """What each everyday word of a kind (`region`, `connector`, `family`, `search`) stands for; several where it is open."""
    rows = [row for row in csv_rows("everyday_words.csv") if row["kind"] == kind]
    return {word: tuple(row["means"].split("|")) for row in rows for word in row["words"].split("|")}


LONGEST = 200
"""Longest header that is looked at [characters]."""
RUN_ON = re.compile(r"\b(s[1-9][1-9])(?=[a-z])")
"""An S-parameter with its unit run on to it, as in `S11dB`."""
SIGNS = str.maketrans(
    {
        "Γ": " gamma ",
        "γ": " gamma ",
        "ρ": " rho ",
        "θ": " theta ",
        "Θ": " theta ",
        "φ": " phi ",
        "ϕ": " phi ",
        "∠": " angle ",
        "°": " deg ",
        "º": " deg ",
        "\u03a9": " ohm ",
        "\u2126": " ohm ",
        "%": " percent ",
        "ß": "ss",
    }
)


def spelt(text: str) -> str:
    """Header as plain words: lower case, without accents, signs spelt out, everything else a blank.

    Source: Unicode normalisation form KD.
    """
    shown = re.sub(r"\|([^|]+)\|", r" abs \1 ", text[:LONGEST].translate(SIGNS))
    parts = unicodedata.normalize("NFKD", shown)
    letters = "".join(each for each in parts if not unicodedata.combining(each)).lower()
    words = RUN_ON.sub(r"\1 ", re.sub(r"[^a-z0-9]+", " ", letters))
    return f" {words.strip()} "


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    phrases: dict[str, list[str]] = {}
    for row in csv_rows("sweep_words.csv"):
        own = [" ".join(phrase.split()) for phrase in row["phrases"].replace("%", " percent ").split("|")]
        phrases.setdefault(row["concept"], []).extend(re.escape(each).replace(r"\*", "[a-z]*") for each in own)
    return tuple(
        (concept, re.compile(f" (?:{'|'.join(sorted(set(each), key=len, reverse=True))})(?= )".replace(r"\ ", " ")))
        for concept, each in phrases.items()
    )


def concepts(text: str) -> dict[str, str]:
    """What a header speaks of."""
    words = spelt(text)
    found = ((concept, pattern.search(words)) for concept, pattern in _patterns())
    return {concept: match.group().strip() for concept, match in found if match}
