"""How tight the guaranteed bound is: against the worst that an optimiser finds in chains of its own description."""

import numpy as np
import pytest
from bound_world import MAGNITUDES, engine_pieces, random_chain, worst_found

from chain.uncertainty.element_bounds import reading_range


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
