"""Adapters: a short line with one junction of unknown reflection somewhere inside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf.elements import Element, Line, limit_radius
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S, NEPER_PER_DB
from library.records import Adapter

__all__ = ["elements"]


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """One line of the adapter's electrical length, loss growing with the square root of frequency."""
    adapter = item.part
    assert isinstance(adapter, Adapter)
    length = adapter.electrical_length_m
    spread = adapter.length_tolerance_m / length if length else 0.0
    return (
        Line(
            item.id,
            adapter.impedance_ohm,
            adapter.impedance_ohm,
            np.full(freq_hz.shape, adapter.impedance_ohm, dtype=complex),
            adapter.loss_at_1ghz_db * np.sqrt(freq_hz / 1e9) * NEPER_PER_DB,
            2 * np.pi * freq_hz * length / LIGHT_M_PER_S,
            inside_radius=limit_radius(adapter.limit, freq_hz),
            shape=adapter.limit.kind if adapter.limit else "disc",
            loss_tolerance=adapter.loss_tolerance,
            length_low=1 - spread,
            length_high=1 + spread,
        ),
    )
