"""Echoes taken out of a complex sweep by a time gate, and how far in from the band edges that spoils it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex

__all__ = ["edge_points", "gated"]


BETA = 6.0
"""Shape of the gate's Kaiser window: side lobes about 44 dB down."""


def gated(freq_hz: NDArray[np.float64], reflection: Complex, known: Complex, gate_s: tuple[float, float]) -> Complex:
    """Reflection within a gate of delays.

    Source: A Kaiser window over delays, symmetric about its own middle sample, between two Fourier transforms; none over
    frequency, for dividing by one that goes to zero spoils the edges.
    """
    step_hz = (freq_hz[-1] - freq_hz[0]) / (freq_hz.size - 1)
    delay_s = np.fft.fftshift(np.fft.fftfreq(freq_hz.size, step_hz))
    first, last = (int(np.argmin(np.abs(delay_s - each))) for each in gate_s)
    gate = np.zeros(freq_hz.size)
    gate[first : last + 1] = np.kaiser(last - first + 1, BETA)
    # What is known of the main reflection stays out of the transform,
    # where the ends of the sweep would smear it over all delays.
    course = np.fft.fftshift(np.fft.ifft(reflection - known))
    return np.asarray(known + np.fft.fft(np.fft.ifftshift(course * gate)))


def edge_points(points: int, step_hz: float, gate_s: tuple[float, float]) -> int:
    """Points at either band edge that a gate spoils.

    Source: A gate of the width T averages over about 1/T of frequency; nearer to an edge the average lacks its other
    half.
    """
    return min(int(np.ceil(1 / ((gate_s[1] - gate_s[0]) * step_hz))), points // 2)
