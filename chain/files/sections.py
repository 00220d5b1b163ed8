"""Tables of a set-up file beside its items: sweep, near and far end, calibration, and checks of the frequencies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from chain.errors import InputError, plain, quoted
from chain.files.positions import SyntaxFault, Where, closest, locate
from chain.files.quantities import named
from chain.files.schema import AntennaModel, CalibrationModel, FarModel, NearModel, SweepModel
from chain.files.tables import Notes, read_table
from chain.files.toml import decode, read_file
from chain.setups import Antenna, Calibration, Far, Near, Sweep
from library.load import LibraryError, load_library

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["read_antenna", "read_calibration", "read_far", "read_near", "read_parts", "read_sweep"]

POINTS = 201
NEAR_OHM, FAR_OHM = 50.0, 75.0
RESIDUALS = ("directivity", "source_match", "tracking", "trace_noise", "repeatability", "drift")
STANDARDS = ("load", "open", "short")


def read_parts(raw: object, notes: Notes) -> None:
    """Lay the user's part files over the library."""
    if not isinstance(raw, list):
        notes.fault(("library",), f"a list of files is needed here, not {named(raw)}", 'write ["my-parts.toml"]')
        return
    paths = []
    for number, name in enumerate(raw):
        where: Where = ("library", number)
        if not isinstance(name, str):
            notes.fault(where, f"the name of a file is needed here, not {named(name)}", 'write "my-parts.toml"')
            continue
        path = notes.folder / name
        try:
            found = path.is_file()
        except (OSError, ValueError):
            found = False
        if not found:
            notes.library_whole = False
            notes.fault(where, f"there is no file {quoted(name)}", "the path starts at the set-up file")
            continue
        try:
            load_library([path])
            paths.append(path)
        except LibraryError as error:
            _refused(error, where, notes)
    try:
        notes.library = load_library(paths)
    except LibraryError as error:
        _refused(error, ("library",), notes)


def _refused(error: LibraryError, where: Where, notes: Notes) -> None:
    """Show the faults of a part file in that file, if it can be read, or at its name."""
    notes.library_whole = False
    if not error.defects:
        notes.fault(where, plain(error.message))
        return
    try:
        text = decode(read_file(error.source), error.source)
    except InputError as unreadable:
        notes.elsewhere += unreadable.defects
        return
    faults = []
    for place, told in error.defects:
        what, _, remedy = plain(told).partition("; did you mean ")
        help_line = f"did you mean {remedy}" if remedy else ""
        faults.append(SyntaxFault(place, what, help_line, "key" if what.startswith("unknown key") else "value"))
    notes.elsewhere += locate(faults, text, error.source)


def read_sweep(raw: object, notes: Notes) -> Sweep | None:
    """Read the table `sweep`.

    Source: Channels by the library's rasters.
    """
    model = read_table(SweepModel, raw, ("sweep",), notes)
    if not isinstance(raw, dict):
        return None
    points = model.points or POINTS
    if "region" in raw or "channels" in raw:
        return _by_channels(model, raw, points, notes)
    for key in ("start", "stop"):
        if key not in raw and not _suggested(key, notes):
            example = "174 MHz" if key == "start" else "240 MHz"
            notes.fault(("sweep",), f"{key} is missing", f'add {key} = "{example}"', "header")
    if model.start is None or model.stop is None:
        return None
    single = model.start == model.stop and points == 1
    if model.start >= model.stop and not single:
        notes.fault(
            ("sweep", "stop"), "stop does not lie above start", "swap the two, or state points = 1 for one frequency"
        )
        return None
    if "points" not in raw:
        notes.assumed.append(f"sweep: points {POINTS} (default)")
    if points == 1 and not single:
        notes.warnings.append("sweep: with one point only the start frequency is computed")
    return Sweep(model.start, model.stop, points)


def _suggested(key: str, notes: Notes) -> bool:
    return any(fault.where[:1] == ("sweep",) and fault.help == f"did you mean {quoted(key)}?" for fault in notes.faults)


def _by_channels(model: SweepModel, raw: dict[str, Any], points: int, notes: Notes) -> Sweep | None:
    from library.channels import channels

    for key in ("start", "stop"):
        if key in raw:
            notes.fault(
                ("sweep", key),
                f"{key} and region exclude each other",
                "give start and stop, or region and channels",
                "key",
            )
    for key, example in (("region", "europe"), ("channels", "5-12")):
        if key not in raw and not _suggested(key, notes):
            notes.fault(
                ("sweep",), f"{key} is missing: channels are those of a region", f'add {key} = "{example}"', "header"
            )
    if model.region is None or model.channels is None:
        return None
    try:
        found = channels(model.region, model.channels, notes.library)
    except LibraryError as error:
        at_region = error.message.startswith("no region")
        near = f"did you mean {' or '.join(quoted(each) for each in error.near)}?" if error.near else ""
        notes.fault(("sweep", "region" if at_region else "channels"), plain(error.message), near)
        return None
    if not found:
        notes.fault(("sweep", "channels"), "no channel is named", 'write them as in "5-12"')
        return None
    if "points" not in raw:
        notes.assumed.append(f"sweep: points {POINTS} (default)")
    return Sweep(min(low for _, low, _ in found), max(high for _, _, high in found), points, model.region, found)


