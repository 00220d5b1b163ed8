"""A set-up file read whole: every defect at once and in place, or a `Setup` with all that was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chain.errors import ChainError, plain, quoted
from chain.files.tables import Diagnostics
from chain.files.toml import Where
from chain.files.whole_file import check_top, parse_whole, source_of
from chain.setups import Far, Item, Near, Setup, Sweep, with_conductors
from chain.units import format_quantity
from library.formulas import attenuation_db_per_100m, ladder_abcd, limit_return_loss_db, span_hz
from library.records import Adapter, Coax, Measured, Pad, Splitter

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
    >>> from chain import load_setup
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
    >>> from chain import InputError, parse_setup
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
        return _read(document, text, path, into, library is None)

    setup, text = parse_whole(raw, path, folder, library, read)
    from chain.files.toml import defect_at

    found = with_conductors(setup)
    return replace(found, locator=partial(defect_at, text, path), made_with=())


def _text(setup: Setup, folder: Path | None) -> str:
    return _written(setup, folder)[0]


def _written(setup: Setup, folder: Path | None = None) -> tuple[str, Setup]:
    from chain.files.setup_writing import setup_text

    return setup_text(setup, folder, parse_setup)


def up_to_date(setup: Setup) -> Setup:
    """The set-up with what was assumed and stated as of its present figures, as reading its own text gives it.

    One that was not changed since it was made is given back as it is, and so is one that no file can state.
    """
    if not setup.changed:
        return setup
    try:
        again = _written(setup)[1]
    except ChainError:
        return setup
    return replace(again, path=setup.path, locator=setup.locator, own_library=setup.own_library)


Setup.written_by(_text)


def _read(document: dict[str, Any], text: str, path: str, into: Diagnostics, own_library: bool) -> Setup | None:
    from chain.files.sections import read_antenna, read_calibration, read_far, read_near, read_parts, read_sweep

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
        _seen_through(calibration.plane, sweep, items, into)
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
        tuple(_with_place(each, text, path, into) for each in into.warnings),
        path,
        into.parts,
        antenna,
    )


def _with_place(warning: str, text: str, path: str, into: Diagnostics) -> str:
    """A warning with file, line and column before it where it has a place."""
    from chain.files.setup_writing import AS_A_FILE
    from chain.files.toml import defect_at

    if warning not in into.places or path == AS_A_FILE:
        return warning
    at = defect_at(text, path, [into.places[warning]], warning, "")
    return f"{plain(path)}:{at.line}:{at.column}: {warning}"


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


ROUNDING = 1e-9
MOST_LOSS_DB = 150.0
"""Most that a chain may lose one way: 300 dB there and back, far below any instrument's noise."""


def span_checks(
    sweep: Sweep,
    raw: dict[str, Any],
    near: Near | None,
    items: Sequence[tuple[Where, Item]],
    far: Far | None,
    into: Diagnostics,
) -> None:
    """See that the frequencies lie within what the parts hold for."""
    low_key, high_key = ("start", "stop") if "start" in raw else ("channels", "channels")
    for item in _with_arms(items):
        low_hz, high_hz = _span(item, into)
        name = f"{quoted(item.id)} ({item.part.name})"
        span = f"{format_quantity(low_hz, 'frequency')} to {format_quantity(high_hz, 'frequency')}"
        if low_hz == 0:
            span = f"up to {format_quantity(high_hz, 'frequency')}"
        if sweep.start_hz < low_hz * (1 - ROUNDING):
            into.defect(
                ("sweep", low_key), f"below what {plain(name)} holds for: {span}", "raise it, or choose another part"
            )
        if sweep.stop_hz > high_hz * (1 + ROUNDING):
            into.defect(
                ("sweep", high_key), f"above what {plain(name)} holds for: {span}", "lower it, or choose another part"
            )
    _total_loss(sweep, items, into)
    _room_for_tolerances(sweep, items, into)
    ends = [end.connector for end in (near, far) if end]
    ends += [end for item in _with_arms(items) for end in (item.near_connector, item.far_connector)]
    lowest: dict[str, float] = {}
    for end in ends:
        usual_hz = into.parts.family(end.family).usual_hz(end)
        lowest[end.family] = min(usual_hz, lowest.get(end.family, usual_hz))
    for name, usual_hz in lowest.items():
        if sweep.stop_hz > usual_hz * (1 + ROUNDING):
            usual = format_quantity(usual_hz, "frequency")
            into.warnings.append(f"{plain(name)} connectors: the sweep goes above their usual {usual}")


def _total_loss(sweep: Sweep, items: Sequence[tuple[Where, Item]], into: Diagnostics) -> None:
    """Refuse a chain that swallows everything: behind it no reading shows anything, and figures would run out of range."""
    losses = [(loss_db(item, sweep.stop_hz), where, item) for where, item in items]
    total = sum(loss for loss, _, _ in losses)
    if total > MOST_LOSS_DB:
        loss, where, item = max(losses, key=lambda each: each[0])
        key = "length" if item.part.kind == "coax" else "part"
        at = format_quantity(sweep.stop_hz, "frequency")
        what = (
            f"the chain loses {total:.0f} dB one way at {at}, {loss:.0f} dB of it here: nothing comes back through it"
        )
        into.defect((*where, key), what, f"{MOST_LOSS_DB:g} dB at most can be computed; is this figure meant?")


