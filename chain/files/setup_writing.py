"""A set-up as the text of a file that gives it again: what is typical or a default is left out, every other figure stated exactly."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from chain.errors import RangeError, plain, quoted
from chain.files.overrides import KIND_FIELDS
from chain.files.toml_text import toml_text
from chain.setups import RESIDUALS, SPREAD_RESIDUALS, STANDARDS, Arm, Item, Setup, with_conductors
from chain.units import KINDS, parse_quantity
from library.errors import LibraryError
from library.files.rows import fields_of
from library.load import load_library
from library.mating import f_plug_variant
from library.parts import Library
from library.records import Adapter, Coax, Limit, Measured, Pad, Splitter, Termination

READABLE = {"frequency": "MHz", "inductance": "nH", "capacitance": "pF"}
"""Units that figures are written in where the first of the kind would be hard to read."""
KIND_OF_END = {"_m": "length", "_ohm": "impedance", "_hz": "frequency", "_db": "loss"}
"""Kind of quantity that the end of a field's name stands for."""
AS_A_FILE = "the set-up as a file"
"""Name of a text that nobody sees: nothing in it has a place."""
NEARLY = 1e-12
"""Relative: a limit in dB may miss the last digit of the VSWR that it stands for."""
NEIGHBOURS = 8
ROOM_C = 20.0
Row = dict[str, Any]


def setup_text(
    setup: Setup, folder: Path | None, read: Callable[[bytes, str, Path | None], Setup]
) -> tuple[str, Setup]:
    """The text, and what `read` makes of it again; files that it names are given from `folder`, else by their whole path.

    What comes out otherwise than it went in is refused.
    """
    sources = _parts(setup).sources
    tables: Row = {
        "title": setup.title,
        **({"library": [_path(each, folder) for each in sources]} if sources else {}),
        "sweep": _sweep(setup),
        "near": _near(setup),
        "chain": [_item(each, setup, folder) for each in setup.items],
        "far": _far(setup),
        **({"antenna": antenna} if (antenna := _antenna(setup, folder)) else {}),
        "calibration": _calibration(setup),
    }
    text = toml_text({key: _stated(value) for key, value in tables.items()})
    again = read(text.encode(), AS_A_FILE, folder)
    different = next(_differences(with_conductors(setup), again, "setup"), "")
    if different:
        raise RangeError(
            f"{different} is nothing that a set-up file can state",
            "make it a part of a file of your own (library = [...])",
        )
    return text, again


def _parts(setup: Setup) -> Library:
    """The library that the set-up's parts came from."""
    return setup.own_library or load_library()


def _stated(value: Any) -> Any:
    """A table without its keys that are not given."""
    if isinstance(value, dict):
        return {key: _stated(each) for key, each in value.items() if each is not None}
    return [_stated(each) for each in value] if isinstance(value, (list, tuple)) else value


def _differences(one: Any, other: Any, where: str) -> Iterator[str]:
    """Fields in which two records differ, by their names; those that say how a figure came about are not compared."""
    if is_dataclass(one) and type(one) is type(other):
        for each in fields(one):
            if each.compare:
                yield from _differences(getattr(one, each.name), getattr(other, each.name), f"{where}.{each.name}")
    elif isinstance(one, (tuple, list)) and isinstance(other, (tuple, list)) and len(one) == len(other):
        for number, pair in enumerate(zip(one, other, strict=True)):
            name = f"item {quoted(pair[0].id)}" if isinstance(pair[0], Item) else f"{where}[{number}]"
            yield from _differences(*pair, name)
    elif one != other and not (
        isinstance(one, float) and isinstance(other, float) and math.isclose(one, other, rel_tol=NEARLY)
    ):
        yield f"{where} = {plain(str(one))[:60]}"


def _quantity(value: float | None, kind: str) -> str | None:
    """A figure with its unit, so exact that the reader of files gives it again bit for bit."""
    if value is None:
        return None
    units = KINDS[kind].units
    unit = READABLE.get(kind) or next(iter(units))
    if kind == "length" and 0 < value < 0.1:
        unit = "mm"
    # Factors are powers of ten here, so that this division is exact.
    figure = Decimal(repr(float(value))) / Decimal(repr(units[unit]))
    return f"{_digits(figure)} {unit}"


