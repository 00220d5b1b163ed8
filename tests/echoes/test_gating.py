"""The time gate against scikit-rf's."""

import numpy as np
import pytest
from skrf.frequency import Frequency
from skrf.network import Network

from chain.echoes.analyse import BETA, gated


@pytest.mark.parametrize("gate_s", [(-1e-9, 40e-9), (3e-9, 9e-9), (-30e-9, -2e-9), (3e-9, 98e-9)])
@pytest.mark.parametrize("points", [51, 200])
def test_the_gate_is_that_of_scikit_rf(points, gate_s):
    """Odd and even numbers of points, gates on either side of zero delay."""
    rng = np.random.default_rng(points)
    freq_hz = np.linspace(1e8, 3e8, points)
    seen, known = rng.normal(size=(2, points)) + 1j * rng.normal(size=(2, points))
    network = Network(frequency=Frequency.from_f(freq_hz, unit="hz"), s=(seen - known).reshape(-1, 1, 1), z0=50)
    rest = network.time_gate(
        start=gate_s[0],
        stop=gate_s[1],
        window=lambda count: np.kaiser(count, BETA),
        method="fft",
        fft_window=None,
        t_unit="s",
    )
    np.testing.assert_allclose(gated(freq_hz, seen, known, gate_s), known + rest.s[:, 0, 0], rtol=0, atol=1e-12)
