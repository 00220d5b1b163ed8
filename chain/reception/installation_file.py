"""An installation file read whole: every defect at once and in place, or an `Installation` with all that was assumed."""

from __future__ import annotations

import re
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chain.files.whole_file import check_top, parse_whole, source_of
from chain.reception.records import Installation

if TYPE_CHECKING:
    from chain.files.tables import Diagnostics
    from library.parts import Library

ROOT_KEYS = ("title", "library", "antenna", "signal", "interferer", "item", "outlet", "have", "offer")
LISTS = ("signal", "interferer", "item", "outlet", "have", "offer")
MOST_ROWS = 5000
NEEDED = {
    key: f"add {table}; the demo's outlets.toml shows a whole file"
    for key, table in {"antenna": "[antenna]", "signal": "[[signal]]", "outlet": "[[outlet]]"}.items()
}
OF_A_SETUP = re.compile(rb"^[ \t]*\[{1,2}[ \t]*(near|far|chain|calibration|sweep)[ \t]*[].]", re.MULTILINE)
OF_AN_INSTALLATION = re.compile(
    rb"^[ \t]*(\[{1,2}[ \t]*(outlet|signal|item|interferer)[ \t]*[].]|(outlet|signal|item)[ \t]*=[ \t]*\[)",
    re.MULTILINE,
)
ANTENNA_TABLE = re.compile(rb"^[ \t]*\[{1,2}[ \t]*antenna[ \t]*\]", re.MULTILINE)


def is_installation(raw: bytes) -> bool:
    """Distinguish an installation file from a set-up by the tables that only one of them has, in a broken file too."""
    own, other = len(OF_AN_INSTALLATION.findall(raw)), len(OF_A_SETUP.findall(raw))
    return own > other or (own == other == 0 and ANTENNA_TABLE.search(raw) is not None)


def load_installation(source: str | PathLike[str], library: Library | None = None) -> Installation:
    """Read an installation file.

    Parameters
    ----------
    source : path of the file; `-` reads standard input.
    library : parts to choose from; the built-in library, with the files that the installation names, if left out.

    Returns
    -------
    Installation, in SI units, figures of parts resolved.

    Raises
    ------
    InputError : the file is at fault; its `defects` hold every defect with line and column.

    Examples
    --------
    >>> from chain import load_installation
    >>> house = load_installation("demo/outlets.toml")
    >>> [outlet.id for outlet in house.outlets], len(house.channels)
    (['hall', 'workshop', 'loft'], 8)

    Source
    ------
    Keys and defaults: `chain schema installation`.
    """
    return parse_installation(*source_of(fspath(source)), library)


def parse_installation(
    raw: bytes, path: str = "installation", folder: Path | None = None, library: Library | None = None
) -> Installation:
    """Read an installation from the bytes of its file.

    Parameters
    ----------
    raw : bytes of the file.
    path : its name, for messages.
    folder : where the files that it names are looked for; the present folder if left out.
    library : as in `load_installation`.

    Returns
    -------
    Installation.

    Raises
    ------
    InputError : the file is at fault.

    Examples
    --------
    >>> from chain import InputError, parse_installation
    >>> try:
    ...     parse_installation(b'titel = "x"')
    ... except InputError as error:
    ...     print(error.defects[0].message, "|", error.defects[0].help)
    'titel' is not a key of the installation | did you mean 'title'?

    Source
    ------
    As `load_installation`.
    """

    def read(document: dict[str, Any], text: str, into: Diagnostics) -> Installation | None:
        return _read(document, path, into, library is None)

    return parse_whole(raw, path, folder, library, read)[0]


def _read(document: dict[str, Any], path: str, into: Diagnostics, own_library: bool) -> Installation | None:
    from chain.files.sections import read_parts
    from chain.reception.items import read_items, read_offers, read_outlets
    from chain.reception.sections import read_antenna, read_interferers, read_signals
    from chain.reception.tree import link

    check_top(document, ROOT_KEYS, NEEDED, into, "the installation")
    if own_library and "library" in document:
        read_parts(document["library"], into)
    rows = {key: _rows(document, key, into) for key in LISTS}
    antenna = read_antenna(document["antenna"], into) if "antenna" in document else None
    items = read_items(rows["item"], into)
    outlets = read_outlets(rows["outlet"], [item.id for _, item in items], into)
    places = [outlet.id for _, outlet in outlets]
    if outlets and len(outlets) == len(rows["outlet"]) and all(outlet.end for _, outlet in outlets):
        into.defect(
            outlets[0][0], "no outlet has a receiver", 'leave end out at one, or write receiver = "tv"', "header"
        )
    sources, channels = read_signals(rows["signal"], places, into)
    interferers = read_interferers(rows["interferer"], into)
    offers, currency = read_offers(rows["have"], rows["offer"], into)
    supplies = link(items, outlets, antenna, rows, into)
    if into.defects or antenna is None or not outlets or not channels:
        return None
    return Installation(
        document.get("title") or Path(path).stem,
        antenna,
        sources,
        channels,
        tuple(item for _, item in items),
        tuple(outlet for _, outlet in outlets),
        interferers,
        supplies,
        offers,
        currency,
        _together(into.assumed),
        tuple(dict.fromkeys(into.warnings)),
        path,
        into.parts,
    )


def _together(assumed: list[str]) -> tuple[str, ...]:
    """What was assumed, stated once for all items that it holds for."""
    names: dict[str, list[str]] = {}
    for text in assumed:
        name, colon, words = text.partition(": ")
        names.setdefault(words if colon else text, []).append(name if colon else "")
    return tuple(f"{', '.join(who)}: {words}" if who[0] else words for words, who in names.items())


def _rows(document: dict[str, Any], key: str, into: Diagnostics) -> list[Any]:
    """Tables of one kind, as many as are read."""
    from chain.files.tables import named

    raw = document.get(key, [])
    if not isinstance(raw, list):
        into.defect((key,), f"a list of tables is needed here, not {named(raw)}", f"write [[{key}]] before each", "key")
        return []
    if len(raw) > MOST_ROWS:
        into.defect((key, MOST_ROWS), f"more than {MOST_ROWS} tables [[{key}]]", "", "header")
    return raw[:MOST_ROWS]
