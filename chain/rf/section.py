"""Matching sections of line, such as a quarter wave or a twelfth-wave pair."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf.elements import Element, Line, limit_radius
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S
from library.records import SectionLine

__all__ = ["elements"]

MOST_OF_IMPEDANCE = 0.5
"""Largest tolerance of a section's impedance, as a share of it."""


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """A lossless line for each section, then what the making adds, as a junction in the far impedance."""
    section = item.part
    assert isinstance(section, SectionLine)
    lines = []
    for impedance, wavelengths in section.pieces:
        # Electrical length throughout: elements are stated in wavelengths on the line, so no velocity factor comes in.
        length_m = wavelengths * LIGHT_M_PER_S / section.design_hz
        spread = min(section.length_tolerance_m / length_m, 1.0)
        lines.append(
            Line(
                item.id,
                impedance,
                impedance,
                np.full(freq_hz.shape, impedance, dtype=complex),
                np.zeros(freq_hz.shape),
                2 * np.pi * wavelengths * freq_hz / section.design_hz,
                length_low=1 - spread,
                length_high=1 + spread,
                impedance_tolerance_ohm=min(section.impedance_tolerance_ohm, MOST_OF_IMPEDANCE * impedance),
            )
        )
    none = np.zeros(freq_hz.shape)
    made = Line(
        item.id,
        section.far_ohm,
        section.far_ohm,
        np.full(freq_hz.shape, section.far_ohm, dtype=complex),
        none,
        none,
        inside_radius=limit_radius(section.limit, freq_hz),
        shape=section.limit.kind if section.limit else "disc",
    )
    return (*lines, made)
