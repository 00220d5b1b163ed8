"""Noise averaged along a sweep, where the set-up states the narrowest resonance that the antenna may have.

How much to average is never taken from the data: no interval that adapts to an unknown smoothness stays honest. A local
quadratic over a third of f/Q follows any resonance no narrower than that; what it leaves is counted, and a sweep whose
residuals are larger than its noise is not averaged at all.
"""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex, Real
from library.frozen import dataclass

__all__ = ["Averaged", "averaged"]

SHARE = 1 / 3
"""Width of the window as a share of f/Q."""
LEFT = 0.0015
"""What the quadratic may leave of the swing of the reflection."""
FEWEST = 4
"""Points of a window from which a quadratic averages anything."""
ONE_IN_A_THOUSAND = 3.09


@dataclass(frozen=True)
class Averaged:
    """Reflections averaged along frequency: the noise left of each as a share of one reading's, and the error added."""

    reflection: Complex
    noise_factor: Real
    error: float
    accepted: bool
    """The residuals are no larger than the noise."""


def averaged(freq_hz: Real, reflection: Complex, noise: Real, antenna_q: float) -> Averaged:
    """Average complex reflections of an antenna; `noise` is the standard deviation of either part at each frequency.

    Source: Local polynomial regression; residuals against a chi-square quantile by Wilson and Hilferty's cube root.
    """
    smooth, factor = reflection.copy(), np.ones(freq_hz.shape)
    room = np.zeros(freq_hz.shape)
    for at, freq in enumerate(freq_hz):
        half = SHARE * freq / antenna_q / 2
        first, last = np.searchsorted(freq_hz, [freq - half, freq + half * (1 + 1e-9)])
        if last - first < FEWEST:
            continue
        away = (freq_hz[first:last] - freq) / half
        weights = np.linalg.pinv(np.vander(away, 3, increasing=True))[0]
        smooth[at] = weights @ reflection[first:last]
        square = float(weights @ weights)
        factor[at] = np.sqrt(square)
        room[at] = 1 - 2 * weights[at - first] + square
    swing = float(np.abs(reflection - reflection.mean()).max() * 2) if reflection.size else 0.0
    return Averaged(smooth, factor, LEFT * swing, _within_noise(reflection - smooth, noise, room))


def _within_noise(residual: Complex, noise: Real, room: Real) -> bool:
    used = (room > 0) & (noise > 0)
    if not used.any():
        return False
    degrees = 2 * float(room[used].sum())
    total = float((np.abs(residual[used]) ** 2 / noise[used] ** 2).sum())
    spread = 2 / (9 * degrees)
    return bool(total <= degrees * (1 - spread + ONE_IN_A_THOUSAND * np.sqrt(spread)) ** 3)
