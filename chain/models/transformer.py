"""Broadband transformers and baluns: an ideal ratio, a loss and a reflection limit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain import twoport
from chain.models.limits import limit_radius
from chain.records import Item
from chain.stages import Box, Stage
from library.records import Transformer

__all__ = ["stages"]


def stages(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Stage, ...]:
    """One piece: what the turns ratio leaves unmatched, then the loss spread over both sides of it."""
    part = item.part
    assert isinstance(part, Transformer)
    seen_ohm = part.far_ohm / part.turns_ratio**2 if part.turns_ratio else part.near_ohm
    half = np.array([[0, 10 ** (-part.loss_db / 40)], [10 ** (-part.loss_db / 40), 0]], dtype=complex)
    s = twoport.cascade([half, twoport.step(part.near_ohm, seen_ohm), half])
    radius = limit_radius(part.limit, freq_hz)
    return (
        Box(
            item.id,
            part.near_ohm,
            part.far_ohm,
            np.broadcast_to(s, (*freq_hz.shape, 2, 2)),
            radius,
            radius,
            loss_tolerance_db=part.loss_tolerance_db,
        ),
    )
