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
    fewest = min(FEWEST, freq_hz.size)
    for row, at in enumerate(at_hz):
        apart = np.abs(freq_hz - at)
        near = np.flatnonzero(apart <= at / (6 * narrowest_q))
        if near.size < fewest:
            near = np.sort(np.argsort(apart, kind="stable")[:fewest])
        scale = max(float(apart[near].max()), 1.0)
        u = (freq_hz[near] - at) / scale
        solved = np.linalg.pinv(np.stack([np.ones(near.size), u, u * u], axis=1))
        value[row, near], slope[row, near] = solved[0], solved[1] / scale
    return value, slope
