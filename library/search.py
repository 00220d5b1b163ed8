"""Search of the library by words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from library.records import Part

if TYPE_CHECKING:
    from library.parts import Library

__all__ = ["find"]

CONNECTOR_FIELDS = ("near_connector", "far_connector", "connector")
OHM_FIELDS = ("impedance_ohm", "near_ohm", "far_ohm")


def find(library: Library, words: str | Sequence[str]) -> tuple[Part, ...]:
    """Find the parts that every one of the words fits."""
    wanted = (words if isinstance(words, str) else " ".join(words)).casefold().split()
    parts = [library.part(name) for name in library.ids()]
    hits = [part for part in parts if all(word in _text(part) for word in wanted)]
    return tuple(sorted(hits, key=lambda part: not all(word in part.id.casefold() for word in wanted)))


def _text(part: Part) -> str:
    pieces = [part.id, part.kind, part.name, part.evidence.kind, getattr(part, "grade", ""), getattr(part, "type", "")]
    pieces += [str(getattr(part, name, "")) for name in CONNECTOR_FIELDS]
    pieces += [str(connector) for connector in getattr(part, "connectors", ())]
    pieces += [f"{getattr(part, name):g}ohm" for name in OHM_FIELDS if hasattr(part, name)]
    return " ".join(pieces).casefold()
