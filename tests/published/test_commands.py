"""Published figures through the commands, on set-up files as a user types them; `python tests/published/count.py` counts them.

The near-end impedance comes from the two-port that `chain budget` reports, ended here by G = S11 + S12 S21 g/(1 - S22 g).
"""

from __future__ import annotations

import json

import numpy as np
import pytest
import tables
from click.testing import CliRunner

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("answered_once")

ROWS = tables.rows("commands.csv")
LIGHT_M_PER_S = 299_792_458.0
LONG_WAVE_MHZ = 2.0
"""Where the connectors' own length is nothing: a wavelength is 149.896 m."""

FRAME = """
title = "a published figure"
[sweep]
{sweep}
[near]
connector = "{near} jack"
impedance = "50 ohm"
{items}
[far]
connector = "{far} jack"
impedance = "{far_ohm} ohm"
[calibration]
plane = "near"
"""
ITEM = """
[[chain]]
id = "{id}"
part = "{part}"
length = "{length} m"
near = "{near} {gender}"
far = "{far} plug"
{more}
ideal = true
"""
PLAIN = """impedance = "{ohm} ohm"
impedance_tolerance = "0 ohm"
velocity_factor = {velocity}
attenuation = {{ flat = {flat} }}
attenuation_tolerance = "0 %"
"""


def sweep_at(mhz, upper=None, points=1):
    return f'start = "{mhz} MHz"\nstop = "{upper or mhz} MHz"\npoints = {points}'


def framed(items, mhz, far_ohm=50, near="N-50", far="N-50", sweep=None):
    return FRAME.format(sweep=sweep or sweep_at(mhz), items="".join(items), near=near, far=far, far_ohm=far_ohm)


def item(part, length_m, more, name="line", gender="plug"):
    return ITEM.format(id=name, part=part, length=length_m, near="N-50", far="N-50", gender=gender, more=more)


def setup_text(words):
    """Set-up file for the words of the table's column `setup`."""
    match words.split():
        case ["line", loss, "dB"]:
            return framed([item("rg58", 100, PLAIN.format(ohm=50, velocity=0.66, flat=loss))], 145)
        case ["line", loss, "dB", "of", "half", "waves"]:
            # 100 half waves of the line in 100 m.
            mhz = 100 * 0.66 * LIGHT_M_PER_S / (2 * 100) / 1e6
            return framed([item("rg58", 100, PLAIN.format(ohm=50, velocity=0.66, flat=loss))], mhz)
        case ["pieces", *pieces]:
            return pieces_text(pieces)
        case ["pad", part]:
            whole = f'\n[[chain]]\nid = "pad"\npart = "{part}"\nideal = true\n'
            return framed([whole], 145, near="BNC-50", far="BNC-50").replace("BNC-50 jack", "BNC-50 plug")
        case ["cable", part, length, "m", mhz]:
            return framed([item(part, length, "")], mhz)
        case ["velocity", factor, length, "m", mhz]:
            return framed([item("rg58", length, PLAIN.format(ohm=50, velocity=factor, flat=0))], mhz)
        case ["flat", loss, "dB/100m", length, "m"]:
            return framed([item("rg58", length, PLAIN.format(ohm=50, velocity=0.66, flat=loss))], 145)
    raise AssertionError(words)


def pieces_text(words):
    """Lossless pieces of line, `ohm:wavelengths` at 2 MHz; `to 75` gives the far impedance, `swept` a span with many lengths."""
    swept, far_ohm = "swept" in words, 75 if "75" in words[-1:] else 50
    pieces = [word.split(":") for word in words if ":" in word]
    items = []
    for index, (ohm, waves) in enumerate(pieces):
        length_m = float(waves) * LIGHT_M_PER_S / (LONG_WAVE_MHZ * 1e6)
        items.append(
            item(
                "rg58",
                length_m,
                PLAIN.format(ohm=ohm, velocity=1.0, flat=0),
                f"piece {index}",
                "jack" if index else "plug",
            )
        )
    sweep = sweep_at(LONG_WAVE_MHZ / 2, LONG_WAVE_MHZ * 1.5, 201) if swept else None
    return framed(items, LONG_WAVE_MHZ, far_ohm, sweep=sweep)


