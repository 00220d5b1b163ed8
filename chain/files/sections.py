"""Tables of a set-up file beside its items: sweep, near and far end, calibration, and checks of the frequencies."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from chain.errors import InputError, plain, quoted
from chain.files.schema import AnalyzerKeys, AntennaModel, CalibrationModel, FarModel, FrequenciesModel, NearModel
from chain.files.tables import Diagnostics, named, read_table
from chain.files.toml import PlacedDefect, Where, closest, decode, locate, read_file
from chain.setups import (
    ASSUMED_ANALYZER,
    RESIDUALS,
    SPREAD_RESIDUALS,
    STANDARDS,
    Antenna,
    Calibration,
    Far,
    Near,
    Sweep,
    with_typical_residuals,
    with_typical_standards,
)
from chain.units import is_return_loss
from library.errors import LibraryError
from library.load import load_library
from library.records import Connector

if TYPE_CHECKING:
    from collections.abc import Sequence

POINTS = 201
NEAR_OHM, FAR_OHM = 50.0, 75.0
KNOWN = ("load", "open", "short")
CUSTOMARY = {
    "load": (1.0, "dB"),
    "load_inductance": (1e-9, "nH"),
    "open_capacitance": (1e-12, "pF"),
    "short_inductance": (1e-9, "nH"),
    "flex": (1.0, "deg at 1 GHz of a moved lead"),
}
"""Units that people know the figures of standards in."""


def read_parts(raw: object, into: Diagnostics) -> None:
    """Lay the user's part files over the library."""
    if not isinstance(raw, list):
        into.defect(("library",), f"a list of files is needed here, not {named(raw)}", 'write ["my-parts.toml"]')
        return
    paths = []
    for number, name in enumerate(raw):
        where: Where = ("library", number)
        if not isinstance(name, str):
            into.defect(where, f"the name of a file is needed here, not {named(name)}", 'write "my-parts.toml"')
            continue
        path = into.folder / name
        try:
            found = path.is_file()
        except (OSError, ValueError):
            found = False
        if not found:
            into.parts_whole = False
            into.defect(where, f"there is no file {quoted(name)}", "the path starts at the set-up file")
            continue
        try:
            load_library([path])
            paths.append(path)
        except LibraryError as error:
            _refused(error, where, into)
    try:
        into.parts = load_library(paths)
    except LibraryError as error:
        _refused(error, ("library",), into)


def _refused(error: LibraryError, where: Where, into: Diagnostics) -> None:
    """Show the defects of a part file in that file, if it can be read, or at its name."""
    into.parts_whole = False
    if not error.defects:
        into.defect(where, plain(error.message))
        return
    try:
        text = decode(read_file(error.source), error.source)
    except InputError as unreadable:
        into.elsewhere += unreadable.defects
        return
    defects = []
    for place, reported in error.defects:
        what, _, remedy = plain(reported).partition("; did you mean ")
        help_line = f"did you mean {remedy}" if remedy else ""
        defects.append(PlacedDefect(place, what, help_line, "key" if what.startswith("unknown key") else "value"))
    into.elsewhere += locate(defects, text, error.source)


def read_sweep(raw: object, into: Diagnostics) -> Sweep | None:
    """Read the table `sweep` (channels by the library's rasters)."""
    model = read_table(FrequenciesModel, raw, ("sweep",), into)
    if not isinstance(raw, dict):
        return None
    points = model.points or POINTS
    if "region" in raw or "channels" in raw:
        return _by_channels(model, raw, points, into)
    for key in ("start", "stop"):
        if key not in raw and not _suggested(key, into):
            example = "174 MHz" if key == "start" else "240 MHz"
            into.defect(("sweep",), f"{key} is missing", f'add {key} = "{example}"', "header")
    if model.start is None or model.stop is None:
        return None
    single = model.start == model.stop and points == 1
    if model.start >= model.stop and not single:
        into.defect(
            ("sweep", "stop"), "stop does not lie above start", "swap the two, or state points = 1 for one frequency"
        )
        return None
    if "points" not in raw:
        into.assumed.append(f"sweep: points {POINTS} (default)")
    if points == 1 and not single:
        into.warnings.append("sweep: with one point only the start frequency is computed")
    return Sweep(model.start, model.stop, points)


def _suggested(key: str, into: Diagnostics) -> bool:
    return any(
        defect.where[:1] == ("sweep",) and defect.help == f"did you mean {quoted(key)}?" for defect in into.defects
    )