def _digits(figure: Decimal) -> str:
    """A decimal as people write it, without an exponent where it is of a usual size."""
    plainly = figure.normalize()
    usual = not plainly or -6 <= plainly.adjusted() < len("1000000000000")
    return f"{plainly:f}" if usual else f"{plainly:E}".replace("E", "e")


def _ratio(setup: Setup) -> str | None:
    """The limit, in dB where it was stated so: the shortest figure that gives the VSWR again."""
    limit = setup.far.limit_vswr
    if limit is None or not setup.far.limit_in_db or limit <= 1:
        return None if limit is None else f"VSWR {limit!r}"
    loss_db = -20 * math.log10((limit - 1) / (limit + 1))
    figures = [float(f"{loss_db:.{digits}g}") for digits in range(1, 18)]
    for _ in range(NEIGHBOURS):
        figures += [math.nextafter(figures[-2], 0.0), math.nextafter(figures[-1], 1e3)]
    exact = (each for each in figures if parse_quantity(f"{each!r} dB", "vswr") == limit)
    return f"{next(exact, loss_db)!r} dB"


def _limit(limit: Limit | None) -> Any:
    """A limit of a reflection: one figure or a table, and how it is spread where that is not evenly over the disc."""
    if limit is None:
        return None
    losses = [_quantity(each, "return_loss") for each in limit.return_loss_db]
    if limit.freq_hz == (0.0,):
        size: Any = losses[0]
    else:
        size = [[_quantity(hertz, "frequency"), loss] for hertz, loss in zip(limit.freq_hz, losses, strict=True)]
    return size if limit.kind == "disc" else {"magnitude": size, "known": limit.kind}


def _path(path: str, folder: Path | None) -> str:
    """A file's name from a folder, or whole."""
    whole = Path(path).resolve()
    if folder is None:
        return str(whole)
    try:
        return Path(os.path.relpath(whole, folder.resolve())).as_posix()
    except ValueError:
        return str(whole)


def _was_assumed(setup: Setup, begins: str) -> bool:
    return any(each.startswith(begins) for each in setup.assumed)


def _unless_assumed(setup: Setup, begins: str, value: float, kind: str, default: float) -> str | None:
    """A figure, left out where it is the default that was assumed."""
    return None if value == default and _was_assumed(setup, begins) else _quantity(value, kind)


def _sweep(setup: Setup) -> Row:
    from chain.files.sections import POINTS

    sweep = setup.sweep
    points = None if sweep.points == POINTS and _was_assumed(setup, "sweep: points") else sweep.points
    if sweep.region:
        names = ", ".join(name for name, _, _ in sweep.channels)
        return {"region": sweep.region, "channels": names, "points": points}
    span = {"start": _quantity(sweep.start_hz, "frequency"), "stop": _quantity(sweep.stop_hz, "frequency")}
    return {**span, "points": points}


def _near(setup: Setup) -> Row:
    from chain.files.sections import NEAR_OHM

    near = setup.near
    usual = _parts(setup).analyzer(near.analyzer)
    residuals: Row = {}
    for key in RESIDUALS:
        value = getattr(near, f"{key}_db")
        if key not in near.typical or value != getattr(usual, f"{key}_db"):
            residuals[key] = _quantity(value, "return_loss")
    ideal = near.ideal or any(getattr(near, f"{key}_db") is None for key in RESIDUALS)
    if ideal:
        residuals = {key: _quantity(getattr(near, f"{key}_db"), "return_loss") for key in RESIDUALS}
    assumed = _was_assumed(setup, "near: analyzer") or not near.typical
    return {
        "connector": str(near.connector),
        "impedance": _unless_assumed(setup, "near: impedance", near.impedance_ohm, "impedance", NEAR_OHM),
        "analyzer": None if near.analyzer == "handheld" and assumed else near.analyzer,
        "shows": None if near.shows == "complex" and _was_assumed(setup, "near: shows") else near.shows,
        "calibrates_at": list(near.calibrates_at) or None,
        "ideal": ideal or None,
        **residuals,
        **{f"{key}_kind": _kind(getattr(near, f"{key}_kind")) for key in SPREAD_RESIDUALS},
        "max_power": _quantity(near.max_power_dbm, "power"),
        "max_dc": _quantity(near.max_dc_v, "voltage"),
    }


