"""Matching sections of line, such as a quarter wave or a twelfth-wave pair."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf import twoport
from chain.rf.elements import Box, Element, line_s
from chain.rf.limits import limit_radius
from chain.setups import Item
from library.records import SectionLine

__all__ = ["elements"]


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """The sections joined into one lossless piece between the part's two impedances."""
    section = item.part
    assert isinstance(section, SectionLine)
    total = twoport.empty(freq_hz.shape)
    total[...] = np.eye(2)[::-1]
    for impedance, wavelengths in section.pieces:
        phase = 2 * np.pi * wavelengths * freq_hz / section.design_hz
        element = line_s(np.full(freq_hz.shape, impedance, dtype=complex), np.asarray(1j * phase), section.near_ohm)
        total = twoport.star(total, element)
    total = twoport.renormalise(total, (section.near_ohm, section.near_ohm), (section.near_ohm, section.far_ohm))
    radius = limit_radius(section.limit, freq_hz)
    return (Box(item.id, section.near_ohm, section.far_ohm, total, radius, radius),)
