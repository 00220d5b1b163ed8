"""The answer of `tune` on antennas whose make is known exactly: place, direction, amount, and what is said where little is known."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from further import wide
from tuning_world import FREQ, Element, as_readings, bench, swept

from chain.antenna_report.tune import grid, three_lines
from chain.cli.main import chain
from chain.errors import RangeError
from chain.files.setup_file import load_setup, parse_setup
from chain.plots.tune import describe
from chain.setups import Antenna, Calibration, Item, Near
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import Readings
from chain.tuning.prediction import nominal_reading
from chain.tuning.trials import bench_of
from chain.tuning.tune import tune
from library.load import load_library

pytestmark = pytest.mark.usefixtures("answered_once")


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("number", [0, 4, *wide(1, 2, 3, 5)])
def test_a_simulated_resonance_comes_back_within_a_thousandth(number):
    """Reactance from a resonance and a slope gives back the resonance; after the change it lies where it was wanted."""
    rng = np.random.default_rng(number)
    place, ohm, quality = rng.uniform(560e6, 640e6), rng.uniform(40, 150), rng.uniform(2, 15)
    element = Element(place, ohm, quality, 0.0, 1.0)
    found = tune(bench(), swept(element), 600e6, 600e6)
    own = found.resonances[0]
    assert own.freq_hz.value == pytest.approx(place, rel=1e-3)
    assert own.resistance_ohm.value == pytest.approx(ohm, rel=0.02)
    assert own.quality_factor.value == pytest.approx(np.hypot(1, 2 * quality) / 2, rel=0.08)
    assert found.change.share.value == pytest.approx(place / 600e6 - 1, abs=1e-3)
    again = tune(bench(), swept(element, 1 + found.change.share.value), 600e6, 600e6)
    assert again.resonances[0].freq_hz.value == pytest.approx(600e6, rel=2e-3)


@pytest.mark.usefixtures("trials")
def test_the_reading_after_the_change_is_that_of_the_stretched_antenna():
    """The screen that is foretold for the wanted span is what the same chain shows of the antenna made shorter."""
    element = Element(580e6, 90, 6, 0.15, 1.1)
    found = tune(bench(), swept(element), 590e6, 620e6)
    assert found.verdict == "too long"
    later = np.abs(element.reflection(found.after.freq_hz, 1 + found.after.share))
    assert found.after.reading_vswr == pytest.approx((1 + later) / (1 - later), rel=0.01)
    assert (found.after.reading_low <= found.after.reading_vswr).all()
    assert (found.after.reading_vswr <= found.after.reading_high).all()


@pytest.mark.usefixtures("trials")
def test_behind_a_transformer_the_element_is_seen_in_its_own_ohm():
    """A 300-ohm element behind a 2:1 transformer: resistance, resonance and change are the element's."""
    part = replace(load_library().part("balun-300-75"), loss_db=0.0, loss_tolerance_db=0.0, limit=None)
    feed = Item("balun", part, part.near_connector, part.far_connector, ideal=True)
    element = Element(570e6, 65, 6, 0.0, 1.0)
    found = tune(bench(antenna=Antenna("loop", 0.5, None, (feed,))), swept(element), 600e6, 600e6)
    assert found.element_ohm == 300
    assert found.resonances[0].resistance_ohm.value == pytest.approx(260, rel=0.01)
    assert found.resonances[0].freq_hz.value == pytest.approx(570e6, rel=1e-3)
    assert found.change.length_m.value == pytest.approx(-0.025, abs=1e-3)


@pytest.mark.usefixtures("trials")
def test_the_slope_is_asked_only_of_a_plain_half_wave_element_whose_thickness_is_stated():
    """Without a resonance in the sweep it gives the amount; with another make nothing but a suspicion is left."""
    freq = np.linspace(600e6, 640e6, 81)
    element = Element(590e6, 73, 120 * (np.log(2 * 40) - 1) * np.pi / 4 / 73, 0.0, 1.0)
    thin = Antenna("half-wave", 0.24, 0.006)
    found = tune(bench(81, thin), swept(element, freq=freq), 602e6, 602e6)
    assert found.resonances == ()
    assert found.change.basis == "slope"
    assert found.change.share.value == pytest.approx(-0.02, abs=0.002)
    for other in (Antenna("half-wave", 0.24), Antenna("folded", 0.24, 0.006), Antenna()):
        found = tune(bench(81, other), swept(element, freq=freq), 602e6, 602e6)
        assert (found.verdict, found.change, found.suspected) == ("too long", None, True)


