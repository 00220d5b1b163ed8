"""New parts given in full in a need file: checked as a part file is, and laid over the library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from chain.errors import plain
from chain.files.sections import read_parts
from chain.files.tables import Diagnostics, named
from chain.files.toml import Where
from library.errors import LibraryError
from library.files.rows import PART_KINDS
from library.mating import exact_connector
from library.parts import Library

Row = dict[str, Any]
ENDS = ("near", "far", "connector", "connectors")


def read_new_parts(document: Row, path: str, into: Diagnostics, own_library: bool) -> None:
    """Make the library of a need file: the built-in one, its part files, its own parts."""
    if own_library and "library" in document:
        read_parts(document["library"], into)
    given = {kind: document[kind] for kind in PART_KINDS if kind in document}
    for kind, rows in given.items():
        if not isinstance(rows, list):
            into.defect((kind,), f"a list of parts is needed here, not {named(rows)}", f"write [[{kind}]] before each")
    given = {kind: rows for kind, rows in given.items() if isinstance(rows, list)}
    if not given:
        return
    from library.files.ownfile import read_rows

    sound = _sound(given, into)
    if not sound:
        into.parts_whole = False
        return
    source = Path(path).name
    own: dict[str, list[Row]] = {kind: [{"source": source} | row for row in rows] for kind, rows in given.items()}
    for name in document.get("library", ()) if own_library and into.parts_whole else ():
        for kind, rows in read_rows(into.folder / name, tuple(own.get("family", ()))).items():
            own[kind] = own.get(kind, []) + rows
    into.parts = Library(own)


def _sound(given: dict[str, list[Row]], into: Diagnostics) -> bool:
    """Take down what is wrong with the parts themselves, with their connectors and their ids."""
    from library.files.ownfile import defects_of

    before = len(into.defects)
    for where, reported in defects_of(given):
        what, _, near = plain(reported).partition("; did you mean ")
        help_line = f"did you mean {near}" if near else ""
        spot = "key" if what.startswith("unknown key") else "header" if what.endswith("is missing") else "value"
        into.defect(where[:-1] if spot == "header" else where, what, help_line, spot)
    if len(into.defects) > before:
        return False
    seen: set[str] = set()
    for kind, rows in given.items():
        for number, row in enumerate(rows):
            if row["id"] in seen:
                into.defect((kind, number, "id"), f"two parts have the id '{row['id']}'", "give each an id of its own")
            seen.add(row["id"])
            for where, name in _connectors((kind, number), row):
                try:
                    exact_connector(name, into.parts)
                except LibraryError as error:
                    into.defect(where, plain(error.message), error.help)
    return len(into.defects) == before


def _connectors(where: Where, row: Row) -> list[tuple[Where, str]]:
    found: list[tuple[Where, str]] = []
    for key in ENDS:
        value = row.get(key)
        if isinstance(value, str):
            found.append(((*where, key), value))
        elif isinstance(value, list):
            found += [((*where, key, place), each) for place, each in enumerate(value)]
    return found
