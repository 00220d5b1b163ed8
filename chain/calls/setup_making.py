"""A set-up built in code: the same keys as in a file, and every value checked by the reader of files."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from os import PathLike, fspath
from pathlib import Path
from typing import Any

from chain.errors import RangeError, quoted
from chain.files.setup_file import parse_setup
from chain.files.toml_text import toml_text
from chain.setups import Setup
from chain.units import format_quantity, is_number
from library.records import Connector

LEAST_HZ = 1e4
"""Lower than any antenna is measured."""
SPAN = (2, 3)
"""Start and stop, and perhaps points."""
Given = Mapping[str, Any]


def setup_of(
    chain: Sequence[str | Given],
    near: str | Given = "N-50 jack",
    far: str | Given = "F-75 jack",
    sweep: Given | Sequence[Any] = ("174 MHz", "240 MHz"),
    calibration: str | Given = "near",
    title: str = "Set-up made in code",
    antenna: Given | None = None,
    library: Sequence[str | PathLike[str]] = (),
) -> Setup:
    """Build a set-up in code, with the keys of a set-up file; every value is checked as there.

    The tables of a file are such keys: `setup_of(**tomllib.load(file))`. What comes out is written by `setup.save(path)`.

    Parameters
    ----------
    chain : items from the analyzer to the antenna: the name of a part, or a mapping of an item's keys; an id may be left out.
    near : connector of the analyzer, or the keys of `[near]`.
    far : connector of the antenna, or the keys of `[far]`.
    sweep : keys of `[sweep]`, or (start, stop) or (start, stop, points), as texts or in Hz.
    calibration : the plane, or the keys of `[calibration]`.
    title : what the set-up is called.
    antenna : keys of `[antenna]`, if any.
    library : files of parts of one's own.

    Returns
    -------
    Setup.

    Raises
    ------
    InputError : a value is at fault; its `defects` hold every fault, each with its line of the file that this would be.
    RangeError : a value of a type that no file can hold.

    Examples
    --------
    >>> from chain import setup_of
    >>> lead = {"part": "rg59", "length": "0.6 m", "near": "BNC-75 plug", "far": "F-75 plug"}
    >>> setup = setup_of(["n-plug-bnc-plug", "min-loss-pad", lead], far={"connector": "F female", "limit": "VSWR 2.0"})
    >>> [item.id for item in setup.items], setup.far.limit_vswr
    (['n-plug-bnc-plug', 'min-loss-pad', 'rg59'], 2.0)

    Source
    ------
    Keys: `chain.files.schema`.
    """
    if isinstance(chain, (str, Mapping)) or not isinstance(chain, Sequence):
        raise RangeError(f"chain is a list of parts, not {quoted(chain)}", "write chain=['min-loss-pad', ...]")
    if not isinstance(library, (list, tuple)) or not all(isinstance(each, (str, PathLike)) for each in library):
        raise RangeError(f"library is a list of files, not {quoted(library)}", "write library=['my-parts.toml']")
    tables: dict[str, Any] = {
        "title": title,
        **({"library": [str(Path(fspath(each)).resolve()) for each in library]} if library else {}),
        "sweep": _sweep(sweep),
        "near": {"connector": near} if isinstance(near, (str, Connector)) else near,
        "chain": _items(chain),
        "far": {"connector": far} if isinstance(far, (str, Connector)) else far,
        **({} if antenna is None else {"antenna": antenna}),
        "calibration": {"plane": calibration} if isinstance(calibration, str) else calibration,
    }
    return parse_setup(toml_text(tables).encode(), "setup_of", Path())


def _sweep(given: Any) -> Any:
    if isinstance(given, Mapping):
        return given
    if not isinstance(given, Sequence) or isinstance(given, str) or len(given) not in SPAN:
        raise RangeError(
            f"{quoted(given)} is no sweep", "give (start, stop), (start, stop, points) or the keys of [sweep]"
        )
    start, stop = (_hertz(each) for each in given[:2])
    return {"start": start, "stop": stop, **({"points": given[2]} if len(given) == max(SPAN) else {})}


def _hertz(value: Any) -> Any:
    plain_number = is_number(value)
    if plain_number and 0 < float(value) < LEAST_HZ:
        what = f"sweep: {float(value):g} is taken as hertz; is this MHz?"
        raise RangeError(what, f'write "{float(value):g} MHz", or {float(value):g}e6')
    return format_quantity(float(value), "frequency") if plain_number and 0 < float(value) < math.inf else value


def _items(given: Sequence[Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for each in given:
        row = {"part": each} if isinstance(each, str) else each
        if not isinstance(row, Mapping):
            raise RangeError(f"{quoted(each)} is no item", "give the name of a part, or a mapping of an item's keys")
        name = str(row.get("part", row.get("touchstone", "item")))
        taken = [other["id"] for other in found]
        count = sum(other == name or str(other).startswith(f"{name} ") for other in taken)
        found.append({"id": name if not count else f"{name} {count + 1}", **row})
    return found
