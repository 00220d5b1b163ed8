"""From an item of a set-up to its elements: one module per kind of part, each with `stages(item, freq_hz)`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from chain.rf import adapter, coax, measured, network, pad, section, splitter, transformer
from chain.rf.elements import Element
from chain.setups import Item

__all__ = ["elements_of"]

ELEMENTS: dict[str, Callable[[Item, NDArray[np.float64]], tuple[Element, ...]]] = {
    "adapter": adapter.elements,
    "coax": coax.elements,
    "measured": measured.elements,
    "network": network.elements,
    "pad": pad.elements,
    "section": section.elements,
    "splitter": lambda item, freq_hz: splitter.elements(item, freq_hz, elements_of),
    "transformer": transformer.elements,
}
"""The function that describes a part of each kind; a kind of part that the library knows and this table does not is a fault."""


def elements_of(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """Elements of an item as placed, near to far, without its unknowns if it is declared ideal."""
    elements = ELEMENTS[item.part.kind](item, freq_hz)
    if item.reversed:
        elements = tuple(element.flipped() for element in reversed(elements))
    if item.ideal:
        elements = tuple(element.known() for element in elements)
    return elements
