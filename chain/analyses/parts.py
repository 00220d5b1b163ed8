"""The library as a list, or a part of it in full with its loss at the frequencies and the length that are asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from chain.results import SCHEMA_VERSION
from library.formulas import attenuation_db_per_100m, limit_return_loss_db, span_hz
from library.parts import Library
from library.reception import rows_of
from library.records import Adapter, Coax, Connector, Evidence, Limit, Network, Part, SectionLine
from library.search import find, wanted_words

USUAL_HZ = (50e6, 100e6, 200e6, 500e6, 860e6)
"""Frequencies at which a loss is shown where none is asked for."""


MOST_DB = 100.0
"""A return loss above this is none at all."""


@dataclass(frozen=True)
class PartLoss:
    """Loss of a part at a frequency, matched at both ends; None with a reason where its model does not reach."""

    freq_hz: float
    loss_db: float | None
    return_loss_db: float | None
    """What its limit demands, unknowns and all."""
    reason: str = ""
    nominal_return_loss_db: float | None = None
    """What its own model gives, for parts that reflect even if perfectly made."""


@dataclass(frozen=True)
class Entry:
    """One part: its figures by name, and its losses."""

    part: Part
    losses: tuple[PartLoss, ...]

    def to_dict(self) -> dict[str, object]:
        """Give the entry as plain values."""
        part = self.part
        values = {each.name: _plain(getattr(part, each.name)) for each in fields(part)}
        return {**values, "losses": [vars(loss) for loss in self.losses]}


@dataclass(frozen=True)
class Listing:
    """Parts that were found, and the length that the losses of cables hold for [m]."""

    words: str
    length_m: float
    asked_hz: tuple[float, ...]
    entries: tuple[Entry, ...]
    of_all: int
    """Parts in the library, those of the way to the outlets among them."""
    reception: tuple[dict[str, object], ...] = ()
    """Rows of amplifiers, in-line parts, receivers and modes that fit too."""

    def to_dict(self) -> dict[str, object]:
        """Give the listing as plain values."""
        return {
            "schema_version": SCHEMA_VERSION,
            "title": self.words,
            "warnings": [],
            "assumed": [],
            "length_m": self.length_m,
            "parts": [*(entry.to_dict() for entry in self.entries), *self.reception],
        }


def _plain(value: object) -> object:
    if isinstance(value, Connector):
        return str(value)
    if isinstance(value, tuple) and value and isinstance(value[0], tuple) and isinstance(value[0][-1], Evidence):
        return {name: each.kind for name, each in value}
    if isinstance(value, (Evidence, Limit)):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return None if value in (float("inf"), float("-inf")) else value


def browse(
    library: Library, words: str = "", at_hz: Sequence[float] = (), length_m: float = 100.0, kind: str | None = None
) -> Listing:
    """Look parts up (`library.formulas`; an adapter's loss grows with the square root of frequency)."""
    everything = library.ids(kind)
    rows = rows_of(words) if kind is None and words.strip() else ()
    exact = words.strip().casefold()
    if exact in everything:
        parts: Sequence[Part] = (library.part(exact),)
        rows = ()
    elif any(str(row["id"]).casefold() == exact for row in rows):
        parts = ()
    elif exact:
        parts = [part for part in find(library, words) if kind in (None, part.kind)]
    else:
        parts = [library.part(name) for name in everything]
    chosen = tuple(at_hz) or USUAL_HZ
    entries = tuple(Entry(part, tuple(_loss(part, freq, length_m) for freq in chosen)) for part in parts)
    return Listing(words, length_m, tuple(at_hz), entries, len(library.ids()) + len(rows_of()), rows)


def fewer_words(library: Library, words: str) -> tuple[str, int]:
    """The longest run of the words that some part fits, and how many parts it fits."""
    given = words.split()
    for count in range(len(given) - 1, 0, -1):
        for start in range(len(given) - count + 1):
            run = " ".join(given[start : start + count])
            if wanted_words(run) and (found := len(find(library, run)) + len(rows_of(run))):
                return run, found
    return "", 0


def _loss(part: Part, freq_hz: float, length_m: float) -> PartLoss:
    low, high = span_hz(part)
    limit = getattr(part, "limit", None) or getattr(part, "near_limit", None)
    return_loss_db = limit_return_loss_db(limit, freq_hz) if limit else None
    if not low * (1 - 1e-9) <= freq_hz <= high * (1 + 1e-9):
        top = "" if high == float("inf") else f" to {high / 1e6:g}"
        return PartLoss(freq_hz, None, None, f"described from {low / 1e6:g}{top} MHz")
    if isinstance(part, Coax):
        return PartLoss(freq_hz, attenuation_db_per_100m(part, freq_hz) * length_m / 100, return_loss_db)
    if isinstance(part, Adapter):
        return PartLoss(freq_hz, part.loss_at_1ghz_db * (freq_hz / 1e9) ** 0.5, return_loss_db)
    if isinstance(part, (Network, SectionLine)) or getattr(part, "model", "") == "resistors":
        return _modelled(part, freq_hz, return_loss_db)
    loss = getattr(part, "loss_db", None)
    if isinstance(loss, float):
        return PartLoss(freq_hz, loss, return_loss_db)
    return PartLoss(freq_hz, None, return_loss_db, "it has no single figure")


def _modelled(part: Part, freq_hz: float, limit_db: float | None) -> PartLoss:
    """Loss and reflection of a part whose model changes with frequency, between its own two impedances."""
    import numpy as np

    from chain.reflection import return_loss_db
    from chain.rf.elements import nominal
    from chain.rf.parts import elements_of
    from chain.setups import Item

    freq = np.array([freq_hz])
    item = Item("part", part, part.near_connector, part.far_connector)  # type: ignore[union-attr]
    s = nominal(elements_of(item, freq), part.near_ohm, part.far_ohm, freq)[0]  # type: ignore[union-attr]
    own = float(return_loss_db(s[0, 0]))
    loss_db = float(-20 * np.log10(np.abs(s[1, 0])))
    return PartLoss(freq_hz, loss_db, limit_db, "", own if own < MOST_DB else None)
