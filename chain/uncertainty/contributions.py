"""The unknowns of a measurement: listed by name with distribution, size and evidence, and taken away one by one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chain.rf.elements import Box, Line, Stage
from chain.setups import Item, Setup
from chain.uncertainty.calibration import Standards
from chain.uncertainty.measurement import Measurement

__all__ = ["Unknown", "gather", "item_names", "names", "only", "without"]

MEASURED = ("noise", "drift", "re-mating", "flex", "swap")
"""Unknowns of the act of measuring, as opposed to those of an item or of the standards."""


@dataclass(frozen=True)
class Unknown:
    """One unknown: what it belongs to, how it is distributed, how large it is, and where the figure comes from.

    Each is one constant per draw over the whole sweep (noise apart, which is new at every frequency and reading). Two
    items of the same part are two pieces, so nothing is shared between items; a load read once serves every reading made
    after it, so its error is one unknown for all of them.
    """

    id: str
    what: str
    distribution: str
    size: str
    evidence: str


def item_names(way: Measurement) -> tuple[str, ...]:
    """Names of the items, joints and residuals whose pieces take part in a measurement.

    Source: No formula.
    """
    uncertain = [piece.id for piece in (*way.before, *way.after) if piece.id and _sizes(piece)]
    return tuple(dict.fromkeys(uncertain))


def names(way: Measurement) -> tuple[str, ...]:
    """Names of every unknown that is not zero: items, then standards, noise, drift, re-mating, flex and swap.

    Source: No formula.
    """
    found = list(item_names(way))
    standards = way.standards
    if standards is not None:
        found += [name for name in ("load", "open", "short") if _standard_size(standards, name)]
    present = (way.noise, way.drift, way.mating, way.flex_rad, way.swap)
    found += [name for name, value in zip(MEASURED, present, strict=True) if value]
    return tuple(found)


def _standard_size(standards: Standards, name: str) -> float:
    if name == "load":
        return max(standards.load_radius, standards.load_inductance_h)
    return standards.open_capacitance_f if name == "open" else standards.short_inductance_h


def without(way: Measurement, name: str) -> Measurement:
    """The same measurement with one unknown taken away.

    Source: No formula.
    """
    return _keep(way, set(names(way)) - {name})


def only(way: Measurement, name: str) -> Measurement:
    """The same measurement with every unknown but one taken away.

    Source: No formula.
    """
    return _keep(way, {name})


def _keep(way: Measurement, kept: set[str]) -> Measurement:
    sides = {
        side: tuple(piece if piece.id in kept else piece.known() for piece in getattr(way, side))
        for side in ("before", "after")
    }
    standards = way.standards
    if standards is not None:
        standards = replace(
            standards,
            load_radius=standards.load_radius if "load" in kept else 0.0,
            load_inductance_h=standards.load_inductance_h if "load" in kept else 0.0,
            open_capacitance_f=standards.open_capacitance_f if "open" in kept else 0.0,
            short_inductance_h=standards.short_inductance_h if "short" in kept else 0.0,
        )
    return replace(
        way,
        before=sides["before"],
        after=sides["after"],
        standards=standards,
        noise=way.noise if "noise" in kept else 0.0,
        drift=way.drift if "drift" in kept else 0.0,
        mating=way.mating if "re-mating" in kept else 0.0,
        flex_rad=way.flex_rad if "flex" in kept else 0.0,
        swap=way.swap if "swap" in kept else None,
    )


def _sizes(piece: Stage) -> list[tuple[str, str, str]]:
    """(what, distribution, size) of each unknown of a piece."""
    found: list[tuple[str, str, str]] = []
    shape = getattr(piece, "shape", "disc")
    for place in ("near", "far", "inside"):
        radius = getattr(piece, f"{place}_radius", None)
        if radius is not None and np.any(radius):
            found.append((f"reflection, {place}", shape, f"up to {float(np.max(radius)):.4f}"))
    if isinstance(piece, Line):
        return found + _line_sizes(piece)
    if isinstance(piece, Box):
        if piece.loss_tolerance_db:
            found.append(("loss", "rectangular", f"+/- {piece.loss_tolerance_db:g} dB"))
        if piece.product_radius is not None and np.any(piece.product_radius):
            found.append(("transmission", "disc", f"up to {float(np.max(piece.product_radius)):.4f}"))
    elif piece.tolerance:
        found.append(("resistors", "rectangular", f"+/- {100 * piece.tolerance:g} %"))
    return found


def _line_sizes(line: Line) -> list[tuple[str, str, str]]:
    found = []
    if line.loss_tolerance and np.any(line.loss_np):
        found.append(("loss", "rectangular", f"+/- {100 * line.loss_tolerance:g} %"))
    if line.length_high != line.length_low:
        found.append(("length", "rectangular", f"{line.length_low:.2f} to {line.length_high:.2f} of nominal"))
    if line.impedance_tolerance_ohm:
        found.append(("impedance", "rectangular", f"+/- {line.impedance_tolerance_ohm:g} ohm"))
    return found


def gather(setup: Setup, way: Measurement) -> tuple[Unknown, ...]:
    """Every unknown of a set-up's measurement.

    Source: The set-up and the library; see the evidence of each.
    """
    items: dict[str, Item] = {item.id: item for item in setup.items}
    found = []
    for piece in (*way.before, *way.after):
        if not piece.id:
            continue
        item = items.get(piece.id)
        standing = "stated" if item is None or item.stated else item.part.evidence.kind
        found += [Unknown(piece.id, *each, standing) for each in _sizes(piece)]
    if way.standards is not None:
        found += _standard_unknowns(way.standards)
    rows = (
        ("noise", "noise of each raw reading", "normal", way.noise, f"sd {way.noise:.5f} on each axis"),
        ("drift", "drift since calibration", "disc", way.drift, f"up to {way.drift:.5f}"),
        ("re-mating", "each joint opened again", "disc", way.mating, f"up to {way.mating:.5f}"),
        (
            "flex",
            "lead before the plane moved",
            "rectangular",
            way.flex_rad,
            f"+/- {np.rad2deg(way.flex_rad):g} degrees",
        ),
    )
    found += [Unknown(name, what, kind, text, "stated") for name, what, kind, size, text in rows if size]
    return tuple(found)


def _standard_unknowns(standards: Standards) -> list[Unknown]:
    rows = (
        ("load", "reflection of the load", "disc", standards.load_radius, f"up to {standards.load_radius:.4f}"),
        ("load", "its inductance", "rectangular", standards.load_inductance_h, _to(standards.load_inductance_h, "H")),
        (
            "open",
            "its capacitance",
            "rectangular",
            standards.open_capacitance_f,
            _to(standards.open_capacitance_f, "F"),
        ),
        (
            "short",
            "its inductance",
            "rectangular",
            standards.short_inductance_h,
            _to(standards.short_inductance_h, "H"),
        ),
    )
    return [Unknown(name, what, kind, text, "stated") for name, what, kind, size, text in rows if size]


def _to(size: float, unit: str) -> str:
    return f"0 to {size * 1e9:g} n{unit}" if unit == "H" else f"0 to {size * 1e12:g} p{unit}"
