"""The unknowns of a measurement: listed by name, and taken away one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chain.rf.elements import Box, Element, Line
from chain.uncertainty.calibration import Standards
from chain.uncertainty.measurement import Measurement

MEASURED = ("noise", "drift", "re-mating", "flex", "swap")
"""Unknowns of the act of measuring, as opposed to those of an item or of the standards."""


def item_names(measurement: Measurement) -> tuple[str, ...]:
    """Names of the items, joints and residuals whose elements take part in a measurement."""
    uncertain = [
        element.id for element in (*measurement.before, *measurement.after) if element.id and _uncertain(element)
    ]
    return tuple(dict.fromkeys(uncertain))


def names(measurement: Measurement) -> tuple[str, ...]:
    """Names of every unknown that is not zero: items, then standards, noise, drift, re-mating, flex and swap."""
    found = list(item_names(measurement))
    standards = measurement.standards
    if standards is not None:
        found += [name for name in ("load", "open", "short") if _standard_size(standards, name)]
    present = (measurement.noise, measurement.drift, measurement.mating, measurement.turn_rad.any(), measurement.swap)
    found += [name for name, value in zip(MEASURED, present, strict=True) if value]
    return tuple(found)


def largest(measurement: Measurement, magnitude: float, most: int = 12) -> tuple[str, ...]:
    """Names of the unknowns of most weight where the antenna reflects so much; all of them where they are few.

    Drawing without each costs a whole cascade, so of hundreds only the likeliest are worth it. The phase of the antenna turns
    what weighs most, so several are tried and each unknown counts by its best.
    """
    every = names(measurement)
    if len(every) <= most:
        return every
    shares = linear_shares(measurement, magnitude)
    return tuple(sorted(every, key=lambda name: -shares[name])[:most])


def linear_shares(measurement: Measurement, magnitude: float) -> dict[str, float]:
    """Each unknown's largest share of the variance, by name, over eight phases of an antenna that reflects so much."""
    from chain.uncertainty.linear import linear

    best = dict.fromkeys(names(measurement), 0.0)
    for phase in 2 * np.pi * np.arange(8) / 8:
        for each in linear(measurement, magnitude * np.exp(1j * phase)).contributions:
            best[each.id] = max(best.get(each.id, 0.0), each.share)
    return best


def _standard_size(standards: Standards, name: str) -> float:
    if name == "load":
        return max(standards.load_radius, standards.load_inductance_h)
    return standards.open_capacitance_f if name == "open" else standards.short_inductance_h


def without(measurement: Measurement, name: str) -> Measurement:
    """The same measurement with one unknown taken away."""
    return _keep(measurement, set(names(measurement)) - {name})


def only(measurement: Measurement, name: str) -> Measurement:
    """The same measurement with every unknown but one taken away."""
    return _keep(measurement, {name})


def _keep(measurement: Measurement, kept: set[str]) -> Measurement:
    sides = {
        side: tuple(element if element.id in kept else element.known() for element in getattr(measurement, side))
        for side in ("before", "after")
    }
    standards = measurement.standards
    if standards is not None:
        standards = replace(
            standards,
            load_radius=standards.load_radius if "load" in kept else 0.0,
            load_inductance_h=standards.load_inductance_h if "load" in kept else 0.0,
            open_capacitance_f=standards.open_capacitance_f if "open" in kept else 0.0,
            short_inductance_h=standards.short_inductance_h if "short" in kept else 0.0,
        )
    return replace(
        measurement,
        before=sides["before"],
        after=sides["after"],
        standards=standards,
        noise=measurement.noise if "noise" in kept else 0.0,
        drift=measurement.drift if "drift" in kept else 0.0,
        mating=measurement.mating if "re-mating" in kept else 0.0,
        flex_rad=measurement.flex_rad if "flex" in kept else 0.0,
        flex_delay_s=measurement.flex_delay_s if "flex" in kept else 0.0,
        swap=measurement.swap if "swap" in kept else None,
    )


def _uncertain(element: Element) -> bool:
    """Whether anything of an element is not known."""
    radii = (getattr(element, f"{what}_radius", None) for what in ("near", "far", "inside", "product"))
    if any(radius is not None and np.any(radius) for radius in radii):
        return True
    if isinstance(element, Line):
        loss = element.loss_tolerance and np.any(element.loss_np)
        return bool(loss or element.length_high != element.length_low or element.impedance_tolerance_ohm)
    return bool(element.loss_tolerance_db if isinstance(element, Box) else element.tolerance)
