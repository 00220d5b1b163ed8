"""Quantiles of what drawn measurements recover: closed form, and the same figures however the work is divided."""

import numpy as np
import pytest
from scipy import stats

from chain.assembly.cascade import build
from chain.files.setup_file import load_setup
from chain.uncertainty import trials as montecarlo
from chain.uncertainty.measurement import CHUNK, Measurement, measurement, simulate
from chain.uncertainty.trials import recovered_quantiles

PROBABILITIES = (0.025, 0.5, 0.975)


@pytest.fixture(scope="module")
def way():
    """The boathouse at seven frequencies."""
    setup = load_setup("demo/boathouse.toml")
    return measurement(setup, build(setup, np.linspace(174e6, 240e6, 7)))


def test_noise_alone_gives_the_rice_distribution():
    """A reflection with normal noise on either part: the magnitude is Rice's (scipy.stats.rice)."""
    noisy = Measurement(np.array([1e8, 2e8]), 75.0, 75.0, (), (), noise=0.05)
    found = recovered_quantiles(noisy, np.array([0.1 + 0j, 0.3j]), PROBABILITIES, draws=200_000)
    for column, size in enumerate((0.1, 0.3)):
        expected = stats.rice.ppf(PROBABILITIES, size / 0.05, scale=0.05)
        assert found.magnitude[:, column] == pytest.approx(expected, abs=8e-4)


@pytest.mark.parametrize("phase_known", [True, False])
def test_blocks_and_threads_change_no_bit(way, monkeypatch, phase_known):
    """One block or many, one thread or three."""
    reading = 0.08 * np.exp(2j * np.arange(7)) if phase_known else np.full(7, 0.08)
    first = recovered_quantiles(way, reading, PROBABILITIES, draws=3000, seed=5).magnitude
    for largest, threads in ((1, 1), (2, 3), (64, 1)):
        monkeypatch.setattr(montecarlo, "BLOCK_FREQUENCIES", largest)
        monkeypatch.setattr(montecarlo, "thread_count", lambda count=threads: count)
        again = recovered_quantiles(way, reading, PROBABILITIES, draws=3000, seed=5).magnitude
        assert np.array_equal(first, again)


def test_the_quantiles_are_those_of_the_drawn_maps_turned_back(way):
    """Each draw's bilinear map inverted by hand, the order statistics by numpy."""
    reading = 0.1 * np.exp(1j * np.arange(7))
    found = recovered_quantiles(way, reading, PROBABILITIES, draws=2 * CHUNK, seed=11)
    drawn = [simulate(way, chunk, 11) for chunk in (0, 1)]
    sizes = np.concatenate([np.abs((reading - each.q) / (each.p - each.r * reading)) for each in drawn])
    step = np.quantile(sizes, PROBABILITIES, axis=0)
    assert found.draws == 2 * CHUNK
    assert found.magnitude == pytest.approx(step, rel=2e-2)


@pytest.mark.parametrize(
    ("frequencies", "draws", "threads"), [(1, 1000, 2), (7, 10_000, 2), (201, 10_000, 2), (1601, 100_000, 3)]
)
def test_blocks_hold_every_frequency_once_and_no_more_than_fits(frequencies, draws, threads):
    """One after the other, sizes alike but for one frequency."""
    blocks = montecarlo._blocks(frequencies, draws, threads)
    assert [at for block in blocks for at in range(block.start, block.stop)] == list(range(frequencies))
    sizes = [block.stop - block.start for block in blocks]
    assert max(sizes) - min(sizes) <= 1
    assert max(sizes) * draws * 4 <= montecarlo.BLOCK_BYTES
