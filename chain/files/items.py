"""Items of a set-up: the part looked up or measured, its figures and ends settled, arms of splitters with all they hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from chain.errors import InputError, UnitError, plain, quoted
from chain.files.overrides import with_overrides, words_of
from chain.files.schema import ALWAYS, KEYS_OF, ArmModel, ItemModel
from chain.files.tables import Diagnostics, named, read_table
from chain.files.toml import Where, closest
from chain.setups import Arm, Item
from chain.units import format_quantity, parse_quantity
from library.errors import LibraryError
from library.formulas import LIGHT_M_PER_S
from library.records import Adapter, Coax, Connector, Evidence, Measured, Part, SectionLine, Splitter, Termination

ROOM_C = 20.0
RESERVED = ("near", "far")
MOST_FOUND = 3
"""Parts named of those that a description finds."""
OF_THE_ITEM = ("near", "far", "reversed", "length", "path", "arm", "touchstone")
"""Keys that no library figure stands behind."""
Placed = tuple[Where, Item]


def place_items(raw: Sequence[object], where: Where, into: Diagnostics, taken: dict[str, Where]) -> list[Placed]:
    """Place every item of a list."""
    placed = []
    for number, table in enumerate(raw):
        here = (*where, number)
        if table == {}:
            ids = {each.get("id") for each in raw if isinstance(each, dict)} | set(taken)
            free = next(name for name in ("item", *(f"item{n}" for n in range(2, len(ids) + 3))) if name not in ids)
            remedy = f'delete this line, or write below it id = "{free}" and part = "..." (chain parts lists them)'
            into.defect(here, "an item without anything in it", remedy, "header")
            into.ids_whole = False
            continue
        model = read_table(ItemModel, table, here, into)
        if isinstance(table, dict):
            _claim(model.id, here, into, taken)
            item = _place(model, table, here, into, taken)
            if item:
                placed.append((here, item))
    return placed


def _claim(name: str | None, where: Where, into: Diagnostics, taken: dict[str, Where]) -> None:
    """See that an id is free and can be named elsewhere."""
    spot = (*where, "id")
    if name is None:
        into.ids_whole = False
    elif name in RESERVED:
        into.defect(spot, f"{quoted(name)} is taken: it names an end of the chain", "choose another id")
    elif name.strip() != name or plain(name) != name:
        into.defect(spot, f"{quoted(name)} cannot be an id", "no blanks at its ends, no control characters")
    elif name in taken:
        into.defect(spot, f"id {quoted(name)} is given twice", "give each item an id of its own")
    else:
        taken[name] = where


def _place(
    model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics, taken: dict[str, Where]
) -> Item | None:
    part = _part(model, raw, where, into)
    if part is None:
        return None
    allowed = (*ALWAYS, *KEYS_OF[part.kind])
    for key in raw:
        if key in ItemModel.keys and key not in allowed:
            takes = [each for each in allowed if each not in ALWAYS]
            into.defect(
                (*where, key), f"{key} does not apply to {_article(part.kind)}", f"it takes {', '.join(takes)}", "key"
            )
    part = with_overrides(part, model, where, into)
    if isinstance(part, Adapter) and model.length_tolerance is None:
        # The library's tolerance is that of its own length: of a stated one it is half at most, as a stated tolerance.
        part = replace(part, length_tolerance_m=min(part.length_tolerance_m, part.electrical_length_m / 2))
    ends = _ends(part, model, raw, where, into)
    arms = _arms(part, model, raw, where, into, taken)
    if part.kind == "coax":
        _measure(model, raw, where, into)
    _cap_tolerance(part, model, where, into)
    if ends is None or model.id is None:
        return None
    if into.reports_assumed:
        _say_assumed(part, model, arms, into)
    stated = [key for key in KEYS_OF[part.kind] if key not in OF_THE_ITEM and getattr(model, key) is not None]
    return Item(
        model.id,
        part,
        *ends,
        reversed=bool(model.reversed),
        ideal=bool(model.ideal),
        length_m=model.length or 0.0,
        length_tolerance_m=(model.length_tolerance or 0.0) if part.kind == "coax" else 0.0,
        temperature_c=ROOM_C if model.temperature is None else model.temperature,
        path=model.path or ("", ""),
        arms=arms,
        stated=tuple(stated),
    )


def _article(kind: str) -> str:
    words = {"section": "a section of line", "measured": "a measured two-port", "coax": "coax", "adapter": "an adapter"}
    return words.get(kind, f"a {kind}")


def _part(model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics) -> Part | None:
    if "part" in raw and "touchstone" in raw:
        into.defect((*where, "touchstone"), "an item is either a part or a measured two-port", "leave one out", "key")
        return None
    if model.touchstone is not None:
        return measured_part(model, where, into)
    if model.part is None:
        unread = [key for key in raw if key not in ItemModel.keys]
        if "part" not in raw and "touchstone" not in raw and not _misspelt("part", unread):
            into.defect(where, "part is missing", 'add part = "..." (chain parts lists them)', "header")
        return None
    try:
        return into.parts.part(model.part)
    except LibraryError as error:
        near = f"did you mean {' or '.join(quoted(each) for each in error.near)}?" if error.near else ""
        if into.parts_whole:
            remedy = near or _found(model.part, into) or "'chain parts' lists what there is"
            into.defect((*where, "part"), f"the library has no part {quoted(model.part)}", remedy)
        return None


def _found(words: str, into: Diagnostics) -> str:
    """Parts that a description finds, as a remedy; nothing where it finds none."""
    from library.search import find

    ids = [part.id for part in find(into.parts, words)][:MOST_FOUND]
    return (
        f"did you mean {' or '.join(quoted(each) for each in ids)}? 'chain parts {plain(words)}' lists more"
        if ids
        else ""
    )


def _misspelt(key: str, unread: list[str]) -> bool:
    from chain.files.tables import OTHER_NAMES

    return any(closest(each, [key], OTHER_NAMES).startswith("did you mean") for each in unread)


def measured_part(model: ItemModel, where: Where, into: Diagnostics) -> Part | None:
    """A two-port of the user's own; the file is read here, so that what is wrong with it is reported in place."""
    from chain.sweeps.touchstone import read_two_port

    path = into.folder / (model.touchstone or "")
    try:
        if not path.is_file():
            raise ValueError
        found = read_two_port(str(path), model.path)
    except InputError as error:
        first = error.defects[0]
        name = plain(model.touchstone or "") + (f":{first.line}:{first.column}" if first.line else "")
        more = f" (and {len(error.defects) - 1} more)" if len(error.defects) > 1 else ""
        into.defect((*where, "touchstone"), f"{name}: {first.message}{more}", first.help)
        return None
    except (OSError, ValueError):
        into.defect(
            (*where, "touchstone"), f"there is no file {quoted(model.touchstone)}", "the path starts at the set-up file"
        )
        return None
    reference = model.reference or (found.reference_ohm[0], found.reference_ohm[1])
    into.measured_hz[str(path.resolve())] = float(found.freq_hz[0]), float(found.freq_hz[-1])
    into.assumed += [f"{plain(model.id or '')}: {each}" for each in found.notes]
    if model.path is not None:
        ways = " to ".join(model.path)
        into.assumed.append(f"{plain(model.id or '')}: ports {ways} of the file, the others ended in its reference")
    own = Evidence("measured", plain(path.name))
    ends = [end or Connector("", "") for end in (model.near, model.far)]
    if model.reversed:
        ends.reverse()
    if model.reference is None:
        words = " and ".join(f"{ohm:g} ohm" for ohm in dict.fromkeys(reference))
        into.assumed.append(f"{plain(model.id or '')}: reference {words} (the file's own header)")
    exact = [key for key in ("loss_tolerance", "reflection_error") if getattr(model, key) is None]
    if exact:
        into.assumed.append(f"{plain(model.id or '')}: {' and '.join(exact)} taken as zero (the file counts as exact)")
    nominal = [_nominal(end, ohm, into) for end, ohm in zip(ends, reference, strict=True)]
    name = path.name
    return Measured(
        name,
        name,
        ends[0],
        ends[1],
        nominal[0],
        nominal[1],
        str(path.resolve()),
        own,
        between=model.path,
        reference_ohm=model.reference,
    )


