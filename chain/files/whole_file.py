"""What all TOML files of a user's share: read whole, every defect at once and in its place, keys at the top looked over."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from chain.errors import Defect, InputError
from chain.files.toml import decode, read_file, read_toml

if TYPE_CHECKING:
    from chain.files.tables import Diagnostics
    from library.parts import Library

Made = TypeVar("Made")
LONGEST_TITLE = 200
PLANE = ("calibration", "plane")
MARKS = {
    "the set-up": (("chain", "sweep", "near", "far"), "'chain check', 'chain expect' or 'chain recover' take it"),
    "the need file": (("need",), "'chain choose' takes it"),
    "the installation": (("outlet", "signal"), "'chain outlets' or 'chain check' take it"),
}
"""Tables by which a kind of file is known, and what it is for."""


def source_of(path: str) -> tuple[bytes, str, Path]:
    """Bytes of a file or of standard input, its name for messages, and where the files that it names are looked for."""
    raw = read_file(path)
    return (raw, "<stdin>", Path()) if path == "-" else (raw, path, Path(path).parent)


def parse_whole(
    raw: bytes,
    path: str,
    folder: Path | None,
    library: Library | None,
    read: Callable[[dict[str, Any], str, Diagnostics], Made | None],
) -> tuple[Made, str]:
    """What `read` makes of a document and its text, and the text; refused with all defects of syntax and content.

    `read` takes defects down in its diagnostics and gives None where it found any.
    """
    text = decode(raw, path)
    document, broken, text = read_toml(text, path)
    if broken and not document:
        raise InputError(broken)
    from chain.files.tables import Diagnostics
    from library.load import load_library

    into = Diagnostics(library or load_library(), folder or Path())
    try:
        made = read(document, text, into)
    except _OtherKind:
        # What else there is to say of it would only be that it is another kind of file.
        made = None
        del into.defects[1:]
    if broken or into.defects or into.elsewhere:
        raise InputError(_all_defects(text, path, broken, into))
    assert made is not None, "no defect, and nothing made"
    return made, text


def _all_defects(text: str, path: str, broken: list[Defect], into: Diagnostics) -> list[Defect]:
    """Defects of syntax and of content in file order; what depends on a broken line is left out."""
    from chain.files.toml import locate

    lines = {defect.line for defect in broken}
    # The plane may name an item whose own line is broken.
    defects = [defect for defect in into.defects if not broken or defect.where != PLANE]
    found = [defect for defect in locate(defects, text, path) if defect.line not in lines]
    last = len(text)
    return [*sorted([*broken, *found], key=lambda each: (each.line or last, each.column or 0)), *into.elsewhere]


class _OtherKind(Exception):
    """The file is of another kind than is wanted."""


def _check_kind(document: dict[str, Any], into: Diagnostics, name: str) -> None:
    there = {kind: [key for key in keys if key in document] for kind, (keys, _) in MARKS.items()}
    others = [kind for kind, keys in there.items() if keys]
    if len(others) == 1 and others[0] != name:
        kind = others[0]
        where = (there[kind][0], 0) if isinstance(document[there[kind][0]], list) else (there[kind][0],)
        into.defect(where, f"this is {_one(kind)}, not {_one(name)}", MARKS[kind][1], "header")
        raise _OtherKind


def _one(kind: str) -> str:
    bare = kind.removeprefix("the ")
    return f"an {bare}" if bare[0] in "aeiou" else f"a {bare}"


def check_top(
    document: dict[str, Any], keys: Collection[str], needed: Mapping[str, str], into: Diagnostics, name: str
) -> set[str]:
    """Look over the keys at the top of a file and its title; the needed keys that an unknown one may have meant.

    `needed` has the remedy for each table that must be there; an empty one is not asked for here.
    """
    from chain.files.tables import named, unknown_key

    _check_kind(document, into, name)
    missing = [key for key in needed if key not in document]
    meant: set[str] = set()
    for key in document:
        if key not in keys:
            meant |= unknown_key((key,), keys, missing, into, name)
    for key in missing:
        if needed[key] and key not in meant:
            table = needed[key].split()[1].rstrip(";")
            into.defect((), f"table {table} is missing", needed[key])
    title = document.get("title", "")
    if not isinstance(title, str):
        into.defect(("title",), f"a text is needed here, not {named(title)}", "put it in quotes")
    elif len(title) > LONGEST_TITLE:
        into.defect(
            ("title",), f"the title is too long ({len(title)} characters)", f"at most {LONGEST_TITLE} are allowed"
        )
    return meant
