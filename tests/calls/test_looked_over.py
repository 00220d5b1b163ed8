"""What a caller hands over is looked over: set-ups changed by `replace`, readings made by hand, figures, answers, options."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import chain
from chain.calls.setup_checked import checked
from chain.errors import ChainError, InputError, RangeError
from library.load import load_library

DEMO = Path(__file__).parent.parent.parent / "demo"
SETUP = chain.load_setup(DEMO / "boathouse.toml")
ONE = ([200e6], [0.05])


def with_lead(**changed):
    return replace(SETUP, items=(*SETUP.items[:2], replace(SETUP.items[2], **changed)))


@pytest.mark.parametrize(
    ("setup", "message"),
    [
        (with_lead(length_m=-5), r"item 'lead': length_m = -5 is out of range \(it lies from 0 to 10000 m\)"),
        (with_lead(length_m=math.nan), "length_m = nan"),
        (with_lead(length_m="5 m"), "length_m is a number, not str '5 m'"),
        (with_lead(length_m=9e3), "loses 1611 dB one way"),
        (with_lead(part=replace(SETUP.items[2].part, velocity_factor=1.5)), "velocity_factor = 1.5"),
        (with_lead(part="rg59"), "part 'rg59' is no part"),
        (replace(SETUP, calibration=replace(SETUP.calibration, plane="nowhere")), "plane 'nowhere' is no item"),
        (replace(SETUP, far=replace(SETUP.far, limit_vswr=0.5)), "limit_vswr = 0.5"),
        (replace(SETUP, near=replace(SETUP.near, shows="x")), "one of vswr, return loss, complex"),
        (replace(SETUP, near=replace(SETUP.near, connector="N")), "connector is no Connector"),
        (replace(SETUP, near=replace(SETUP.near, ideal="yes")), "ideal is True or False"),
        (replace(SETUP, sweep=None), "sweep is no Sweep but NoneType"),
        (replace(SETUP, sweep=replace(SETUP.sweep, points=0)), "points '0'"),
        (replace(SETUP, sweep=replace(SETUP.sweep, start_hz=300e6)), "does not rise"),
        (replace(SETUP, items=[1]), "no tuple"),
        (replace(SETUP, items=(SETUP.items[0],) * 2), "two items have the id"),
    ],
)
def test_a_changed_set_up_is_looked_over(setup, message):
    with pytest.raises(RangeError, match=message):
        chain.budget(setup)


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.toml")), ids=lambda path: path.stem)
def test_what_a_file_holds_passes(path):
    try:
        setup = chain.load_setup(path)
    except InputError:
        pytest.skip("no set-up")
    assert checked(setup) is setup


@pytest.mark.usefixtures("few_trials")
def test_a_two_port_of_ones_own_passes():
    """A file measured by the user stands in an item's place: the command takes it, so do the functions."""
    own = {"touchstone": str(DEMO / "pad.s2p"), "near": "BNC-50 jack", "far": "BNC-75 jack"}
    lead = {"part": "rg59", "length": "1 m", "near": "BNC-75 plug", "far": "F-75 plug"}
    setup = chain.setup_of(["n-plug-bnc-plug", own, lead], sweep=("180 MHz", "230 MHz", 3))
    assert chain.recover(setup, "VSWR 1.2 at 200 MHz").true_vswr[0] > 1.2


def test_every_part_of_the_library_passes():
    from chain.calls.setup_checked import _record

    library = load_library()
    parts = [library.part(name) for name in library.ids()]
    assert len(parts) > 30
    for part in parts:
        _record(part, type(part), part.id, False)


