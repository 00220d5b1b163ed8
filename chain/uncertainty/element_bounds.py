"""Guaranteed bounds: readings that a true match can give, and true matches that a reading can come from."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from chain.arrays import Real
from chain.reflection import magnitude_from_return_loss
from chain.rf.discs import forward, region_of
from chain.rf.elements import Box, Element
from chain.setups import Near

RESIDUALS = "near"
"""Name of the element that stands for the analyzer's residual errors."""

GRID = 201
HALVINGS = 30
TOGETHER = ((64, 15), (500, 3))
"""Of so many readings at most, each step tries so many places: what a call costs is hardly its size then."""


def residual_box(near: Near, freq_hz: Real) -> Box | None:
    """What the analyzer's calibration left: directivity, source match and tracking as one two-port.

    Source: One-port error model: reading = D + (1 + T) G/(1 - M G).
    """
    if near.directivity_db is None and near.source_match_db is None and near.tracking_db is None:
        return None

    def radius(loss_db: float | None) -> Real:
        size = 0.0 if loss_db is None else float(magnitude_from_return_loss(loss_db))
        return np.full(freq_hz.shape, size)

    through = np.zeros((*freq_hz.shape, 2, 2), dtype=complex)
    through[..., 0, 1] = through[..., 1, 0] = 1
    tracking = 0.0 if near.tracking_db is None else 10 ** (near.tracking_db / 20) - 1
    return Box(
        RESIDUALS,
        near.impedance_ohm,
        near.impedance_ohm,
        through,
        radius(near.directivity_db),
        radius(near.source_match_db),
        shape=near.directivity_kind,
        product_radius=np.full(freq_hz.shape, tracking),
        # Errors of a calibration may show more than all of a wave.
        passive=False,
        far_shape=near.source_match_kind,
        product_shape=near.tracking_kind,
    )


def reading_range(elements: Sequence[Element], magnitude: Real) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given reflection magnitude can give, whatever their phase."""
    start = region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude)
    region = forward(elements, start)
    # What a calibration has left can push the reading of a full reflection above 1.
    return region.least, region.most


def invert(
    seen: Callable[[Real], tuple[Real, Real]], reading: Real, points: int = GRID, halvings: int = HALVINGS
) -> tuple[Real, Real]:
    """True magnitudes that a reading can come from, given the range of readings that a true magnitude can give.

    Source: The upper limit grows with the true magnitude (maximum principle); bisection between the points of a grid.
    """
    grid = np.linspace(0, 1, points)
    low_curve, high_curve = seen(np.broadcast_to(grid, (*reading.shape, points)))
    never = high_curve[..., -1] < reading
    first = np.argmax(high_curve >= reading[..., None], axis=-1)
    allowed = low_curve <= reading[..., None]
    last = points - 1 - np.argmax(allowed[..., ::-1], axis=-1)
    below, above = grid[np.maximum(first - 1, 0)], grid[first]
    inside, outside = grid[last], grid[np.minimum(last + 1, points - 1)]
    # Both edges at once.
    places = next((many for size, many in TOGETHER if reading.size <= size), 1)
    within = np.arange(1, places + 1) / (places + 1)
    for _ in range(int(np.ceil(halvings / np.log2(places + 1)))):
        start, width = np.stack([below, inside], axis=-1), np.stack([above - below, outside - inside], axis=-1)
        tried = start[..., None] + width[..., None] * within
        low_curve, high_curve = seen(tried)
        known = reading[..., None]
        missed = np.argmax(
            np.concatenate([high_curve[..., 0, :] >= known, np.ones_like(known, bool)], axis=-1), axis=-1
        )
        beyond = np.concatenate([np.ones_like(known, bool), low_curve[..., 1, :] <= known], axis=-1)
        fits = places - np.argmax(beyond[..., ::-1], axis=-1)
        step = width / (places + 1)
        below = below + missed * step[..., 0]
        above = below + step[..., 0]
        inside = inside + fits * step[..., 1]
        outside = inside + step[..., 1]
    impossible = never | ~allowed.any(axis=-1)
    # The outer sides of the last step, so that the bound holds whatever the halvings leave.
    low = np.where(first == 0, 0.0, below)
    return np.where(impossible, np.nan, low), np.where(impossible, np.nan, np.minimum(outside, 1.0))
