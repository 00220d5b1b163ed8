"""Guaranteed bounds of a whole measurement: chain, residuals, standards, noise (cut at three standard deviations), drift.

With the plane at the analyzer everything lies in front of the antenna. With a far plane the unchanging chain cancels (see
`chain.uncertainty.far_plane_bounds`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from chain.arrays import Complex, Real
from chain.rf.discs import add_disc, backward, extremes, forward, junction, region_of
from chain.rf.elements import Element
from chain.uncertainty.measurement import CUT, Measurement

GRID = 201
HALVINGS = 20
TOGETHER = ((64, 15), (500, 3))
"""Of so many readings at most, each step tries so many places: what a call costs is hardly its size then."""
LEAST_ROUNDING = 1e-4
"""Digits finer than this move no bound that is shown."""
FAR_STEPS = (51, 12)
"""Points and halvings of the inversion at a far plane, where each point takes long and the curves are all but straight."""


def reading_range(elements: Sequence[Element], magnitude: Real) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given reflection magnitude can give, whatever their phase."""
    start = region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude)
    region = forward(elements, start)
    # What a calibration has left can push the reading of a full reflection above 1.
    return region.least, region.most


def invert(
    seen: Callable[[Real], tuple[Real, Real]],
    reading: Real,
    points: int = GRID,
    halvings: int = HALVINGS,
    edges: Callable[[Real], tuple[Real, Real]] | None = None,
) -> tuple[Real, Real]:
    """True magnitudes that a reading can come from, given the range of readings that a true magnitude can give.

    Where either end of that range takes long by itself, `edges` gives the lower end for the second of two rows of magnitudes and
    the upper end for the first.

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
        low_row, high_row = (
            edges(tried) if edges else (end[..., row, :] for end, row in zip(seen(tried), (1, 0), strict=True))
        )
        known = reading[..., None]
        missed = np.argmax(np.concatenate([high_row >= known, np.ones_like(known, bool)], axis=-1), axis=-1)
        beyond = np.concatenate([np.ones_like(known, bool), low_row <= known], axis=-1)
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


def reading_bound(
    measurement: Measurement, magnitude: Real, lower: bool = True, upper: bool = True
) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given true magnitude can give; one that is not asked for may be 0 or infinite."""
    if measurement.standards is None and not (measurement.mating or measurement.noise or measurement.drift):
        return reading_range(measurement.after, magnitude)
    own = measurement.residuals
    region = forward(measurement.after[own:], region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude))
    if measurement.mating:
        region = junction(region, np.full((1,) * region.most.ndim, measurement.mating))
    # Errors of a calibration can push the reading of a full reflection above 1.
    if measurement.standards is not None:
        # Only now: it is much to load, and most answers are of the analyzer's own plane.
        from chain.uncertainty.far_plane_bounds import corrected_range, past_swap

        region = past_swap(measurement, region)
        return corrected_range(measurement, region.least, region.most, lower, upper)
    region = forward(measurement.after[:own], region)
    seen = add_disc(region, np.full(region.most.shape, measurement.drift + CUT * np.sqrt(2) * measurement.noise))
    return seen.least, seen.most


def true_bound(measurement: Measurement, reading: Real) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a reading's magnitude can come from (inverse of `reading_bound`)."""
    seen = partial(reading_bound, measurement)
    if measurement.standards is None:
        return invert(seen, reading, GRID, HALVINGS)

    def edges(tried: Real) -> tuple[Real, Real]:
        return seen(tried[..., 1, :], upper=False)[0], seen(tried[..., 0, :], lower=False)[1]

    return invert(seen, reading, *FAR_STEPS, edges)


def rounded_bound(measurement: Measurement, reading: Real, rounding: Real | None) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that any reading within the digits of one can come from."""
    if rounding is None or rounding.max() < LEAST_ROUNDING:
        return true_bound(measurement, reading)
    # Both ends rise with the reading, so its own extremes give theirs; one out of reach shows nothing, and the other two remain.
    within = np.stack([np.maximum(reading - rounding, 0), reading, reading + rounding], axis=-1)
    low, high = true_bound(measurement, within)
    return np.fmin.reduce(low, axis=-1), np.fmax.reduce(high, axis=-1)


def true_bound_complex(measurement: Measurement, reading: Complex, rounding: Real | None = None) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a complex reading can come from.

    Source: The reading's disc carried back through the chain, narrowed by what its magnitude alone allows.
    """
    # Half a step of either part lies within a disc of its diagonal.
    digits = np.zeros(reading.shape) if rounding is None else np.sqrt(2) * rounding
    low, high = rounded_bound(measurement, np.abs(reading), digits)
    if measurement.standards is not None:
        from chain.uncertainty.far_plane_bounds import before_swap, plane_region

        region = add_disc(plane_region(measurement, reading.astype(complex)), digits)
        region = before_swap(measurement, region)
    else:
        error = digits + measurement.drift + CUT * np.sqrt(2) * measurement.noise
        region = region_of(reading.astype(complex), error)
    own = measurement.residuals
    region = backward(measurement.after[:own], region)
    if measurement.mating:
        region = junction(region, np.full(reading.shape, measurement.mating))
    least, most = extremes(backward(measurement.after[own:], region))
    # Each is right by itself: the disc knows the phase, the inversion knows that the chain is one and the same there and back.
    low, high = np.fmax(low, least), np.fmin(high, most)
    impossible = np.isnan(low) | (low > high + 1e-9)
    return np.where(impossible, np.nan, low), np.where(impossible, np.nan, high)
