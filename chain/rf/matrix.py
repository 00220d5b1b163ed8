"""Two-ports that reflect by themselves, measured ones, matching sections, networks, as one matrix with its unknowns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.elements import Box, Element, Line
from chain.rf.parts import elements_of
from chain.setups import Item
from library.records import Connector, Measured, Part

NO_CONNECTOR = Connector("", "")


@dataclass(frozen=True)
class TwoPort:
    """Nominal matrix in one impedance over frequency, shape (frequencies, 2, 2), and how far its reflections may lie from it."""

    s: Complex
    near_radius: Real
    far_radius: Real
    loss_tolerance_db: float


def two_port(part: Part, freq_hz: Real, ohm: float, turned: bool = False, ideal: bool = False) -> TwoPort:
    """The matrix of a part and its unknowns, the same impedance at both ends.

    Source: Elements of the part as in a set-up; a tolerance of length or impedance by its worst corner.
    """
    # A file that was written again is another part, whatever its name.
    written = Path(part.path).stat().st_mtime_ns if isinstance(part, Measured) else 0
    return _two_port(part, np.asarray(freq_hz, dtype=float).tobytes(), ohm, turned, ideal, written)


@lru_cache(maxsize=64)
def _two_port(part: Part, frequencies: bytes, ohm: float, turned: bool, ideal: bool, written: int) -> TwoPort:
    freq = np.frombuffer(frequencies)
    placed = Item("item", part, NO_CONNECTOR, NO_CONNECTOR, reversed=turned, ideal=ideal)
    elements = elements_of(placed, freq)
    nominal = _whole(elements, ohm)
    none = np.zeros(freq.shape)
    near, far = none.copy(), none.copy()
    for number, each in enumerate(elements):
        for corner in _corners(each):
            moved = np.abs(_whole((*elements[:number], corner, *elements[number + 1 :]), ohm) - nominal)
            near, far = np.maximum(near, moved[:, 0, 0]), np.maximum(far, moved[:, 1, 1])
        # Junctions of unknown phase may all come back in phase, so their sizes are added up.
        inside = getattr(each, "inside_radius", None)
        both = none if inside is None else inside
        near = near + both + (none if each.near_radius is None else each.near_radius)  # type: ignore[union-attr]
        far = far + both + (none if each.far_radius is None else each.far_radius)  # type: ignore[union-attr]
    spread = sum(each.loss_tolerance_db for each in elements if isinstance(each, Box))
    return TwoPort(nominal, np.minimum(near, MOST_RADIUS), np.minimum(far, MOST_RADIUS), spread)


MOST_RADIUS = 0.9


def _whole(elements: tuple[Element, ...], ohm: float) -> Complex:
    """All elements in a row, in one impedance at both ends."""
    parts = [twoport.renormalise(each.nominal(), (each.near_ohm, each.far_ohm), (ohm, ohm)) for each in elements]
    return twoport.cascade(parts)


def _corners(element: Element) -> Iterator[Line]:
    """A line at the ends of its length's and of its impedance's tolerance."""
    if not isinstance(element, Line):
        return
    for factor in {element.length_low, element.length_high} - {1.0}:
        yield replace(element, loss_np=element.loss_np * factor, phase_rad=element.phase_rad * factor)
    if element.impedance_tolerance_ohm:
        for step in (-element.impedance_tolerance_ohm, element.impedance_tolerance_ohm):
            yield replace(element, impedance_ohm=element.impedance_ohm + step)
