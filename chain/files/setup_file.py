"""A set-up file read whole: every defect at once and in place, or a `Setup` with all that was assumed."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chain.errors import quoted
from chain.files.whole_file import check_top, parse_whole, source_of
from chain.setups import Setup, with_conductors

if TYPE_CHECKING:
    from chain.files.tables import Diagnostics
    from library.parts import Library

ROOT_KEYS = ("title", "library", "sweep", "near", "chain", "far", "antenna", "calibration")
NEEDED = {key: f"add [{key}]; 'chain new' writes a whole set-up" for key in ("sweep", "near", "far")} | {"chain": ""}
MOST_ITEMS = 200
CHAIN_DEPTH = 2
"""Length of the place of an item that lies in the chain itself, not on an arm."""


def load_setup(source: str | PathLike[str], library: Library | None = None) -> Setup:
    """Read a set-up file.

    Parameters
    ----------
    source : path of the file; `-` reads standard input.
    library : parts to choose from; the built-in library, with the files that the set-up names, if left out.

    Returns
    -------
    Setup, in SI units, figures of parts resolved.

    Raises
    ------
    InputError : the file is at fault; its `defects` hold every defect with line and column.

    Examples
    --------
    >>> setup = load_setup("demo/boathouse.toml")
    >>> [item.id for item in setup.items], setup.sweep.stop_hz
    (['adapter', 'pad', 'lead'], 240000000.0)

    Source
    ------
    Keys and defaults: `chain schema setup`.
    """
    return parse_setup(*source_of(fspath(source)), library)


def parse_setup(raw: bytes, path: str = "set-up", folder: Path | None = None, library: Library | None = None) -> Setup:
    """Read a set-up from the bytes of its file.

    Parameters
    ----------
    raw : bytes of the file.
    path : its name, for messages.
    folder : where the files that it names are looked for; the present folder if left out.
    library : as in `load_setup`.

    Returns
    -------
    Setup.

    Raises
    ------
    InputError : the file is at fault.

    Examples
    --------
    >>> from chain.errors import InputError
    >>> try:
    ...     parse_setup(b'titel = "x"')
    ... except InputError as error:
    ...     print(error.defects[0].message, "|", error.defects[0].help)
    'titel' is not a key of the set-up | did you mean 'title'?

    Source
    ------
    As `load_setup`.
    """

    def read(document: dict[str, Any], text: str, into: Diagnostics) -> Setup | None:
        return _read(document, path, into, library is None)

    setup, text = parse_whole(raw, path, folder, library, read)
    from chain.files.toml import defect_at

    return with_conductors(replace(setup, locator=partial(defect_at, text, path)))


def _read(document: dict[str, Any], path: str, into: Diagnostics, own_library: bool) -> Setup | None:
    from chain.files.sections import read_antenna, read_calibration, read_far, read_near, read_parts, read_sweep
    from chain.files.spans import span_checks

    if "chain" in check_top(document, ROOT_KEYS, NEEDED, into, "the set-up"):
        document["chain"] = None
    if own_library and "library" in document:
        read_parts(document["library"], into)
    elif "library" in document:
        into.warnings.append("library: the files named here are not read, for a library was handed over")
    sweep = read_sweep(document["sweep"], into) if "sweep" in document else None
    into.highest_hz = sweep.stop_hz if sweep else 0.0
    near = read_near(document.get("near", {}), into) if "near" in document else None
    items, taken = _chain(document, into)
    far = read_far(document.get("far", {}), into) if "far" in document else None
    antenna = read_antenna(document.get("antenna", {}), into, taken)
    ids = [name for name, where in taken.items() if len(where) == CHAIN_DEPTH]
    calibration = read_calibration(document.get("calibration", {}), ids, near, into)
    if sweep:
        span_checks(sweep, document["sweep"], near, items, far, into)
    if into.defects or not (near and far and sweep and items):
        return None
    title = document.get("title") or Path(path).stem
    return Setup(
        title,
        sweep,
        near,
        tuple(item for _, item in items),
        far,
        calibration,
        tuple(into.assumed),
        tuple(into.warnings),
        path,
        into.parts,
        antenna,
    )


def _chain(document: dict[str, Any], into: Diagnostics) -> tuple[list[Any], dict[str, Any]]:
    """Place the items between near and far."""
    from chain.files.items import place_items
    from chain.files.tables import named

    raw = document.get("chain", [])
    taken: dict[str, Any] = {}
    if raw is None:
        return [], taken
    if not isinstance(raw, list):
        into.defect(("chain",), f"a list of items is needed here, not {named(raw)}", "write [[chain]] before each item")
        return [], taken
    if not raw:
        spot: tuple[str, ...] = ("chain",) if "chain" in document else ("far",) if "far" in document else ()
        into.defect(spot, "nothing lies between near and far", "add a [[chain]] table for each item", "header")
    if len(raw) > MOST_ITEMS:
        into.defect(("chain", MOST_ITEMS), f"more than {MOST_ITEMS} items", "", "header")
        raw = raw[:MOST_ITEMS]
    items = place_items(raw, ("chain",), into, taken)
    for where, item in items:
        if item.part.kind == "termination":
            what = f"{quoted(item.id)} ends a chain; nothing can follow it"
            into.defect((*where, "part"), what, "terminations belong on an arm of a splitter")
    return items, taken
