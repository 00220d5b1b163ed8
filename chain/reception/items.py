"""Items, outlets and offers of an installation: the part looked up, its figures settled, its ends named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from chain.errors import UnitError, plain, quoted
from chain.files.items import measured_part
from chain.files.overrides import with_overrides, words_of
from chain.files.schema import KEYS_OF
from chain.files.tables import Diagnostics, read_table
from chain.files.toml import Where
from chain.reception.formulas import DBUV_OF_DBM
from chain.reception.records import (
    ANTENNA,
    AntennaMatch,
    AnyPart,
    InstalledItem,
    Outlet,
    PartOffer,
    ReceivingAntenna,
)
from chain.reception.schema import (
    HaveInstalledModel,
    InstalledModel,
    OfferInstalledModel,
    OutletModel,
    ReceiverModel,
)
from chain.units import format_quantity, parse_quantity
from library.errors import LibraryError, near_names
from library.mating import f_plug_variant
from library.reception import Amplifier, Inline, Receiver, default, ids, reception_part
from library.reception import receiver as library_receiver
from library.records import Coax, Connector, Evidence, Measured, Pad, Part, Splitter, Transformer

ROOM_C = 20.0
OUTDOOR_C = (-10.0, 50.0)
COMMON = ("id", "part", "after", "ideal")
AMPLIFIER_KEYS = ("near", "far", "gain", "gain_tolerance", "noise_figure", "max_output", "power", "reflection")
INLINE_KEYS = ("near", "far", "loss", "loss_tolerance", "reflection")
NOT_HERE = ("path", "arm", "series", "shunt", "resistor_tolerance")
Placed = tuple[Where, InstalledItem]


def read_items(rows: Sequence[object], into: Diagnostics) -> list[Placed]:
    """Place every item."""
    placed: list[Placed] = []
    taken: set[str] = {ANTENNA}
    for number, raw in enumerate(rows):
        where: Where = ("item", number)
        model = read_table(InstalledModel, raw, where, into)
        if not isinstance(raw, dict):
            continue
        if model.id is not None:
            _claim(model.id, where, taken, into)
        item = _place(model, raw, where, into)
        if item:
            placed.append((where, item))
    return placed


def _claim(name: str, where: Where, taken: set[str], into: Diagnostics) -> None:
    spot = (*where, "id")
    if name == ANTENNA:
        into.defect(spot, "'antenna' is taken: it names the root of the tree", "choose another id")
    elif name in taken:
        into.defect(spot, f"id {quoted(name)} is given twice", "give each item and outlet an id of its own")
    elif "." in name or name.strip() != name or plain(name) != name or " at " in name:
        into.defect(spot, f"{quoted(name)} cannot be an id", "no dot (it parts an id from a port), no outer blanks")
    taken.add(name)


def part_named(name: str, into: Diagnostics) -> tuple[AnyPart | None, str]:
    """Part of an id, from both halves of the library; or None, and a hint."""
    found = reception_part(name)
    if found is not None:
        return found, ""
    try:
        return into.parts.part(name), ""
    except LibraryError as error:
        near = near_names(name, (*ids(), *into.parts.ids())) or error.near
        hint = f"did you mean {' or '.join(quoted(each) for each in near)}?" if near else "'chain parts' lists them"
        return None, hint


def _place(model: InstalledModel, raw: dict[str, Any], where: Where, into: Diagnostics) -> InstalledItem | None:
    part = _part(model, raw, where, into)
    if part is None:
        return None
    if part.kind == "coax" and model.length is None and "length" not in raw:
        into.defect(where, "length is missing", 'add length = "20 m"', "header")
    if model.length == 0:
        into.defect((*where, "length"), "a lead needs a length above zero", "leave the item out if there is none")
    if model.id is None or model.after is None:
        return None
    item = InstalledItem(
        model.id,
        part,
        model.after,
        model.length or 0.0,
        ideal=bool(model.ideal),
        reversed=bool(model.reversed),
        # A measured two-port says nothing beyond its own frequencies, and its file alone knows them.
        span_hz=into.measured_hz.get(part.path) if isinstance(part, Measured) else None,
        **_temperature(model, part, into),
    )
    first, last = _connectors(part, model)
    _say_assumed(item, model, into)
    return replace(item, input_connector=first, output_connector=last)


def _part(model: InstalledModel, raw: dict[str, Any], where: Where, into: Diagnostics) -> AnyPart | None:
    for key in NOT_HERE:
        if key in raw and not (key == "path" and "touchstone" in raw):
            into.defect((*where, key), f"{key} does not apply in a tree of parts", "", "key")
    if model.touchstone is not None:
        return _of_file(model, raw, where, into)
    if model.part is None:
        if "part" not in raw and "touchstone" not in raw:
            into.defect(where, "part is missing", 'add part = "rg6" ("chain parts" lists them)', "header")
        return None
    part, hint = part_named(model.part, into)
    if part is None:
        if into.parts_whole:
            into.defect((*where, "part"), f"the library has no part {quoted(model.part)}", hint)
        return None
    allowed = _keys(part)
    if not allowed:
        what = (
            "a termination ends an outlet: use end"
            if part.kind == "termination"
            else f"a {part.kind} has no place here"
        )
        into.defect((*where, "part"), what, "leads, splitters, taps, adapters, pads, amplifiers and filters have")
        return None
    _keys_fit(part, raw, where, into)
    return _no_gain(_with_values(part, model, where, into), model, where, into)


def _of_file(model: InstalledModel, raw: dict[str, Any], where: Where, into: Diagnostics) -> AnyPart | None:
    """A measured two-port in place of a part."""
    if "part" in raw:
        into.defect((*where, "touchstone"), "an item is either a part or a measured two-port", "leave one out", "key")
        return None
    measured = measured_part(model, where, into)
    if measured is None or not _passive(measured, where, into):
        return None
    _keys_fit(measured, raw, where, into)
    return _no_gain(_with_values(measured, model, where, into), model, where, into)


def _no_gain(part: AnyPart, model: InstalledModel, where: Where, into: Diagnostics) -> AnyPart:
    """The part, of which a stated tolerance must not make an amplifier."""
    # A tree of parts that give out more than goes in may ring without end, and has no levels.
    stated, least_db = model.loss_tolerance, _least_loss_db(part)
    if stated is not None and least_db is not None and stated > least_db:
        of = (
            f"a measured loss is off by, {least_db:g} dB"
            if part.kind == "measured"
            else f"the loss of {least_db:.3g} dB"
        )
        remedy = "no passive part gives out more than goes in"
        into.defect((*where, "loss_tolerance"), f"a tolerance of {stated:g} dB is more than {of}", remedy)
    return part


def _least_loss_db(part: AnyPart) -> float | None:
    """Least loss of a part whose tolerance of loss can be stated; of a measured one the most that it may be off by."""
    if isinstance(part, Splitter):
        return min(loss_db for *_, loss_db in part.loss_db)
    if isinstance(part, Inline):
        return min(part.loss_db)
    if isinstance(part, (Pad, Transformer)):
        return part.loss_db
    return MEASURED_DB if isinstance(part, Measured) else None


def _keys_fit(part: AnyPart, raw: dict[str, Any], where: Where, into: Diagnostics) -> None:
    """See that every key says something of the part."""
    allowed = _keys(part)
    for key in raw:
        if key in InstalledModel.keys and key not in (*COMMON, *allowed, *NOT_HERE, "count", "price"):
            takes = ", ".join(each for each in allowed if each not in NOT_HERE)
            into.defect((*where, key), f"{key} does not apply to {_article(part)}", f"it takes {takes}", "key")


def _passive(part: Part, where: Where, into: Diagnostics) -> bool:
    """See that a measured two-port is passive and the same both ways: nothing in its file says how it is noisy."""
    from chain.sweeps.touchstone import read_two_port

    assert isinstance(part, Measured)
    s = read_two_port(part.path, part.between).s
    # Noise of a matched passive part follows from its loss, which is the same both ways; of any other it would have to be stated.
    forth, back = np.abs(s[:, 1, 0]), np.abs(s[:, 0, 1])
    spot = (*where, "touchstone")
    remedy = "write an amplifier as a part, with gain, noise_figure and max_output"
    if forth.max() > MOST_PASSED:
        into.defect(spot, f"{quoted(Path(part.path).name)} amplifies (|S21| {forth.max():.2f})", remedy)
        return False
    if np.abs(forth - back).max() > MOST_PASSED - 1:
        into.defect(spot, f"{quoted(Path(part.path).name)} does not pass alike both ways (S21 and S12 differ)", remedy)
        return False
    return True


MOST_PASSED = 1.05
MEASURED_DB = 3.0
"""Largest tolerance of a measured two-port (practice): an analyzer that is farther off has measured nothing."""


def _keys(part: AnyPart) -> tuple[str, ...]:
    """Keys that a part takes in a tree; none where it has no place there."""
    if isinstance(part, Amplifier):
        return AMPLIFIER_KEYS
    if isinstance(part, Inline):
        return (*INLINE_KEYS, *(("supply",) if part.kind == "injector" else ()))
    if part.kind == "termination" or part.kind not in KEYS_OF:
        return ()
    return (*KEYS_OF[part.kind], *(("outdoor",) if part.kind == "coax" else ()))


def _article(part: AnyPart) -> str:
    return f"an {part.kind}" if part.kind[0] in "aeiou" else f"a {part.kind}" if part.kind != "coax" else "coax"


def _with_values(part: AnyPart, model: InstalledModel, where: Where, into: Diagnostics) -> AnyPart:
    """The part with what the item states in place of the library's figures."""
    limit: dict[str, Any] = {} if model.reflection is None else {"limit": model.reflection}
    if isinstance(part, Amplifier):
        stated = {
            "gain_db": model.gain,
            "gain_tolerance_db": model.gain_tolerance,
            "noise_figure_db": model.noise_figure,
            "power_v": model.power,
        }
        changes: dict[str, Any] = {key: value for key, value in stated.items() if value is not None}
        if model.gain is not None:
            # A gain that is stated is set: the range that the library's own could be set in no longer counts.
            changes |= {"gain_from_db": model.gain, "gain_to_db": model.gain}
        if model.noise_figure is not None:
            # The library's tolerance is about its own typical figure, not about one that was stated.
            changes["noise_figure_tolerance_db"] = 0.0
        if model.max_output is not None:
            changes |= dict(zip(("max_output_dbuv", "intermodulation_db"), model.max_output, strict=True))
        return replace(part, **changes, **limit)
    if isinstance(part, Inline):
        changes = {} if model.loss_tolerance is None else {"loss_tolerance_db": model.loss_tolerance}
        if model.loss is not None:
            # One figure holds at every frequency.
            changes |= {"loss_hz": (0.0,), "loss_db": (model.loss,)}
        return replace(part, **changes, **limit)
    return with_overrides(part, model, where, into)


