"""Elements joined one to the next: ideal steps where references differ, and the nominal two-port of the whole."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.elements import Box, Element, Line
from chain.setups import ShortLine
from library.formulas import LIGHT_M_PER_S

__all__ = ["WRONG_HALF_M", "aligned", "nominal", "section_lines"]


WRONG_HALF_M = 0.010
WRONG_HALF_LOW, WRONG_HALF_HIGH = 0.7, 1.5
"""Electrical length of a connector half of the wrong impedance, and its range as factors (7 to 15 mm)."""


def aligned(elements: Sequence[Element], near_ohm: float, far_ohm: float, freq_hz: Real) -> tuple[Element, ...]:
    """Elements with an ideal step wherever the references of two neighbours differ.

    Source: Exact for real references: the star product of a step and a matrix is that matrix in the other reference.
    """
    out: list[Element] = []
    ohm = near_ohm
    for element in elements:
        if element.near_ohm != ohm:
            out.append(_step(ohm, element.near_ohm, freq_hz))
        out.append(element)
        ohm = element.far_ohm
    if ohm != far_ohm:
        out.append(_step(ohm, far_ohm, freq_hz))
    return tuple(out)


def _step(near_ohm: float, far_ohm: float, freq_hz: Real) -> Box:
    matrix = np.broadcast_to(twoport.step(near_ohm, far_ohm), (*freq_hz.shape, 2, 2))
    return Box("", near_ohm, far_ohm, matrix)


def nominal(elements: Sequence[Element], near_ohm: float, far_ohm: float, freq_hz: Real) -> Complex:
    """Two-port of joined elements with every unknown at zero.

    Source: Star product of the elements' own matrices.
    """
    joined = aligned(elements, near_ohm, far_ohm, freq_hz)
    if not joined:
        through = twoport.empty(freq_hz.shape)
        through[...] = np.eye(2)[::-1]
        return through
    return twoport.cascade([element.nominal() for element in joined])


def section_lines(name: str, sections: Sequence[ShortLine], freq_hz: Real) -> tuple[Line, ...]:
    """Lossless lines of a connection whose connectors are of another impedance than the lines they join.

    Source: 10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    lines = []
    for ohm, length_m in sections:
        # Only the typical half is uncertain in length; a section stated for its very pair is not.
        half = length_m == WRONG_HALF_M
        lines.append(
            Line(
                name,
                ohm,
                ohm,
                np.full(freq_hz.shape, ohm, dtype=complex),
                np.zeros(freq_hz.shape),
                2 * np.pi * freq_hz * length_m / LIGHT_M_PER_S,
                length_low=WRONG_HALF_LOW if half else 1.0,
                length_high=WRONG_HALF_HIGH if half else 1.0,
            )
        )
    return tuple(lines)
