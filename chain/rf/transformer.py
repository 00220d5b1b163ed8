"""Broadband transformers and baluns: an ideal ratio, a loss and a reflection limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf import twoport
from chain.rf.elements import Box, Element, Line, limit_radius
from chain.setups import Item
from library.formulas import NEPER_PER_DB
from library.records import Transformer

__all__ = ["elements"]


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """What the turns ratio leaves unmatched, then a loss without length that holds one junction of unknown reflection.

    The loss is too small for reflections drawn at both ends by themselves: together they could give out more power than
    goes in. What the ratio reflects is part of the limit.
    """
    part = item.part
    assert isinstance(part, Transformer)
    seen_ohm = part.far_ohm / part.turns_ratio**2 if part.turns_ratio else part.near_ohm
    # An ideal ratio shows the far impedance over its square; where that is not the near one, a step is left.
    ratio = twoport.step(part.near_ohm, seen_ohm)
    radius = limit_radius(part.limit, freq_hz)
    if radius is not None:
        own = abs(ratio[0, 0])
        radius = np.maximum(radius - own, 0.0) / (1 - radius * own)
    return (
        Box(item.id, part.near_ohm, part.far_ohm, np.broadcast_to(ratio, (*freq_hz.shape, 2, 2))),
        Line(
            item.id,
            part.far_ohm,
            part.far_ohm,
            np.full(freq_hz.shape, part.far_ohm, dtype=complex),
            np.full(freq_hz.shape, part.loss_db * NEPER_PER_DB),
            np.zeros(freq_hz.shape),
            inside_radius=radius,
            shape=part.limit.kind if part.limit else "disc",
            loss_tolerance=min(part.loss_tolerance_db / part.loss_db, 1.0) if part.loss_db else 0.0,
        ),
    )