def run(tmp_path, words, *arguments):
    """JSON document of a command on the set-up."""
    setup = tmp_path / "setup.toml"
    setup.write_text(setup_text(words), encoding="utf-8")
    done = CliRunner().invoke(chain, [arguments[0], str(setup), *arguments[1:], "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def found_by_expect(tmp_path, row):
    document = run(tmp_path, row["setup"], "expect")
    over, true = document["sweep"], document["sweep"]["true_vswr"]
    readings = np.array([[np.inf if value is None else value for value in each] for each in over["reading_vswr"]])
    wanted = {"open": None, "matched": 1.0, "VSWR 2": 2.0}[row["given"]]
    # One row of readings for each true VSWR, or one column, whichever way the document lies.
    readings = readings if len(readings) == len(true) else readings.T
    seen = readings[true.index(wanted)]
    match row["quantity"]:
        case "vswr":
            return seen[0]
        case "return_loss_db":
            return -20 * np.log10((seen[0] - 1) / (seen[0] + 1))
        case "least_vswr":
            return seen.min()
        case "most_vswr":
            return seen.max()


def found_by_recover(tmp_path, row):
    if row["command"] == "recover table":
        mhz = setup_text(row["setup"]).split('start = "')[1].split(" ")[0]
        resistance, reactance = row["given"].split()
        sweep = tmp_path / "reading.csv"
        sweep.write_text(f"MHz,R,X\n{mhz},{resistance},{reactance}\n", encoding="utf-8")
        document = run(tmp_path, row["setup"], "recover", str(sweep), "--impedance", "50 ohm")
    else:
        document = run(tmp_path, row["setup"], "recover", "--reading", f"{row['given']} at 145 MHz")
    vswr = document["true_vswr"][0]
    size = 1.0 if vswr is None else (vswr - 1) / (vswr + 1)
    return {
        "vswr": np.inf if vswr is None else vswr,
        "vswr above": np.inf if vswr is None else vswr,
        "return_loss_db": -20 * np.log10(size),
        "reflected_percent": 100 * size**2,
        "mismatch_loss_db": document["mismatch_loss_db"][0],
    }[row["quantity"]]


def found_by_budget(tmp_path, row):
    document = run(tmp_path, row["setup"], "budget")
    s = np.array(document["s"][0])[..., 0] + 1j * np.array(document["s"][0])[..., 1]
    far_ohm = document["far_ohm"]
    if row["given"] == "matched":
        end = 0.0
    elif row["given"] == "open":
        end = 1.0
    else:
        ohm = complex(*map(float, row["given"].split()))
        end = (ohm - far_ohm) / (ohm + far_ohm)
    near = s[0, 0] + s[0, 1] * s[1, 0] * end / (1 - s[1, 1] * end)
    match row["quantity"]:
        case "near_ohm":
            return abs(50 * (1 + near) / (1 - near))
        case "near_reflection":
            return abs(near)
        case "return_loss_db above":
            return -20 * np.log10(abs(near))
        case "total_loss_db":
            # Power into the line over power into the load.
            wave = s[1, 0] / (1 - s[1, 1] * end)
            return -10 * np.log10(abs(wave) ** 2 * (1 - abs(end) ** 2) / (1 - abs(near) ** 2))
        case "s21_deg":
            turns = np.angle(s[1, 0], deg=True)
            return turns + 360 * round((row["expected"] - turns) / 360)
        case "attenuation_db":
            return sum(each["attenuation_db"][0] for each in document["items"])
        case share:
            return document[share][0]


FIND = {
    "expect": found_by_expect,
    "recover": found_by_recover,
    "recover table": found_by_recover,
    "budget": found_by_budget,
}


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_a_published_figure_through_the_command(tmp_path, row):
    found = FIND[row["command"]](tmp_path, row)
    if row["quantity"].endswith("above"):
        assert found >= row["expected"]
    else:
        assert row["expected"] == pytest.approx(found, abs=row["tolerance"])


def test_every_figure_names_its_source_and_evidence():
    for row in ROWS:
        assert row["source"]
        assert row["evidence"] in tables.EVIDENCE
        assert row["kind"] in ("worked figure", "data set", "library point", "transcription", "conversion")
