"""Local quadratic fits along a sweep: value and slope at any frequency inside it, as one linear map of the readings."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real

__all__ = ["FEWEST", "USUAL_Q", "local_fit"]

USUAL_Q = 30.0
"""Narrowest resonance taken for granted where the set-up states none: readings within a third of f/Q are one piece of curve."""
FEWEST = 5
"""Least readings of a local fit, two more than a parabola has coefficients."""


def local_fit(freq_hz: Real, at_hz: Real, narrowest_q: float = USUAL_Q) -> tuple[Real, Real]:
    """Weights of every reading in the value and in the slope at the wanted frequencies, shape (wanted, readings) each.

    The span is fixed beforehand: readings never choose how much they are averaged. Where the steps are too wide for it, the
    nearest readings are taken, so that a coarse sweep is fitted rather than refused.

    Source: Least squares of a + b u + c u^2 over the readings within f/(6 Q) either side; a is the value, b the slope.
    """
    value, slope = np.zeros((2, at_hz.size, freq_hz.size))
    apart = np.abs(freq_hz - at_hz[:, None])
    nearest = np.argsort(apart, axis=1, kind="stable")
    counts = np.maximum((apart <= at_hz[:, None] / (6 * narrowest_q)).sum(axis=1), min(FEWEST, freq_hz.size))
    # Rows of as many readings are solved together.
    for count in np.unique(counts):
        rows = np.flatnonzero(counts == count)[:, None]
        near = np.sort(nearest[rows[:, 0], :count], axis=1)
        scale = np.maximum(apart[rows, near].max(axis=1, keepdims=True), 1.0)
        u = (freq_hz[near] - at_hz[rows]) / scale
        solved = np.linalg.pinv(np.stack([np.ones_like(u), u, u * u], axis=-1))
        value[rows, near], slope[rows, near] = solved[:, 0], solved[:, 1] / scale
    return value, slope
