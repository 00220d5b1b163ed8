"""`chain expect`: the reading that proves a limit by the bound, frequency by frequency."""

import re
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from further import wide

from chain import recover
from chain.analyses.expect import bound_aim, expect
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.files.setup_file import load_setup
from chain.reflection import vswr
from chain.setup_report.expect import verdict_lines
from chain.setup_report.numbers import between
from chain.setup_report.recover import opening
from chain.sweeps.readings import typed_readings
from chain.uncertainty.bounds import reading_bound
from chain.uncertainty.measurement import measurement_of

pytestmark = pytest.mark.usefixtures("answered_once")

FREQ_HZ = np.linspace(174e6, 240e6, 12)


def test_the_aim_by_the_bound_is_that_of_each_frequency_alone():
    """Every frequency has its own, the least that any end from the limit to a full reflection may show there."""
    setup = load_setup("demo/plane-after-pad.toml")
    measurement, limit = measurement_of(setup, build(setup, FREQ_HZ)), 1 / 3
    aims = bound_aim(measurement, limit)
    assert aims.shape == FREQ_HZ.shape
    assert np.ptp(aims) > 1e-3
    for place, aim in enumerate(aims):
        assert bound_aim(measurement.at(slice(place, place + 1)), limit) == pytest.approx([aim])
    worse = np.random.default_rng(1).uniform(limit, 1, (FREQ_HZ.size, 500))
    assert np.all(reading_bound(measurement, worse)[0].min(axis=-1) >= aims - 1e-9)
    # No end better than the limit is held against the reading.
    assert np.all(
        reading_bound(measurement, np.full((FREQ_HZ.size, 1), limit))[0][:, 0] == pytest.approx(aims, abs=1e-2)
    )


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", ["boathouse", "downlead", *wide("splitter")])
@pytest.mark.parametrize("units", [[], ["--units", "rl"]])
def test_what_nothing_connected_shows_is_one_figure(name, units):
    """The second line says what the last row of the table does, to the digit."""
    text = CliRunner().invoke(chain, ["expect", f"demo/{name}.toml", *units]).stdout
    second, last = text.splitlines()[1], next(line for line in text.splitlines() if line.startswith("open, short"))
    about, likely, surely = re.findall(r"\d+(?:\.\d+)?", second)
    words = last.split()
    assert words[2] == about
    # The range of most sound chains and the bound of all: either is what the table has, at its worse end.
    assert (words[3] if units else words[5]) == likely
    assert (words[-3] if units else words[-1]) == surely


def test_where_no_reading_proves_the_limit_the_step_that_helps_is_named():
    """With what it gains, by the computation that 'recover' uses; the change applied narrows the interval to that."""
    setup = load_setup("demo/boathouse.toml")
    near = replace(setup.near, shows="vswr", calibrates_at=("near",))
    hard = replace(setup, near=near, far=replace(setup.far, limit_vswr=1.2, limit_in_db=False))
    hard = replace(hard, sweep=replace(hard.sweep, points=34))
    found = expect(hard, draws=2000)
    assert (found.aim_reading.vswr, found.aim_bound.vswr, found.could_move_plane) == (None, None, False)
    lines = verdict_lines(found)
    assert lines[0].startswith("No reading can prove")
    helps = found.improvement
    assert helps.high - helps.low < helps.now_high - helps.now_low
    assert lines[2].startswith("Next: a ")
    assert between(helps.low, helps.high) in lines[2]
    assert all(len(line) <= 80 for line in lines)
    assert expect(setup).improvement is None


def test_tuning_is_proposed_only_where_it_can_tell_a_direction():
    setup = load_setup("demo/boathouse.toml")
    freq_hz = np.linspace(180e6, 230e6, 21)
    bad = np.full(21, 0.2)
    for given, sends in ((("VSWR 1.50 at 210 MHz"), False), ((freq_hz, bad), False), ((freq_hz, bad + 0j), True)):
        found = recover(setup, given, draws=400)
        assert found.verdict == "fail"
        step = opening(found)[2]
        assert ("chain tune" in step) == sends or "is the antenna on" in step
        assert len(step) <= 80
        assert sends or "cannot say which way" in step


def test_what_recover_proves_expect_does_not_deny():
    """A limit that only a nearly perfect reading proves: few trials scatter about it, and both answers are one."""
    setup = load_setup("demo/boathouse.toml")
    setup = replace(setup, far=replace(setup.far, limit_vswr=float(vswr(10**-0.5)), limit_in_db=True))
    setup = replace(setup, sweep=replace(setup.sweep, points=67))
    aim = expect(setup).aim_reading.vswr
    assert aim is not None
    for text in ("RL 60 dB at 174 MHz", "RL 60 dB at 230 MHz"):
        assert recover(setup, typed_readings(text)).verdict == "pass"
    # A limit that nothing proves is denied by both.
    strict = replace(setup, far=replace(setup.far, limit_vswr=1.5), sweep=replace(setup.sweep, points=12))
    assert expect(strict).aim_reading.vswr is None
    assert recover(strict, typed_readings("RL 60 dB at 174 MHz")).verdict == "not proven"
