"""Echoes taken out of a complex sweep by a time gate, and how far in from the band edges that spoils it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex

__all__ = ["edge_points", "gated"]


WINDOW = ("kaiser", 6)


def gated(freq_hz: NDArray[np.float64], reflection: Complex, known: Complex, gate_s: tuple[float, float]) -> Complex:
    """Reflection within a gate of delays.

    Source: scikit-rf `Network.time_gate`, without a window over frequency: dividing by one that goes to zero spoils
    the edges.
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

    Source: A gate of the width T averages over about 1/T of frequency; nearer to an edge the average lacks its other
    half.
    """
    return min(int(np.ceil(1 / ((gate_s[1] - gate_s[0]) * step_hz))), points // 2)
