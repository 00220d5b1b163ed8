"""Readings of few digits compared: what the digits hide is no difference, in `compare` and in `follow`."""

from dataclasses import replace

import numpy as np
import pytest

from chain.comparisons.antennas import compare_antennas
from chain.files.setup_file import load_setup
from chain.records.bench import bench_of
from chain.reflection import magnitude_from_vswr, vswr
from chain.sweeps.readings import Readings

FREQ = np.linspace(174e6, 180.9e6, 15)
WHOLE = load_setup("demo/plane-after-pad.toml")
SETUP = replace(
    WHOLE,
    near=replace(WHOLE.near, trace_noise_db=0.005, repeatability_db=70.0, drift_db=70.0),
    calibration=replace(WHOLE.calibration, flex_deg_at_1ghz=0.0),
)


def shown(size, phase, half):
    """One antenna's reading in steps: complex ones in hundredths, or VSWR to one decimal."""
    far = size * np.exp(-1j * FREQ / 20e6)
    if phase:
        coarse = 2 * half * (np.round(far.real / 2 / half) + 1j * np.round(far.imag / 2 / half))
        return Readings(FREQ, np.abs(coarse), coarse, "made up", rounding=np.full(15, half))
    seen = np.round(vswr(np.full(15, size)), 1)
    sizes = [magnitude_from_vswr(seen + step) for step in (-0.05, 0, 0.05)]
    return Readings(FREQ, sizes[1], None, "made up", rounding=(sizes[2] - sizes[0]) / 2)


@pytest.mark.parametrize("phase", [True, False])
def test_what_the_digits_hide_is_no_difference(phase):
    """Two antennas whose difference the last digit makes: reported as none; of digits that hide nothing, as one."""
    first, second = (shown(size, phase, 0.02) for size in ((0.1956, 0.2006) if phase else (0.1831, 0.1841)))
    assert not np.allclose(first.magnitude, second.magnitude)
    found = compare_antennas(SETUP, first, second, exchanged=False)
    assert {each.verdict for each in found.channels} == {"can't tell"}
    sharp = [replace(each, rounding=None) for each in (first, second)]
    reported = compare_antennas(SETUP, *sharp, exchanged=False)
    assert {each.verdict for each in reported.channels} != {"can't tell"}
    one, two = (found.channels[0], reported.channels[0])
    assert one.loss_high_db - one.loss_low_db > 1.5 * (two.loss_high_db - two.loss_low_db)


@pytest.mark.parametrize("phase", [True, False])
def test_following_counts_digits_too(phase):
    """The answer to a coarse sweep is wider, repeats less well, and its change is none."""
    first, second = (shown(size, phase, 0.02) for size in ((0.1956, 0.2006) if phase else (0.1831, 0.1841)))
    bench = bench_of(SETUP, first)
    coarse, sharp = bench.answer(first), bench.answer(replace(first, rounding=None))
    assert coarse.channels[0].high > sharp.channels[0].high
    assert coarse.channels[0].low <= sharp.channels[0].low
    assert coarse.channels[0].loss_repeat_db > sharp.channels[0].loss_repeat_db
    (change,) = bench.change(coarse, bench.answer(second))
    assert change.loss_low_db < 0 < change.loss_high_db
    # What a record has kept has lost its digits, and is taken to have had as many.
    (again,) = bench.change(sharp, bench.answer(second))
    assert again.loss_low_db < 0 < again.loss_high_db
