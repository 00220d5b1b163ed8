"""The bench card: readings of known terminations against Ohm's law and a second computation, wiring, ohms, cautions, lines to fill in."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from io import StringIO
from pathlib import Path

import few_trials
import numpy as np
import pytest
import strategies as made
from click.testing import CliRunner
from further import wide
from pages import BOATHOUSE, Reader, hostile_setup, short_boathouse, thinned
from rich.cells import cell_len
from rich.console import Console

from chain import recover
from chain.analyses import bench_card
from chain.analyses.bench_card import card, end_readings
from chain.analyses.checks import check
from chain.analyses.expect import expect
from chain.analyses.ohmmeter import dc_card
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.files.setup_file import load_setup, parse_setup
from chain.html.page import card_html
from chain.reflection import magnitude_from_vswr
from chain.setup_report import recover as reported
from chain.setup_report.card import render
from chain.uncertainty.measurement import measurement_of

pytestmark = pytest.mark.usefixtures("answered_once")

FREQ_HZ = 200e6


def run(*words, status=0):
    """What a command writes to stdout; it must end with the status."""
    done = CliRunner().invoke(chain, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout


def readings(setup):
    """Readings of the known terminations of a set-up at its own frequencies, by end."""
    return {each.end: each for each in end_readings(measurement_of(setup, build(setup)), 1000)}


SHORT = parse_setup(short_boathouse().encode())


@pytest.fixture(scope="module")
def boathouse():
    return card(SHORT)


@pytest.fixture(scope="module")
def of_channels():
    """A card of a set-up of channels, of few trials."""
    with pytest.MonkeyPatch.context() as here:
        few_trials.lower(here)
        return card(parse_setup(hostile_setup(1).encode(), "x"), seed=3)


def in_parallel(*ohms):
    return 1 / sum(1 / ohm for ohm in ohms)


def ratio(ohm, reference_ohm):
    return max(ohm, reference_ohm) / min(ohm, reference_ohm)


def test_known_ends_behind_a_pad_read_what_its_resistors_say():
    """Shunt 86.60 and series 43.30 ohm by Ohm's law alone: the open reads 1.732, which is the square root of three.

    Source: resistors of the minimum-loss pad, R1 = 86.60 and R2 = 43.30 ohm between 50 and 75 ohm, in every handbook of
    the trade (memory); the VSWRs follow from them with nothing but series and parallel resistances.
    """
    shunt, series = 50 * np.sqrt(3), 25 * np.sqrt(3)
    found = readings(made.setup_of([made.item(made.pad())]))
    seen = {
        "open": shunt,
        "short": in_parallel(shunt, series),
        "75 ohm": in_parallel(shunt, series + 75),
        "50 ohm": in_parallel(shunt, series + 50),
    }
    for name, ohm in seen.items():
        assert found[name].reading_vswr == pytest.approx(ratio(ohm, 50.0), rel=1e-6), name
    assert found["open"].reading_vswr == pytest.approx(np.sqrt(3))


def test_known_ends_behind_a_lead_agree_with_scikit_rf():
    """A pad, and a metre of lossy 75-ohm line behind it, cascaded by scikit-rf with each end on it: the same readings."""
    import skrf

    lead = made.lead(0.8, FREQ_HZ)
    found = readings(made.setup_of([made.item(made.pad()), lead], freq_hz=(FREQ_HZ, FREQ_HZ, 1)))
    loss = 10 ** (-made.LEAST_LOSS_DB / 20)
    frequency = skrf.Frequency.from_f([FREQ_HZ], unit="hz")
    pad = skrf.Network(frequency=frequency, s=[[[0, loss], [loss, 0]]], z0=[[50, 75]])
    turn = 10 ** (-0.8 / 20) * np.exp(-2j * np.pi * FREQ_HZ * 1.0 / (0.66 * 299792458))
    line = skrf.Network(frequency=frequency, s=[[[0, turn], [turn, 0]]], z0=[[75, 75]])
    for name, reflection in {"open": 1, "short": -1, "75 ohm": 0, "50 ohm": (50 - 75) / (50 + 75)}.items():
        end = skrf.Network(frequency=frequency, s=[[[reflection]]], z0=[[75]])
        seen = abs((pad**line**end).s[0, 0, 0])
        assert magnitude_from_vswr(found[name].reading_vswr) == pytest.approx(seen, abs=1e-6), name


def test_intervals_hold_the_stated_share_of_fresh_chains():
    """95 in 100 of chains drawn with another seed read inside the card's interval, for every end."""
    measurement = measurement_of(*(lambda setup: (setup, build(setup)))(load_setup(BOATHOUSE)))
    measurement = measurement.at(slice(0, 1))
    from chain.uncertainty.measurement import simulate

    for each in end_readings(measurement, 10_000):
        far = 1.0 if np.isinf(each.end_ohm) else (each.end_ohm - 75) / (each.end_ohm + 75)
        seen = np.abs(
            np.concatenate([simulate(measurement, batch, 777).reading(np.array(far + 0j)) for batch in range(10)])
        )
        low, high = magnitude_from_vswr([each.reading_low, each.reading_high])
        assert np.mean((seen >= low) & (seen <= high)) == pytest.approx(0.95, abs=0.012), each.end
        assert each.reading_low <= each.reading_vswr <= each.reading_high


