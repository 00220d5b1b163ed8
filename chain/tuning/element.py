"""The electrical length of an element: what its resonance, its reactance and its thickness say of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real

__all__ = [
    "LARGEST_BY_SLOPE",
    "LEAST_SLOPE",
    "THICKEST",
    "change_by_slope",
    "change_to",
    "dipole_impedance_ohm",
    "ohm_per_percent",
    "quality_factor",
]

LARGEST_BY_SLOPE = 0.05
"""Largest relative change of length that the slope form is asked for: near resonance only."""
LEAST_SLOPE = 0.74
"""The true slope over that of the form, at its least; 0.94 for thin wire, 0.75 for the thickest rod, by the method of moments of
`tests/published/test_dipole.py`."""
THICKEST = 30.0
"""Half length over radius down to which the form is used."""


def dipole_impedance_ohm(length_m: float, diameter_m: float) -> float:
    """Mean characteristic impedance of a half-wave element taken as a line opened out [ohm].

    Source: Za = 120 (ln(2 h/a) - 1), h half the length, a the radius (transmission-line theory of the dipole; memory).
    """
    return float(120 * (np.log(2 * length_m / diameter_m) - 1))


def ohm_per_percent(length_m: float, diameter_m: float) -> float:
    """Reactance of a half-wave element one per cent off its resonance [ohm].

    Source: X = Za (pi/2) (f - f0)/f0 near resonance; Za of `dipole_impedance_ohm`.
    """
    return dipole_impedance_ohm(length_m, diameter_m) * np.pi / 200


def change_to(resonance_hz: ArrayLike, wanted_hz: float) -> Real:
    """Relative change of length that takes a resonance to the wanted frequency; negative: shorten.

    Source: L2 = L1 f1/f2: at a given shape everything scales with the length in wavelengths.
    """
    return np.asarray(np.asarray(resonance_hz, dtype=float) / wanted_hz - 1)


def change_by_slope(reactance_ohm: ArrayLike, length_m: float, diameter_m: float) -> Real:
    """Relative change of length that takes out a reactance read at the wanted frequency; negative: shorten.

    Source: dL/L = -X/(Za pi/2), a plain half-wave element near resonance.
    """
    return np.asarray(-np.asarray(reactance_ohm, dtype=float) / (100 * ohm_per_percent(length_m, diameter_m)))


def quality_factor(reflection: Complex, slope: Complex, freq_hz: ArrayLike) -> Real:
    """Quality factor of an antenna at its resonance, from the slope of its reflection over frequency [1/Hz].

    Source: Q = w/(2 R) |dZ/dw| at X = 0 (Yaghjian and Best, IEEE Trans. Antennas Propag. 53, 2005, eq. 86; memory), with
    dZ = 2 R0 dG/(1 - G)^2 and R = R0 (1 - |G|^2)/|1 - G|^2.
    """
    far = np.asarray(reflection)
    # |1 - G|^2 of the slope and of the resistance cancel, so that no impedance, however high, is a division by nothing.
    return np.asarray(np.asarray(freq_hz) * np.abs(slope) / np.maximum(1 - np.abs(far) ** 2, 1e-12))