def _nominal(connector: Connector, otherwise: float, into: Diagnostics) -> float:
    """Impedance that an end is meant for: its connector's, or that of the file."""
    return (into.parts.family(connector.family).impedance_ohm if connector.family else 0.0) or otherwise


def _ends(
    part: Part, model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics
) -> tuple[Connector, Connector] | None:
    """Connectors of the item as placed."""
    if isinstance(part, Termination):
        end = model.near or part.connector
        return end, end
    if isinstance(part, Splitter):
        own = _splitter_ends(part, model, raw, where, into)
    elif isinstance(part, (Coax, Measured)):
        own = None
        for key in ("near", "far"):
            if key not in raw:
                hint = f'add {key} = "BNC-75 plug" or what it has'
                into.defect(
                    where, f"{key} is missing: {_article(part.kind)} has no connectors of its own", hint, "header"
                )
    else:
        own = (part.near_connector, part.far_connector)
        own = own[::-1] if model.reversed else own
    near, far = (stated or (own[at] if own else None) for at, stated in enumerate((model.near, model.far)))
    return (near, far) if near and far else None


def _splitter_ends(
    part: Splitter, model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics
) -> tuple[Connector, Connector] | None:
    if model.path is None:
        if "path" not in raw:
            hint = f'add path = ["{part.ports[0]}", "{part.ports[1]}"]'
            into.defect(where, "path is missing: which ports of the splitter the chain runs through", hint, "header")
        return None
    known = ", ".join(part.ports)
    for number, port in enumerate(model.path):
        if port not in part.ports:
            into.defect((*where, "path", number), f"this splitter has no port {quoted(port)}", f"its ports: {known}")
            return None
    if model.path[0] == model.path[1]:
        into.defect((*where, "path"), "a path runs from one port to another", f"its ports: {known}")
        return None
    near, far = (part.connectors[part.ports.index(port)] for port in model.path)
    return near, far


