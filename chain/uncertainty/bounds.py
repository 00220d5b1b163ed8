"""Guaranteed bounds of a whole measurement: chain, residuals, standards, noise (cut at three standard deviations), drift.

With the plane at the analyzer everything lies in front of the antenna. With a far plane the unchanging chain cancels (see
`chain.uncertainty.far_plane_bounds`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf.discs import backward, extremes, forward, region_of
from chain.rf.regions import add_disc, junction
from chain.uncertainty.element_bounds import GRID, HALVINGS, invert, reading_range
from chain.uncertainty.far_plane_bounds import CUT, corrected_range, plane_region
from chain.uncertainty.measurement import Measurement

__all__ = ["CUT", "reading_bound", "true_bound", "true_bound_complex"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

FAR_STEPS = (51, 12)
"""Points and halvings of the inversion at a far plane, where each point takes long and the curves are all but straight."""


def reading_bound(way: Measurement, magnitude: Real) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given true magnitude can give."""
    if way.standards is None and not (way.mating or way.noise or way.drift):
        return reading_range(way.after, magnitude)
    own = way.residuals
    region = forward(way.after[own:], region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude))
    if way.mating:
        region = junction(region, np.full((1,) * region.most.ndim, way.mating))
    # Errors of a calibration can push the reading of a full reflection above 1.
    if way.standards is not None:
        return corrected_range(way, region.least, region.most)
    region = forward(way.after[:own], region)
    seen = add_disc(region, np.full(region.most.shape, way.drift + CUT * np.sqrt(2) * way.noise))
    return seen.least, seen.most


def true_bound(way: Measurement, reading: Real) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a reading's magnitude can come from.

    Source: Inverse of `reading_bound`.
    """
    steps = (GRID, HALVINGS) if way.standards is None else FAR_STEPS
    return invert(lambda magnitude: reading_bound(way, magnitude), reading, *steps)


def true_bound_complex(way: Measurement, reading: Complex) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a complex reading can come from.

    Source: The reading's disc carried back through the chain, narrowed by what its magnitude alone allows.
    """
    low, high = true_bound(way, np.abs(reading))
    if way.standards is not None:
        region = plane_region(way, reading.astype(complex))
    else:
        error = np.full(reading.shape, way.drift + CUT * np.sqrt(2) * way.noise)
        region = region_of(reading.astype(complex), error)
    own = way.residuals
    region = backward(way.after[:own], region)
    if way.mating:
        region = junction(region, np.full(reading.shape, way.mating))
    least, most = extremes(backward(way.after[own:], region))
    low, high = np.fmax(low, least), np.fmin(high, most)
    impossible = np.isnan(low) | (low > high + 1e-9)
    return np.where(impossible, np.nan, low), np.where(impossible, np.nan, high)