def _kind(kind: str) -> str | None:
    return None if kind == "disc" else kind


def _far(setup: Setup) -> Row:
    from chain.files.sections import FAR_OHM

    far = setup.far
    return {
        "connector": str(far.connector),
        "impedance": _unless_assumed(setup, "far: impedance", far.impedance_ohm, "impedance", FAR_OHM),
        "limit": _ratio(setup),
        "dc_feed": _quantity(far.dc_feed_v, "voltage"),
        "antenna_q": far.antenna_q,
    }


def _antenna(setup: Setup, folder: Path | None) -> Row:
    antenna = setup.antenna
    feed = [_item(each, setup, folder) for each in antenna.feed]
    found = {
        "element": antenna.element or None,
        "length": _quantity(antenna.length_m, "length"),
        "diameter": _quantity(antenna.diameter_m, "length"),
        "feed": feed or None,
    }
    return found if any(each is not None for each in found.values()) else {}


OF_STANDARDS = {
    "load": "return_loss",
    "load_inductance": "inductance",
    "open_capacitance": "capacitance",
    "short_inductance": "inductance",
}


def _calibration(setup: Setup) -> Row:
    found, library = setup.calibration, _parts(setup)
    usual = library.standards(library.analyzer(setup.near.analyzer).standards)
    exact = found.ideal or (found.load_db is None and "load" not in found.typical)
    standards: Row = {}
    for key, kind in OF_STANDARDS.items():
        value = getattr(found, STANDARDS[key])
        typical = not exact and key in found.typical and value == getattr(usual, STANDARDS[key])
        known = key != "load" and key.partition("_")[0] in found.known
        standards[key] = None if typical or (not value and (exact or known)) else _quantity(value, kind)
    moved = "flex" not in found.typical or found.flex_deg
    return {
        "plane": None if found.plane == "near" and _was_assumed(setup, "calibration: plane") else found.plane,
        "ideal": exact or None,
        **standards,
        "load_kind": _kind(found.load_kind),
        "load_impedance": _quantity(found.load_impedance_ohm, "impedance"),
        "flex": _quantity(found.flex_deg, "angle") if moved and (found.flex_deg or not exact) else None,
        "swap_adapter": found.swap_adapter or None,
        "known": list(found.known) or None,
    }


def _item(item: Item, setup: Setup, folder: Path | None) -> Row:
    part = item.part
    base = _as_placed(item, _parts(setup))
    source: Row = {"part": part.id}
    if isinstance(part, Measured):
        ohms = part.reference_ohm and [_quantity(each, "impedance") for each in part.reference_ohm]
        source = {"touchstone": _path(part.path, folder), "reference": ohms, "path": part.between}
    lengths: Row = {}
    if isinstance(part, Coax):
        tolerance = item.length_tolerance_m
        lengths = {
            "length": _quantity(item.length_m, "length"),
            "length_tolerance": _quantity(tolerance, "length")
            if tolerance or "length_tolerance" in item.stated
            else None,
            "temperature": _quantity(item.temperature_c, "temperature")
            if item.temperature_c != ROOM_C or "temperature" in item.stated
            else None,
        }
    return {
        "id": item.id,
        **source,
        "reversed": item.reversed or None,
        "ideal": item.ideal or None,
        **_ends(item, base),
        **lengths,
        **(_pad(item, base) if isinstance(part, Pad) and isinstance(base, Pad) else _figures(item, base)),
        "arm": [_arm(each, setup, folder) for each in item.arms] or None,
    }


def _as_placed(item: Item, library: Library) -> Any:
    """The part as the item has it where no figure is stated."""
    part = item.part
    if isinstance(part, Measured):
        return replace(part, loss_tolerance_db=0.0, reflection_error=None)
    try:
        return library.part(part.id)
    except LibraryError:
        raise RangeError(
            f"item {quoted(item.id)}: the library has no part {quoted(part.id)}, which no set-up file can name",
            "write it as a part file and name that: library = ['my-parts.toml']",
        ) from None