def _measure(model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics) -> None:
    """See that a coax has a length."""
    if "length" not in raw:
        unread = [key for key in raw if key not in ItemModel.keys]
        if not _misspelt("length", unread):
            into.defect(where, "length is missing", 'add length = "0.6 m"', "header")
    elif model.length == 0:
        into.defect((*where, "length"), "a lead needs a length above zero", "leave the item out if there is none")


def _cap_tolerance(part: Part, model: ItemModel, where: Where, into: Diagnostics) -> None:
    """See that a stated tolerance of length is at most half the length."""
    if model.length_tolerance is None:
        return
    lengths = {
        "coax": model.length,
        "adapter": getattr(part, "electrical_length_m", None),
        "section": min((share * LIGHT_M_PER_S / part.design_hz for _, share in part.pieces), default=None)
        if isinstance(part, SectionLine)
        else None,
    }
    length_m = lengths.get(part.kind)
    if length_m is not None and model.length_tolerance > length_m / 2:
        what = f"a tolerance of {format_quantity(model.length_tolerance, 'length')} is more than half the length"
        remedy = f"the length is {format_quantity(round(length_m, 6), 'length')}"
        into.defect((*where, "length_tolerance"), what, remedy)


def _arms(
    part: Part, model: ItemModel, raw: dict[str, Any], where: Where, into: Diagnostics, taken: dict[str, Where]
) -> tuple[Arm, ...]:
    if not isinstance(part, Splitter):
        return ()
    path = model.path or ()
    tables = raw.get("arm", [])
    if not isinstance(tables, list):
        into.defect((*where, "arm"), f"a list of tables is needed here, not {named(tables)}", "write [[chain.arm]]")
        return ()
    arms: dict[str, Arm] = {}
    for number, table in enumerate(tables):
        here = (*where, "arm", number)
        arm = _arm(part, read_table(ArmModel, table, here, into), here, into, taken)
        if arm and arm.port in (*path, *arms):
            why = "is on the path" if arm.port in path else "has its arm already"
            into.defect((*here, "port"), f"port {quoted(arm.port)} {why}", _free(part, path))
        elif arm:
            arms[arm.port] = arm
    for port in part.ports:
        if path and port not in path and port not in arms:
            arms[port] = Arm(port, "matched", part.impedance_ohm)
            ohm = format_quantity(part.impedance_ohm, "impedance")
            into.assumed.append(f"{plain(model.id or '')}: port {port} ended in {ohm} (no arm stated)")
    return tuple(arms.values())


def _free(part: Splitter, path: tuple[str, ...]) -> str:
    return f"arms may hang on: {', '.join(port for port in part.ports if port not in path)}"


def _arm(part: Splitter, model: ArmModel, where: Where, into: Diagnostics, taken: dict[str, Where]) -> Arm | None:
    known = model.port in part.ports
    if model.port is not None and not known:
        ports = f"its ports: {', '.join(part.ports)}"
        into.defect((*where, "port"), f"this splitter has no port {quoted(model.port)}", ports)
    arm = None if model.end is None else _end(model.port or "", model.end, where, into, taken)
    return arm if known else None


def _end(port: str, end: object, where: Where, into: Diagnostics, taken: dict[str, Where]) -> Arm | None:
    """What an arm ends in."""
    if end == "open":
        return Arm(port, "open")
    if isinstance(end, str):
        try:
            return Arm(port, "matched", parse_quantity(end, "impedance"))
        except UnitError as error:
            into.defect((*where, "end"), error.message, error.help or 'write "75 ohm", "open" or a list of items')
            return None
    if not isinstance(end, list) or not end:
        what = f"an arm ends in an impedance, open, or items, not in {'an empty list' if end == [] else named(end)}"
        into.defect((*where, "end"), what, 'write "75 ohm", "open" or a list of items')
        return None
    placed = place_items(end, (*where, "end"), into, taken)
    for here, item in placed:
        last = int(here[-1]) == len(end) - 1
        if isinstance(item.part, Splitter):
            into.defect((*here, "part"), "a splitter inside an arm is not computed", "end the arm before it")
        elif last != isinstance(item.part, Termination):
            what = "an arm ends in a load, an open or a short" if last else "nothing can follow a termination"
            into.defect((*here, "part"), what, "'chain parts termination' lists them" if last else "put it last")
    return Arm(port, "items", 0.0, tuple(item for _, item in placed))


def _say_assumed(part: Part, model: ItemModel, arms: tuple[Arm, ...], into: Diagnostics) -> None:
    name = plain(model.id or "")
    into.assumed += [f"{name}: {words}" for words in words_of(part, model, into.highest_hz)]
    if part.kind == "coax":
        if model.temperature is None:
            into.assumed.append(f"{name}: temperature {format_quantity(ROOM_C, 'temperature')} (default)")
        if model.length_tolerance is None:
            into.assumed.append(f"{name}: length taken as exact (length_tolerance not stated)")
