"""Figures that a set-up states on an item, put in place of the library's; and the library's figures that stay, in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from chain.files.positions import Where
from chain.files.schema import KEYS_OF, ItemModel
from chain.files.tables import Notes
from chain.units import Tolerance, format_quantity
from library.formulas import minimum_loss_db, minimum_loss_ohm
from library.records import (
    Adapter,
    Coax,
    Limit,
    Measured,
    Pad,
    Part,
    SectionLine,
    Splitter,
    Termination,
    Transformer,
    evidence_for,
)

__all__ = ["limit_words", "with_overrides", "words_of"]

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


def with_overrides(part: Part, stated: ItemModel, where: Where, notes: Notes) -> Part:
    """Put the figures stated on an item in place of the part's own.

    Source: Meaning of each key: `chain.files.schema`.
    """
    given = {key: getattr(stated, key) for key in KEYS_OF[part.kind] if getattr(stated, key) is not None}
    changed: Callable[..., dict[str, Any]] | None = CHANGES.get(part.kind)
    if not changed or not given:
        return part
    return _spread(replace(part, **changed(part, given, where, notes)), given, where, notes)


def _spread(part: Part, given: dict[str, Any], where: Where, notes: Notes) -> Part:
    """The part with its limits spread as stated."""
    for key, fields in KIND_FIELDS.items():
        if key not in given:
            continue
        limits = {name: limit for name in fields if (limit := getattr(part, name, None)) is not None}
        if not limits:
            what = f"there is no {key.removesuffix('_kind')} that it could be the kind of"
            notes.fault((*where, key), what, "state the limit too, or leave this out", "key")
        part = replace(part, **{name: replace(limit, kind=given[key]) for name, limit in limits.items()})
    return part


def _named(given: dict[str, Any], fields: dict[str, str]) -> dict[str, Any]:
    return {fields[key]: value for key, value in given.items() if key in fields}


def _pad(part: Pad, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    specified = [key for key in SPECIFIED if key in given]
    resistors = [key for key in RESISTORS if key in given]
    if specified and resistors:
        for key in specified:
            notes.fault(
                (*where, key),
                f"{key} follows from the resistors stated on this item",
                f"give either {resistors[0]} or {key}",
                "key",
            )
        return {}
    changes = _named(
        given, {"loss": "loss_db", "loss_tolerance": "loss_tolerance_db", "resistor_tolerance": "arm_tolerance"}
    )
    for end in ("near", "far"):
        limit = given.get(f"{end}_reflection", given.get("reflection"))
        if limit is not None:
            changes[f"{end}_limit"] = limit
    least_db = minimum_loss_db(max(part.near_ohm, part.far_ohm), min(part.near_ohm, part.far_ohm))
    if "loss" in given and given["loss"] < least_db - SLACK_DB:
        ends = f"{part.near_ohm:g} and {part.far_ohm:g} ohm"
        notes.warnings.append(
            f"{where_name(where)}: a loss of {given['loss']:g} dB is less than any pad of resistors has that matches {ends} "
            f"({least_db:.2f} dB)"
        )
    if resistors:
        return changes | {"arms": _resistors(part, given, resistors[0], where, notes), "model": "resistors"}
    return changes | {"model": "specification"} if specified else changes


def _resistors(
    part: Pad, given: dict[str, Any], first: str, where: Where, notes: Notes
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
            notes.fault((*where, kind), what, "state its loss instead, or choose a pad made of resistors", "key")
    if not arms and first == "resistor_tolerance":
        notes.fault((*where, first), "the network of this pad is not known", "state its loss_tolerance instead", "key")
    return tuple((name, given.get(name, ohm)) for name, ohm in arms)


def where_name(where: Where) -> str:
    """Name an item by its place, counted from 1."""
    number = next((each for each in where if isinstance(each, int)), None)
    return str(where[0]) if number is None else f"item {number + 1}"


def _adapter(part: Adapter, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    return _named(
        given,
        {
            "impedance": "impedance_ohm",
            "electrical_length": "electrical_length_m",
            "length_tolerance": "length_tolerance_m",
            "loss_at_1ghz": "loss_at_1ghz_db",
            "reflection": "limit",
        },
    )


def _coax(part: Coax, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    changes = _named(
        given,
        {
            "impedance": "impedance_ohm",
            "velocity_factor": "velocity_factor",
            "attenuation_tolerance": "loss_tolerance",
            "reflection": "limit",
        },
    )
    if "impedance" in given:
        changes |= {"impedance_points_hz": (), "impedance_points_ohm": ()}
    if "impedance_tolerance" in given:
        ohm = given.get("impedance", part.impedance_ohm)
        changes["impedance_tolerance_ohm"] = _tolerance_ohm(given["impedance_tolerance"], ohm)
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


def _section(part: SectionLine, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    changes = _named(
        given, {"design_frequency": "design_hz", "length_tolerance": "length_tolerance_m", "reflection": "limit"}
    )
    if "impedance_tolerance" in given:
        mean = sum(ohm for ohm, _ in part.pieces) / len(part.pieces)
        changes["impedance_tolerance_ohm"] = _tolerance_ohm(given["impedance_tolerance"], mean)
    return changes


def _tolerance_ohm(stated: Tolerance, of_ohm: float) -> float:
    return stated.value * (of_ohm if stated.relative else 1.0)


def _two_figures(part: Transformer | Splitter, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    fields = {"loss_tolerance": "loss_tolerance_db", "reflection": "limit"}
    return _named(given, fields | ({"loss": "loss_db"} if isinstance(part, Transformer) else {}))


def _termination(part: Termination, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    for key in ("impedance", "reflection"):
        if key in given and part.type != "load":
            notes.fault(
                (*where, key), f"{key} belongs to a load; this is {'an' if part.type == 'open' else 'a'} {part.type}"
            )
    return _named(given, {"impedance": "impedance_ohm", "reflection": "limit"})


def _measured(part: Measured, given: dict[str, Any], where: Where, notes: Notes) -> dict[str, Any]:
    return _named(given, {"loss_tolerance": "loss_tolerance_db", "reflection_error": "reflection_error"})


CHANGES: dict[str, Callable[..., dict[str, Any]]] = {
    "measured": _measured,
    "pad": _pad,
    "adapter": _adapter,
    "coax": _coax,
    "section": _section,
    "transformer": _two_figures,
    "splitter": _two_figures,
    "termination": _termination,
}


def words_of(part: Part, stated: ItemModel, highest_hz: float = 0.0) -> list[str]:
    """Say which figures of a part are the library's, one sentence for each standing they have.

    Source: The part's record.
    """
    groups: dict[str, list[str]] = {}
    for key, words, name in FIGURES[part.kind](part) if part.kind in FIGURES else ():
        covered = {key} | ({"reflection"} if key.endswith("_reflection") else set())
        if all(getattr(stated, name, None) is None for name in covered):
            groups.setdefault(evidence_for(part, name, highest_hz).kind, []).append(f"{key} {words}")
    return [f"{', '.join(words)} (library, evidence {kind})" for kind, words in groups.items()]


Figures = list[tuple[str, str, str]]
"""Key of the item, value in words, field of the part's record."""


