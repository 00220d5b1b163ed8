"""Measured microstrip lines of open data through `learn`, `ripple` and `prove`; expected values by scikit-rf from the same files.

`tests/data/microstrip` comes with its origin and licence in `tests/data/SOURCES.md`.
"""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import skrf
from click.testing import CliRunner
from few_trials import in_force
from further import wide

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("trials")

DATA = Path(__file__).parent.parent / "data" / "microstrip"
LINE = ("--impedance", "50 ohm", "--date", "2026-01-15", "--json")
SETUP = """
title = "a microstrip line on a 50-ohm analyzer"
[sweep]
start = "1500 MHz"
stop = "1500 MHz"
points = 1
[near]
connector = "SMA-50 jack"
impedance = "50 ohm"
analyzer = "bench"
[[chain]]
id = "line"
{item}
near = "SMA-50 plug"
far = "SMA-50 plug"
[far]
connector = "SMA-50 jack"
impedance = "50 ohm"
[calibration]
plane = "near"
"""


def path(name):
    return str(DATA / f"cut_{name}")


def said(*words):
    done = CliRunner().invoke(chain, words)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


@cache
def kept(few, words):
    """What a command says of files that do not change: of few trials and of the usual number each its own."""
    return said(*words)


def learnt(name, length, *more):
    """A line learnt from its two-port."""
    words = "learn", "two-port", path(f"P1-MSL_{name}-P2.s2p"), "--kind", "lead", "--length", length, *LINE, *more
    return kept(in_force(), words)


def by_skrf(name, low_hz=0.0, high_hz=1e12):
    """Mean loss in dB and delay of a two-port, by scikit-rf."""
    network = skrf.Network(path(f"P1-MSL_{name}-P2.s2p"))
    inside = (network.f >= low_hz) & (network.f <= high_hz)
    loss = -20 * np.log10(np.abs(network.s[inside, 1, 0]))
    freq, phase = network.f[inside], network.s21.s_deg_unwrap[inside, 0, 0]
    return loss.mean(), -(phase @ freq) / (360 * freq @ freq), np.abs(network.s[inside][:, [0, 1], [0, 1]]).max()


@pytest.mark.parametrize(("name", "length"), [("Thru_100", "100 mm"), *wide(("Thru_200", "200 mm"))])
def test_a_line_by_its_two_port(name, length):
    """Mean loss and velocity factor: scikit-rf's lie inside the intervals; so does each coefficient in its own."""
    found = learnt(name, length)
    loss_db, delay_s, _ = by_skrf(name)
    assert found["mean_loss"]["low"] < loss_db < found["mean_loss"]["high"]
    assert found["mean_loss"]["value"] == pytest.approx(loss_db, abs=0.02)
    factor = float(length.split()[0]) / 1e3 / 299_792_458.0 / delay_s
    figures = {each["name"]: each for each in found["figures"]}
    assert figures["velocity_factor"]["value"] == pytest.approx(factor, rel=0.002)
    for each in figures.values():
        assert each["low"] <= each["value"] <= each["high"], each["name"]


def test_the_two_coefficients_belong_to_the_fit_that_the_losses_come_from():
    """Both coefficients over the length give the loss that is stated at each frequency, and neither is below zero."""
    for found in (learnt("Thru_100", "100 mm"), learnt("Stepped_140", "140 mm")):
        per = {each["name"]: each["value"] for each in found["figures"]}
        mhz = np.array(found["freq_hz"]) / 1e6
        root, linear = per["per_sqrt_mhz_db_per_100m"], per["per_mhz_db_per_100m"]
        assert min(root, linear) >= 0
        loss = (root * np.sqrt(mhz) + linear * mhz) * found["length_m"] / 100
        if min(root, linear) > 0:
            assert loss == pytest.approx(found["loss_db"], abs=1e-6)
        else:
            assert loss == pytest.approx(found["loss_db"], abs=0.15 * max(found["loss_db"]))


