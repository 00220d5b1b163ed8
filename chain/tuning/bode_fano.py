"""The least reflection that any lossless network, however large, can leave over a span of frequencies."""

from __future__ import annotations

import math

import numpy as np

from chain.arrays import Complex, Real
from chain.tuning.smoothing import local_fit

__all__ = ["floor_of_quality", "quality_at"]


def floor_of_quality(quality: float, low_hz: float, high_hz: float) -> float:
    """Least reflection magnitude over a span for a resonance of a given quality factor, tuned to the middle of the span.

    Source: Bode and Fano: the integral of ln(1/|G|) over angular frequency is at most pi/(R C) (Fano, J. Franklin Inst. 249,
    1950; memory), spent evenly over the span; R C = Q/(2 pi f0): exp(-pi f0/(Q (f2 - f1))).
    """
    if high_hz <= low_hz or quality <= 0:
        return 0.0
    # A resonance is symmetric about the geometric mean of two frequencies.
    return math.exp(-math.pi * math.sqrt(low_hz * high_hz) / (quality * (high_hz - low_hz)))


def quality_at(freq_hz: Real, reflection: Complex, at_hz: float, reference_ohm: float, narrowest_q: float) -> float:
    """Quality factor at a frequency, the antenna tuned there by one lossless coil or capacitor.

    Source: Q = w/(2 R) |dZ/dw + j |X|/w| (Yaghjian and Best, IEEE Trans. Antennas Propag. 53, 2005, eq. 86; memory).
    """
    value, slope = local_fit(freq_hz, np.array([at_hz]), narrowest_q)
    far, turned = complex((value @ reflection)[0]), complex((slope @ reflection)[0])
    ohm = reference_ohm * (1 + far) / (1 - far)
    # dZ = 2 R0 dG/(1 - G)^2; what tunes the antenna adds |X|/w to the slope of its reactance.
    rise = 2 * reference_ohm * turned / (1 - far) ** 2
    return at_hz / (2 * max(ohm.real, 1e-9)) * abs(rise + 1j * abs(ohm.imag) / at_hz)
