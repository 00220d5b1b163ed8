"""A two-port of the user's own, from a Touchstone file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.errors import RangeError, plain
from chain.rf import twoport
from chain.rf.elements import Box, Element, limit_radius, limit_shape
from chain.setups import Item
from library.records import Measured

LARGEST_STEP_DEG = 90.0
"""Largest turn of S21 between two points that cubic interpolation still follows."""


def elements(item: Item, freq_hz: NDArray[np.float64]) -> tuple[Element, ...]:
    """The measured two-port, interpolated onto the sweep and referred to the item's impedances."""
    part = item.part
    assert isinstance(part, Measured)
    from chain.sweeps.touchstone import read_two_port

    found = read_two_port(part.path, part.between)
    own_hz, s, reference = found.freq_hz, found.s, found.reference_ohm
    if freq_hz.min() < own_hz[0] * (1 - 1e-9) or freq_hz.max() > own_hz[-1] * (1 + 1e-9):
        raise RangeError(
            f"{plain(part.name)} covers {own_hz[0] / 1e6:g} to {own_hz[-1] / 1e6:g} MHz, "
            f"not {freq_hz.min() / 1e6:g} to {freq_hz.max() / 1e6:g} MHz",
            "keep the sweep inside the measurement",
        )
    if own_hz.shape != freq_hz.shape or not np.allclose(own_hz, freq_hz, rtol=1e-9):
        s = _interpolated(part, own_hz, s, freq_hz)
    # What is declared goes before the file's header, which often says 50 ohm whatever was measured.
    declared = part.reference_ohm or (reference[0], reference[1])
    s = twoport.renormalise(s, (declared[0], declared[1]), (part.near_ohm, part.far_ohm))
    radius = limit_radius(part.reflection_error, freq_hz)
    shape = limit_shape(part.reflection_error)
    return (Box(item.id, part.near_ohm, part.far_ohm, s, radius, radius, shape, part.loss_tolerance_db),)


def _interpolated(
    part: Measured, own_hz: NDArray[np.float64], s: NDArray[np.complex128], freq_hz: NDArray[np.float64]
) -> NDArray[np.complex128]:
    from scipy.interpolate import CubicSpline

    turn = np.abs(np.angle(s[1:, 1, 0] / s[:-1, 1, 0], deg=True)) if own_hz.size > 1 else np.zeros(0)
    if own_hz.size < 4 or turn.max() > LARGEST_STEP_DEG:
        raise RangeError(
            f"{plain(part.name)} is too coarse to interpolate: {own_hz.size} points, "
            f"up to {turn.max() if turn.size else 0:.0f} degrees from one to the next",
            "measure it with more points",
        )
    # A spline runs away beyond its ends, even by the rounding that is let through above.
    return np.asarray(CubicSpline(own_hz, s)(np.clip(freq_hz, own_hz[0], own_hz[-1])))
