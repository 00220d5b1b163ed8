"""Zeros of noisy curves: what their interval holds where noise lets a curve cross zero more than once."""

import numpy as np
import pytest
from further import wide

from chain.tuning.crossings import Crossing, crossing_interval, crossings_of, ends, local_fit, nearest_crossing

FREQ = np.linspace(100e6, 130e6, 61)
TRIALS, DRAWS = 200, 250
FITTED, _ = local_fit(FREQ, FREQ)


def noise(rng, rows):
    """Noise of fitted values, of one unit before the fit."""
    return rng.standard_normal((rows, FREQ.size)) @ FITTED.T


@pytest.mark.parametrize(
    ("rise", "rising"), [(0.3, True), (0.3, False), (3.0, True), *wide((0.8, False), (0.8, True), (3.0, False))]
)
def test_the_interval_of_a_zero_holds_it_however_flat_the_curve_is(rise, rising):
    """Straight curves that rise by 0.3 to 3 units a step: the zero is held in at least 0.95 less two standard errors.

    The nearest zeros alone hold a good deal less where the curve is flat.
    """
    rng = np.random.default_rng(int(10 * rise) + rising)
    sign, held, alone = 1 if rising else -1, [], []
    for _ in range(TRIALS):
        true_hz = rng.uniform(113e6, 117e6)
        seen = sign * rise * (FREQ - true_hz) / (FREQ[1] - FREQ[0]) + noise(rng, 1)[0]
        found = min(
            (each for each in crossings_of(FREQ, seen) if each.rising == rising),
            key=lambda each: abs(each.freq_hz - true_hz),
        )
        drawn = seen - noise(rng, DRAWS)
        got = crossing_interval(FREQ, drawn, found)
        held.append(got.low <= true_hz <= got.high)
        low, high = ends(nearest_crossing(FREQ, drawn, found))
        alone.append(low <= true_hz <= high)
        assert got.low <= low <= high <= got.high or not got.closed
    assert np.mean(held) >= 0.95 - 2 * 0.0154
    assert np.mean(held) >= np.mean(alone)
    assert np.mean(alone) < 0.93 or rise > 0.3


def test_a_zero_that_many_draws_have_outside_the_sweep_is_open_on_that_side():
    """A curve that comes up to zero at the upper end only."""
    rng = np.random.default_rng(1)
    curve = (FREQ - FREQ[-2]) / (FREQ[1] - FREQ[0])
    got = crossing_interval(FREQ, curve + 3 * rng.standard_normal((DRAWS, 1)), Crossing(FREQ[-2], True))
    assert np.isinf(got.high)
    assert got.low == pytest.approx(FREQ[-2] - 6.04 * (FREQ[1] - FREQ[0]), abs=0.4e6)