@pytest.mark.parametrize(
    ("made", "message"),
    [
        (lambda: chain.Readings(np.array([2e8]), np.array([np.nan]), None, ""), "magnitude holds what is not finite"),
        (lambda: chain.Readings(np.array([2e8]), np.array([0.1, 0.2]), None, ""), "1 of freq_hz and 2 of magnitude"),
        (lambda: chain.Readings("x", "y", None, ""), "freq_hz is no one-dimensional array"),
        (lambda: chain.Readings([2e8, 1e8], [0.1, 0.1], None, ""), "does not rise"),
        (lambda: chain.Readings([2e8], [-0.1], None, ""), "never below zero"),
        (lambda: chain.Readings([2e8], [0.1], [0.5j], ""), "magnitude is not that of reflection"),
        (lambda: chain.Readings([2e8], [0.1], [0.1j], "").to_network("50 ohm"), "reference_ohm"),
        (lambda: chain.Readings([2e8], [0.1], [0.1j], "").to_network(0), "reference_ohm"),
        (lambda: chain.recover(SETUP, ([200e6], [True])), "True and False"),
        (lambda: chain.recover(SETUP, ([2e8, 2.1e8], np.ma.array([0.1, 0.2], mask=[0, 1]))), "masked array"),
        (lambda: chain.recover(SETUP, {"freq_hz": [2e8], "vswr": [1.5], "return_loss_db": [30.0]}), "same trace"),
        (lambda: chain.recover(SETUP, {"frequency_mhz": [200e6], "vswr": [1.1]}), "are these hertz"),
        (lambda: chain.setup_of(["min-loss-pad"], sweep=(174, 240)), "is this MHz"),
        (lambda: chain.prove(SETUP, chain.known_ends({"open": ["1.7"]}, 210e6), load_db=-26), "load_db = -26"),
        (lambda: chain.prove(SETUP, chain.known_ends({"open": ["1.7"]}, 210e6), ohms=math.nan), "ohms = nan"),
        (lambda: chain.prove(SETUP, chain.known_ends({"open": ["1.7"]}, 210e6), ohms=-5), "ohms = -5"),
        (lambda: chain.compare_planes(SETUP, true_vswr=math.nan), "true_vswr = nan"),
        (lambda: chain.compare_planes(SETUP, true_vswr=0.5), "true_vswr = 0.5"),
        (
            lambda: chain.tune(SETUP, ONE, 630e6, 574e6),
            r"wanted_low_hz is 630 MHz.*wanted_low_hz=5.74e\+08, wanted_high",
        ),
        (lambda: chain.tune(SETUP, ONE, 574e6), r"wanted_low_hz is given without.*write wanted_high_hz too"),
        (lambda: chain.match_network(SETUP, ONE, wanted_high_hz=2e8), r"write wanted_low_hz too"),
        (
            lambda: chain.bare_pad(2e8, 1e8),
            r"start_hz is 200 MHz, stop_hz 100 MHz.*write start_hz=1e\+08, stop_hz=2e\+08",
        ),
        (lambda: chain.bare_pad(np.timedelta64(1), 1e8), "start_hz is a number, not timedelta64"),
        (lambda: chain.expect(SETUP, np.timedelta64(2)), "is no VSWR"),
        (lambda: chain.expect(SETUP, seed=np.timedelta64(2)), "whole number"),
        (lambda: chain.recover(SETUP, (np.array([200000000], "m8[s]"), [0.1])), "holds durations"),
        (lambda: chain.recover(SETUP, {"freq_hz": [2e8], "vswr": [np.timedelta64(2)]}), "holds durations"),
        (lambda: chain.recover(SETUP, {"freq_hz": [2e8], "vswr": np.array([2], "M8[s]")}), "holds dates"),
        (lambda: chain.setup_of(["min-loss-pad"], sweep=(2e8, 3e8, np.timedelta64(3))), "nothing that a set-up holds"),
        (lambda: chain.budget(with_lead(length_m=np.timedelta64(1))), "length_m is a number, not timedelta64"),
        (lambda: chain.expect(SETUP, digits=3), "from 1 to 2"),
        (lambda: chain.choose(DEMO / "need.toml", rank="price"), "rank 'price'"),
        (lambda: chain.compare_antennas(SETUP, ONE, ONE, names=3), "two names"),
        (lambda: chain.known_ends({"open": [1.7]}, 210e6), "a list of texts or sweeps"),
        (lambda: chain.known_ends({"opn": ["1.7"]}, 210e6), "no end is called 'opn'"),
        (lambda: chain.typed_readings(["VSWR 1.3 at 210 MHz"]), "a text of its own"),
        (lambda: chain.read_sweep(DEMO / "boathouse.csv", chain.SweepOptions(quantity="foo")), "quantity 'foo'"),
        (lambda: chain.read_sweep(DEMO / "boathouse.csv", {}), "SweepOptions are needed"),
        (lambda: chain.recover(SETUP, ONE, progress=3), "progress is a function"),
        (lambda: chain.levels(DEMO / "boathouse.toml"), r"budget\(setup\) makes it"),
        (lambda: chain.compare_levels("levels.csv"), r"read_levels\(path\) makes it"),
        (lambda: chain.compare_seen(DEMO / "outlets.toml", "seen.csv"), r"read_seen\(path, installation\)"),
        (lambda: chain.log_html("log"), r"log_trends\(folder\)"),
        (lambda: chain.card_html("a.toml"), r"card\(setup\)"),
        (lambda: chain.load_setup('title = "x"\n'), "parse_setup and parse_installation take text"),
        (lambda: chain.parse_setup(3), "the text of a file"),
    ],
)
def test_nonsense_ends_in_an_error_of_ours(made, message):
    with pytest.raises(RangeError, match=message):
        made()


def test_errors_name_arguments_and_no_options(tmp_path):
    with pytest.raises(InputError, match=r"columns=\('10',\) names no column"):
        chain.read_sweep(DEMO / "boathouse.csv", chain.SweepOptions(columns=(10,)))
    assert chain.read_sweep(DEMO / "boathouse.csv", chain.SweepOptions(columns=(2,))).magnitude.size == 133
    table = tmp_path / "two.csv"
    table.write_text("frequency_mhz,vswr a,vswr b\n174,1.5,1.9\n175,1.5,1.9\n")
    for given in (lambda: chain.read_sweep(table), lambda: chain.known_ends({}, 210e6)):
        with pytest.raises(ChainError) as error:
            given()
        assert "--" not in str(error.value)


def test_the_text_of_a_file_is_taken():
    text = (DEMO / "boathouse.toml").read_text(encoding="utf-8")
    assert chain.parse_setup(text).title == SETUP.title


def test_answers_are_frozen_throughout():
    found = chain.recover(SETUP, ([200e6], [0.05 + 0.01j]), draws=1000)
    sweep = chain.read_sweep(DEMO / "boathouse.s1p")
    mine = np.array([2e8])
    made = chain.Readings(mine, np.array([0.1]), None, "")
    for array in (found.true_vswr, found.freq_hz, found.region.covariance, sweep.magnitude, made.freq_hz):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
    mine[0] = 1.0