def test_the_card_holds_the_answers_of_the_other_commands(boathouse):
    """Reading to aim for, joints, cautions and ohms are those of `expect`, `check` and the ohmmeter card."""
    assert boathouse.aim_reading.vswr == expect(SHORT).aim_reading.vswr
    assert boathouse.checked == check(SHORT)
    assert boathouse.dc == dc_card(SHORT)
    rules = [each.rule for each in boathouse.cautions]
    assert rules.count("safety") == 4
    assert "power" in rules


def test_the_text_has_wiring_with_genders_and_room_to_write(boathouse):
    """Joints in order, each end with its gender; where to calibrate; three frequencies with blanks."""
    console = Console(file=StringIO(), width=80, color_system=None, markup=False, highlight=False)
    render(boathouse, console)
    text = console.file.getvalue()
    steps = [
        "N-50 jack takes adapter: N-50 plug",
        "BNC-50 plug takes pad: BNC-50 jack",
        "BNC-75 jack takes lead: BNC-75 plug",
    ]
    places = [text.index(each) for each in ["calibrate", *steps, "The antenna\n"]]
    assert places == sorted(places)
    for name in boathouse.places:
        assert any(line.startswith(name) and line.count("____") > 7 for line in text.splitlines())
    assert text.index("static: a lead that floats") < text.index("calibrate")
    for each in ("86.6", "28.9", "129.9", "43.3"):
        assert each in text


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_the_text_fits_its_terminal(boathouse, columns):
    """No line is wider than the terminal, and no escape in it."""
    console = Console(file=StringIO(), width=columns, color_system=None, markup=False, highlight=False)
    render(boathouse, console)
    text = console.file.getvalue()
    assert "\x1b" not in text
    assert max(cell_len(line.rstrip()) for line in text.splitlines()) <= columns


@pytest.mark.process
def test_the_text_is_plain_ascii_where_there_is_nothing_else():
    """A real process with a poor terminal: 80 columns of ASCII, no escape."""
    environment = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "ascii", "TERM": "dumb"}
    done = subprocess.run(
        [sys.executable, "-m", "chain", "card", str(BOATHOUSE)], env=environment, capture_output=True, check=True
    )
    assert done.stdout.isascii()
    assert b"\x1b" not in done.stdout
    assert max(len(line) for line in done.stdout.decode().splitlines()) <= 80


def test_the_page_of_the_card_tells_the_same_as_the_text(boathouse):
    """Every reading, every joint and every caution is in the HTML too, in its order, with blanks beside the readings."""
    found = Reader(card_html(boathouse))
    seen = " ".join(" ".join(found.texts["main"]).split())
    for joint in boathouse.checked.joints:
        assert joint.near_connector in seen
        assert joint.far_connector in seen
    for each in boathouse.cautions:
        assert each.text[1:].rstrip(".") in seen
    for each in boathouse.ends:
        assert f"{each.reading_vswr:.2f}" in seen
    blanks = [attrs for attrs in found.tags("td") if attrs.get("class") == "blank"]
    assert len(blanks) >= len(boathouse.ends) + 4 * len(boathouse.places)