def _room_for_tolerances(sweep: Sweep, items: Sequence[tuple[Where, Item]], into: Diagnostics) -> None:
    """Warn of a lead's stated tolerance of impedance that its limit of reflection has no room for: the rest of it counts nowhere.

    Source: Of d ohm less than Z either end reflects r = d/(2 Z - d), the lead r + r e^(-2 a l) where they come back in phase.
    """
    for where, item in items:
        part = item.part
        if not isinstance(part, Coax) or part.limit is None or item.ideal or "impedance_tolerance" not in item.stated:
            continue
        ohm, off = part.impedance_ohm, min(part.impedance_tolerance_ohm, part.impedance_ohm)
        points = [
            sweep.start_hz,
            *(each for each in part.limit.freq_hz if sweep.start_hz < each < sweep.stop_hz),
            sweep.stop_hz,
        ]
        shares = {hertz: 1 + 10 ** (-loss_db(item, hertz) * (1 - part.loss_tolerance) / 10) for hertz in points}
        ends = {hertz: 10 ** (-limit_return_loss_db(part.limit, hertz) / 20) / shares[hertz] for hertz in points}
        strictest = min(ends, key=lambda hertz: ends[hertz])
        room, share, end = 2 * ohm * ends[strictest] / (1 + ends[strictest]), shares[strictest], off / (2 * ohm - off)
        if off <= room * (1 + ROUNDING):
            continue
        least_db = math.floor(-200 * math.log10(min(end * share, 1.0))) / 10
        into.warn(
            (*where, "impedance_tolerance"),
            f"{plain(item.id)}: impedance_tolerance and reflection contradict: {ohm - off:g} ohm in {ohm:g} reflects up to "
            f"{end * share:.2f} by itself, where a quarter wave long, the whole lead {ends[strictest] * share:.2g} at most; "
            f'{room:.2g} ohm of the tolerance count: state reflection = "{least_db:g} dB", or impedance_tolerance = '
            f'"{math.floor(room * 100) / 100:g} ohm"',
        )


MOST_AHEAD_DB = 50.0
"""Loss one way through which standards can be told apart: 100 dB both ways leave two digits of single precision."""


def _seen_through(plane: str, sweep: Sweep, items: Sequence[tuple[Where, Item]], into: Diagnostics) -> None:
    """Refuse a calibration at the far end of so much loss that open, short and load read alike."""
    ids = [item.id for _, item in items]
    ahead = [item for _, item in items[: ids.index(plane) + 1]] if plane in ids else []
    losses = {item.id: max(loss_db(item, sweep.stop_hz), _resistors_db(item)) for item in ahead}
    if sum(losses.values()) > MOST_AHEAD_DB:
        name = max(losses, key=lambda each: losses[each])
        what = f"{sum(losses.values()):.0f} dB one way lie ahead of this plane, {losses[name]:.0f} dB of them in {quoted(name)}"
        remedy = f"through more than {MOST_AHEAD_DB:g} dB the standards read alike; is this figure meant?"
        into.defect(("calibration", "plane"), what, remedy)


def _resistors_db(item: Item) -> float:
    """Loss of a pad's resistors between its own impedances [dB].

    Source: |A sqrt(R2/R1) + B/sqrt(R1 R2) + C sqrt(R1 R2) + D sqrt(R1/R2)|/2 of the chain matrix.
    """
    part = item.part
    if not isinstance(part, Pad) or part.model != "resistors":
        return 0.0
    a, b, c, d = ladder_abcd(part.arms)
    near, far = part.near_ohm, part.far_ohm
    passed = (
        a * math.sqrt(far / near) + b / math.sqrt(near * far) + c * math.sqrt(near * far) + d * math.sqrt(near / far)
    )
    return 20 * math.log10(passed / 2)


def loss_db(item: Item, freq_hz: float) -> float:
    """Attenuation of an item at a frequency, as far as its part states one [dB]."""
    part = item.part
    if isinstance(part, Coax):
        low, high = span_hz(part)
        return attenuation_db_per_100m(part, min(max(freq_hz, low), high)) * item.length_m / 100
    if isinstance(part, Adapter):
        return part.loss_at_1ghz_db * math.sqrt(freq_hz / 1e9)
    if isinstance(part, Splitter):
        return next((loss for one, other, loss in part.loss_db if {one, other} == set(item.path)), 0.0)
    return float(getattr(part, "loss_db", 0.0))


def _with_arms(items: Sequence[tuple[Where, Item]]) -> Iterator[Item]:
    for _, item in items:
        yield item
        for arm in item.arms:
            yield from arm.items


def _span(item: Item, into: Diagnostics) -> tuple[float, float]:
    part = item.part
    if isinstance(part, Measured):
        return into.measured_hz[part.path]
    if isinstance(part, Coax):
        return part.valid_from_hz, part.valid_to_hz
    return getattr(part, "min_hz", 0.0), getattr(part, "max_hz", float("inf"))