def read_near(raw: object, notes: Notes) -> Near | None:
    """Read the table `near`.

    Source: Reference 50 ohm unless stated; residuals that are not stated count as none.
    """
    model = read_table(NearModel, raw, ("near",), notes)
    if model.connector is None:
        return None
    if model.impedance is None:
        notes.assumed.append(f"near: impedance {NEAR_OHM:g} ohm (default)")
    absent = [key for key in RESIDUALS if getattr(model, key) is None]
    if absent:
        notes.assumed.append(f"near: {', '.join(absent)} taken as perfect (not stated)")
    unknown = [key for key in ("max_power", "max_dc") if getattr(model, key) is None]
    if unknown:
        notes.assumed.append(f"near: {', '.join(unknown)} not judged (not stated)")
    return Near(
        model.connector,
        NEAR_OHM if model.impedance is None else model.impedance,
        model.directivity,
        model.source_match,
        model.tracking,
        model.trace_noise,
        model.repeatability,
        model.drift,
        model.max_power,
        model.max_dc,
    )


def read_far(raw: object, notes: Notes) -> Far | None:
    """Read the table `far`.

    Source: Reference 75 ohm unless stated.
    """
    model = read_table(FarModel, raw, ("far",), notes)
    if model.connector is None:
        return None
    if model.impedance is None:
        notes.assumed.append(f"far: impedance {FAR_OHM:g} ohm (default)")
    if model.limit is None:
        notes.assumed.append("far: no limit to judge by (limit not stated)")
    if model.dc_feed is None:
        notes.assumed.append("far: no DC on the lead (dc_feed not stated)")
    ohm = FAR_OHM if model.impedance is None else model.impedance
    return Far(model.connector, ohm, model.limit, model.dc_feed)


def read_antenna(raw: object, notes: Notes, taken: dict[str, Where]) -> Antenna:
    """Read the table `antenna`, and the items of its feed."""
    from chain.files.items import place_items

    model = read_table(AntennaModel, raw, ("antenna",), notes)
    if not isinstance(raw, dict):
        return Antenna()
    for key, value in (("length", model.length), ("diameter", model.diameter)):
        if value == 0:
            notes.fault(("antenna", key), f"an element has some {key}", "leave the key out if it is not known")
    if model.length and model.diameter and model.diameter >= model.length / 4:
        remedy = "length is the whole element, tip to tip; diameter the thickness of its rod"
        notes.fault(("antenna", "diameter"), "this element is nearly as thick as it is long", remedy)
    feed = model.feed if model.feed is not None else []
    if not isinstance(feed, list):
        notes.fault(("antenna", "feed"), f"a list of items is needed here, not {named(feed)}", "write [[antenna.feed]]")
        feed = []
    placed = place_items(feed, ("antenna", "feed"), notes, taken)
    for where, item in placed:
        if item.part.kind == "termination":
            notes.fault((*where, "part"), f"{quoted(item.id)} ends a chain; nothing goes on behind it")
    return Antenna(model.element or "", model.length, model.diameter, tuple(item for _, item in placed))


def read_calibration(raw: object, ids: Sequence[str], notes: Notes) -> Calibration:
    """Read the table `calibration`.

    Source: Standards that are not stated count as ideal.
    """
    model = read_table(CalibrationModel, raw, ("calibration",), notes)
    plane = "near" if model.plane is None else model.plane
    if plane != "near" and plane not in ids and notes.ids_whole:
        meant = {"far": ids[-1], "antenna": ids[-1]} if ids else {}
        meant |= {"analyzer": "near", "port": "near"}
        notes.fault(
            ("calibration", "plane"), f"no item has the id {quoted(plane)}", closest(plane, ["near", *ids], meant)
        )
    for number, name in enumerate(model.known or ()):
        if name not in STANDARDS:
            notes.fault(("calibration", "known", number), f"{quoted(name)} is no standard", closest(name, STANDARDS))
    _swapped(model.swap_adapter, notes)
    _say_calibration(model, plane, isinstance(raw, dict), notes)
    return Calibration(
        plane,
        model.load,
        model.load_impedance,
        model.load_inductance or 0.0,
        model.open_capacitance or 0.0,
        model.short_inductance or 0.0,
        model.flex or 0.0,
        model.swap_adapter or "",
        tuple(dict.fromkeys(model.known or ())),
    )


def _swapped(name: str | None, notes: Notes) -> None:
    if name is None:
        return
    where = ("calibration", "swap_adapter")
    try:
        kind = notes.library.part(name).kind
    except LibraryError as error:
        near = f"did you mean {' or '.join(quoted(each) for each in error.near)}?" if error.near else ""
        notes.fault(where, f"the library has no part {quoted(name)}", near)
        return
    if kind != "adapter":
        notes.fault(where, f"{quoted(name)} is no adapter", "name the adapter that was exchanged after calibration")


def _say_calibration(model: CalibrationModel, plane: str, is_table: bool, notes: Notes) -> None:
    if model.plane is None and is_table:
        notes.assumed.append("calibration: plane near (default)")
    words = {
        "load": "load taken as perfect",
        "load_impedance": "load_impedance taken as that of the plane",
        "load_inductance": "load_inductance none",
        "open_capacitance": "open_capacitance none",
        "short_inductance": "short_inductance none",
        "flex": "flex none",
        "swap_adapter": "no adapter swapped",
    }
    absent = [text for key, text in words.items() if getattr(model, key) is None]
    if absent:
        notes.assumed.append(f"calibration: {', '.join(absent)} (not stated)")
