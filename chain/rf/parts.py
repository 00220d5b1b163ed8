"""From an item of a set-up to its elements: one module per kind of part, each with `stages(item, freq_hz)`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from chain.rf import adapter, coax, measured, pad, section, splitter, transformer
from chain.rf.elements import Stage
from chain.setups import Item

__all__ = ["stages_of"]

ELEMENTS: dict[str, Callable[[Item, NDArray[np.float64]], tuple[Stage, ...]]] = {
    "adapter": adapter.stages,
    "coax": coax.stages,
    "measured": measured.stages,
    "pad": pad.stages,
    "section": section.stages,
    "splitter": lambda item, freq_hz: splitter.stages(item, freq_hz, stages_of),
    "transformer": transformer.stages,
}
"""The function that describes a part of each kind; a kind of part that the library knows and this table does not is a fault."""


def stages_of(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Stage, ...]:
    """Elements of an item as placed, near to far, without its unknowns if it is declared ideal."""
    pieces = ELEMENTS[item.part.kind](item, freq_hz)
    if item.reversed:
        pieces = tuple(piece.flipped() for piece in reversed(pieces))
    if item.ideal:
        pieces = tuple(piece.known() for piece in pieces)
    return pieces
