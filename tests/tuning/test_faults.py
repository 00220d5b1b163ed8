"""Faults of the antenna's side made by hand, each held against the signs it should show; a sound antenna shows none."""

import csv
import json
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from further import wide
from tuning_world import FREQ, Element, as_readings, bench

from chain.antenna_report.faults import three_lines
from chain.cli.main import chain
from chain.errors import RangeError
from chain.tuning.faults import antenna_faults
from library.files.store import text_of

pytestmark = pytest.mark.usefixtures("answered_once")

WELL = Element(600e6, 62, 6, 0.0, 1.0)
NOISE = 0.0012


def read(reflection, number):
    """A reading with a little noise, less than the set-up states."""
    rng = np.random.default_rng(number)
    return as_readings(FREQ, reflection + NOISE * (rng.normal(size=FREQ.size) + 1j * rng.normal(size=FREQ.size)))


def suspect(now, before=None, handled=None):
    found = antenna_faults(bench(trace_noise_db=0.02, repeatability_db=50.0, drift_db=50.0), now, before, handled)
    for line in three_lines(found):
        assert len(line) <= 80
    json.dumps(found.to_dict(), allow_nan=False)
    return found


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("number", [0, *wide(1, 2)])
def test_a_sound_antenna_shows_no_sign(number, phase):
    """Two more readings of the same antenna, with noise and a joint made again."""
    sweeps = [read(WELL.reflection(FREQ) + 0.002 * np.exp(1j * part), 10 * number + part) for part in range(3)]
    found = suspect(*(each if phase else replace(each, reflection=None) for each in sweeps))
    assert found.first is None, found.first
    assert all(each.seen is False for each in found.signs)


@pytest.mark.usefixtures("trials")
def test_water_takes_reflection_away_everywhere():
    """Two decibels more loss, one way: so does a joint, and only a dip that has come lower as well speaks for water alone."""
    found = suspect(read(0.63 * WELL.reflection(FREQ), 1), read(WELL.reflection(FREQ), 2))
    assert [each.fault for each in found.rivals] == ["water", "joint"]
    assert found.first is None
    assert found.to_dict()["suspected"] is None
    assert three_lines(found)[0].startswith("Suspected: water in the lead")
    assert suspect(read(0.63 * WELL.reflection(FREQ, 1.02), 1), read(WELL.reflection(FREQ), 2)).first.fault == "water"


@pytest.mark.usefixtures("trials")
def test_a_broken_element_resonates_higher():
    """Dip far above, as beside a wall; none at all is left where a quarter of the length is missing."""
    moved = suspect(read(WELL.reflection(FREQ, 0.93), 1), read(WELL.reflection(FREQ), 2))
    assert [each.fault for each in moved.rivals] == ["broken", "surroundings"]
    assert suspect(read(WELL.reflection(FREQ, 0.6), 1), read(WELL.reflection(FREQ), 2)).first.fault == "broken"


@pytest.mark.usefixtures("trials")
def test_current_on_the_braid_follows_the_hand():
    """The dip moves by 2 % while the lead is held."""
    handled = read(WELL.reflection(FREQ, 1.03), 3)
    assert suspect(read(WELL.reflection(FREQ), 1), read(WELL.reflection(FREQ), 2), handled).first.fault == "braid"


@pytest.mark.usefixtures("trials")
def test_a_joint_that_jumps_when_it_is_moved():
    """Twenty ohm more in the way while a hand is on the lead; the dip stays. A little current on the braid would look alike."""
    ohm = 75 * (1 + WELL.reflection(FREQ)) / (1 - WELL.reflection(FREQ)) + 40
    handled = read((ohm - 75) / (ohm + 75), 3)
    found = suspect(read(WELL.reflection(FREQ), 1), read(WELL.reflection(FREQ), 2), handled)
    assert {each.fault for each in found.rivals} == {"joint", "braid"}


@pytest.mark.usefixtures("trials")
def test_a_wall_makes_even_ripple_of_air():
    """A surface three metres in front of the antenna."""
    own = WELL.reflection(FREQ)
    wall = own + (1 - abs(own) ** 2) * 0.08 * np.exp(-2j * np.pi * FREQ * 2 * 3.0 / 299_792_458.0)
    found = suspect(read(wall, 1), read(own, 2))
    assert found.first.fault == "surroundings"
    assert "not read" not in three_lines(found)[0]
    # Ripple that was there before may be the antenna's own feeder, and without a sweep from before this is open.
    assert suspect(read(wall, 1), read(wall, 2)).first is None
    alone = {each.id: each.seen for each in suspect(read(wall, 1)).signs}
    assert alone["ripple_surface"] is alone["ripple_braid"] is None


def test_what_was_not_read_is_said_and_not_taken_for_a_good_sign():
    """With one sweep alone most signs are open."""
    found = suspect(read(WELL.reflection(FREQ), 1))
    assert {each.seen for each in found.signs} == {False, None}
    assert "no proof" in three_lines(found)[1]


def test_sweeps_of_other_spans_are_refused_and_options_belong_together():
    """With what to do."""
    other = as_readings(FREQ[:80], WELL.reflection(FREQ[:80]))
    with pytest.raises(RangeError, match="same frequencies"):
        suspect(read(WELL.reflection(FREQ), 1), other)
    run = CliRunner().invoke
    sweep = ["tune", "demo/loops.toml", "demo/loops.s1p"]
    assert run(chain, [*sweep, "--before", "demo/loops.s1p"]).exit_code == 2
    assert run(chain, [*sweep, "--faults", "--match"]).exit_code == 2
    words = ["tune", "demo/loops.toml", "demo/loops-wet.s1p", "--faults", "--before", "demo/loops.s1p"]
    done = run(chain, words, standalone_mode=False)
    assert done.stdout.startswith("Suspected: water")


def test_the_demo_is_what_its_script_writes(tmp_path):
    """The invented sweeps come out of the script beside them, byte for byte."""
    runpy.run_path("demo/make_loops_sweep.py")["main"](tmp_path)
    for name in ("loops.s1p", "loops-wet.s1p", "loops.csv"):
        assert (tmp_path / name).read_text(encoding="utf-8") == Path("demo", name).read_text(encoding="utf-8")


def test_every_sign_that_the_table_of_faults_names_is_one_that_is_looked_for():
    """And each row says what decides, what to do and where it comes from."""
    known = {each.id for each in suspect(read(WELL.reflection(FREQ), 1)).signs}
    rows = list(csv.DictReader(line for line in text_of("antenna_faults.csv").splitlines() if not line.startswith("#")))
    assert {sign for row in rows for key in ("signs_for", "signs_against") for sign in row[key].split()} <= known
    for row in rows:
        assert len(f"Next: {row['decides']}.") <= 80
        assert row["evidence"] == "practice"
        assert row["remedy"]
        assert row["source"]
