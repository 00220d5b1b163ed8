"""Standards and the solving of a one-port calibration, against scikit-rf and against circuit theory."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import strategies as made
from hypothesis import given
from hypothesis import strategies as st

from chain.rf.twoport import Maps, compose, inverse, through
from chain.setups import Calibration
from chain.uncertainty.calibration import Standards, assumed_reflections, drawn_reflections, solve

FREQ = np.array([60e6, 200e6, 470e6, 862e6])
FULL = Standards(75.0, 0.05, 2e-9, 1e-13, 2e-9)


def network(skrf, values):
    """One-port whose points are taken for frequencies. Labelled 50 ohm whatever they are in: only ratios count."""
    grid = skrf.Frequency.from_f(np.arange(1, values.size + 1) * 1e6, unit="hz")
    return skrf.Network(frequency=grid, s=values.reshape(-1, 1, 1), z0=50)


@given(seed=made.seeds, ideal=st.booleans())
def test_scikit_rf_solves_the_same(seed, ideal):
    """Random error boxes and random standards: error terms and corrected readings of an independent solver."""
    skrf = pytest.importorskip("skrf")
    rng = np.random.default_rng(seed)
    count = 12
    box = through([made.random_two_port(rng, count)[None] + 0.3 * np.eye(2)[::-1]], (1, count))
    true = [np.full(count, end, dtype=complex) for end in (1.0, -1.0, 0.0)]
    if not ideal:
        true = [each + 0.2 * (rng.standard_normal(count) + 1j * rng.standard_normal(count)) for each in true]
    end = rng.uniform(0, 1, count) * np.exp(2j * np.pi * rng.random(count))
    raw = [box.reading(each)[0] for each in true]
    reading = box.reading(end)[0]
    theirs = skrf.calibration.OnePort(
        measured=[network(skrf, each) for each in raw], ideals=[network(skrf, each) for each in true]
    )
    theirs.run()
    ours = solve([each[None] for each in raw], true)
    corrected = theirs.apply_cal(network(skrf, reading)).s[:, 0, 0]
    assert inverse(ours).reading(reading)[0] == pytest.approx(corrected, abs=1e-8)
    assert corrected == pytest.approx(end, abs=1e-8)
    terms = {"directivity": ours.q, "source match": -ours.r, "reflection tracking": ours.p - ours.q * ours.r}
    for name, value in terms.items():
        assert value[0] == pytest.approx(theirs.coefs[name], abs=1e-8)


@given(seed=made.seeds)
def test_solving_finds_any_map(seed):
    rng = np.random.default_rng(seed)
    p, q, r = (rng.standard_normal((5, 3)) + 1j * rng.standard_normal((5, 3)) for _ in range(3))
    whole = Maps(p, q, 0.3 * r / np.abs(r))
    ends = [np.array(each) for each in (0.9, -0.8 + 0.1j, 0.1j)]
    found = solve([whole.reading(each) for each in ends], ends)
    for ours, theirs in zip((found.p, found.q, found.r), (whole.p, whole.q, whole.r), strict=True):
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9)


def test_a_calibration_with_wrong_standards_takes_them_for_what_it_assumes():
    """Whatever the box: open, short and load themselves always come out as +1, -1 and 0."""
    rng = np.random.default_rng(5)
    true = drawn_reflections(FULL, FREQ, rng, 50)
    box = through([made.random_two_port(rng, FREQ.size)[None] + 0.4 * np.eye(2)[::-1]], (50, FREQ.size))
    solved = solve([box.reading(each) for each in true], assumed_reflections(FULL, FREQ))
    error = compose(inverse(solved), box)
    for each, assumed in zip(true, (1, -1, 0), strict=True):
        np.testing.assert_allclose(error.reading(each), np.broadcast_to(assumed, (50, FREQ.size)), rtol=1e-6, atol=1e-9)
    assert np.all(abs(error.reading(np.array(0.3)) - 0.3) > 1e-4)


def test_standards_stay_inside_their_limits_and_reach_them():
    """Capacitance, inductance and mismatch recomputed from the drawn reflections by circuit theory."""
    opened, shorted, load = drawn_reflections(FULL, FREQ, np.random.default_rng(2), 20000)
    omega = 2 * np.pi * FREQ
    farad = ((1 - opened) / (1 + opened)).imag / (75 * omega)
    henry = (75 * (1 + shorted) / (1 - shorted)).imag / omega
    for value, most in ((farad, 1e-13), (henry, 2e-9)):
        assert 0 <= value.min() < 0.001 * most
        assert 0.999 * most < value.max() <= most * (1 + 1e-9)
        assert value.mean(axis=0) == pytest.approx(np.full(FREQ.size, most / 2), rel=0.02)
        assert value.std(axis=0) == pytest.approx(np.full(FREQ.size, most / np.sqrt(12)), rel=0.02)
        # One standard is one thing over the whole sweep.
        np.testing.assert_allclose(value, np.broadcast_to(value[:, :1], value.shape), rtol=1e-6, atol=1e-18)
    assert abs(opened) == pytest.approx(np.ones(opened.shape))
    assert abs(shorted) == pytest.approx(np.ones(shorted.shape))
    plain = drawn_reflections(replace(FULL, load_inductance_h=0.0), FREQ, np.random.default_rng(2), 20000)[2]
    assert 0.049 < abs(plain).max() <= 0.05 * (1 + 1e-9)
    assert plain[:, 0].real.std() == pytest.approx(0.025, rel=0.02)
    assert abs(load - plain).max() == pytest.approx(omega[-1] * 2e-9 / 150, rel=0.1)


def test_ideal_standards_are_ideal():
    for drawn, assumed in zip(
        drawn_reflections(Standards(75.0), FREQ, np.random.default_rng(1), 3),
        assumed_reflections(FULL, FREQ),
        strict=True,
    ):
        assert np.all(drawn == assumed)


def test_from_a_calibration_as_stated():
    stated = Calibration("pad", 32.0, 75.0, 1e-9, 1e-13, 2e-9)
    found = Standards.of(stated, 75.0)
    assert found == Standards(75.0, pytest.approx(10**-1.6), 1e-9, 1e-13, 2e-9)
    known = Standards.of(replace(stated, known=("open", "short")), 75.0)
    assert (known.open_capacitance_f, known.short_inductance_h) == (0.0, 0.0)
    assert known.load_radius == found.load_radius


LIMITS = [
    ("load_inductance_h", 2e-9, 0.2, 0.075),
    ("open_capacitance_f", 1e-13, 0.2, 0.002),
    ("short_inductance_h", 1e-9, 0.2, 0.003),
    ("short_inductance_h", 2e-9, 0.2, 0.008),
    ("short_inductance_h", 2e-9, 1 / 3, 0.018),
]


@pytest.mark.parametrize(("name", "size", "magnitude", "expected"), LIMITS)
def test_a_standard_at_its_limit_at_862_mhz(name, size, magnitude, expected):
    """Computed independently: 95 % error of |G|, phase of G uniform, one standard off; within 25 %."""
    omega, ends = 2 * np.pi * 862e6, magnitude * np.exp(2j * np.pi * (np.arange(3600) + 0.5) / 3600)
    x = 1j * omega * size
    true = {
        "load_inductance_h": [1.0, -1.0, x / (150 + x)],
        "open_capacitance_f": [(1 - 75 * x) / (1 + 75 * x), -1.0, 0.0],
        "short_inductance_h": [1.0, (x - 75) / (x + 75), 0.0],
    }[name]
    solved = solve([np.full((1, 1), each) for each in true], assumed_reflections(Standards(75.0), np.array([862e6])))
    error = np.abs(np.abs(inverse(solved).reading(ends)[0]) - magnitude)
    assert np.quantile(error, 0.95) == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize("alike", [(0.4, 0.4, 0.1), (0.4, 0.4, 0.4)])
@pytest.mark.parametrize("kind", [np.complex64, complex])
def test_standards_that_read_alike_leave_a_trial_that_is_defined(alike, kind):
    """A short whose leads are an open at that frequency: such a trial knows nothing of the antenna, and ends no answer."""
    raw, assumed = (
        [np.full((1, 1), each, dtype=kind) for each in every] for every in (alike, assumed_reflections(FULL, FREQ[:1]))
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = inverse(solve(raw, assumed)).reading(np.array([[0.2 + 0.1j]]))
    assert np.isfinite(found).all()
