"""What another seed may move is reported as it is, and so is what is plainly bad or good: a method that never decides meets nothing."""

from dataclasses import replace

import numpy as np
import pytest
from coverage_world import Adapter, Case, Lead, Pad, Screen, World
from random_benches import Bench, bench, measured, setup_of

import chain
from chain.assembly.cascade import build
from chain.sweeps.readings import Readings
from chain.uncertainty.intervals import Observation, drawn_terms, recovered_observation
from chain.uncertainty.measurement import measurement_of, nominal_maps
from chain.uncertainty.one_sided_tests import AROUND, invert


def moved_and_reported(one, draws, seeds):
    """For both ends of a random reading of a bench: by how much each pair of seeds differs, and what the first of them tells."""
    setup = setup_of(one)
    measurement = measurement_of(setup, build(setup))
    _, readings = measured(one, 1, 3)
    seen = Observation(readings.magnitude)
    if readings.reflection is not None:
        seen = recovered_observation(nominal_maps(measurement), readings.reflection)
    rows = []
    for seed in range(seeds):
        found = invert(drawn_terms(measurement, slice(0, 1), draws, 1000 + seed, seen), seen.size, seen.phase_rad)
        rows.append([found.low[0], found.high[0], found.low_error[0], found.high_error[0]])
    apart = ~np.eye(seeds, dtype=bool)
    for ends, reported in ((0, 2), (1, 3)):
        values = np.array(rows)[:, ends]
        # An end at no reflection or at a full one does not move.
        if values.std() > 1e-6:
            moved = np.abs(values[:, None] - values[None, :])[apart]
            yield moved, np.broadcast_to(np.array(rows)[:, reported, None], apart.shape)[apart]


def check_seeds(numbers, draws, seeds):
    """Share of pairs in which what is stated is kept, and for each end what is stated over what 95 % of its pairs move."""
    found = [each for number in numbers for each in moved_and_reported(bench(number), draws, seeds)]
    kept = np.mean(np.concatenate([moved <= reported for moved, reported in found]))
    ratios = np.array([np.mean(reported) / np.quantile(moved, 0.95) for moved, reported in found])
    print(
        f"{len(found)} ends: kept {kept:.3f}, over the 95 % quantile median {np.median(ratios):.2f}, "
        f"nine in ten below {np.quantile(ratios, 0.9):.2f}, most {ratios.max():.2f}"
    )
    return kept, ratios


@pytest.mark.statistical
def test_another_seed_moves_the_ends_by_no_more_than_reported():
    """Twenty readings, 24 seeds each: kept in 95 % of all pairs, and mostly reported little more than what 95 % move.

    Of 24 seeds that quantile is itself known to 15 % only: what a single end is reported is held against it with more of them.
    """
    kept, ratios = check_seeds(range(880, 900), 8000, 24)
    assert kept >= 0.95
    assert np.median(ratios) <= 1.3


@pytest.mark.slow
def test_no_end_is_reported_to_move_far_more_than_it_does():
    """Other twenty readings, 120 seeds each, which know the quantile to 7 %: each end by itself (seen: kept in 0.964, most 1.24)."""
    kept, ratios = check_seeds(range(900, 920), 8000, 120)
    assert kept >= 0.95
    assert ratios.max() <= 1.5


FREQ_HZ = tuple(np.linspace(174e6, 230e6, 133))
ADAPTER, PAD = Adapter(50, 0.05, 26), Pad(50, 75, 5.7195, 0.2, 26, 26)
LEAD = Lead(75, 0.6, 20, ohm_tolerance=1.5, loss_tolerance=0.12)
ACT = {"noise_db": 0.02, "repeatability_db": 50.0, "drift_db": 50.0, "flex_deg": 0.5}


def turning(parts, size, count, seed):
    """Sweeps of 133 complex points of an antenna of one size that turns by up to 10 ns, load 26 dB: set-up, readings, phases."""
    case = Case("power", FREQ_HZ, parts, len(parts), {}, ACT, {"load_db": 26.0})
    setup = setup_of(Bench("power", "far", replace(case, freq_hz=FREQ_HZ[:1]), True, "fixed", 1))
    setup = replace(setup, sweep=replace(setup.sweep, start_hz=FREQ_HZ[0], stop_hz=FREQ_HZ[-1], points=133))
    rng = np.random.default_rng(seed)
    screen = Screen(World(case, count, rng), len(parts))
    phase = 2 * np.pi * (rng.random((count, 1)) - np.array(FREQ_HZ) * rng.random((count, 1)) * 10e-9)
    return setup, screen.reading(size * np.exp(1j * phase)), phase


def verdicts(parts, size, count, seed):
    """Verdicts over such sweeps, limit 1/3."""
    setup, readings, _ = turning(parts, size, count, seed)
    for row in readings:
        yield chain.recover(setup, Readings(np.array(FREQ_HZ), np.abs(row), row, "drawn")).verdict


