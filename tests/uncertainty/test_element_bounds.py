"""How tight the guaranteed bound is: against the worst that an optimiser finds in chains of its own description."""

import numpy as np
import pytest
from bound_world import MAGNITUDES, engine_pieces, random_chain, worst_found

from chain.uncertainty.bounds import invert, reading_range


def slacks(count, seed):
    """Slack of the bound of each random chain, and by how much the worst found passes it."""
    rng = np.random.default_rng(seed)
    slack, passed = [], []
    for index in range(count):
        chain = random_chain(rng)
        magnitude = MAGNITUDES[index % len(MAGNITUDES)]
        low, high = (float(end[0]) for end in reading_range(engine_pieces(chain), np.array([magnitude])))
        least, most = worst_found(chain, magnitude, rng)
        slack.append(((high - low) - (most - least)) / (most - least))
        passed.append(max(most - high, low - least))
    return np.array(slack), np.array(passed)


@pytest.mark.parametrize("count", [3, pytest.param(12, marks=pytest.mark.statistical)])
def test_bound_of_a_few_chains(count):
    """Median slack at most 2 % of the width of the worst found, and never passed: the first chains of the slow test.

    Seen: median 0.19 %, most 0.76 %, the worst found at least 7e-11 inside the bound.
    """
    slack, passed = slacks(count, 1)
    assert passed.max() <= 1e-9
    assert np.median(slack) <= 0.02
    assert slack.max() <= 0.03


@pytest.mark.slow
def test_bound_of_a_hundred_chains():
    """The same over 100 chains. Seen: median 0.21 %, nine in ten below 1.14 %, most 1.86 %, never passed."""
    slack, passed = slacks(100, 1)
    assert passed.max() <= 1e-9
    assert np.median(slack) <= 0.02
    assert slack.max() <= 0.03


@pytest.mark.parametrize("count", [1, 200])
def test_the_inversion_finds_both_edges_whatever_its_step(count):
    """Ends of size m read from 0.8 m to 0.7 m + 0.1: a reading x comes from (x - 0.1)/0.7 to x/0.8; of few many places are tried."""
    reading = np.linspace(0.3, 0.7, count) if count > 1 else np.array([0.437])
    low, high = invert(lambda m: (0.8 * m, 0.7 * m + 0.1), reading)
    np.testing.assert_allclose(low, (reading - 0.1) / 0.7, atol=1e-8)
    np.testing.assert_allclose(high, reading / 0.8, atol=1e-8)
    assert np.all(low <= (reading - 0.1) / 0.7 + 1e-15)
    assert np.all(high >= reading / 0.8 - 1e-15)