def _ends(item: Item, base: Any) -> Row:
    """Connectors that are not the part's own."""
    if isinstance(base, Termination):
        return {"near": None if item.near_connector == base.connector else str(item.near_connector)}
    if isinstance(base, (Coax, Measured)):
        # What the cable's conductor means for an F jack is added again when the file is read.
        own = f_plug_variant(base) if isinstance(base, Coax) else ""
        plugs = [
            replace(end, variant="") if own and end.variant == own else end
            for end in (item.near_connector, item.far_connector)
        ]
        return {"near": str(plugs[0]), "far": str(plugs[1])}
    path: Row = {}
    if isinstance(base, Splitter):
        path = {"path": list(item.path)}
        near, far = (base.connectors[base.ports.index(port)] for port in item.path)
    else:
        ends = base.near_connector, base.far_connector
        near, far = ends[::-1] if item.reversed else ends
    return {
        **path,
        "near": None if item.near_connector == near else str(item.near_connector),
        "far": None if item.far_connector == far else str(item.far_connector),
    }


def _figures(item: Item, base: Any) -> Row:
    """Figures that are stated, or other than the library's."""
    part, found = item.part, {}
    for each in fields_of(part.kind):
        if not each.item:
            continue
        value, own = getattr(part, each.field), getattr(base, each.field)
        if each.field == "length_tolerance_m" and isinstance(part, Adapter):
            own = min(own, part.electrical_length_m / 2)
        if isinstance(value, Limit) or isinstance(own, Limit):
            spread = any(key in item.stated and each.field in limits for key, limits in KIND_FIELDS.items())
            if each.item in item.stated or (value != own and not spread):
                found[each.item] = _limit(value)
        elif each.item in item.stated or value != own:
            end = next((end for end in KIND_OF_END if each.field.endswith(end)), "")
            kind = "percent" if each.quantity == "percent" else KIND_OF_END.get(end, "")
            found[each.item] = _quantity(value, kind) if kind else value
    if isinstance(part, Coax):
        found |= _attenuation(item, part, base)
    return found | _spreads(item)


def _attenuation(item: Item, part: Coax, base: Coax) -> Row:
    curve = {
        "flat": part.flat_db_per_100m,
        "per_sqrt_mhz": part.per_sqrt_mhz_db_per_100m,
        "per_mhz": part.per_mhz_db_per_100m,
    }
    own = base.flat_db_per_100m, base.per_sqrt_mhz_db_per_100m, base.per_mhz_db_per_100m
    stated = "attenuation" in item.stated or tuple(curve.values()) != own
    return {"attenuation": curve} if stated else {}


def _pad(item: Item, base: Pad) -> Row:
    """Figures of a pad: its resistors, or what is specified of it."""
    part = item.part
    assert isinstance(part, Pad)
    if part.model == "resistors":
        own = dict(base.arms)
        found: Row = {
            kind: _quantity(ohm, "impedance")
            for kind, ohm in dict(part.arms).items()
            if kind in item.stated or own.get(kind, ohm) != ohm
        }
        if not found or "resistor_tolerance" in item.stated or part.arm_tolerance != base.arm_tolerance:
            switched = base.model != "resistors" or "resistor_tolerance" in item.stated
            if switched or part.arm_tolerance != base.arm_tolerance:
                found["resistor_tolerance"] = _quantity(part.arm_tolerance, "percent")
        return found
    found = _figures(item, base)
    found.pop("resistor_tolerance", None)
    if "reflection" in item.stated:
        near_stated = {"near_reflection", "near_reflection_kind"} & set(item.stated)
        found["reflection"] = _limit(part.far_limit if near_stated else part.near_limit)
        for key, limit in (("near_reflection", part.near_limit), ("far_reflection", part.far_limit)):
            if key not in item.stated and _limit(limit) == found["reflection"]:
                found.pop(key, None)
    if base.model == "resistors":
        found.setdefault("loss", _quantity(part.loss_db, "loss"))
    return found


def _spreads(item: Item) -> Row:
    """How magnitudes are spread, where that is stated by a key of its own."""
    found: Row = {}
    for key, limits in KIND_FIELDS.items():
        if key in item.stated:
            found[key] = next((limit.kind for name in limits if (limit := getattr(item.part, name, None))), None)
    return found


def _arm(arm: Arm, setup: Setup, folder: Path | None) -> Row:
    end: Any = [_item(each, setup, folder) for each in arm.items]
    if arm.end != "items":
        end = "open" if arm.end == "open" else _quantity(arm.end_ohm, "impedance")
    return {"port": arm.port, "end": end}
