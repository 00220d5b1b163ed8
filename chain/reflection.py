"""VSWR, reflection magnitude, return loss, mismatch loss and levels: conversions on arrays.

Return loss is always positive here; a reflection magnitude of 0 has an infinite return loss, one of 1 an infinite VSWR.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real

OFF_SCALE_VSWR = 20.0
"""From this VSWR on an analyzer's figure says no more than that it is off the scale; practice."""


def magnitude_from_vswr(value: ArrayLike) -> Real:
    """Reflection magnitude of a VSWR, `(S - 1)/(S + 1)`."""
    ratio = np.asarray(value, dtype=float)
    if np.any(ratio < 1):
        raise ValueError("a VSWR is never below 1")
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(ratio), 1.0, (ratio - 1) / (ratio + 1))


def vswr(magnitude: ArrayLike) -> Real:
    """VSWR of a reflection magnitude, `(1 + m)/(1 - m)`; infinite at 1 and above."""
    mag = np.abs(np.asarray(magnitude))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(mag >= 1, np.inf, (1 + mag) / (1 - mag))


def magnitude_from_return_loss(loss_db: ArrayLike) -> Real:
    """Reflection magnitude of a return loss, `10^(-RL/20)`."""
    return np.asarray(10 ** (-np.asarray(loss_db, dtype=float) / 20))


def return_loss_db(magnitude: ArrayLike) -> Real:
    """Return loss of a reflection magnitude, `-20 log10 m`; infinite at 0 [dB]."""
    with np.errstate(divide="ignore"):
        return np.asarray(-20 * np.log10(np.abs(np.asarray(magnitude)))) + 0.0


def mismatch_loss_db(magnitude: ArrayLike) -> Real:
    """Power not delivered because it is reflected, `-10 log10(1 - m^2)`; infinite at 1 [dB]."""
    mag = np.minimum(np.abs(np.asarray(magnitude)), 1.0)
    with np.errstate(divide="ignore"):
        return np.asarray(-10 * np.log10(1 - mag**2)) + 0.0


def reflection_from_ohm(load_ohm: ArrayLike, reference_ohm: float) -> Complex:
    """Reflection of an impedance in a real reference, `(Z - R)/(Z + R)`."""
    load = np.asarray(load_ohm, dtype=complex)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(np.isinf(load), 1.0 + 0j, (load - reference_ohm) / (load + reference_ohm)))


LEAST_GAP = 1e-9
"""A reflection nearer than this to that of an open end is taken for one; no reading has so many digits."""


def ohm_from_reflection(reflection: ArrayLike, reference_ohm: float) -> Complex:
    """Impedance of a reflection in a real reference, `R (1 + G)/(1 - G)`; of an open end a finite one, `2e9 R`."""
    found = np.asarray(reflection, dtype=complex)
    gap = 1 - found
    # Infinity has no reactance, and a quantile of trials some of which are open has no value.
    gap = np.where(np.abs(gap) < LEAST_GAP, LEAST_GAP, gap)
    return np.asarray(reference_ohm * (2 - gap) / gap)


def dbm_to_dbuv(impedance_ohm: float) -> float:
    """Decibels to add to a level in dBm to state it in dBuV across a resistance [dB].

    Source: V = sqrt(P R): 10 log10(R * 1 mW / (1 uV)^2).
    """
    return float(10 * np.log10(impedance_ohm * 1e-3 / 1e-12))
