"""Guaranteed bounds of a whole measurement: chain, residuals, standards, noise (cut at three standard deviations), drift.

With the plane at the analyzer everything lies in front of the antenna. With a far plane the unchanging chain cancels (see
`chain.uncertainty.far_plane_bounds`).
"""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex, Real
from chain.rf.discs import add_disc, backward, extremes, forward, junction, region_of
from chain.uncertainty.element_bounds import GRID, HALVINGS, invert, reading_range
from chain.uncertainty.far_plane_bounds import CUT, before_swap, corrected_range, past_swap, plane_region
from chain.uncertainty.measurement import Measurement

LEAST_ROUNDING = 1e-4
"""Digits finer than this move no bound that is shown."""
FAR_STEPS = (51, 12)
"""Points and halvings of the inversion at a far plane, where each point takes long and the curves are all but straight."""


def reading_bound(measurement: Measurement, magnitude: Real) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given true magnitude can give."""
    if measurement.standards is None and not (measurement.mating or measurement.noise or measurement.drift):
        return reading_range(measurement.after, magnitude)
    own = measurement.residuals
    region = forward(measurement.after[own:], region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude))
    if measurement.mating:
        region = junction(region, np.full((1,) * region.most.ndim, measurement.mating))
    # Errors of a calibration can push the reading of a full reflection above 1.
    if measurement.standards is not None:
        region = past_swap(measurement, region)
        return corrected_range(measurement, region.least, region.most)
    region = forward(measurement.after[:own], region)
    seen = add_disc(region, np.full(region.most.shape, measurement.drift + CUT * np.sqrt(2) * measurement.noise))
    return seen.least, seen.most


def true_bound(measurement: Measurement, reading: Real) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a reading's magnitude can come from (inverse of `reading_bound`)."""
    steps = (GRID, HALVINGS) if measurement.standards is None else FAR_STEPS
    return invert(lambda magnitude: reading_bound(measurement, magnitude), reading, *steps)


def rounded_bound(measurement: Measurement, reading: Real, rounding: Real | None) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that any reading within the digits of one can come from."""
    if rounding is None or rounding.max() < LEAST_ROUNDING:
        return true_bound(measurement, reading)
    # Both ends rise with the reading, so its own extremes give theirs; one out of reach tells nothing, and the other two remain.
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
