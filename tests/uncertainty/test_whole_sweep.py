"""A sweep as one question: how often an antenna inside the limit fails, for few points and many, and what still fails."""

import numpy as np
import pytest

from chain.rf.elements import Box
from chain.uncertainty.intervals import Kept, Observation, intervals
from chain.uncertainty.measurement import Measurement, nominal_maps, simulate
from chain.uncertainty.streams import BATCH
from chain.uncertainty.whole_sweep import _courses, judged_sweep

LIMIT = 1 / 3
TRIALS = 300


def behind_a_pad(points, noise):
    freq = np.linspace(174e6, 230e6, points)
    s = np.zeros((points, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = 0.52
    one = np.ones(points)
    return Measurement(freq, 50.0, 75.0, (), (Box("pad", 50.0, 75.0, s, 0.05 * one, 0.05 * one),), noise=noise)


def sweeps(measurement, far, seed):
    """Readings of fresh measurements of one antenna, shape (trials, frequencies)."""
    assert TRIALS <= BATCH
    return simulate(measurement, 0, seed).reading(far)[:TRIALS]


@pytest.mark.parametrize("points", [2, 13, 133])
@pytest.mark.parametrize("noise", [0.001, 0.01])
def test_an_antenna_just_within_the_limit_fails_as_rarely_as_stated(points, noise):
    """Fixed phase; fresh sweeps against one edge. 2.5 % and four standard deviations of 300: 6.1 %."""
    measurement = behind_a_pad(points, noise)
    far = LIMIT * np.exp(2j * np.pi * 0.3)
    seen = np.abs(sweeps(measurement, far, 77))
    edge = judged_sweep(measurement, Observation(seen[0]), LIMIT, seed=5).edge
    assert np.mean((seen > edge).any(axis=1)) <= 0.061


def test_one_point_by_point_would_fail_far_more_often():
    """The test can tell: with each point held against its own 97.5 % quantile a quarter of good antennas fail."""
    measurement = behind_a_pad(133, 0.01)
    seen = np.abs(sweeps(measurement, LIMIT * np.exp(2j * np.pi * 0.3), 77))
    assert np.mean((seen > np.quantile(seen, 0.975, axis=0)).any(axis=1)) > 0.15


def test_an_edge_without_errors_is_the_highest_reading_at_any_phase():
    """Behind a known mismatch, every phase of an antenna at the limit stays below the edge, not only those that are tried."""
    points = 5
    s = np.zeros((points, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = 0.7
    s[:, 0, 0], s[:, 1, 1] = 0.1 * np.exp(1j * np.arange(points)), 0.15 * np.exp(2j * np.arange(points))
    nothing = np.zeros(points)
    measurement = Measurement(
        np.linspace(1e8, 2e8, points), 50.0, 75.0, (), (Box("box", 50.0, 75.0, s, nothing, nothing),)
    )
    far = LIMIT * np.exp(2j * np.pi * np.linspace(0, 1, 20_001))
    highest = np.abs(nominal_maps(measurement).reading(far[:, None])).max(axis=0)
    edge = judged_sweep(measurement, Observation(highest), LIMIT, draws=1000).edge
    assert np.all(edge >= highest)
    assert np.all(edge <= highest + 1e-5)


def test_a_bad_antenna_fails():
    measurement = behind_a_pad(133, 0.001)
    seen = np.abs(sweeps(measurement, 0.8 * np.exp(2j * np.pi * 0.3), 78))
    found = [judged_sweep(measurement, Observation(each), LIMIT, draws=1000, seed=5) for each in seen[:3]]
    assert all((each > made.edge).any() for each, made in zip(seen[:3], found, strict=True))
    assert max(made.chance for made in found) < 0.025


def test_groups_are_judged_by_themselves():
    """The chance of a group of points is that of a sweep of those points alone, but for the draws' noise."""
    measurement = behind_a_pad(40, 0.005)
    seen = Observation(np.linspace(0.05, 0.13, 40))
    groups = (slice(0, 10), slice(30, 40))
    whole = judged_sweep(measurement, seen, LIMIT, groups, seed=5)
    for span, chance in zip(groups, whole.group_chance, strict=True):
        alone = judged_sweep(measurement.at(span), seen.at(span), LIMIT, seed=6)
        assert alone.chance == pytest.approx(chance, abs=0.03)
    assert whole.group_chance[0] > whole.group_chance[1]


def test_blocks_change_nothing(monkeypatch):
    from chain.uncertainty import intervals

    measurement = behind_a_pad(11, 0.005)
    seen, groups = Observation(np.full(11, 0.1)), (slice(2, 7),)
    found = []
    for block in (1, 3000, 10**9):
        monkeypatch.setattr(intervals, "BLOCK", block)
        found.append(judged_sweep(measurement, seen, LIMIT, groups, 2000, 3))
    for other in found[1:]:
        assert np.array_equal(other.edge, found[0].edge)
        assert (other.chance, other.group_chance) == (found[0].chance, found[0].group_chance)


def test_terms_kept_from_the_intervals_give_the_same_test_of_the_sweep():
    measurement, kept = behind_a_pad(13, 0.001), Kept()
    count = measurement.freq_hz.size
    seen = Observation(np.full(count, 0.3), np.zeros(count))
    intervals(measurement, seen, draws=2000, kept=kept)
    again, fresh = (judged_sweep(measurement, seen, 0.25, draws=2000, kept=each) for each in (kept, None))
    assert np.array_equal(again.edge, fresh.edge)
    assert again.chance == fresh.chance
    assert kept.take(slice(0, count), 2000) is None


def test_of_phases_lost_in_the_errors_the_whole_turn_counts():
    """Behind reflections twice as large as the limit the recovered phases are the errors' own: quarter turns are tried as well."""
    measurement = behind_a_pad(5, 0.001)
    good = Observation(np.full(5, LIMIT), np.linspace(0, 1, 5))
    assert len(_courses(measurement, good, LIMIT, 5)) == 3
    poor = behind_a_pad(5, 0.3)
    courses = _courses(poor, good, LIMIT, 5)
    assert len(courses) == 7
    assert np.ptp(courses[3:], axis=1).max() == 0
    assert (judged_sweep(poor, good, LIMIT, seed=5).edge >= judged_sweep(measurement, good, LIMIT, seed=5).edge).all()
