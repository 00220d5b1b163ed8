"""Digits of figures counted as what they leave open, and the marks of processed sweeps, from the file to the record."""

from pathlib import Path

import numpy as np
import pytest

from chain.assembly.cascade import read_sweep_for
from chain.echoes.analyse import ripple
from chain.echoes.records import csv_text, touchstone_text
from chain.errors import InputError
from chain.files.setup_file import load_setup
from chain.sweeps.marks import half_steps
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep


def written(tmp_path, text, name="sweep.csv"):
    path = tmp_path / name
    path.write_text(text)
    return str(path)


# A figure stands for all that is rounded to it: 1.30 for 1.295 to 1.305.
@pytest.mark.parametrize(
    ("texts", "half"),
    [
        (["1.30", "1.2"], [0.005, 0.005]),
        (["1", "12"], [0.5, 0.5]),
        (["1.25e-1", "1.2E+1"], [0.0005, 0.05]),
        (["-20.5"], [0.05]),
        ([], []),
    ],
)
def test_half_a_step_of_the_last_digit(texts, half):
    assert half_steps(texts) == pytest.approx(half)


def test_columns_with_a_phase_carry_their_digits(tmp_path):
    rows = "150,0.12,-0.3\n200,0.10,0.3\n"
    found = read_sweep(written(tmp_path, f"frequency_mhz,real,imaginary\n{rows}"))
    assert found.rounding == pytest.approx([0.05, 0.05])
    found = read_sweep(written(tmp_path, "frequency_mhz,db,degrees\n150,-20.0,45\n200,-6.0,10\n"))
    # 0.1 dB at -20 dB is 0.0006; half a degree turns 0.1 by 0.0009, and 0.5 by 0.0044.
    assert found.rounding == pytest.approx([0.1 * np.deg2rad(0.5), 10 ** (-6 / 20) * np.deg2rad(0.5)], rel=0.01)


@pytest.mark.parametrize(
    ("form", "rows", "half"),
    [
        ("RI", "150 0.12 -0.30\n200 0.10 0.31", [0.005, 0.005]),
        ("MA", "150 0.12 45.0\n200 0.99 45.0", [0.005, 0.005]),
        ("DB", "150 -20 45.00\n200 -6 45.00", [0.1 * np.log(10) / 20 * 0.5, 0.5012 * np.log(10) / 20 * 0.5]),
    ],
)
def test_a_touchstone_file_carries_its_digits(tmp_path, form, rows, half):
    found = read_sweep(written(tmp_path, f"# MHz S {form} R 50\n{rows}\n", "a.s1p"))
    assert found.rounding == pytest.approx(half, rel=0.01)


def test_fine_digits_are_left_out_of_the_count(tmp_path):
    found = read_sweep(written(tmp_path, "# MHz S RI R 50\n150 0.1234567 -0.3000001\n200 0.1 0.3\n", "a.s1p"))
    assert found.rounding is None


def test_the_end_at_0_hz_takes_its_digits_along(tmp_path):
    found = read_sweep(written(tmp_path, "# MHz S DB R 50\n0 -1 0\n150 -20 45\n", "a.s1p"))
    assert found.rounding.shape == found.freq_hz.shape == (1,)


@pytest.fixture(scope="module")
def gated():
    return ripple(read_sweep("demo/ripple.s1p"))


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("kind", ["csv", "touchstone"])
def test_a_gated_sweep_is_known_again_by_its_file(tmp_path, gated, kind):
    text = csv_text(gated) if kind == "csv" else touchstone_text(gated, 50.0)
    found = read_sweep(written(tmp_path, text, "gated.csv" if kind == "csv" else "gated.s1p"))
    assert found.processed == "time-gated"
    assert any("nothing is proven" in text for text in found.warnings)
    # What the gate's edges blur is left out.
    assert found.freq_hz == pytest.approx(gated.freq_hz[gated.trusted])
    assert found.reflection == pytest.approx(gated.gated[gated.trusted])
    assert "not trusted left out" in found.interpretation


def test_a_processed_sweep_without_a_point_to_trust_is_refused(tmp_path):
    text = "# processed: smoothed\n# trusted: 0 to 0 Hz\nfrequency_mhz,vswr\n150,1.2\n200,1.3\n"
    with pytest.raises(InputError, match="holds no point that is to be trusted"):
        read_sweep(written(tmp_path, text))


def test_a_plain_sweep_carries_no_mark():
    assert read_sweep("demo/boathouse.s1p").processed == ""


def test_a_phase_that_the_set_up_denies_is_used_with_a_warning(tmp_path):
    text = Path("demo/boathouse.toml").read_text(encoding="utf-8")
    path = tmp_path / "a.toml"
    path.write_text(text.replace('connector = "N-50 jack"', 'connector = "N-50 jack"\nshows = "vswr"', 1))
    found = read_sweep_for(load_setup(path), "demo/boathouse.s1p")
    assert found.reflection is not None
    assert any("shows vswr only" in text for text in found.warnings)


def test_two_lines_of_which_the_last_is_cut_short(tmp_path):
    """Neither length is the usual one then: the line that lacks a column that was asked for is named."""
    path = written(tmp_path, "175000000,0.4,-8.00\n174000000,0.7", "cut.csv")
    options = SweepOptions(quantity="magnitude-and-degrees", frequency_unit="Hz")
    with pytest.raises(InputError, match=r":2:1: .*3 are needed"):
        read_sweep(path, options, 50.0)