def passing(parts, size, count, seed, draws=4000, turns=48):
    """Shares of such sweeps that pass: as the method tests, and as one that knew the antenna's phase at every point could.

    An antenna that is at the limit at one frequency alone, and anything elsewhere, is known by that point alone: a test that
    passes it in 2.5 % at most needs every point below its own 2.5 % quantile at the limit, whatever the others read.
    """
    setup, readings, phase = turning(parts, size, count, seed)
    freq_hz = np.array(FREQ_HZ)
    measurement = measurement_of(setup, build(setup, freq_hz))
    far = nominal_maps(measurement).recovered(readings)
    least = np.empty((turns, freq_hz.size))
    seen = Observation(np.full(1, 1 / 3), np.zeros(1))
    for start in range(0, freq_hz.size, 7):
        terms = drawn_terms(measurement, slice(start, start + 1), draws, 1, seen)
        shown = [terms.shown(1 / 3, np.array([turn])) for turn in 2 * np.pi * np.arange(turns) / turns]
        least[:, start : start + 7] = np.quantile(np.concatenate(shown), 0.025, axis=1)[:, None]

    def edge(angle):
        return least[np.round(angle / (2 * np.pi) * turns).astype(int) % turns, np.arange(freq_hz.size)]

    around = np.min([edge(np.angle(far) + turn) for turn in AROUND], axis=0)
    return [float(np.mean((np.abs(far) <= each).all(axis=1))) for each in (around, edge(phase))]


@pytest.mark.statistical
def test_a_bad_antenna_fails_and_a_good_one_passes():
    """One sweep each, plane at the antenna: |G| 0.5 against a limit of 1/3 fails, 0.15 passes."""
    assert list(verdicts((ADAPTER, LEAD), 0.5, 1, 7)) == ["fail"]
    assert list(verdicts((ADAPTER, LEAD), 0.15, 1, 7)) == ["pass"]


@pytest.mark.statistical
def test_behind_a_pad_as_many_pass_as_its_noise_lets_any_test_pass():
    """Of 400 sweeps of |G| 0.22 seven in ten (all of them without a pad), within 4 % of what knowing the phase would give; of 0.20 nine."""
    found = {size: passing((ADAPTER, PAD, LEAD), size, 400, 11) for size in (0.22, 0.20)}
    without = passing((ADAPTER, LEAD), 0.22, 400, 11)
    print(found, without)
    assert all(known - 0.04 <= own <= known for own, known in (*found.values(), without))
    assert found[0.22][1] <= 0.75
    assert found[0.20][0] >= 0.90
    assert without[0] >= 0.98


@pytest.mark.slow
def test_power_against_a_limit():
    """|G| 0.45 fails and 0.22 passes in 90 % of 60 sweeps; behind a pad, whose noise is five times as much, in half."""
    found = {}
    for name, parts in (("no pad", (ADAPTER, LEAD)), ("pad", (ADAPTER, PAD, LEAD))):
        for size, word in ((0.45, "fail"), (0.22, "pass")):
            found[name, word] = np.mean([each == word for each in verdicts(parts, size, 60, 11)])
    print(found)
    assert found["no pad", "fail"] >= 0.9
    assert found["no pad", "pass"] >= 0.9
    assert found["pad", "fail"] >= 0.9
    assert found["pad", "pass"] >= 0.5


def behind_a_pad(noise_db, load_db, size, seed, antenna_q=None):
    """Answer to a sweep of 133 points of an antenna behind a pad, the plane at the antenna: noise is five times as much there."""
    parts = (ADAPTER, PAD, LEAD)
    case = Case("power", FREQ_HZ, parts, len(parts), {}, {**ACT, "noise_db": noise_db}, {"load_db": load_db})
    setup = setup_of(Bench("power", "far", replace(case, freq_hz=FREQ_HZ[:1]), True, "fixed", 1))
    setup = replace(setup, sweep=replace(setup.sweep, start_hz=FREQ_HZ[0], stop_hz=FREQ_HZ[-1], points=133))
    setup = replace(setup, far=replace(setup.far, antenna_q=antenna_q))
    rng = np.random.default_rng(seed)
    screen = Screen(World(case, 1, rng), len(parts))
    row = screen.reading(size * np.exp(2j * np.pi * (rng.random((1, 1)) - np.array(FREQ_HZ) * 2e-9)))[0]
    return chain.recover(setup, Readings(np.array(FREQ_HZ), np.abs(row), row, "drawn"), draws=2000)


@pytest.mark.statistical
def test_a_pass_that_noise_alone_costs_names_the_average_as_its_cure():
    """A good antenna of VSWR 1.56 behind a pad and a noisy analyzer: four sweeps, or a stated narrowest resonance, and it passes."""
    found = behind_a_pad(0.05, 36.0, 0.22, 1)
    assert found.verdict == "not proven"
    assert found.improvement.what == "average 4 sweeps of the antenna and of each standard"
    assert found.improvement.high <= 2.0 < found.improvement.now_high
    smooth = behind_a_pad(0.05, 36.0, 0.22, 1, antenna_q=10.0)
    assert not any("nothing is averaged" in each for each in smooth.warnings)
    assert smooth.high.max() < found.high.max()