def _by_channels(model: FrequenciesModel, raw: dict[str, Any], points: int, into: Diagnostics) -> Sweep | None:
    from library.channels import channels, region_of

    for key in ("start", "stop"):
        if key in raw:
            into.defect(
                ("sweep", key),
                f"{key} and region cannot both be given",
                "give start and stop, or region and channels",
                "key",
            )
    for key, example in (("region", "europe"), ("channels", "5-12")):
        if key not in raw and not _suggested(key, into):
            into.defect(
                ("sweep",), f"{key} is missing: channels are those of a region", f'add {key} = "{example}"', "header"
            )
    if model.region is None or model.channels is None:
        return None
    try:
        region = region_of(model.region, into.parts)
        found = channels(region, model.channels, into.parts)
    except LibraryError as error:
        at_region = error.message.startswith("no region")
        into.defect(("sweep", "region" if at_region else "channels"), plain(error.message), plain(error.help))
        return None
    if region != model.region:
        into.assumed.append(f"sweep: region {plain(model.region)} taken as {region}")
    if not found:
        into.defect(("sweep", "channels"), "no channel is named", 'write them as in "5-12"')
        return None
    if "points" not in raw:
        into.assumed.append(f"sweep: points {POINTS} (default)")
    return Sweep(min(low for _, low, _ in found), max(high for _, _, high in found), points, region, found)


def read_near(raw: object, into: Diagnostics) -> Near | None:
    """Read the table `near` (reference 50 ohm unless stated; residuals that are not stated count as none)."""
    model = read_table(NearModel, raw, ("near",), into)
    if model.connector is None:
        return None
    if model.impedance is None:
        into.assumed.append(f"near: impedance {NEAR_OHM:g} ohm (default)")
    unknown = [key for key in ("max_power", "max_dc") if getattr(model, key) is None]
    if unknown:
        into.assumed.append(f"near: {', '.join(unknown)} not judged (not stated)")
    near = analyzer_of(model, model.connector, NEAR_OHM if model.impedance is None else model.impedance, into)
    return replace(near, max_power_dbm=model.max_power, max_dc_v=model.max_dc)


def analyzer_of(model: AnalyzerKeys, connector: Connector, ohm: float, into: Diagnostics, table: str = "near") -> Near:
    """The analyzer that a table describes; what it does not state is typical, and taken down as assumed."""
    stated = {f"{key}_db": getattr(model, key) for key in RESIDUALS}
    near = Near(
        connector,
        ohm,
        analyzer=model.analyzer or ASSUMED_ANALYZER,
        shows=model.shows or "complex",
        calibrates_at=tuple(dict.fromkeys(model.calibrates_at or ())),
        ideal=bool(model.ideal),
        **stated,
    )
    kinds: dict[str, Any] = {f"{key}_kind": getattr(model, f"{key}_kind") or "disc" for key in SPREAD_RESIDUALS}
    near = replace(near, **kinds)
    near = with_typical_residuals(near, into.parts)
    # The class of an analyzer whose every figure is stated gives none, and nothing is assumed of it.
    if model.analyzer is None and near.typical:
        into.assumed.append(f"{table}: analyzer {ASSUMED_ANALYZER} (not stated)")
    if model.shows is None:
        into.assumed.append(f"{table}: shows complex (default)")
    if not near.has_phase and not near.calibrates_at:
        into.assumed.append(f"{table}: calibrates at its own port only (shows {near.shows}, calibrates_at not stated)")
    if near.typical:
        values = ", ".join(f"{key} {getattr(near, f'{key}_db'):g} dB" for key in near.typical)
        evidence = into.parts.analyzer(near.analyzer).evidence.kind
        into.assumed.append(f"{table}: {values} (typical of a {near.analyzer} analyzer, evidence {evidence})")
    absent = [key for key, value in stated.items() if value is None]
    if near.ideal and absent:
        names = ", ".join(key.removesuffix("_db") for key in absent)
        into.assumed.append(f"{table}: {names} taken as perfect (ideal)")
    return near


def read_far(raw: object, into: Diagnostics) -> Far | None:
    """Read the table `far` (reference 75 ohm unless stated)."""
    model = read_table(FarModel, raw, ("far",), into)
    if model.connector is None:
        return None
    if model.impedance is None:
        into.assumed.append(f"far: impedance {FAR_OHM:g} ohm (default)")
    if model.limit is None:
        into.assumed.append("far: no limit to judge by (limit not stated)")
    if model.dc_feed is None:
        into.assumed.append("far: no DC on the lead (dc_feed not stated)")
    ohm = FAR_OHM if model.impedance is None else model.impedance
    limit_in_db = isinstance(raw, dict) and is_return_loss(raw.get("limit"))
    return Far(model.connector, ohm, model.limit, model.dc_feed, model.antenna_q, limit_in_db)


def read_antenna(raw: object, into: Diagnostics, taken: dict[str, Where]) -> Antenna:
    """Read the table `antenna`, and the items of its feed."""
    from chain.files.items import place_items

    model = read_table(AntennaModel, raw, ("antenna",), into)
    if not isinstance(raw, dict):
        return Antenna()
    for key, value in (("length", model.length), ("diameter", model.diameter)):
        if value == 0:
            into.defect(
                ("antenna", key), f"an element needs a {key} above zero", "leave the key out if it is not known"
            )
    if model.length and model.diameter and model.diameter >= model.length / 4:
        remedy = "length is the whole element, tip to tip; diameter the thickness of its rod"
        into.defect(("antenna", "diameter"), "this element is nearly as thick as it is long", remedy)
    feed = model.feed if model.feed is not None else []
    if not isinstance(feed, list):
        into.defect(("antenna", "feed"), f"a list of items is needed here, not {named(feed)}", "write [[antenna.feed]]")
        feed = []
    placed = place_items(feed, ("antenna", "feed"), into, taken)
    for where, item in placed:
        if item.part.kind == "termination":
            into.defect((*where, "part"), f"{quoted(item.id)} ends a chain; nothing can follow it")
    return Antenna(model.element or "", model.length, model.diameter, tuple(item for _, item in placed))


