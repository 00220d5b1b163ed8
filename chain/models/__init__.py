"""From an item of a set-up to its pieces: one module per kind of part, all with `stages(item, freq_hz)`."""

from __future__ import annotations

from importlib import import_module

import numpy as np
from numpy.typing import NDArray

from chain.records import Item
from chain.stages import Stage

__all__ = ["stages_of"]


def stages_of(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Stage, ...]:
    """Pieces of an item as placed, near to far, without its unknowns if it is declared ideal.

    Parameters
    ----------
    item : the item; its part's kind names the module that knows it.
    freq_hz : shape (frequencies,) [Hz].

    Returns
    -------
    tuple of Line, Box or Ladder.

    Raises
    ------
    RangeError : a frequency outside what the part's model covers.

    Examples
    --------
    See `chain.cascade.build`, which joins the pieces of every item.

    Source
    ------
    Each module names its own.
    """
    module = import_module(f"chain.models.{item.part.kind}")
    pieces: tuple[Stage, ...] = module.stages(item, freq_hz)
    if item.reversed:
        pieces = tuple(piece.flipped() for piece in reversed(pieces))
    if item.ideal:
        pieces = tuple(piece.known() for piece in pieces)
    return pieces