def _temperature(model: InstalledModel, part: AnyPart, into: Diagnostics) -> dict[str, Any]:
    if part.kind != "coax":
        return {}
    low, high = model.temperature or (OUTDOOR_C if model.outdoor else (ROOM_C, ROOM_C))
    return {
        # What lies outdoors shares one temperature in every trial; a range of its own says that it does.
        "outdoor": bool(model.outdoor) if model.outdoor is not None else high > low,
        "temperature_low_c": low,
        "temperature_high_c": high,
    }


def _connectors(part: AnyPart, model: InstalledModel) -> tuple[Connector | None, Connector | None]:
    """Connectors at the input and at the output; None where a lead is made up to fit."""
    if isinstance(part, (Amplifier, Inline)):
        own: tuple[Connector | None, Connector | None] = (part.input_connector, part.output_connector)
    elif isinstance(part, Coax):
        # The cable's own conductor is the pin of its F plug, and whether that fits depends on the cable.
        variant = f_plug_variant(part)
        ends = (model.near, model.far)
        bare = [end and end.family == "F-75" and end.gender == "plug" and not end.variant for end in ends]
        own = tuple(
            replace(end, variant=variant) if end and plug else end for end, plug in zip(ends, bare, strict=True)
        )  # type: ignore[assignment]
        return own
    elif part.kind == "splitter":
        # A splitter has an output for each port that follows it; which connector that is, the item after it tells.
        own = (part.connectors[0], None)  # type: ignore[union-attr]
    elif part.kind == "measured":
        return model.near, model.far
    else:
        own = (part.near_connector, part.far_connector)  # type: ignore[union-attr]
        own = own[::-1] if model.reversed else own
    return model.near or own[0], model.far or own[1]