def read_calibration(raw: object, ids: Sequence[str], near: Near | None, into: Diagnostics) -> Calibration:
    """Read the table `calibration` (standards that are not stated are those that usually go with the analyzer)."""
    model = read_table(CalibrationModel, raw, ("calibration",), into)
    plane = "near" if model.plane is None else model.plane
    for number, name in enumerate(near.calibrates_at if near else ()):
        if name not in ("near", "far", *ids) and into.ids_whole:
            where: Where = ("near", "calibrates_at", number)
            into.defect(where, f"no item has the id {quoted(name)}", closest(name, ["near", "far", *ids]))
    if plane != "near" and plane not in ids and into.ids_whole:
        meant = {"far": ids[-1], "antenna": ids[-1]} if ids else {}
        meant |= {"analyzer": "near", "port": "near"}
        known = _planes_of(near, ids)
        meant = {word: name for word, name in meant.items() if name in known}
        into.defect(("calibration", "plane"), f"no item has the id {quoted(plane)}", closest(plane, known, meant))
    for number, name in enumerate(model.known or ()):
        if name not in KNOWN:
            into.defect(("calibration", "known", number), f"{quoted(name)} is no standard", closest(name, KNOWN))
    _swapped(model.swap_adapter, into)
    if model.plane is None and isinstance(raw, dict):
        into.assumed.append("calibration: plane near (default)")
    found = Calibration(
        plane,
        model.load,
        model.load_impedance,
        model.load_inductance or 0.0,
        model.open_capacitance or 0.0,
        model.short_inductance or 0.0,
        model.flex or 0.0,
        model.swap_adapter or "",
        tuple(dict.fromkeys(model.known or ())),
        load_kind=model.load_kind or "disc",
        ideal=bool(model.ideal),
    )
    if near is None:
        return found
    usable = _planes_of(near, ids)
    if plane in ("near", *ids) and usable and plane not in usable:
        why = (
            f"calibrates_at names {', '.join(near.calibrates_at)}"
            if near.calibrates_at
            else f"it shows {near.shows} only"
        )
        named_planes = ", ".join(f'"{each}"' for each in (*(near.calibrates_at or ("near",)), plane))
        into.defect(
            ("near", "calibrates_at") if model.plane is None else ("calibration", "plane"),
            f"{quoted(plane)} is not a plane that this analyzer calibrates at ({why})",
            f'write plane = "{usable[0]}" under [calibration], or, if yours can, '
            f"calibrates_at = [{named_planes}] under [near]",
        )
    stated = [key for key in STANDARDS if getattr(model, key) is not None]
    # A standard whose value the calibration uses has no error left, whether that value stands in this file or not.
    stated += [key for key in STANDARDS if key.partition("_")[0] in found.known and key != "load"]
    found = with_typical_standards(found, near, into.parts, stated)
    _say_standards(found, stated, near, into)
    return found


def _planes_of(near: Near | None, ids: Sequence[str]) -> list[str]:
    """Planes that an analyzer can be calibrated at, of a set-up with items of these ids."""
    last = ids[-1] if ids else ""
    return [each for each in ("near", *ids) if near is None or near.calibrates(each, last)]


def _swapped(name: str | None, into: Diagnostics) -> None:
    if name is None:
        return
    where = ("calibration", "swap_adapter")
    try:
        kind = into.parts.part(name).kind
    except LibraryError as error:
        near = f"did you mean {' or '.join(quoted(each) for each in error.near)}?" if error.near else ""
        into.defect(where, f"the library has no part {quoted(name)}", near)
        return
    if kind != "adapter":
        into.defect(where, f"{quoted(name)} is no adapter", "name the adapter that was exchanged after calibration")


def _say_standards(found: Calibration, stated: Sequence[str], near: Near, into: Diagnostics) -> None:
    """Take down what is typical, or taken as perfect, of the standards."""
    if found.load_impedance_ohm is None:
        into.assumed.append("calibration: load_impedance that of the plane (not stated)")
    if found.ideal:
        absent = [key for key in STANDARDS if key not in stated]
        if absent:
            into.assumed.append(f"calibration: {', '.join(absent)} taken as perfect (ideal)")
    elif found.typical:
        units = [(key, *CUSTOMARY[key]) for key in found.typical]
        values = ", ".join(f"{key} {getattr(found, STANDARDS[key]) / size:g} {unit}" for key, size, unit in units)
        evidence = into.parts.standards(into.parts.analyzer(near.analyzer).standards).evidence.kind
        into.assumed.append(f"calibration: {values} (typical with a {near.analyzer} analyzer, evidence {evidence})")
