"""Search of the library by words, which match from their start; kinds and connectors count first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from library.records import Part
from library.words import everyday, plainly

if TYPE_CHECKING:
    from library.parts import Library

CONNECTOR_FIELDS = ("near_connector", "far_connector", "connector")
OHM_FIELDS = ("impedance_ohm", "near_ohm", "far_ohm")
FILLERS = ("a", "an", "and", "for", "from", "of", "or", "the", "to", "type", "with")
GENDERS = {"male": "plug", "female": "jack"}
OHM = re.compile(r"\b([0-9]+) ohms?\b")
SHORTEST_PLURAL = 4


def wanted_words(text: str) -> tuple[tuple[str, ...], ...]:
    """Words of a search, each with what else stands for it."""
    joined = OHM.sub(r"\1ohm", " ".join(text.casefold().split()))
    words = [plainly(each) for each in joined.split() if each not in FILLERS]
    return tuple(_alike(word) for word in words if word)


def _alike(word: str) -> tuple[str, ...]:
    singular = word[:-1] if word.endswith("s") and len(word) >= SHORTEST_PLURAL else word
    both = dict.fromkeys((word, singular))
    return tuple(dict.fromkeys((*both, *(other for each in both for other in _meant(each)))))


def _meant(word: str) -> tuple[str, ...]:
    return (GENDERS[word],) if word in GENDERS else tuple(map(plainly, everyday("search").get(word, ())))


def fit(fields: Iterable[str], wanted: Sequence[Sequence[str]]) -> int | None:
    """How far back the words stand in fields that are ordered by weight; None where one is missing.

    Source: Own convention: a word matches the start of one, a single letter a whole one.
    """
    texts = [" " + OHM.sub(r"\1ohm", plainly(field)) + " " for field in fields]
    total = 0
    for alike in wanted:
        marks = [f" {word} " if len(word) == 1 else f" {word}" for word in alike]
        # The word itself counts before whatever else is called so.
        found = [
            place + len(texts) * (number > 0)
            for number, mark in enumerate(marks)
            for place, text in enumerate(texts)
            if mark in text
        ]
        if not found:
            return None
        total += min(found)
    return total


def find(library: Library, words: str | Sequence[str]) -> tuple[Part, ...]:
    """Find the parts that every one of the words fits, those first whose kind or connectors they name."""
    wanted = wanted_words(words if isinstance(words, str) else " ".join(words))
    weighed = [(fit(_fields(part), wanted), part) for part in (library.part(name) for name in library.ids())]
    hits = [(weight, part) for weight, part in weighed if weight is not None]
    return tuple(part for _, part in sorted(hits, key=lambda each: each[0]))


def _fields(part: Part) -> tuple[str, ...]:
    """Texts of a part by weight: kind and connectors, id, name, the rest."""
    ends = [str(getattr(part, name, "")) for name in CONNECTOR_FIELDS]
    ends += [str(connector) for connector in getattr(part, "connectors", ())]
    ohms = [f"{getattr(part, name):g} ohm" for name in OHM_FIELDS if hasattr(part, name)]
    rest = (part.evidence.kind, getattr(part, "grade", ""), getattr(part, "type", ""), *ohms)
    return " ".join((part.kind, *ends)), part.id, part.name, " ".join(rest)
