"""Figures that a set-up states on an item, put in place of the library's; and the library's figures that stay, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from chain.files.schema import KEYS_OF, ItemModel
from chain.files.tables import Diagnostics
from chain.files.toml import Where
from chain.units import Tolerance, format_quantity
from library.files.rows import fields_of
from library.formulas import minimum_loss_db, minimum_loss_ohm
from library.records import Coax, Limit, Pad, Part, SectionLine, Termination, evidence_for

SPECIFIED = ("loss", "loss_tolerance", "reflection", "near_reflection", "far_reflection")
RESISTORS = ("series", "shunt", "resistor_tolerance")
KIND_FIELDS = {
    "reflection_kind": ("limit", "near_limit", "far_limit"),
    "near_reflection_kind": ("near_limit",),
    "far_reflection_kind": ("far_limit",),
    "reflection_error_kind": ("reflection_error",),
}
"""Keys that say how magnitudes are spread within a limit, and the limits; a later one goes before an earlier."""
NO_LIMIT_HZ = 1e12
SLACK_DB = 0.05
"""A stated loss this little below the least possible may be the rounding of a measurement."""


def with_overrides(part: Part, stated: ItemModel, where: Where, into: Diagnostics) -> Part:
    """Put the figures stated on an item in place of the part's own (keys and fields: `library.files.rows`)."""
    given = {key: getattr(stated, key) for key in KEYS_OF[part.kind] if getattr(stated, key) is not None}
    if not given:
        return part
    fields = {each.item: each.field for each in fields_of(part.kind) if each.item}
    changes = {fields[key]: _plain(part, value, given) for key, value in given.items() if key in fields}
    if isinstance(part, Pad):
        changes = _pad(part, given, changes, where, into)
    elif isinstance(part, Coax):
        changes |= _coax(given)
    elif isinstance(part, Termination) and part.type != "load":
        for key in ("impedance", "reflection"):
            if key in given:
                article = "an" if part.type == "open" else "a"
                into.defect((*where, key), f"{key} belongs to a load; this is {article} {part.type}")
    return _spread(replace(part, **changes), given, where, into)


def _plain(part: Part, value: Any, given: dict[str, Any]) -> Any:
    """A stated figure; a tolerance in percent is one of the impedance that holds, of a section's mean one."""
    if not isinstance(value, Tolerance):
        return value
    if isinstance(part, SectionLine):
        ohm = sum(each for each, _ in part.pieces) / len(part.pieces)
    else:
        ohm = given.get("impedance", getattr(part, "impedance_ohm", 0.0))
    return value.value * (ohm if value.relative else 1.0)


def _spread(part: Part, given: dict[str, Any], where: Where, into: Diagnostics) -> Part:
    """The part with its limits spread as stated."""
    for key, fields in KIND_FIELDS.items():
        if key not in given:
            continue
        limits = {name: limit for name in fields if (limit := getattr(part, name, None)) is not None}
        if not limits:
            what = f"there is no {key.removesuffix('_kind')} that it could be the kind of"
            into.defect((*where, key), what, "state the limit too, or leave this out", "key")
        part = replace(part, **{name: replace(limit, kind=given[key]) for name, limit in limits.items()})
    return part


def _pad(part: Pad, given: dict[str, Any], changes: dict[str, Any], where: Where, into: Diagnostics) -> dict[str, Any]:
    specified = [key for key in SPECIFIED if key in given]
    resistors = [key for key in RESISTORS if key in given]
    if specified and resistors:
        for key in specified:
            into.defect(
                (*where, key),
                f"{key} follows from the resistors stated on this item",
                f"give either {resistors[0]} or {key}",
                "key",
            )
        return {}
    if "reflection" in given:
        changes = dict.fromkeys(("near_limit", "far_limit"), given["reflection"]) | changes
    least_db = minimum_loss_db(max(part.near_ohm, part.far_ohm), min(part.near_ohm, part.far_ohm))
    if "loss" in given and given["loss"] < least_db - SLACK_DB:
        ends = f"{part.near_ohm:g} and {part.far_ohm:g} ohm"
        into.warn(
            (*where, "loss"),
            f"{where_name(where)}: a loss of {given['loss']:g} dB is less than any pad of resistors has that matches {ends} "
            f"({least_db:.2f} dB)",
        )
    if resistors:
        return changes | {"arms": _resistors(part, given, resistors[0], where, into), "model": "resistors"}
    return changes | {"model": "specification"} if specified else changes


