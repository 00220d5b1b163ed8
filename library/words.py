"""Everyday words for what the library calls otherwise: connectors, regions, and words to search by."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from functools import cache

from library.files.store import text_of

__all__ = ["everyday", "plainly"]

FILE = "everyday_words.csv"


def plainly(text: str) -> str:
    """Text in small letters, single blanks for blanks, hyphens and lines below.

    Source: Own convention.
    """
    return " ".join(re.split(r"[\s_-]+", text.casefold().strip()))


@cache
def everyday(kind: str) -> Mapping[str, tuple[str, ...]]:
    """What each everyday word of a kind (`region`, `connector`, `family`, `search`) stands for; several where it is open.

    Source: `library/data/everyday_words.csv`.
    """
    lines = [line for line in text_of(FILE).splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["kind"] == kind]
    return {word: tuple(row["means"].split("|")) for row in rows for word in row["words"].split("|")}
