"""Data that nobody here made, through the commands: an antenna behind its feeder (999 pairs) and two cables' data sheets.

`tests/data/antenna-behind-feeder` comes with its origin and licence in `tests/data/SOURCES.md`.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tables
from click.testing import CliRunner

from chain.cli.main import chain

FEEDER = Path(__file__).parent.parent / "data" / "antenna-behind-feeder" / "vhf_uhf_antenna.dat"
LINE = """
title = "an antenna behind 10 m of feeder"
[sweep]
start = "100 MHz"
stop = "500 MHz"
points = 201
[near]
connector = "N-50 jack"
impedance = "50 ohm"
{near}
[[chain]]
id = "feeder"
part = "rg213"
length = "10 m"
near = "N-50 plug"
far = "N-50 plug"
{feeder}
[far]
connector = "N-50 jack"
impedance = "50 ohm"
[calibration]
plane = "near"
"""
# The line that the authors state, 0.025189 + 0.199693 sqrt(f/MHz) + 0.002006 f/MHz dB per 100 ft, over 0.3048.
PUBLISHED = """velocity_factor = 0.66
impedance = "50 ohm"
attenuation = { flat = 0.082641, per_sqrt_mhz = 0.655161, per_mhz = 0.006581 }
ideal = true"""
USUAL = """directivity = "40 dB"
source_match = "36 dB"
tracking = "0.1 dB"
trace_noise = "0.02 dB"
repeatability = "50 dB"
drift = "50 dB\""""


def pairs(step=1):
    """MHz, VSWR at the antenna, VSWR at the near end, near-end resistance and reactance over 50 ohm."""
    rows = [line.split() for line in FEEDER.read_text(encoding="utf-8").splitlines()]
    figures = np.array([[float(value) for value in row] for row in rows if row and row[0][:1].isdigit()])
    assert figures.shape == (999, 5)
    return figures[::step]


def recovered(tmp_path, near, feeder, has_phase, step):
    """JSON document of `chain recover` on every `step`-th pair, and the pairs."""
    rows = pairs(step)
    setup, sweep = tmp_path / "feeder.toml", tmp_path / "near.csv"
    setup.write_text(LINE.format(near=near, feeder=feeder), encoding="utf-8")
    if has_phase:
        lines = ["MHz,R,X", *(f"{row[0]:.6f},{50 * row[3]:.6f},{50 * row[4]:.6f}" for row in rows)]
    else:
        lines = ["MHz,VSWR", *(f"{row[0]:.6f},{row[2]:.6f}" for row in rows)]
    sweep.write_text("\n".join(lines) + "\n", encoding="utf-8")
    ohm = ("--impedance", "50 ohm") if has_phase else ()
    done = CliRunner().invoke(chain, ["recover", str(setup), str(sweep), *ohm, "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout), rows


def magnitude(vswr):
    values = np.array([np.inf if value is None else value for value in vswr], dtype=float)
    return 1 - 2 / (values + 1)


@pytest.mark.parametrize("has_phase", [True, False], ids=["r and x", "vswr"])
def test_the_antenna_behind_the_published_line(tmp_path, has_phase):
    """The published line's constants, nothing unknown: the antenna's published VSWR comes back (authors' circuit simulator)."""
    document, rows = recovered(tmp_path, "", PUBLISHED, has_phase, 12)
    off = np.abs(magnitude(document["true_vswr"]) - magnitude(rows[:, 1]))
    assert off.max() < 0.005
    assert np.sqrt(np.mean(off**2)) < 0.0025


@pytest.mark.parametrize("has_phase", [True, False], ids=["r and x", "vswr"])
def test_the_antenna_lies_inside_interval_and_bound(tmp_path, has_phase):
    """The library's own RG-213 with its tolerances: no published value outside, neither the interval nor the bound."""
    tolerance = 'length_tolerance = "10 cm"'
    document, rows = recovered(tmp_path, USUAL, tolerance, has_phase, 12)
    true = magnitude(rows[:, 1])
    for low, high in (("low", "high"), ("bound_low", "bound_high")):
        assert np.all(magnitude(document[low]) <= true + 1e-6)
        assert np.all(true <= magnitude(document[high]) + 1e-6)


CABLES = tables.rows("cables.csv")


@pytest.mark.parametrize("row", CABLES, ids=[f"{row['cable']} {row['freq_mhz']:g}" for row in CABLES])
def test_a_data_sheet_s_loss_lies_inside_the_library_s_tolerance(tmp_path, row):
    """`chain parts ID --length --at` against a maker's data sheet."""
    done = CliRunner().invoke(chain, ["parts", row["cable"], "--at", f"{row['freq_mhz']:g} MHz", "--json"])
    assert done.exit_code == 0, done.output
    (part,) = [each for each in json.loads(done.stdout)["parts"] if each["id"] == row["cable"]]
    (loss,) = part["losses"]
    if loss["loss_db"] is None:
        assert loss["reason"], "a figure that is missing says why"
        return
    assert row["expected"] == pytest.approx(loss["loss_db"], rel=row["tolerance"])
