"""The library as one object: parts, families, mating rules and rasters, a user's rows before the built-in ones."""

from __future__ import annotations

import re
from functools import cache, cached_property
from typing import Any

from library.errors import LibraryError, near_names
from library.files.rows import PART_KINDS, record
from library.files.store import PART_FILES, block, document, ids_in
from library.records import AnalyzerClass, Connector, Evidence, Family, MatedPair, MatingRule, Part, Raster, StandardSet

Row = dict[str, Any]

EXPANDED = {"adapters.toml": "adapter_rows", "terminations.toml": "termination_rows"}
"""Files of tables that `library.files.expand` writes out, each with the function that does it."""


def _spelt(name: str) -> str:
    """An id as far as it counts: RG-59 is rg59."""
    return "".join(sign for sign in name.casefold() if sign.isalnum())


class Library:
    """Parts, connector families, mating rules and channel rasters, those of a user's files before the built-in ones."""

    def __init__(self, own: dict[str, list[Row]], sources: tuple[str, ...] = ()) -> None:
        self.sources = sources
        """Files that the user's rows came from, by their whole paths, the first first."""
        self._own = own
        self._own_parts: dict[str, tuple[str, Row]] = {}
        for kind in PART_KINDS:
            for row in own.get(kind, ()):
                self._own_parts.setdefault(row["id"], (kind, row))
        self._parts: dict[str, Part] = {}
        self._families: dict[str, Family] = {}
        self._misspelt: dict[str, LibraryError] = {}
        self.mated: dict[tuple[Connector, Connector], MatedPair] = {}
        """Pairs of connectors judged before: the same few are asked about again and again."""

    def part(self, name: str) -> Part:
        """Give the part of an id."""
        if name in self._misspelt:
            # One name that a long list repeats is looked for once.
            raise self._misspelt[name]
        if name not in self._parts:
            kind, row = self._row(name)
            self._parts[name] = record(kind, row)
        return self._parts[name]

    def _row(self, name: str) -> tuple[str, Row]:
        if name in self._own_parts:
            return self._own_parts[name]
        for file in PART_FILES:
            if file not in EXPANDED and (found := block(file, name)):
                return found
        for file in EXPANDED:
            if name in (rows := _expanded(file)):
                return PART_FILES[file][0], rows[name]
        alike = [each for each in self.ids() if _spelt(each) == _spelt(name)]
        if len(alike) == 1 and alike[0] != name:
            return self._row(alike[0])
        self._misspelt[name] = LibraryError(f"the library has no part '{name}'", self._near(name))
        raise self._misspelt[name]

    def _near(self, name: str) -> tuple[str, ...]:
        words = name.casefold().split("-")
        turned = "-".join([*words[2:4], *words[:2], *words[4:]])
        ids = self.ids()
        if "pad" in name.casefold() and {"50", "75"} <= set(re.findall(r"\d+", name)):
            # Of near names those of attenuators come first, which match nothing.
            return tuple(each for each in ids if each.startswith("min-loss-pad"))[:3]
        return (turned,) if turned in ids else near_names(name, ids)

    def ids(self, kind: str | None = None) -> tuple[str, ...]:
        """Ids of all parts, or of one kind."""
        names = [name for name, (own, _) in self._own_parts.items() if kind in (None, own)]
        for file, kinds in PART_FILES.items():
            if kind is not None and kind not in kinds:
                continue
            if file in EXPANDED:
                names += _expanded(file)
            elif len(kinds) == 1 or kind is None:
                names += ids_in(file)
            else:
                names += [row["id"] for row in document(file).get(kind, ())]
        return tuple(dict.fromkeys(names))

    @cached_property
    def families(self) -> dict[str, Family]:
        """Connector families by id."""
        rows = [*document("families.toml")["family"], *reversed(self._own.get("family", []))]
        return {row["id"]: record("family", row) for row in rows}

    def family(self, name: str) -> Family:
        """Give the connector family of an id."""
        if name in self._families:
            return self._families[name]
        if any(row["id"] == name for row in self._own.get("family", ())):
            self._families[name] = self.families[name]
        elif found := block("families.toml", name):
            self._families[name] = record(*found)
        if name in self._families:
            return self._families[name]
        raise LibraryError(f"there is no connector family '{name}'", near_names(name, self.families))

    @cached_property
    def rules(self) -> tuple[MatingRule, ...]:
        """Mating rules, the user's first; the first that fits wins."""
        rows = [*self._own.get("mating", ()), *document("mating.toml")["mating"]]
        return tuple(
            MatingRule(a, b, row["verdict"], row["reason"], _evidence(row)) for row in rows for a, b in row["pairs"]
        )

    def analyzer(self, name: str) -> AnalyzerClass:
        """Give the class of analyzer of an id."""
        found: AnalyzerClass = self._typical("analyzer", name)
        return found

    def standards(self, name: str) -> StandardSet:
        """Give the calibration standards of an id."""
        found: StandardSet = self._typical("standards", name)
        return found

    def _typical(self, kind: str, name: str) -> Any:
        rows = {row["id"]: row for row in (*document("typical.toml")[kind], *reversed(self._own.get(kind, [])))}
        if name not in rows:
            raise LibraryError(f"the library has no {kind} '{name}'", near_names(name, rows) or tuple(rows)[:3])
        return record(kind, rows[name])

    @cached_property
    def rasters(self) -> tuple[Raster, ...]:
        """Channel rasters, countries that use a part of one written out as regions of their own."""
        from library.files.expand import raster_rows

        rows = raster_rows([*self._own.get("raster", ()), *document("rasters.toml")["raster"]])
        return tuple(record("raster", row) for row in rows)


def _evidence(row: Row) -> Evidence:
    return Evidence(row.get("evidence", "stated"), row.get("source", ""), row.get("note", ""))


@cache
def _expanded(file: str) -> dict[str, Row]:
    from library.files import expand

    rows: dict[str, Row] = getattr(expand, EXPANDED[file])(document(file))
    return rows


@cache
def built_in() -> Library:
    """Give the library of the data files alone."""
    return Library({})