def test_a_span_holds_for_every_figure():
    """From 100 MHz to 1 GHz: mean loss, delay and largest reflection are those of scikit-rf over that span alone."""
    found = learnt("Thru_200", "200 mm", "--from", "100 MHz", "--to", "1 GHz")
    loss_db, delay_s, reflection = by_skrf("Thru_200", 100e6, 1e9)
    assert found["mean_loss"]["value"] == pytest.approx(loss_db, abs=0.01)
    figures = {each["name"]: each["value"] for each in found["figures"]}
    assert figures["velocity_factor"] == pytest.approx(0.2 / 299_792_458.0 / delay_s, rel=0.002)
    assert max(figures["near_reflection"], figures["far_reflection"]) == pytest.approx(reflection, abs=0.01)
    assert max(found["sweep_hz"]) <= 1e9
    assert "100 to 1000 MHz" in found["row"]["note"] or "over 100 to" in found["row"]["note"]


@pytest.mark.parametrize("specimen", ["P1", *wide("P2")])
def test_a_line_by_its_open_and_short(specimen):
    """Half the loss of the line of twice the length lies inside; the delay's velocity factor too."""
    ends = [word for end in ("open", "short") for word in (f"--{end}", path(f"{specimen}-MSL_{end.title()}_50.s1p"))]
    found = said("learn", "lead", *ends, "--length", "50 mm", *LINE)
    loss_db, delay_s, _ = by_skrf("Thru_100")
    assert found["mean_loss"]["low"] < loss_db / 2 < found["mean_loss"]["high"]
    figures = {each["name"]: each for each in found["figures"]}
    factor = 0.05 / 299_792_458.0 / (delay_s / 2)
    assert figures["velocity_factor"]["low"] < factor < figures["velocity_factor"]["high"]
    assert any("is none that a cable has: is the length right?" in text for text in found["warnings"])


def test_a_named_cable_refuses_a_length_that_is_not_its_own():
    """Doubted where nothing is named; refused where the cable is, with the length that it would have."""
    ends = [word for end in ("open", "short") for word in (f"--{end}", path(f"P1-MSL_{end.title()}_50.s1p"))]
    done = CliRunner().invoke(chain, ["learn", "lead", *ends, "--length", "50 mm", *LINE, "--like", "rg58"])
    assert done.exit_code == 2
    assert "would be 0.0679 m long" in done.output


@pytest.mark.parametrize(("name", "low_mhz", "high_mhz"), [("Thru_100", 724, 818), *wide(("Thru_200", 384, 409))])
def test_ripple_of_a_line_lies_between_its_two_delays(name, low_mhz, high_mhz):
    """Spacing between that of the whole delay and that of the line without its connectors (scikit-rf)."""
    found = said("ripple", path(f"P1-MSL_{name}-P2.s2p"), "--column", "S11", "--json")
    assert low_mhz < found["components"][0]["spacing_hz"] / 1e6 < high_mhz


def test_a_wrong_piece_is_named_as_a_possibility(tmp_path):
    """Ends of a line of 50 mm, where the set-up states another piece (the line of 200 mm); with the right one no fault is shown."""
    ends = [
        (f"--{end}", path(f"P2-MSL_{name}_50.s1p"))
        for end, name in (("open", "Open"), ("short", "Short"), ("load50", "Load"))
    ]
    wrong = f'touchstone = "{path("P1-MSL_Thru_200-P2.s2p")}"\nloss_tolerance = "0.05 dB"\nreflection_error = "36 dB"'
    own = [
        word
        for end, name in (("open", "Open"), ("short", "Short"))
        for word in (f"--{end}", path(f"P1-MSL_{name}_50.s1p"))
    ]
    part = tmp_path / "line.toml"
    CliRunner().invoke(chain, ["learn", "lead", *own, "--length", "50 mm", *LINE[:-1], "-o", str(part)])
    verdicts = []
    for item, library in ((wrong, ""), ('part = "my-part"\nlength = "50 mm"', f'library = ["{part}"]\n')):
        setup = tmp_path / "setup.toml"
        setup.write_text(library + SETUP.format(item=item), encoding="utf-8")
        got = said("prove", str(setup), *(word for pair in ends for word in pair), "--at", "1500 MHz", "--json")
        verdicts.append((got["verdict"], [each["what"] for each in got["hypotheses"] if each["share"] > 0.02]))
    assert "another lead than stated" in verdicts[0][1]
    assert verdicts[0][0] not in ("right", "no fault shown")
    assert verdicts[1][0] in ("right", "no fault shown")
