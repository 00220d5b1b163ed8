"""Pads and attenuators: a specification (loss, tolerance, limits at both ends) or the resistors themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf import twoport
from chain.rf.elements import Box, Element, Ladder, limit_radius
from chain.setups import Item
from library.records import Pad

__all__ = ["elements"]


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """One element: a box of the stated loss, or the ladder of resistors (see `chain.rf.elements_of`)."""
    pad = item.part
    assert isinstance(pad, Pad)
    if pad.model == "resistors":
        return (
            Ladder(
                item.id,
                pad.near_ohm,
                pad.far_ohm,
                pad.arms,
                freq_hz,
                pad.arm_tolerance,
                pad.arm_inductance_h,
                pad.arm_capacitance_f,
            ),
        )
    s = twoport.empty(freq_hz.shape)
    s[..., 0, 0] = s[..., 1, 1] = 0
    s[..., 0, 1] = s[..., 1, 0] = 10 ** (-pad.loss_db / 20)
    return (
        Box(
            item.id,
            pad.near_ohm,
            pad.far_ohm,
            s,
            limit_radius(pad.near_limit, freq_hz),
            limit_radius(pad.far_limit, freq_hz),
            pad.near_limit.kind if pad.near_limit else "disc",
            pad.loss_tolerance_db,
            far_shape=pad.far_limit.kind if pad.far_limit else "",
        ),
    )