def _resistors(
    part: Pad, given: dict[str, Any], first: str, where: Where, into: Diagnostics
) -> tuple[tuple[str, float], ...]:
    """Arms of the pad's own network, or of the minimum-loss pad where the library gives a loss alone."""
    arms = part.arms
    if not arms and part.near_ohm != part.far_ohm:
        high, low = max(part.near_ohm, part.far_ohm), min(part.near_ohm, part.far_ohm)
        series, shunt = minimum_loss_ohm(high, low)
        # The series arm lies at the higher impedance, the shunt arm across the lower.
        arms = (("shunt", shunt), ("series", series))
        arms = arms if part.near_ohm < part.far_ohm else arms[::-1]
    for kind in ("series", "shunt"):
        if kind in given and kind not in dict(arms):
            what = f"this pad has no {kind} arm" if arms else "the network of this pad is not known"
            into.defect((*where, kind), what, "state its loss instead, or choose a pad made of resistors", "key")
    if not arms and first == "resistor_tolerance":
        into.defect((*where, first), "the network of this pad is not known", "state its loss_tolerance instead", "key")
    return tuple((name, given.get(name, ohm)) for name, ohm in arms)


def where_name(where: Where) -> str:
    """Name an item by its place, counted from 1."""
    number = next((each for each in where if isinstance(each, int)), None)
    return str(where[0]) if number is None else f"item {number + 1}"


def _coax(given: dict[str, Any]) -> dict[str, Any]:
    """What a stated impedance or attenuation does away with: a curve of the library's."""
    changes: dict[str, Any] = {}
    if "impedance" in given:
        changes |= {"impedance_points_hz": (), "impedance_points_ohm": ()}
    if "attenuation" in given:
        stated = given["attenuation"]
        changes |= {
            "flat_db_per_100m": stated.flat or 0.0,
            "per_sqrt_mhz_db_per_100m": stated.per_sqrt_mhz or 0.0,
            "per_mhz_db_per_100m": stated.per_mhz or 0.0,
            "points_hz": (),
            "points_db_per_100m": (),
            "attenuation_kind": "nominal",
            # The user's own coefficients come without a span.
            "valid_from_hz": 0.0,
            "valid_to_hz": NO_LIMIT_HZ,
        }
    return changes


def words_of(part: Part, stated: ItemModel, highest_hz: float = 0.0) -> list[str]:
    """Say which figures of a part are the library's, one sentence for each standing they have."""
    groups: dict[str, list[str]] = {}
    for key, words, name in _reported(part):
        covered = {key} | ({"reflection"} if key.endswith("_reflection") else set())
        if all(getattr(stated, each, None) is None for each in covered):
            groups.setdefault(evidence_for(part, name, highest_hz).kind, []).append(f"{key} {words}")
    return [f"{', '.join(words)} (library, evidence {kind})" for kind, words in groups.items()]


def _reported(part: Part) -> Iterator[tuple[str, str, str]]:
    """Key of the item, value in words and field of the record, for every figure of a part that is put in words."""
    if isinstance(part, Termination) and part.type != "load":
        return
    resistors = isinstance(part, Pad) and part.model == "resistors"
    if isinstance(part, Pad) and resistors:
        yield from ((name, format_quantity(ohm, "impedance"), "arms") for name, ohm in dict(part.arms).items())
    alike = isinstance(part, Pad) and part.near_limit == part.far_limit
    for each in fields_of(part.kind):
        if (
            not each.item
            or not each.quantity
            or (isinstance(part, Pad) and resistors != (each.field == "arm_tolerance"))
        ):
            continue
        if each.item == "attenuation_tolerance" and isinstance(part, Coax):
            yield "attenuation", _curve(part), "attenuation"
        value = getattr(part, each.field)
        if each.quantity.startswith("limit"):
            if not alike:
                yield each.item, limit_words(value, each.quantity.removeprefix("limit")), each.field
            elif each.field == "near_limit":
                yield "reflection", limit_words(value, " at each end"), each.field
        elif each.quantity == "number":
            yield each.item, f"{value:g}", each.field
        else:
            yield each.item, format_quantity(float(f"{value:.4g}"), each.quantity), each.field


def _curve(part: Coax) -> str:
    flat, root, linear = part.flat_db_per_100m, part.per_sqrt_mhz_db_per_100m, part.per_mhz_db_per_100m
    span = f"{part.valid_from_hz / 1e6:g} to {part.valid_to_hz / 1e6:g} MHz"
    terms = ((flat, ""), (root, " sqrt(f/MHz)"), (linear, " f/MHz"))
    formula = f"{' + '.join(f'{size:g}{of}' for size, of in terms if size) or '0'} dB/100 m"
    return f"{'by points' if part.points_hz else formula} over {span}"


def limit_words(limit: Limit | None, ends: str = "") -> str:
    """A reflection limit in words."""
    if limit is None:
        return "taken as exact"
    losses = [f"{value:.4g} dB" for value in limit.return_loss_db]
    if len(set(losses)) == 1:
        return f"{losses[0]}{ends}"
    first, last = (format_quantity(round(limit.freq_hz[index] / 1e3) * 1e3, "frequency") for index in (0, -1))
    return f"{losses[0]} at {first} to {losses[-1]} at {last}{ends}"
