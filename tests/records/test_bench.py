"""Sweeps answered from draws at hand: the digits of a screen widen them, and nothing is proven from a gated one."""

from dataclasses import replace

import numpy as np
import pytest
from answered_once import kept
from further import wide

from chain.analyses.recover import recover
from chain.assembly.cascade import read_sweep_for
from chain.comparisons.antennas import compare_antennas
from chain.files.setup_file import load_setup
from chain.records.bench import bench_of
from chain.reflection import magnitude_from_vswr
from chain.sweeps.readings import Readings

SETUP = "demo/plane-after-pad.toml"
SETUP_READ = load_setup(SETUP)
compared = kept(compare_antennas)
FREQ_HZ = np.linspace(174e6, 230e6, 15)


def sweep(size, rounding=None):
    return Readings(FREQ_HZ, np.full(15, size), None, "", rounding=rounding)


@pytest.fixture(scope="module")
def bench():
    return bench_of(load_setup(SETUP), sweep(0.1))


@pytest.mark.parametrize(("size", "word"), [(0.03, "pass"), (0.7, "fail")])
def test_nothing_is_proven_from_a_gated_sweep(bench, size, word):
    plain = bench.answer(sweep(size))
    gated = bench.answer(replace(sweep(size), processed="time-gated"))
    assert {each.verdict for each in plain.channels} == {word}
    assert {each.verdict for each in gated.channels} == {"not proven"}
    assert gated.verdict == "not proven"


def test_the_digits_of_a_screen_count(bench):
    """A screen that moves in steps of 0.12 widens every channel, and fails an antenna no sooner."""
    step = np.full(15, 0.06)
    plain, rough = (bench.answer(sweep(0.15, each)) for each in (None, step))
    wider = [
        (magnitude_from_vswr(other.high) - magnitude_from_vswr(other.low))
        - (magnitude_from_vswr(one.high) - magnitude_from_vswr(one.low))
        for one, other in zip(plain.channels, rough.channels, strict=True)
    ]
    # In quadrature with errors of 0.035 a rectangle of 0.06 adds two fifths to a width of 0.14.
    assert min(wider) > 0.02
    fails = [[bench.answer(sweep(size, each)).verdict == "fail" for size in (0.45, 0.9)] for each in (None, step)]
    assert sum(fails[1]) <= sum(fails[0])
    assert fails[0][-1]


@pytest.mark.parametrize(("points", "phase"), [(135, False), *wide((405, True))])
def test_a_narrow_fault_between_the_drawn_frequencies_is_no_pass(points, phase):
    """One bad point of many, at each of three neighbours of which one alone is drawn: the channel is as bad as its worst point."""
    setup = load_setup(SETUP)
    freq = np.linspace(174e6, 230e6, points)
    middle = next(at for at in range(points // 2 + 9, points) if at % 3 == 0)
    bench = None
    for place in range(middle, middle + 3):
        size = np.full(points, 0.05)
        size[place] = 0.6
        reading = Readings(freq, size, size.astype(complex) if phase else None, "")
        bench = bench or bench_of(setup, reading)
        channels = bench.answer(reading).channels
        found = next(each for each in channels if each.band.low_hz < freq[place] < each.band.high_hz)
        assert bench.step > 1
        assert found.verdict != "pass"
        assert found.vswr == pytest.approx(channels[0].vswr * 3.6, rel=0.05)
        # The other channels are as good as ever.
        assert [each.verdict for each in channels].count("pass") == len(channels) - 1
    # Of the point alone, for each has its interval by itself.
    true = recover(setup, reading.at(slice(place, place + 1)), draws=1000)
    assert found.vswr == pytest.approx(true.true_vswr[0], rel=0.02)
    assert found.high == pytest.approx(true.high[0], rel=0.15)


def test_marks_are_kept_in_the_record(tmp_path):
    from chain.records.adding import log_measurement
    from chain.records.folder import Folder

    text = "\n".join(f"{freq / 1e6:.3f} {0.03:.6f} 0.000000" for freq in FREQ_HZ)
    path = tmp_path / "gated.s1p"
    path.write_text(f"! processed: time-gated\n# MHz S RI R 75\n{text}\n", "utf-8")
    assert read_sweep_for(load_setup(SETUP), str(path)).processed == "time-gated"
    log_measurement(str(tmp_path / "log"), SETUP, str(path))
    (record,), damaged = Folder(tmp_path / "log").records(answers_only=False)
    assert not damaged
    assert record.sweeps[0].processed == "time-gated"
    assert record.verdict == "not proven"
    assert {each.verdict for each in record.channels} == {"not proven"}


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("which", [0, 1])
def test_no_difference_is_reported_from_a_gated_sweep(which):
    """Two sweeps that differ as day from night: reported as measured, not reported where either was gated."""
    both = [sweep(0.6), sweep(0.05)]
    assert compared(SETUP_READ, *both).verdict == "better"
    assert compared(SETUP_READ, *both, exchanged=False).verdict == "better"
    both[which] = replace(both[which], processed="time-gated")
    found = compared(SETUP_READ, *both)
    assert (found.verdict, found.processed) == ("can't tell", "time-gated")