@pytest.mark.usefixtures("trials")
def test_several_elements_get_a_direction_only_and_as_suspected():
    """No amount is named where the resonance is shared."""
    found = tune(bench(antenna=Antenna("several")), swept(Element(570e6, 60, 6, 0.2, 1.05)), 600e6, 600e6)
    assert (found.verdict, found.suspected, found.change, found.after) == ("too long", True, None, None)
    assert found.trial is not None
    assert three_lines(found)[0].startswith("Suspected")


@pytest.mark.usefixtures("trials")
def test_an_uncertainty_larger_than_the_shift_is_said_and_an_improvement_named():
    """A calibration at the analyzer's port with a poor directivity cannot tell one megahertz from the next."""
    setup = bench(directivity_db=20.0, source_match_db=20.0)
    setup = replace(setup, calibration=Calibration("near"))
    at_port = nominal_reading(bench_of(setup, FREQ), Element(598e6, 70, 4, 0.0, 1.0).reflection(FREQ))
    found = tune(setup, as_readings(FREQ, at_port), 602e6, 602e6)
    assert (found.verdict, found.direction) == ("cannot tell", "")
    assert found.improvement is not None
    assert found.improvement.then_hz < found.improvement.now_hz
    assert "calibrate after" in found.improvement.what


@pytest.mark.usefixtures("trials")
def test_length_is_not_blamed_for_what_is_a_matter_of_resistance():
    """An element in tune by its reactance, but of 20 ohm: another length makes no wanted channel better."""
    found = tune(bench(), swept(Element(603e6, 20, 2, 0.0, 1.0)), 575e6, 626e6)
    assert found.verdict in ("in tune", "no gain")


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(("place", "side", "verdict"), [(550e6, "below", "too long"), (650e6, "above", "too short")])
def test_without_a_phase_the_side_of_the_dip_and_a_trial(place, side, verdict):
    """The side is suspected, never proved; the trial moves the dip towards the wanted channels and further than noise does."""
    element = Element(place, 70, 8, 0.0, 1.0)
    found = tune(bench(41), replace(swept(element, freq=FREQ[::2]), reflection=None), 598e6, 606e6)
    assert (found.dip_side, found.verdict, found.suspected) == (side, verdict, True)
    assert found.sweep.reactance_ohm is None
    trial = found.trial
    assert abs(trial.to_hz - trial.from_hz) > trial.tellable_hz
    assert abs(trial.to_hz - 602e6) < abs(trial.from_hz - 602e6)
    assert trial.to_hz == pytest.approx(trial.from_hz / (1 + trial.share))


@pytest.mark.usefixtures("trials")
def test_a_dip_at_the_end_of_the_sweep_asks_for_another_sweep():
    """What lies outside is not made up."""
    seen = swept(Element(480e6, 70, 8, 0.0, 1.0), freq=FREQ[::2])
    found = tune(bench(41), replace(seen, reflection=None), 598e6, 606e6)
    assert found.trial is None
    assert "sweep lower" in three_lines(found)[2]


@pytest.mark.usefixtures("trials")
def test_too_few_readings_and_none_that_is_wanted_are_refused():
    """With what to do instead."""
    few = FREQ[:3]
    with pytest.raises(RangeError, match="3 readings cannot show"):
        tune(bench(), as_readings(few, np.zeros(3, complex)), 500e6, 510e6)
    with pytest.raises(RangeError, match="no reading lies inside the wanted 800 to 900 MHz"):
        tune(bench(), swept(Element(600e6, 75, 5, 0, 1)), 800e6, 900e6)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("number", [*range(4), *wide(*range(4, 10))])
