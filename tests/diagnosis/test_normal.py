"""The normal distribution against scipy's."""

import numpy as np
from scipy.special import ndtr, ndtri

from chain.diagnosis import normal


def test_chances_below_a_score_are_those_of_scipy():
    """From where nothing lies below to where everything does."""
    score = np.linspace(-12, 12, 24_001)
    np.testing.assert_allclose(normal.below(score), ndtr(score), rtol=0, atol=1e-11)
    # Far out only the size of what is left counts.
    far = score[(score > -11) & (score < -3)]
    np.testing.assert_allclose(normal.below(far), ndtr(far), rtol=1e-9)


def test_scores_of_chances_are_those_of_scipy():
    """From one in ten thousand million to as near to certainty."""
    chance = np.concatenate([np.linspace(1e-6, 1 - 1e-6, 10_001), 10.0 ** -np.arange(1.0, 11.0)])
    np.testing.assert_allclose(normal.quantile(chance), ndtri(chance), rtol=0, atol=1e-14)
