"""Impedance of a straight wire fed in its middle, by the method of moments: overlapping sinusoidal modes, Galerkin's weights.

Written from the textbook field of a sinusoidal filament; it knows nothing of transmission lines.
"""

from __future__ import annotations

import numpy as np

ETA_OVER_4_PI = 29.979_245_8
POINTS = 24


def field(z, radius, half, k):
    """Axial field beside a mode of peak current 1 and half-length `half`, at heights `z` [V/m].

    E = -j eta/(4 pi) [exp(-jkR1)/R1 + exp(-jkR2)/R2 - 2 cos(k h) exp(-jkR0)/R0]/sin(k h): the exact near field of a sinusoidal
    filament (Schelkunoff and Friis, 1952; memory).
    """
    out = 0
    for place, weight in ((half, 1.0), (-half, 1.0), (0.0, -2 * np.cos(k * half))):
        r = np.sqrt(radius**2 + (z - place) ** 2)
        out = out + weight * np.exp(-1j * k * r) / r
    return -1j * ETA_OVER_4_PI * out / np.sin(k * half)


def dipole_ohm(length_waves, half_over_radius, modes=31):
    """Input impedance of a dipole of so many wavelengths, tip to tip [ohm]."""
    k = 2 * np.pi
    half = length_waves / (modes + 1)
    radius = length_waves / 2 / half_over_radius
    nodes, weights = np.polynomial.legendre.leggauss(POINTS)
    z, weight = half * (nodes + 1) / 2, half * weights / 2
    z, weight = np.concatenate([-z[::-1], z]), np.concatenate([weight[::-1], weight])
    own = np.sin(k * (half - np.abs(z))) / np.sin(k * half)
    row = np.array([-(weight * own * field(z - step * half, radius, half, k)).sum() for step in range(modes)])
    index = np.abs(np.subtract.outer(np.arange(modes), np.arange(modes)))
    drive = np.zeros(modes)
    drive[modes // 2] = 1.0
    return 1 / np.linalg.solve(row[index], drive)[modes // 2]


def resonant_length(half_over_radius, modes=31):
    """Length without reactance just below half a wave [wavelengths]."""
    low, high = 0.40, 0.50
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if dipole_ohm(middle, half_over_radius, modes).imag > 0 else (middle, high)
    return low
