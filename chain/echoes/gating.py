"""Echoes taken out of a complex sweep by a time gate, and how far in from the band edges that spoils it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["edge_points", "gated"]

Complex = NDArray[np.complex128]

WINDOW = ("kaiser", 6)


def gated(freq_hz: NDArray[np.float64], reflection: Complex, known: Complex, gate_s: tuple[float, float]) -> Complex:
    """Reflection within a gate of delays.

    Parameters
    ----------
    freq_hz : shape (points,), even steps [Hz].
    reflection : shape (points,) [-].
    known : what a fit already says of the reflection inside the gate; only the rest is gated, so that the step between the
        two band edges, which a gate smears, is that of the rest [-].
    gate_s : start and stop, there and back, within half of 1/step of zero [s].

    Returns
    -------
    shape (points,) [-].

    Examples
    --------
    >>> freq_hz = np.linspace(100e6, 900e6, 201)
    >>> steady = np.full(201, 0.2 + 0j)
    >>> seen = steady + 0.1 * np.exp(-2j * np.pi * freq_hz * 50e-9)
    >>> bool(np.abs(gated(freq_hz, seen, steady, (-12.5e-9, 12.5e-9)) - steady)[20:-20].max() < 0.002)
    True

    Source
    ------
    scikit-rf `Network.time_gate`, without a window over frequency: dividing by one that goes to zero spoils the edges.
    """
    from skrf.frequency import Frequency
    from skrf.network import Network

    even = np.linspace(freq_hz[0], freq_hz[-1], freq_hz.size)
    network = Network(frequency=Frequency.from_f(even, unit="hz"), s=(reflection - known).reshape(-1, 1, 1), z0=50)
    rest = network.time_gate(
        start=gate_s[0], stop=gate_s[1], mode="bandpass", window=WINDOW, method="fft", fft_window=None, t_unit="s"
    )
    return np.asarray(known + rest.s[:, 0, 0])


def edge_points(points: int, step_hz: float, gate_s: tuple[float, float]) -> int:
    """Points at either band edge that a gate spoils.

    Parameters
    ----------
    points : of the sweep.
    step_hz : its frequency step [Hz].
    gate_s : start and stop of the gate [s].

    Returns
    -------
    int, at most half of the points.

    Examples
    --------
    >>> edge_points(201, 4e6, (-12.5e-9, 12.5e-9))
    10

    Source
    ------
    A gate of the width T averages over about 1/T of frequency; nearer to an edge the average lacks its other half.
    """
    return min(int(np.ceil(1 / ((gate_s[1] - gate_s[0]) * step_hz))), points // 2)