def _say_assumed(item: InstalledItem, model: InstalledModel, into: Diagnostics) -> None:
    name, part = plain(item.id), item.part
    if item.ideal:
        return
    if isinstance(part, Amplifier):
        values = {
            "gain": (model.gain, f"{part.gain_db:g} dB"),
            "gain_tolerance": (model.gain_tolerance, f"{part.gain_tolerance_db:g} dB"),
            "noise_figure": (model.noise_figure, f"{part.noise_figure_db:g} dB"),
            "max_output": (model.max_output, f"{part.max_output_dbuv:g} dBuV at {part.intermodulation_db:g} dB"),
        }
        words = ", ".join(f"{key} {text}" for key, (stated, text) in values.items() if stated is None)
        if words:
            into.assumed.append(f"{name}: {words} (library, evidence {part.evidence.kind})")
    elif isinstance(part, Inline):
        if model.loss is None:
            into.assumed.append(f"{name}: loss of the library (evidence {part.evidence.kind})")
    else:
        into.assumed += [f"{name}: {words}" for words in words_of(part, model)]
    if part.kind == "coax" and model.temperature is None:
        low, high = item.temperature_low_c, item.temperature_high_c
        span = format_quantity(low, "temperature") if low == high else f"{low:g} to {high:g} °C"
        into.assumed.append(f"{name}: temperature {span} (default)")


