"""Sweeps as files: every dialect gives the same figures, every fault is reported in its place, no file gives another error."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chain.errors import InputError
from chain.reflection import magnitude_from_vswr
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import typed_readings
from chain.sweeps.text import MOST_POINTS


def written(tmp_path, text, name="sweep.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def faults(tmp_path, text, name="sweep.csv"):
    with pytest.raises(InputError) as caught:
        read_sweep(written(tmp_path, text, name))
    return [(each.line, each.column, each.message) for each in caught.value.defects]


# VSWR 1.5 has a reflection of 0.2 and a return loss of 13.98 dB; VSWR 2 has 1/3 and 9.54 dB. Source: conversion tables of
# component makers' handbooks, two decimals.
@pytest.mark.parametrize(
    "text",
    [
        "frequency_mhz,vswr\n174,1.5\n240,2\n",
        "Frequency [MHz];VSWR\r\n174,0;1,50\r\n240;2,00\r\n",
        "freq (Hz)\tSWR\n174e6\t1.5\n2.4e8\t2.0\n",
        "frequency_mhz,return_loss_db\n174,13.98\n240,9.54\n",
        "Frequency [GHz],S11 [dB]\n0.174,-13.98\n0.240,-9.54\n",
        "! made up\n# more\n% yet more\n\nf_MHz, RL dB\n174, 13.98\n\n240, 9.54\n",
        "Frequenz in MHz;Rückflussdämpfung in dB\n174;13,98\n240;9,54\n",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_dialects_read_alike(tmp_path, text, encoding):
    found = read_sweep(written(tmp_path, text.encode(encoding)))
    np.testing.assert_allclose(found.freq_hz, [174e6, 240e6])
    np.testing.assert_allclose(found.magnitude, [0.2, 1 / 3], atol=2e-4)
    assert found.reflection is None
    assert "174 MHz" in found.interpretation
    quantity = "VSWR" if "swr" in text.lower() else "reflection in dB" if "S11" in text else "return loss"
    assert f"read as {quantity}: " in found.interpretation


@pytest.mark.parametrize("word", ["inf", "+Inf", "INFINITY", "\u221e", "overflow", "1.#INF"])
def test_a_vswr_off_the_scale_is_a_reflection_of_all_and_reported(tmp_path, word):
    """(S - 1)/(S + 1) tends to 1; other points of the sweep stay what they are, and the doubt of this one is wide."""
    found = read_sweep(written(tmp_path, f"frequency_mhz,vswr\n174,{word}\n200,1.5\n240,{word}\n"))
    np.testing.assert_allclose(found.magnitude, [1.0, 0.2, 1.0])
    assert "2 off the scale taken as a reflection of all, though a scale may end at VSWR 20" in found.interpretation
    np.testing.assert_allclose(1 - found.rounding[[0, 2]], magnitude_from_vswr(20.0))
    assert found.rounding[1] == pytest.approx(magnitude_from_vswr(1.55) - 0.2)
    assert not found.warnings


def test_a_typed_vswr_off_the_scale_is_a_reflection_of_all_and_reported():
    """Beside a finite reading, which keeps its figure."""
    found = typed_readings("VSWR 2 at 210 MHz", "VSWR inf at 200 MHz")
    np.testing.assert_allclose(found.magnitude, [1.0, 1 / 3])
    assert "inf taken as a reflection of all, though a scale may end at VSWR 20" in found.interpretation
    np.testing.assert_allclose(1 - found.rounding[0], magnitude_from_vswr(20.0))
    assert found.rounding[1] == pytest.approx((magnitude_from_vswr(2.5) - magnitude_from_vswr(1.5)) / 2)


def test_touchstone_keeps_its_phase_and_its_header_is_reported(tmp_path):
    """A reading is in the impedance of its calibration; the header's reference changes nothing."""
    text = "! invented\n# MHz S RI R 75\n174 0.1 -0.2\n240 0.0 0.3\n"
    found = read_sweep(written(tmp_path, text, "a.s1p"))
    np.testing.assert_allclose(found.reflection, [0.1 - 0.2j, 0.3j])
    assert "75 ohm" in found.interpretation


def test_all_faults_at_once_in_their_places(tmp_path):
    text = "frequency_mhz,vswr\n174,1.5\n175,x\nabc,1.2\n176,1.1,9\n"
    found = faults(tmp_path, text)
    assert [place[:2] for place in found] == [(3, 5), (4, 1), (5, 1)]


