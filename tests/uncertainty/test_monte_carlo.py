"""Draws as many as the digits wanted need: when it stops, what it says, and that what it says holds."""

import json

import numpy as np
import pytest
import strategies as made
from click.testing import CliRunner
from screens import says

from chain.analyses.expect import expect
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.files.setup_file import load_setup
from chain.report.phrases import upward
from chain.uncertainty import monte_carlo as adaptive
from chain.uncertainty.intervals import table
from chain.uncertainty.measurement import Measurement, measurement_of
from chain.uncertainty.monte_carlo import draws_needed, tolerance

BOATHOUSE = "demo/boathouse.toml"
NOISY = Measurement(np.array([1e8]), 75.0, 75.0, (), (), noise=0.02)


def seen(value):
    """The ends of the interval of one observed statistic."""
    return lambda belt, places: belt.interval(np.full(belt.edge.size, value))


def run(*words):
    return CliRunner().invoke(chain, list(words))


@pytest.mark.parametrize(
    ("low", "high", "digits", "half_unit"),
    [(0.2, 0.6, 1, 0.05), (0.2, 0.6, 2, 0.005), (0.2, 0.5, 1, 0.005), (0.30, 0.316, 1, 0.0005), (0.5, 0.5, 2, 5e-8)],
)
def test_tolerance_is_half_a_unit_of_the_last_digit_of_the_uncertainty(low, high, digits, half_unit):
    """JCGM 101:2008, 7.9.2 (memory): u = c 10^l, tolerance 10^l / 2; u is a quarter of the interval's width."""
    assert tolerance(low, high, digits) == pytest.approx(half_unit)


def test_a_second_digit_takes_more_draws_and_moves_the_ends_less():
    one, two = (draws_needed(NOISY, seen(0.5), digits=digits) for digits in (1, 2))
    assert two.draws > one.draws
    assert two.end_tolerance == pytest.approx(one.end_tolerance / 10)
    for found in (one, two):
        assert found.settled
        assert 0 < found.end_error <= found.end_tolerance


def test_what_is_said_of_the_ends_holds_for_other_seeds():
    """Twenty tables of the number of draws settled on: their ends keep the tolerance about a table of 256,000 draws."""
    found = draws_needed(NOISY, seen(0.5))
    exact = np.array(table(NOISY, draws=256_000, seed=999).points.interval(np.array([0.5])))
    ends = [table(NOISY, draws=found.draws, seed=seed).points.interval(np.array([0.5])) for seed in range(20)]
    off = np.abs(np.array(ends) - exact)[..., 0]
    assert np.mean(off <= found.end_tolerance) >= 0.9
    # Four batches tell a standard deviation to within a factor of about two.
    assert 0.4 < np.sqrt((off**2).mean(axis=0)).max() / (found.end_error / 2) < 2.5


def test_the_most_draws_are_told(monkeypatch):
    """Where the runs do not agree in time, the result says how far apart they are."""
    monkeypatch.setattr(adaptive, "MOST_DRAWS", {1: 4000, 2: 8000})
    found = draws_needed(NOISY, seen(0.5), digits=2)
    assert (found.draws, found.settled) == (8000, False)
    assert found.end_error > found.end_tolerance


def test_a_long_sweep_does_not_take_for_ever(monkeypatch):
    """With two digits the draws are limited by the number of frequencies, never below those of one digit."""
    assert [adaptive._affordable(points) for points in (1, 133, 1601)] == [1_024_000, 150_375, 64_000]


def test_no_interval_asks_for_no_more_draws():
    """A statistic that no magnitude gives has no ends to settle."""
    found = draws_needed(NOISY, seen(3.0))
    assert (found.draws, found.settled, found.end_tolerance) == (4000, True, 0.0)


def test_waiting_is_announced():
    """Progress is called before each round."""
    shares = []
    draws_needed(NOISY, seen(0.5), digits=2, progress=shares.append)
    assert len(shares) > 1
    assert set(shares) == {0.0}


@pytest.mark.parametrize("command", ["expect", "recover", "planes"])
def test_the_commands_take_the_digits_and_say_what_came_of_them(command):
    assert "--digits [1|2]" in run(command, "--help").output
    words = [command, BOATHOUSE, *(["--reading", "VSWR 1.10 at 210 MHz"] if command == "recover" else [])]
    refused = run(*words, "--digits", "3")
    assert refused.exit_code == 2
    # Two digits of one reading are quick enough for a test.
    digits = "2" if command == "recover" else "1"
    done = json.loads(run(*words, "--digits", digits, "--json", "--quiet").stdout)
    assert done["accuracy"]["draws"] <= done["draws"]
    assert done["accuracy"]["digits"] == int(digits)
    assert done["accuracy"]["end_tolerance"] > 0
    text = " ".join(run(*words, "--quiet").stdout.split())
    assert says(text, "20260", "1 digit")


def test_stated_draws_are_not_settled():
    """A number of draws that was given is used as it is."""
    setup = load_setup(BOATHOUSE)
    assert (expect(setup, [1.5], draws=2000).accuracy, compare(setup, draws=8000).accuracy) == (None, None)
    assert compare(setup, draws=8000).draws == 8000


def test_readings_accepted_for_a_true_magnitude_move_little_between_runs():
    """Ends between two bins: at 64,000 draws two runs agree to a fifth of a bin, at every frequency."""
    setup = made.setup_of([made.item(made.pad(tolerance_db=0.2, near_db=26, far_db=26), "pad")])
    measurement = measurement_of(setup, build(setup))
    first, second = (table(measurement, draws=64_000, seed=seed).points for seed in (1, 2))
    bin_width = first.edge[0] / 160
    for one, other in zip(first.accepted(1 / 3), second.accepted(1 / 3), strict=True):
        assert abs(one[0] - other[0]) < 0.2 * bin_width


def test_differences_are_rounded_up():
    """A figure said of an error is never smaller than the error."""
    assert [upward(value) for value in (0.0, 0.0040001, 0.004, 0.096)] == ["0", "0.005", "0.004", "0.1"]


def test_ends_rise_with_the_reading_also_where_few_readings_fall():
    """Near zero a wider kernel counts the draws: where it is left no step may show in the intervals."""
    setup = load_setup(BOATHOUSE)
    measurement = measurement_of(setup, build(setup, np.array([210e6])))
    points = table(measurement, False, draws=64_000, seed=3).points
    high = np.array([points.interval(np.array([each]))[1][0] for each in np.linspace(0, 0.1, 51)])
    # Noise of the draws, a thousandth, may make it fall; a step of 0.03 did.
    assert np.diff(high).min() > -0.002