def _pad_figures(part: Pad) -> Figures:
    if part.model == "resistors":
        arms = dict(part.arms)
        found = [(name, format_quantity(ohm, "impedance"), "arms") for name, ohm in arms.items()]
        return [*found, ("resistor_tolerance", format_quantity(part.arm_tolerance, "percent"), "arm_tolerance")]
    found = [
        ("loss", f"{part.loss_db:.4g} dB", "loss_db"),
        ("loss_tolerance", format_quantity(part.loss_tolerance_db, "loss"), "loss_tolerance_db"),
    ]
    if part.near_limit == part.far_limit:
        return [*found, ("reflection", limit_words(part.near_limit, " at each end"), "near_limit")]
    near, far = limit_words(part.near_limit), limit_words(part.far_limit)
    return [*found, ("near_reflection", near, "near_limit"), ("far_reflection", far, "far_limit")]


def _adapter_figures(part: Adapter) -> Figures:
    return [
        ("impedance", format_quantity(part.impedance_ohm, "impedance"), "impedance_ohm"),
        ("electrical_length", format_quantity(part.electrical_length_m, "length"), "electrical_length_m"),
        ("length_tolerance", format_quantity(part.length_tolerance_m, "length"), "length_tolerance_m"),
        ("loss_at_1ghz", format_quantity(part.loss_at_1ghz_db, "loss"), "loss_at_1ghz_db"),
        ("reflection", limit_words(part.limit, " at each end"), "limit"),
    ]