def test_three_lines_fit_a_narrow_screen_whatever_is_found(number):
    """At most 80 characters each, whole sentences, no word of Python's; and JSON without what it cannot hold."""
    rng = np.random.default_rng(number)
    place, ohm, quality = rng.uniform(470e6, 730e6), 8 * 110 ** rng.random(), 0.5 * 80 ** rng.random()
    kind = str(rng.choice(["", "half-wave", "folded", "loop", "several"]))
    phase, broad, noise = bool(number % 2), bool(number % 3), (0.001, 0.5)[number // 2 % 2]
    freq = FREQ[::4]
    element = Element(place, ohm, quality, 0.3, 1.07)
    readings = as_readings(freq, element.reflection(freq), phase)
    setup = bench(freq.size, Antenna(kind, 0.25, 0.006), trace_noise_db=noise)
    found = tune(setup, readings, *((590e6, 640e6) if broad else (600e6, 600e6)))
    for line in three_lines(found):
        assert len(line) <= 80, line
        assert line.endswith((".", "..."))
        assert not re.search(r"\b(nan|None|-inf)\b", line)
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.usefixtures("few_trials")
def test_the_command_prints_three_lines_first_and_writes_what_it_is_asked_for(tmp_path):
    """Text, JSON and a span of one's own; a span the wrong way round is refused."""
    run = CliRunner().invoke
    words = ["tune", "demo/loops.toml", "demo/loops.s1p"]
    done = run(chain, words, standalone_mode=False)
    lines = done.output.splitlines()
    assert lines[0].startswith("Too long: shorten the element by ")
    assert lines[2].startswith("Next: ")
    assert lines[3] == ""
    found = json.loads(run(chain, [*words, "--json", "--wanted", "565 to 585 MHz"], standalone_mode=False).output)
    assert found["wanted"]["low_hz"] == 565e6
    assert found["verdict"] in ("in tune", "cannot tell")
    assert run(chain, [*words, "--wanted", "650 to 600 MHz"]).exit_code == 2


@pytest.mark.usefixtures("few_trials")
def test_the_page_holds_the_lines_the_charts_and_the_cautions_and_loads_nothing(tmp_path):
    """One file for tuning and one for matching; text of the user's stays text."""
    from chain.html.answers import matching_html, tuning_html
    from chain.tuning.matching import match_network

    setup = replace(bench(41), title="<b>loop</b>")
    readings = swept(Element(580e6, 110, 6, 0.1, 1.1), freq=FREQ[::2])
    found = tune(setup, readings, 590e6, 630e6)
    text = tuning_html(found)
    assert text.count("<svg") == 3
    assert "&lt;b&gt;loop" in text
    assert "<b>loop" not in text
    assert "://" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "power lines" in text
    matched = matching_html(match_network(setup, readings, 590e6, 630e6))
    assert matched.count("<svg") == 2
    assert "dry box" in matched


@pytest.mark.usefixtures("few_trials")
def test_the_plots_are_drawn_as_characters_and_as_a_picture(tmp_path):
    """VSWR, ohms and circle chart from one description each."""
    from chain.plots import tune as drawing

    run = CliRunner().invoke
    words = ["tune", "demo/loops.toml", "demo/loops.s1p"]
    assert "Resistance and reactance" in run(chain, [*words, "--plot"], standalone_mode=False).stdout
    picture = tmp_path / "tune.svg"
    run(chain, [*words, "--plot", str(picture), "-q"], standalone_mode=False)
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    seen = swept(Element(580e6, 110, 6, 0, 1), freq=FREQ[::2])
    found = tune(bench(41), replace(seen, reflection=None), 590e6, 630e6)
    assert [each.name for each in drawing.describe(found)] == ["vswr"]


@pytest.mark.usefixtures("few_trials")
def test_readings_of_no_passive_antenna_hide_no_dip():
    """A few points beyond a full reflection have no true value; the dip between them is found all the same."""
    seen = swept(Element(550e6, 70, 8, 0.0, 1.0), freq=FREQ[::2])
    plain = tune(bench(41), replace(seen, reflection=None), 545e6, 606e6)
    # 1.1 is the largest that a reader of sweeps lets through.
    magnitude = np.where(np.arange(seen.magnitude.size) % 20 == 0, 1.1, seen.magnitude)
    found = tune(bench(41), replace(seen, reflection=None, magnitude=magnitude), 545e6, 606e6)
    assert np.isnan(found.sweep.true_vswr).any()
    assert found.dip.value == pytest.approx(plain.dip.value, rel=2e-3)
    assert found.now.vswr.value == np.inf
    _, rows = grid(found, every_point=True)
    assert [row[2] for row in rows].count("none") == np.isnan(found.sweep.true_vswr).sum()
    assert "nan" not in str(rows)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("size", [1.0, 1.05])
def test_an_open_end_has_a_resistance_and_a_reactance(size):
    """(1 + G)/(1 - G) of G = 1, exactly or of a reading beyond it; the trials' quantiles and the table have no hole there."""
    seen = swept(Element(580e6, 110, 6, 0, 1))
    full = np.full(seen.freq_hz.size, size, dtype=complex)
    setup = replace(bench(), calibration=Calibration(bench().items[-1].id), near=Near(bench().near.connector, 50.0))
    found = tune(setup, replace(seen, magnitude=np.full(full.size, size), reflection=full), 590e6, 630e6)
    for each in (found.sweep.resistance_ohm, found.sweep.reactance_ohm, found.sweep.reactance_low_ohm):
        assert np.isfinite(each).all()
    head, rows = grid(found, every_point=True)
    assert {row[4] for row in rows} == {"open"}, head
    assert "nan" not in str(rows)


def two_dips(setup, lower_hz, upper_hz, wanted_hz):
    """Readings without a phase with a dip at either frequency, answered for a wanted span."""
    freq = np.linspace(470e6, 700e6, 58)
    away = [1 - np.exp(-(((freq - place) / 25e6) ** 2)) for place in (lower_hz, upper_hz)]
    shown = np.round(1.02 + 0.2 * away[0] * away[1], 2)
    return tune(setup, Readings(freq, np.asarray((shown - 1) / (shown + 1)), None, "made"), *wanted_hz)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(
    ("wanted_hz", "dip_hz", "other"), [((640e6, 690e6), 666e6, "514"), ((480e6, 530e6), 514e6, "666")]
)
def test_of_two_dips_the_wanted_one_counts_and_the_other_is_named(wanted_hz, dip_hz, other):
    """A dip in the wanted span is not passed over for one elsewhere that is as deep."""
    found = two_dips(load_setup("tests/data/loft.toml"), 514e6, 666e6, wanted_hz)
    assert found.dip.value == pytest.approx(dip_hz, abs=4e6)
    assert found.other_dips_hz == (pytest.approx(1e6 * float(other), abs=4e6),)
    assert f"another at {round(found.other_dips_hz[0] / 1e6)} MHz" in three_lines(found)[1]


def seen_on(shown, freq_hz, setup):
    """The answer for readings typed from a screen that shows VSWR only."""
    vswr = np.array(shown)
    half = np.full(vswr.size, 0.005)
    readings = Readings(np.array(freq_hz), (vswr - 1) / (vswr + 1), None, "typed", rounding=half)
    return tune(setup, readings)


CHANNEL_MIDDLES = np.array([474e6, 506e6, 546e6, 594e6, 626e6, 658e6])


@pytest.mark.usefixtures("trials")
def test_readings_far_apart_are_not_smoothed_into_a_dip_where_none_is():
    """Of readings 32 MHz apart each stands for itself: the dip is at the least of them, and nothing is said of the sweep's end."""
    setup = load_setup("tests/data/loft.toml")
    found = seen_on([1.30, 1.22, 1.15, 1.50, 1.08, 1.90], CHANNEL_MIDDLES, setup)
    assert found.dip.value == pytest.approx(626e6, abs=5e6)
    assert "end of the sweep" not in three_lines(found)[1]
    found = seen_on([1.30, 1.22, 1.15, 1.08, 1.15, 1.20], CHANNEL_MIDDLES, setup)
    assert found.dip.value == pytest.approx(594e6, abs=12e6)


@pytest.mark.usefixtures("trials")
def test_a_best_reading_inside_is_not_called_one_at_the_end():
    """Where noise lets the smoothed curve end lowest, the best reading itself counts."""
    freq = np.linspace(470e6, 694e6, 113)
    shown = np.linspace(1.03, 1.32, freq.size)
    shown[:4] = [1.03, 1.04, 1.02, 1.06]
    found = tune(load_setup("tests/data/loft.toml"), Readings(freq, (shown - 1) / (shown + 1), None, "made"))
    assert found.dip.value == pytest.approx(474e6, abs=2e6)


def test_without_a_phase_the_next_step_needs_none():
    """A screen of VSWR only is not sent to a matching network; a dip that may be anywhere is said to be so in English."""
    handheld = load_setup("tests/data/loft.toml")
    setup = replace(handheld, near=replace(handheld.near, shows="complex"))
    shown = [1.5, 1.32, 1.2, 1.06, 1.25, 1.45]
    ends = [three_lines(seen_on(shown, CHANNEL_MIDDLES, each))[2] for each in (setup, handheld)]
    assert ends[0] == "Next: save a sweep with phase; 'chain tune --match' then says what helps."
    assert ends[1] == "Next: leave the length; test the chain ('chain prove') for what makes it bad."
    shown = [1.15, 1.12, 1.10, 1.12, 1.08, 1.12]
    second = three_lines(seen_on(shown, CHANNEL_MIDDLES, handheld))[1]
    assert second.endswith("such readings do not tell where it is.")
    assert "or anywhere" not in second


def test_a_reading_that_the_chain_cannot_show_is_said():
    """VSWR 10 behind a pad is no antenna's."""
    setup = load_setup("tests/data/loft.toml")
    found = seen_on([1.30, 1.22, 1.15, 1.50, 1.08, 10.0], CHANNEL_MIDDLES, setup)
    assert any("1 reading cannot come through this chain" in each for each in found.warnings)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("wanted", [(560e6, 694e6), *wide(((520e6, 600e6),))], ids=str)
def test_what_cannot_be_resolved_is_not_answered_by_a_cut(wanted):
    """Where the direction is unknown the trial can be undone, and is in millimetres where the length is stated."""
    setup = replace(load_setup("tests/data/loft.toml"), antenna=Antenna(length_m=0.25))
    found = two_dips(setup, 540e6, 666e6, wanted)
    assert found.verdict == "cannot tell"
    assert found.trial is not None
    assert found.trial.share > 0
    assert found.trial.length_m == pytest.approx(0.25 * found.trial.share)
    lines = three_lines(found)
    assert lines[2].startswith("Next: lengthen by")
    assert "mm) with foil" in lines[2]
    assert max(map(len, lines)) <= 80


@pytest.mark.usefixtures("few_trials")
def test_where_nothing_is_seen_of_the_antenna_no_other_sweep_is_asked_for():
    """Behind 400 m of lead the dip may lie anywhere, whatever is swept: the plane is what helps."""
    text = Path("demo/loops.toml").read_text("utf-8")
    deep = text.replace('length = "2 m"', 'length = "400 m"').replace('plane = "lead"', 'plane = "near"')
    setup = parse_setup(deep.replace('load_impedance = "75 ohm"', "").encode(), "deep.toml", Path("demo"))
    lines = three_lines(tune(setup, read_sweep("demo/loops.s1p")))
    assert lines[0].startswith("Cannot tell yet: no resonance is seen")
    assert lines[2] == "Next: 'chain planes' says where to calibrate; from here nothing is seen of it."


@pytest.mark.usefixtures("trials")
def test_a_best_reading_at_the_lowest_frequency_is_no_dip_on_either_side():
    """First and third line agree: nothing is seen below, so it is looked for there."""
    freq = np.linspace(470e6, 700e6, 58)
    shown = np.linspace(1.02, 1.32, freq.size)
    found = tune(load_setup("tests/data/loft.toml"), Readings(freq, (shown - 1) / (shown + 1), None, "made"))
    lines = three_lines(found)
    assert lines[0] == "Cannot tell from this alone: the match is best at the lowest frequency."
    assert lines[2] == "Next: sweep lower; the dip may lie below 470 MHz."


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("middle_hz", [590e6, 610e6])
def test_the_words_of_two_lines_close_together_stand_in_the_order_of_the_lines(middle_hz):
    """The resonance at 600 MHz, the wanted middle 10 MHz below or above it."""
    found = tune(bench(), swept(Element(600e6, 75, 6, 0, 1)), middle_hz - 30e6, middle_hz + 30e6)
    lines = sorted((each for each in describe(found)[0].levels if each.along == "y"), key=lambda each: each.value)
    roles = {"ceiling": "resonance", "limit": "wanted"}
    assert ", ".join(roles[each.role] for each in lines) in [each.label for each in lines]


@pytest.mark.usefixtures("trials")
def test_the_worst_of_the_span_is_named_as_such():
    """Line two holds the value at its frequency and the interval of the worst anywhere, which holds every row's upper end."""
    found = tune(bench(), swept(Element(600e6, 130, 6, 0, 1)), 590e6, 610e6)
    assert found.now.vswr.low <= found.now.vswr.value <= found.now.vswr.high
    chosen = (found.sweep.freq_hz >= 590e6) & (found.sweep.freq_hz <= 610e6)
    assert found.now.vswr.value == pytest.approx(found.sweep.true_vswr[chosen].max())
    if found.verdict == "in tune":
        assert re.search(r"at [\d.]+ MHz \(worst anywhere: [\d.]+ to [\d.]+\)", three_lines(found)[1])