def read_outlets(rows: Sequence[object], items: list[str], into: Diagnostics) -> list[tuple[Where, Outlet]]:
    """Read every `[[outlet]]`."""
    found = []
    taken = {ANTENNA, *items}
    for number, raw in enumerate(rows):
        where: Where = ("outlet", number)
        model = read_table(OutletModel, raw, where, into)
        if not isinstance(raw, dict):
            continue
        if model.id is not None:
            _claim(model.id, where, taken, into)
        end, ohm = _end(model, where, into)
        # Where an end is stated there is no receiver, and none is to be assumed.
        receiver = None if end else _receiver(model, where, into)
        if model.id is None or model.after is None:
            continue
        connector = model.connector or (receiver.connector if receiver and "connector" in raw else None)
        found.append((where, Outlet(model.id, model.after, receiver, end, ohm, connector)))
    return found


def _end(model: OutletModel, where: Where, into: Diagnostics) -> tuple[str, float]:
    if model.end is None:
        return "", 75.0
    if model.receiver is not None:
        into.defect((*where, "end"), "an outlet has a receiver or an end", "leave one of the two out", "key")
    if model.end == "open":
        return "open", 75.0
    try:
        return "load", parse_quantity(model.end, "impedance")
    except UnitError as error:
        into.defect((*where, "end"), error.message, 'write "open" or "75 ohm"')
        return "open", 75.0


def _receiver(model: OutletModel, where: Where, into: Diagnostics) -> Receiver | None:
    raw = model.receiver
    name = plain(model.id or "")
    if raw is None:
        into.assumed.append(f"{name}: receiver tv (not stated)")
        raw = "tv"
    spot = (*where, "receiver")
    if isinstance(raw, dict):
        own = read_table(ReceiverModel, raw, spot, into)
        if own.noise_figure is None:
            return None
        usual = library_receiver("tv")
        overload = usual.overload_dbm if own.overload is None else own.overload - DBUV_OF_DBM
        limit = own.reflection if own.reflection is not None else usual.limit
        evidence = Evidence("stated", "")
        return Receiver(
            "own",
            "receiver",
            own.noise_figure,
            own.noise_figure_tolerance or 0.0,
            overload,
            limit,
            model.connector or usual.connector,
            evidence,
        )
    try:
        found = library_receiver(str(raw).strip().casefold())
    except LibraryError as error:
        into.defect(spot, plain(error.message), f"one of: {', '.join(error.near)}; or a table of figures")
        return None
    reflection = "" if found.limit is None else f"reflection {min(found.limit.return_loss_db):g} dB or better, "
    words = f"noise figure {found.noise_figure_db:g} dB, {reflection}overload {found.overload_dbm:g} dBm"
    into.assumed.append(f"{name}: {words} (library, evidence {found.evidence.kind})")
    return found


def read_offers(
    have: Sequence[object], offer: Sequence[object], into: Diagnostics
) -> tuple[tuple[PartOffer, ...], str]:
    """Read what is owned and what is on offer; one currency."""
    found: list[PartOffer] = []
    currency = ""
    for key, rows in (("have", have), ("offer", offer)):
        model_of = HaveInstalledModel if key == "have" else OfferInstalledModel
        for number, raw in enumerate(rows):
            where: Where = (key, number)
            model = read_table(model_of, raw, where, into)
            if not isinstance(raw, dict):
                continue
            price = getattr(model, "price", None)
            if price and currency and price.currency != currency:
                into.defect((*where, "price"), f"prices in {currency} and {price.currency}", "use one currency")
            currency = currency or (price.currency if price else "")
            gain = getattr(model, "antenna_gain", None)
            part: AnyPart | ReceivingAntenna | None
            if gain is not None:
                # An antenna on offer is known by its gain; VSWR 2.0 (a reflection of 1/3) at worst is assumed as of the one at hand.
                match = AntennaMatch("disc", (0.0,), (complex(1 / 3),), (), "VSWR 2.0, assumed")
                part = ReceivingAntenna(gain[0], gain[1], default("antenna_gain_tolerance_db"), match, "residential")
                name = f"antenna of {max(gain[1]):g} dBi"
            else:
                part = _part(model, raw, where, into)
                name = model.id or model.part or ""
            if part is not None:
                cost = price.hundredths if price else 0
                count = getattr(model, "count", 1)
                found.append(
                    PartOffer(part, name, cost, bool(price and price.per_metre), 1 if count is None else count)
                )
    return tuple(found), currency