def test_places_to_fill_in_are_channels_where_the_set_up_has_them(of_channels):
    """A region with channels gives their names, decimated to a dozen; arms of splitters are wired too."""
    found = of_channels
    assert found.places[0] == "ch 21, 474 MHz"
    assert found.at == ("ch 21, 474 MHz", "ch 35, 586 MHz", "ch 48, 690 MHz")
    assert found.freq_hz.tolist() == [474e6, 586e6, 690e6]
    assert len(found.places) <= 12
    assert any(joint.near == "splitter with a long name 0.out2" for joint in found.checked.joints)


@pytest.mark.usefixtures("few_trials")
def test_the_file_name_says_whether_a_page_or_text_is_wanted(tmp_path):
    """`.html` gets HTML, any other name the text; JSON has the contracted keys and no infinity."""
    setup = tmp_path / "setup.toml"
    setup.write_text(short_boathouse(), "utf-8")
    run("card", setup, "-o", tmp_path / "card.html")
    run("card", setup, "-o", tmp_path / "card.txt")
    assert (tmp_path / "card.html").read_text("utf-8").startswith("<!doctype html>")
    assert Path(tmp_path / "card.txt").read_text("utf-8").splitlines()[0].startswith("The screen must show ")
    run("card", setup, "-o", tmp_path / "card.html", status=2)
    found = json.loads(run("card", setup, "--json"))
    assert {"title", "ends", "ohmmeter", "cautions", "joints", "places", "aim_reading_vswr"} <= set(found)
    assert [each["end_ohm"] for each in found["ends"][:4]] == [None, 0.0, 75.0, 50.0]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", ["plane-after-pad", "boathouse"])
def test_a_measured_sweep_fills_the_card_in(name, tmp_path):
    """Text, page and JSON have the figures that `recover` gives for the same sweep; a repeated sweep is averaged."""
    setup, sweep = thinned(name, tmp_path)
    found = json.loads(run("card", setup, sweep, "--json"))
    known = json.loads(run("recover", setup, sweep, "--json"))
    assert (found["verdict"], found["grade"], found["warnings"]) == tuple(
        known[name] for name in ("verdict", "grade", "warnings")
    )
    names = {each: each for each in ("reading_vswr", "low", "high")}
    point = {"vswr": "true_vswr", "verdict": "verdicts", "grade": "grades", "true_ohm": "true_ohm"}
    rows = {f"{freq_hz / 1e6:g} MHz": at for at, freq_hz in enumerate(known["freq_hz"])}
    wanted = {
        place: {ours: known[theirs][at] for ours, theirs in (names | point).items()} for place, at in rows.items()
    }
    for each in known["channels"]:
        at = known["freq_hz"].index(each["worst_hz"])
        own = {name: each[name] for name in (*names, "vswr", "verdict", "grade")}
        wanted[f"ch {each['channel']}, {each['worst_hz'] / 1e6:g} MHz"] = own | {"true_ohm": known["true_ohm"][at]}
    assert bool(known["channels"]) == (name == "plane-after-pad")
    assert found["places"] == [each["place"] for each in found["measured"]]
    for each in found["measured"]:
        same = wanted[each["place"]]
        assert {key: each[key] for key in same} == same
    highest = known["channels"] or [{"high": each} for each in known["high"]]
    assert max(each["high"] for each in found["measured"]) == max(each["high"] for each in highest)
    text = run("card", setup, sweep)
    assert text.splitlines()[:3] == run("recover", setup, sweep).splitlines()[:3]
    rows = text.partition("The antenna\n")[2]
    run("card", setup, sweep, "-o", tmp_path / "card.html")
    page = Reader((tmp_path / "card.html").read_text("utf-8"))
    for each in found["measured"]:
        words = [each["place"], f"{each['reading_vswr']:.2f}", f"{each['vswr']:.2f}"]
        assert any(all(word in line for word in words) for line in rows.splitlines())
        assert any(all(word in line for word in words) for line in page.texts["tr"])
    if name == "boathouse":
        again = tmp_path / "again.s1p"
        again.write_bytes(Path(sweep).read_bytes())
        assert json.loads(run("card", setup, sweep, again, "--json"))["measured"] != found["measured"]