@pytest.mark.parametrize(
    ("text", "place", "message"),
    [
        ("", (0, 0), "holds no figures"),
        ("! only remarks\n", (0, 0), "holds no figures"),
        ("frequency_mhz,vswr\n", (1, 1), "no figures follow"),
        ("174,1.5\n175,1.6\n", (1, 1), "no header"),
        ("frequency,vswr\n174,1.5\n", (1, 1), "no unit of frequency"),
        ("frequency_mhz,loudness\n174,1.5\n", (1, 15), "neither VSWR nor return loss"),
        ("frequency_mhz,vswr,phase\n174,1.5\n", (1, 1), "the header names 3 columns"),
        ("frequency_mhz,vswr\n174,0.9\n", (2, 5), "below 1"),
        ("frequency_mhz,vswr\n175,1.5\n174,1.5\n176,1.5\n", (3, 1), "do not rise"),
        ("frequency_mhz,vswr\n175,1.5\n175,1.5\n", (3, 1), "do not rise"),
        ("frequency_mhz,vswr\n0,1.5\n", (2, 1), "not above zero"),
        ("frequency_mhz,vswr\n174,-inf\n", (2, 5), "not a number"),
        ("frequency_mhz,vswr\ninf,1.5\n", (2, 1), "not a number"),
        ("frequency_mhz,return_loss_db\n174,inf\n", (2, 5), "not a number"),
        ("frequency_mhz,vswr\n174,---\n", (2, 5), "not a number"),
        ("frequency_mhz,vswr\n174,1e999\n", (2, 5), "not a number"),
        ("frequency_mhz,return_loss_db\n174,12\n175,-12\n", (3, 5), "changes its sign"),
        ("frequency_mhz,vswr\n174,1.5\n175,1,6\n", (3, 1), "3 columns"),
        (b"\x00\x01\x02", (0, 0), "not a text file"),
        (
            "frequency_mhz,vswr\n" + "".join(f"{n},1.5\n" for n in range(1, MOST_POINTS + 2)),
            (MOST_POINTS + 2, 1),
            "more than",
        ),
    ],
)
def test_a_fault_and_its_place(tmp_path, text, place, message):
    ((line, column, reported),) = faults(tmp_path, text)
    assert (line, column) == place
    assert message in reported


@pytest.mark.parametrize(
    "text", ["174 0.1 0\n", "# MHz S RI R 50\n174 0.1\n", "# MHz S RI R 50\n174 4 0\n", "# MHz S RI R 50\n", ""]
)
def test_a_broken_touchstone_file_is_the_input_s_fault(tmp_path, text):
    assert faults(tmp_path, text, "a.s1p")


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_sweep(str(tmp_path / "gone.csv"))


@given(
    values=st.lists(st.floats(1, 100, allow_nan=False), min_size=1, max_size=30),
    mark=st.sampled_from([",", ";", "\t"]),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    unit=st.sampled_from([("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_is_written_in_any_dialect_is_read_back(tmp_path_factory, values, mark, ending, unit, encoding):
    lines = [f"frequency [{unit[0]}]{mark}VSWR"]
    for index, value in enumerate(values, 1):
        figure = repr(value)
        lines.append(f"{index}{mark}{figure if mark == ',' else figure.replace('.', ',')}")
    path = tmp_path_factory.mktemp("sweep") / "a.csv"
    path.write_bytes((ending.join(lines) + ending).encode(encoding))
    found = read_sweep(str(path))
    np.testing.assert_allclose(found.freq_hz, np.arange(1, len(values) + 1) * unit[1])
    np.testing.assert_allclose(found.magnitude, magnitude_from_vswr(values), atol=1e-12)


@given(raw=st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))))
@pytest.mark.parametrize("name", ["a.csv", "a.s1p"])
def test_any_file_gives_readings_or_a_fault_of_the_input(tmp_path_factory, name, raw):
    path = tmp_path_factory.mktemp("any") / name
    path.write_bytes(raw)
    try:
        found = read_sweep(str(path))
    except InputError:
        return
    assert found.freq_hz.size
    assert np.all(np.diff(found.freq_hz) > 0)


@pytest.mark.parametrize(("losses", "lines"), [("10,-12,13", [3]), ("-10,12,13", [3, 4]), ("0,-12,13", [4])])
def test_losses_of_both_signs_are_at_fault_where_they_leave_that_of_the_first(tmp_path, losses, lines):
    rows = "".join(f"{174 + 10 * n},{loss}\n" for n, loss in enumerate(losses.split(",")))
    found = faults(tmp_path, f"frequency_mhz,return_loss_db\n{rows}")
    assert [line for line, _, message in found if "changes its sign here" in message] == lines


def test_a_table_under_the_name_of_another_kind_needs_both_quantity_and_unit(tmp_path):
    """Under a Touchstone name bare figures are a table only where it is stated what both columns are."""
    path = written(tmp_path, "174 1.5\n175 1.6\n", "a.s1p")
    assert read_sweep(path, SweepOptions(quantity="vswr", frequency_unit="MHz")).magnitude[0] == pytest.approx(0.2)
    for options in (SweepOptions(quantity="vswr"), SweepOptions(frequency_unit="MHz"), SweepOptions()):
        with pytest.raises(InputError, match=r"Touchstone|option line"):
            read_sweep(path, options)
