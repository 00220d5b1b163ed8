"""Coverage regions of a complex reflection: closed forms of the normal and the ring, and the share they hold."""

from __future__ import annotations

import numpy as np
import pytest
import strategies as made

from chain.rf.parts import elements_of
from chain.uncertainty.coverage_region import ellipse, recovered_trials
from chain.uncertainty.linear import linear
from chain.uncertainty.measurement import Measurement

FREQ = np.array([100e6, 800e6])


def normal(count, seed=1):
    """Correlated normal draws around 0.2 + 0.1j, at two frequencies of which the second spreads twice as far."""
    first, second = np.random.default_rng(seed).standard_normal((2, count, 1))
    spread = 0.02 * first + 1j * (0.012 * first + 0.009 * second)
    return 0.2 + 0.1j + spread * np.array([1.0, 2.0])


@pytest.mark.parametrize("coverage", [0.5, 0.95])
def test_ellipse_of_a_normal_spread(coverage):
    """Covariance as drawn; k^2 = -2 ln(1 - p), 5.991 at 95 %: chi-square with two degrees of freedom."""
    found, by_law = (ellipse(normal(60_000), coverage, law) for law in (False, True))
    assert by_law.factor == pytest.approx(np.full(2, np.sqrt(-2 * np.log(1 - coverage))))
    assert found.factor == pytest.approx(by_law.factor, rel=0.02)
    assert found.center == pytest.approx(np.full(2, 0.2 + 0.1j), abs=1e-3)
    expected = np.array([[4.0, 2.4], [2.4, 1.44 + 0.81]]) * 1e-4
    assert found.covariance[0] == pytest.approx(expected, rel=0.03)
    assert found.covariance[1] == pytest.approx(4 * expected, rel=0.03)
    assert found.area[1] == pytest.approx(4 * found.area[0], rel=1e-6)


def test_outline_of_an_ellipse_lies_on_it():
    found = ellipse(normal(5000), 0.9)
    away = found.outline - found.center[:, None]
    unit = np.stack([away.real, away.imag], axis=-1)
    distance = np.einsum("fpa,fab,fpb->fp", unit, np.linalg.inv(found.covariance), unit)
    assert np.sqrt(distance) == pytest.approx(np.broadcast_to(found.factor[:, None], distance.shape))
    corners = np.roll(found.outline, -1, axis=1)
    area = np.abs(np.sum((np.conj(found.outline) * corners).imag, axis=1)) / 2
    assert area == pytest.approx(found.area, rel=1e-3)


def test_regions_of_a_chain_agree_with_linear_propagation():
    items = (
        made.item(made.adapter(50.0, 0.05, 0.0, 40.0), "adapter"),
        made.item(made.pad(near_db=40.0, far_db=40.0), "pad"),
    )
    elements = tuple(element for each in items for element in elements_of(each, FREQ))
    measurement = Measurement(FREQ, 50.0, 75.0, (), elements, noise=5e-4)
    found = ellipse(recovered_trials(measurement, 0.4, 20_000))
    expected = linear(measurement, 0.4)
    assert expected.valid.all()
    assert found.covariance == pytest.approx(expected.covariance, rel=0.04, abs=0.02 * float(expected.u_real[0] ** 2))