@pytest.mark.usefixtures("few_trials")
def test_of_many_channels_the_card_shows_those_that_reach_highest():
    """Twelve lines in the order of the channels, the worst among them, and the card says that there are more."""
    setup = parse_setup(hostile_setup(0).encode(), "x")
    channels = setup.sweep.channels
    freq_hz = np.concatenate([np.linspace(low_hz, high_hz, 5)[1:4:2] for _, low_hz, high_hz in channels])
    known = recover(setup, (freq_hz, np.linspace(0.01, 0.02, freq_hz.size)), draws=1000)
    found = card(setup, recovery=known)
    assert (len(found.measured), len(known.channels)) == (12, len(channels))
    highest = sorted(known.channels, key=lambda each: (each.high, each.vswr))[-12:]
    assert [each.place for each in found.measured] == [
        f"ch {each.channel}, {float(f'{each.worst_hz:.6g}') / 1e6:g} MHz" for each in known.channels if each in highest
    ]
    assert found.places == tuple(each.place for each in found.measured)
    console = Console(file=StringIO(), width=80, color_system=None, markup=False, highlight=False)
    render(found, console)
    for text in (console.file.getvalue(), card_html(found)):
        assert f"12 of {len(channels)} that reach highest" in " ".join(text.split())


def test_a_sweep_that_cannot_be_meant_is_refused():
    """An option about a sweep without one, a sweep named twice, and a sweep beside an installation."""
    sweep = "demo/boathouse.s1p"
    run("card", BOATHOUSE, "--decimal", "comma", status=2)
    run("card", BOATHOUSE, sweep, sweep, status=2)
    run("card", "demo/outlets.toml", sweep, status=2)


def test_the_three_frequencies_are_the_ends_and_the_middle():
    """Of a sweep of two points or one there are fewer."""
    setup = load_setup("demo/boathouse.toml")
    for points, wanted in ((5, (174e6, 207e6, 240e6)), (2, (174e6, 240e6)), (1, (174e6,))):
        stop_hz = setup.sweep.stop_hz if points > 1 else setup.sweep.start_hz
        sweep = replace(setup.sweep, points=points, stop_hz=stop_hz)
        assert tuple(freq for freq, _ in bench_card._three(replace(setup, sweep=sweep))) == wanted


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(("shows", "columns"), [("vswr", 3), ("complex", 4), *wide(("return loss", 3))])
def test_an_analyzer_without_phase_has_no_column_for_an_impedance(shows, columns):
    found = card(replace(SHORT, near=replace(SHORT.near, shows=shows)), seed=3)
    console = Console(file=StringIO(), width=80, color_system=None, markup=False, highlight=False)
    render(found, console)
    assert ("R + jX" in console.file.getvalue()) == (shows == "complex")
    record = card_html(found).partition('<table class="record">')[2].partition("</table>")[0]
    assert ("R + jX" in record) == (shows == "complex")
    for row in record.split("<tr>")[2:]:
        assert row.count("<td") == columns


def test_a_set_up_of_channels_asks_for_readings_by_channel(of_channels):
    console = Console(file=StringIO(), width=80, color_system=None, markup=False, highlight=False)
    found = of_channels
    render(found, console)
    text = console.file.getvalue()
    assert 'on channel 21"' in text
    assert 'on channel 21"</code>' in card_html(found)
    assert re.search(r"ch 21 +ch 35 +ch 48 *\n +474 MHz +586 MHz +690 MHz *\n", text)
    places = re.findall(r"^ch (\d+), (\d+) MHz +_", text, re.MULTILINE)
    assert places == [(str(each), str(474 + 8 * (each - 21))) for each in range(21, 49, 3)]


def test_what_was_typed_is_shown_with_the_other_beside_it():
    """A channel that was named, and a frequency that was typed, both at the middle of a channel."""
    setup = load_setup("demo/downlead.toml")
    for text, place, at in (
        ("1.2 on channel 7", "channel 7", "ch 7, 191.5 MHz"),
        ("1.2 at 191.5 MHz", "191.5 MHz", "191.5 MHz, ch 7"),
    ):
        found = recover(setup, text, draws=400)
        console = Console(file=StringIO(), width=80, color_system=None, markup=False, highlight=False)
        reported.render(found, console)
        shown = console.file.getvalue()
        assert place in shown.split("\n")[1].lower().replace("mhz", "MHz")
        assert at in shown
        assert [each.place for each in card(setup, recovery=found).measured] == [at]
