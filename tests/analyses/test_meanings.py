"""What single steps of the analyses mean: which cures are offered, which accuracy is reported, what averaging leaves."""

from dataclasses import replace

import numpy as np
import pytest

from chain.analyses import bench_card as bench_card_module
from chain.analyses import planes as planes_module
from chain.analyses import recover as recover_module
from chain.analyses.improvements import GOOD_LOAD_DB, improvements
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.files.setup_file import load_setup
from chain.rf.twoport import Maps
from chain.setups import Sweep
from chain.uncertainty.intervals import Accuracy, Observation
from chain.uncertainty.measurement import measurement_of

NEAR, FAR = load_setup("demo/boathouse.toml"), load_setup("demo/plane-after-pad.toml")


@pytest.mark.parametrize(
    ("setup", "load_db", "offered"),
    [(FAR, 26.0, True), (FAR, GOOD_LOAD_DB, False), (FAR, None, False), (NEAR, 26.0, False)],
)
def test_a_better_load_is_offered_where_the_load_is_what_the_calibration_rests_on(setup, load_db, offered):
    """At the analyzer's own port its residuals are stated, and the load behind them changes nothing."""
    setup = replace(setup, calibration=replace(setup.calibration, load_db=load_db))
    found = [changed for kind, _, changed in improvements(setup) if kind == "load"]
    assert bool(found) == offered
    assert all(each.calibration.load_db == GOOD_LOAD_DB for each in found)


def test_planes_report_the_accuracy_of_the_plane_that_is_known_least_well(monkeypatch):
    """One that did not settle before any that did, and of these the one whose ends move furthest."""
    errors = iter([(0.01, True), (0.002, False), (0.03, True), *[(0.001, True)] * 20])

    def ends(measurement, has_phase, of, how):
        error, settled = next(errors)
        return [(0.0, 1.0), (0.0, 1.0)], Accuracy(1000, 1, 0.005, error, settled), 1000

    monkeypatch.setattr(planes_module, "_ends", ends)
    monkeypatch.setattr(planes_module, "in_order", lambda work, items, **_: map(work, items))
    assert compare(NEAR).accuracy.end_error == 0.002
    errors = iter([(0.01, True), (0.03, True), *[(0.001, True)] * 20])
    assert compare(NEAR).accuracy.end_error == 0.03


def test_what_averaging_may_be_off_by_counts_in_the_reading_by_the_map_s_own_slope():
    """A smooth sweep behind a chain that reflects: the share for its bend, referred to the reading numerically."""
    freq = np.linspace(174e6, 240e6, 67)
    measurement = replace(measurement_of(FAR, build(FAR, freq)), noise=0.02)
    far = 0.5 + 0.002 * np.exp(2j * np.pi * np.linspace(0, 1, freq.size))
    known = Maps(*(np.full((1, freq.size), each, dtype=complex) for each in (0.8, 0.1, 0.6)))
    rounding = np.full(freq.size, 1e-4)
    _, seen, said = recover_module._averaged(
        measurement, known, far, Observation(np.abs(far), np.angle(far), rounding), 10.0
    )
    assert said == ()
    made = recover_module.averaged(freq, far, recover_module._noise_at_antenna(measurement, far), 10.0)
    slope = np.abs(known.reading(far + 1e-6) - known.reading(far - 1e-6))[0] / 2e-6
    assert made.error > 0
    assert seen.rounding == pytest.approx(rounding + made.error * slope, rel=1e-4)


def test_averaging_is_the_cure_at_a_far_plane_alone():
    """There the noise of many points lifts the worst one, and of the standards too; at the analyzer the usual search answers."""
    freq = np.linspace(174e6, 240e6, 67)
    for setup, offered in ((FAR, True), (NEAR, False)):
        setup = replace(setup, near=replace(setup.near, trace_noise_db=0.3))
        measurement = measurement_of(setup, build(setup, freq))
        far = np.full(freq.size, 0.2 + 0j)
        far[30] = 0.3
        size = np.abs(far)
        every = np.ones(freq.size, dtype=bool)
        sizes = recover_module._Sizes(size, far, size - 0.1, size + 0.1, every, 30, 1 / 3)
        cure = recover_module._settled_by_averaging(setup, measurement, sizes, 1)
        assert (cure is not None and "sweeps" in cure.what) == offered


def test_the_card_shows_the_first_the_middle_and_the_last_frequency():
    for count, shown in ((5, [100e6, 102e6, 104e6]), (2, [100e6, 104e6]), (1, [100e6])):
        setup = replace(NEAR, sweep=Sweep(100e6, 104e6, count))
        assert [each for each, _ in bench_card_module._three(setup)] == shown
    channels = (("5", 174e6, 181e6), ("6", 181e6, 188e6), ("7", 188e6, 195e6), ("8", 195e6, 202e6), ("9", 202e6, 209e6))
    for count, shown in ((5, ["5", "7", "9"]), (2, ["5", "6"]), (1, ["5"])):
        setup = replace(NEAR, sweep=replace(NEAR.sweep, channels=channels[:count][::-1]))
        assert [name.split(",")[0] for _, name in bench_card_module._three(setup)] == [f"ch {each}" for each in shown]