def _coax_figures(part: Coax) -> Figures:
    curve = ("flat_db_per_100m", "per_sqrt_mhz_db_per_100m", "per_mhz_db_per_100m")
    flat, root, linear = (getattr(part, name) for name in curve)
    span = f"{part.valid_from_hz / 1e6:g} to {part.valid_to_hz / 1e6:g} MHz"
    formula = f"{flat:g} + {root:g} sqrt(f/MHz) + {linear:g} f/MHz dB/100 m"
    return [
        ("impedance", format_quantity(part.impedance_ohm, "impedance"), "impedance_ohm"),
        ("impedance_tolerance", format_quantity(part.impedance_tolerance_ohm, "impedance"), "impedance_tolerance_ohm"),
        ("velocity_factor", f"{part.velocity_factor:g}", "velocity_factor"),
        ("attenuation", f"{'by points' if part.points_hz else formula} over {span}", "attenuation"),
        ("attenuation_tolerance", format_quantity(part.loss_tolerance, "percent"), "loss_tolerance"),
        ("reflection", limit_words(part.limit, " at each end of the lead"), "limit"),
    ]


def _section_figures(part: SectionLine) -> Figures:
    return [
        ("design_frequency", format_quantity(part.design_hz, "frequency"), "design_hz"),
        ("impedance_tolerance", format_quantity(part.impedance_tolerance_ohm, "impedance"), "impedance_tolerance_ohm"),
        ("length_tolerance", format_quantity(part.length_tolerance_m, "length"), "length_tolerance_m"),
        ("reflection", limit_words(part.limit, " at each end"), "limit"),
    ]


def _transformer_figures(part: Transformer) -> Figures:
    return [("loss", format_quantity(part.loss_db, "loss"), "loss_db"), *_splitter_figures(part)]


def _splitter_figures(part: Splitter | Transformer) -> Figures:
    return [
        ("loss_tolerance", format_quantity(part.loss_tolerance_db, "loss"), "loss_tolerance_db"),
        ("reflection", limit_words(part.limit, " at each port"), "limit"),
    ]


def _termination_figures(part: Termination) -> Figures:
    if part.type != "load":
        return []
    return [
        ("impedance", format_quantity(part.impedance_ohm, "impedance"), "impedance_ohm"),
        ("reflection", limit_words(part.limit), "limit"),
    ]


FIGURES: dict[str, Callable[..., Figures]] = {
    "pad": _pad_figures,
    "adapter": _adapter_figures,
    "coax": _coax_figures,
    "section": _section_figures,
    "transformer": _transformer_figures,
    "splitter": _splitter_figures,
    "termination": _termination_figures,
}


def limit_words(limit: Limit | None, ends: str = "") -> str:
    """A reflection limit in words.

    Source: The record.
    """
    if limit is None:
        return "taken as none"
    losses = [f"{value:.4g} dB" for value in limit.return_loss_db]
    if len(set(losses)) == 1:
        return f"{losses[0]}{ends}"
    first, last = (format_quantity(round(limit.freq_hz[index] / 1e3) * 1e3, "frequency") for index in (0, -1))
    return f"{losses[0]} at {first} to {losses[-1]} at {last}{ends}"
