"""What a reading is taken for with every unknown at zero."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import strategies as made
from click.testing import CliRunner
from pages import thinned
from screens import says

from chain.analyses import recover as recover_module
from chain.analyses.judgement import _remarks
from chain.analyses.possible import by_blocks
from chain.analyses.recover import nominal_truth, recover
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.errors import RangeError
from chain.files.setup_file import load_setup
from chain.reflection import magnitude_from_vswr
from chain.rf.twoport import Maps
from chain.setup_report.recover import APART_LINE, opening
from chain.sweeps.reading_words import parse_reading
from chain.sweeps.readings import Readings, averaged, averaged_sweeps, from_texts, typed_readings
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps

pytestmark = pytest.mark.usefixtures("answered_once")

BOATHOUSE = "demo/boathouse.toml"
PHASES = np.exp(2j * np.pi * (np.arange(720) + 0.5) / 720)


def seen_through(known, magnitude):
    """Median reading of an antenna whose phase may be any."""
    return np.median(np.abs(known.reading((magnitude * PHASES)[:, None])), axis=0)


@pytest.mark.parametrize("magnitude", [0.0, 0.1, 1 / 3, 0.7, 1.0])
@pytest.mark.parametrize(
    "coefficients", [(0.27, 0, 0), (0.25, 0.05j, 0.04), (0.2, 0.6, 0.5), (0.1, 0.9, 0.6), (0.3, 0.9, 0.8)]
)
def test_nominal_truth_of_a_median_reading(coefficients, magnitude):
    """Also behind chains that reflect more than the antenna does, whose median reading falls before it rises."""
    known = Maps(*(np.full((1, 1), value, dtype=complex) for value in coefficients))
    reading = Readings(np.array([1e8]), seen_through(known, magnitude), None, "")
    found = nominal_truth(known, reading)[0]
    assert seen_through(known, found[0])[0] == pytest.approx(reading.magnitude[0], abs=5e-4)
    assert found[0] <= magnitude + 0.02


def test_a_perfect_antenna_behind_a_resistor_in_series_is_not_an_open():
    """91 ohm in series, the wrong thing to match with: a perfect antenna reads 0.54, which an open would read as little as."""
    pad = made.item(made.ladder([("series", 91.0)]), "resistor")
    setup = made.setup_of([pad], limit_vswr=2.0)
    known = nominal_maps(measurement_of(setup, build(setup)))
    perfect = np.abs(known.reading(np.zeros((1, 1), complex)))[0]
    # (75 + 91 - 50)/(75 + 91 + 50).
    assert perfect[0] == pytest.approx(116 / 216)
    found = recover(setup, Readings(np.array([200e6]), perfect, None, "VSWR"), draws=1000)
    assert found.true_vswr[0] == pytest.approx(1, abs=1e-6)


def said(*words):
    """What `chain recover` prints, line ends taken out."""
    done = CliRunner().invoke(chain, ["recover", *words])
    assert done.exit_code == 0, done.output
    return " ".join(done.stdout.split())


@pytest.mark.usefixtures("few_trials")
def test_linear_propagation_is_reported_where_it_holds_and_why_not_where_it_does_not():
    """u and its split where valid; the reason in one line where not; nothing to propagate without a phase."""
    behind_the_pad = "demo/plane-after-pad.toml"
    holds = said(behind_the_pad, "--reading", "0.3+0.2j at 210 MHz", "-v")
    assert says(holds, "linear", "0.033", "lead 7")
    assert not says(holds, "not valid")
    small = said(behind_the_pad, "--reading", "0.03+0.02j at 210 MHz", "-v")
    assert says(small, "linear", "not valid", "zero")
    both = said(behind_the_pad, "--reading", "0.3+0.2j at 210 MHz", "--reading", "0.03+0.02j at 211 MHz", "-v")
    assert says(both, "1 of 2", "0.033", "not valid", "zero")
    assert says(said(behind_the_pad, "--reading", "VSWR 1.5 at 210 MHz", "-v"), "no", "GUM", "needs phase")


def test_linear_shares_are_of_the_readings_it_holds_for():
    """The split adds up to the whole variance of the magnitude at the readings shown."""
    setup = load_setup("demo/plane-after-pad.toml")
    readings = from_texts([parse_reading("0.3+0.2j at 210 MHz")])
    found = recover(setup, readings, draws=4000).linear
    parts = sum(each.u_magnitude**2 for each in found.contributions)
    np.testing.assert_allclose(parts, found.u_magnitude**2, rtol=1e-9)


def test_readings_outside_the_sweep_of_the_set_up_are_reported():
    """A sweep of another antenna is judged, but not without a word."""
    setup = load_setup("demo/boathouse.toml")
    inside, outside = (from_texts([parse_reading(f"VSWR 1.3 at {at} MHz")]) for at in (210, 500))
    assert not recover(setup, inside, draws=1000).warnings
    assert says(recover(setup, outside, draws=1000).warnings[0], "outside", "174 to 240 MHz")


@pytest.mark.parametrize(("text", "coarse"), [("0.1-0.08j", True), ("0.10-0.08j", False), ("VSWR 1.30", False)])
def test_a_last_digit_that_makes_much_of_the_interval_is_spoken_of(text, coarse):
    setup = load_setup("demo/boathouse.toml")
    found = recover(setup, from_texts([parse_reading(f"{text} at 210 MHz")]), draws=4000)
    assert any("give one digit more" in each for each in found.warnings) == coarse
    exact = np.array([0.1 - 0.08j])
    digits = recover(setup, Readings(np.array([210e6]), np.abs(exact), exact, ""), draws=4000)
    if coarse:
        narrower = magnitude_from_vswr(digits.high) - magnitude_from_vswr(digits.low)
        assert narrower < 0.8 * (magnitude_from_vswr(found.high) - magnitude_from_vswr(found.low))


def sweep_of(far, points=12, noise=0.0, seed=1, **more):
    """A sweep as the boathouse's chain shows it with nothing unknown, noise added; the set-up with it."""
    setup = load_setup(BOATHOUSE)
    freq_hz = np.linspace(180e6, 220e6, points)
    reading = nominal_maps(measurement_of(setup, build(setup, freq_hz))).reading(np.full(points, far, dtype=complex))[0]
    pair = np.random.default_rng(seed).standard_normal((2, points))
    reading = reading + noise * (pair[0] + 1j * pair[1])
    return setup, Readings(freq_hz, np.abs(reading), reading, "", **more)


def test_a_reading_at_the_middle_of_a_channel_is_named_by_it():
    setup = load_setup("demo/boathouse.toml")
    setup = replace(setup, sweep=replace(setup.sweep, channels=(("7", 188.0e6, 195.0e6), ("8", 195.0e6, 202.0e6))))
    found = recover(setup, typed_readings("1.1 at 191.5 MHz", "1.2 at 199 MHz"), 400)
    assert found.middle_of == ("7", "")
    shown = opening(found)
    assert "Worst, 199 MHz" in shown[1]
    channels = {name: (low, high) for name, low, high in setup.sweep.channels}
    for text, place in (("1.1 at 191.5 MHz", "191.5 MHz: "), ("1.1 on channel 7", "Channel 7: ")):
        assert opening(recover(setup, typed_readings(text, channels=channels), 400))[1].startswith(place)


def test_every_point_of_a_long_sweep_is_judged():
    setup, readings = sweep_of(0.1, 1001)
    found = recover(setup, readings, draws=1000)
    assert found.low.size == found.bound_high.size == 1001
    assert np.all((found.low <= found.true_vswr) & (found.true_vswr <= found.high))


def test_repeated_sweeps_are_averaged_as_complex_values():
    """Of four sweeps the noise is halved and nothing else; a magnitude has none to average."""
    setup, _ = sweep_of(0.2)
    sweeps = [sweep_of(0.2, noise=0.01, seed=n)[1] for n in range(4)]
    mean = averaged_sweeps(sweeps)
    assert mean.repeats == 4
    assert mean.reflection == pytest.approx(np.mean([each.reflection for each in sweeps], axis=0))
    noisy = replace(setup, near=replace(setup.near, trace_noise_db=0.5))
    one, four = recover(noisy, sweeps[0], draws=4000), recover(noisy, mean, draws=4000)
    assert (four.high - four.low).mean() < 0.95 * (one.high - one.low).mean()
    plain = Readings(mean.freq_hz, mean.magnitude, None, "")
    with pytest.raises(RangeError, match="no phase"):
        averaged_sweeps([plain, plain])
    with pytest.raises(RangeError, match="other frequencies"):
        averaged_sweeps([mean, mean.at(slice(0, 5))])


def test_noise_is_averaged_along_a_sweep_only_by_a_stated_resonance():
    """A sweep of noise about one value is narrower with `antenna_q`; one that moves by more than its noise is left as it is."""
    setup, readings = sweep_of(0.2, 101, 0.01)
    noisy = replace(setup, near=replace(setup.near, trace_noise_db=0.087))
    stated = replace(noisy, far=replace(setup.far, antenna_q=10.0))
    plain, averaged = (recover(each, readings, draws=2000) for each in (noisy, stated))
    assert (averaged.high - averaged.low).mean() < 0.97 * (plain.high - plain.low).mean()
    assert np.abs(averaged.true_reflection - 0.2).std() < 0.6 * np.abs(plain.true_reflection - 0.2).std()
    ripple = readings.reflection + 0.05 * np.cos(np.arange(101))
    found = recover(stated, replace(readings, reflection=ripple, magnitude=np.abs(ripple)), draws=2000)
    assert says(" ".join(found.warnings), "antenna_q", "nothing is averaged")


def test_nothing_is_proven_from_a_processed_sweep():
    """The same sweep of a very good antenna and of a very bad one: proven as measured, leaning once it has been gated."""
    for far, word, lean in ((0.0, "pass", "leans better"), (0.95, "fail", "leans worse")):
        setup, readings = sweep_of(far)
        better = replace(setup, calibration=replace(setup.calibration, plane="lead"))
        measured = sweep_at(better, far, 4)
        assert recover(better, measured, draws=2000).verdict == word
        gated = recover(better, replace(measured, processed="time-gated"), draws=2000)
        assert (gated.verdict, gated.grade) == ("not proven", lean)
        assert readings.processed == ""


def sweep_at(setup, far, points):
    freq_hz = np.linspace(180e6, 220e6, points)
    reading = nominal_maps(measurement_of(setup, build(setup, freq_hz))).reading(np.full(points, far, dtype=complex))[0]
    return Readings(freq_hz, np.abs(reading), reading, "")


def test_channels_agree_with_their_points():
    """Fail where a point fails, pass where all do; the interval holds the worst nominal value and is never on the wrong side."""
    setup, _ = sweep_of(0.2)
    channels = tuple((str(n), 180e6 + 10e6 * n, 190e6 + 10e6 * n) for n in range(4))
    setup = replace(
        setup,
        sweep=replace(setup.sweep, channels=channels),
        calibration=replace(setup.calibration, plane="lead"),
    )
    size = np.repeat([0.1, 0.3, 0.35, 0.7], 5)
    freq_hz = np.linspace(180.5e6, 219.5e6, 20)
    far = size * np.exp(1j)
    reading = nominal_maps(measurement_of(setup, build(setup, freq_hz))).reading(far)[0]
    found = recover(setup, Readings(freq_hz, np.abs(reading), reading, ""), draws=2000)
    assert [each.channel for each in found.channels] == ["0", "1", "2", "3"]
    assert [each.verdict for each in found.channels][::3] == ["pass", "fail"]
    assert found.verdict == "fail"
    limit = found.limit_vswr
    for each in found.channels:
        assert each.low <= each.vswr * (1 + 1e-9)
        assert each.vswr <= each.high * (1 + 1e-9)
        assert (each.high <= limit) == (each.verdict == "pass")
        assert each.low >= limit if each.verdict == "fail" else each.low <= limit
        words = {w for w, f in zip(found.verdicts, freq_hz, strict=True) if each.low_hz <= f <= each.high_hz}
        assert ("fail" in words) == (each.verdict == "fail")


@pytest.mark.usefixtures("few_trials")
def test_all_figures_of_a_channel_are_of_one_place(tmp_path):
    """Also where the worst match and the highest upper end are of two points; a line says why two intervals differ."""
    setup, sweep = map(str, thinned("plane-after-pad", tmp_path))
    outcome = CliRunner().invoke(chain, ["recover", setup, sweep, "--json"])
    found = json.loads(outcome.stdout)
    for each in found["channels"]:
        at = found["freq_hz"].index(each["worst_hz"])
        assert (each["reading_vswr"], each["vswr"]) == (found["reading_vswr"][at], found["true_vswr"][at])
        inside = [n for n, f in enumerate(found["freq_hz"]) if each["low_hz"] <= f <= each["high_hz"]]
        assert each["vswr"] == max(found["true_vswr"][n] for n in inside if found["verdicts"][n] == each["verdict"])
        assert each["high"] == max(found["high"][n] for n in inside)
    assert any(each["low"] != found["low"][found["freq_hz"].index(each["worst_hz"])] for each in found["channels"])
    assert says(CliRunner().invoke(chain, ["recover", setup, sweep]).stdout, APART_LINE)


def test_grades_follow_the_chance_at_the_limit():
    setup = load_setup(BOATHOUSE)
    found = recover(
        setup,
        typed_readings(*(f"VSWR {x:.2f} at {f} MHz" for x, f in ((1.01, 200), (1.2, 210), (1.6, 220)))),
        draws=4000,
    )
    assert np.all(np.diff(found.chance_at_limit) < 0)
    for chance, grade, word in zip(found.chance_at_limit, found.grades, found.verdicts, strict=True):
        assert (grade == "better") == (word == "pass")
        if word == "not proven":
            assert grade == ("leans better" if chance >= 0.8 else "leans worse" if chance <= 0.2 else "open")


def test_the_cure_is_the_best_of_the_cheapest_kind_and_starts_from_the_interval_shown():
    """Moving the plane costs nothing wherever it goes: the plane that helps most is named."""
    found = recover(load_setup("demo/boathouse.toml"), from_texts([parse_reading("VSWR 1.3 at 210 MHz")]), draws=8000)
    assert found.improvement.what == "calibrate after 'lead'"
    assert (found.improvement.now_low, found.improvement.now_high) == pytest.approx(
        (found.low[0], found.high[0]), rel=1e-9
    )


def test_what_averaging_adds_is_counted_at_the_antenna_through_the_chain_s_own_slope():
    """The error that averaging adds to a recovered reflection, as a change of the reading: by the derivative, taken numerically."""
    setup = load_setup(BOATHOUSE)
    stated = replace(setup, near=replace(setup.near, trace_noise_db=0.05), far=replace(setup.far, antenna_q=10.0))
    freq_hz = np.linspace(200e6, 205e6, 41)
    measurement = measurement_of(stated, build(stated, freq_hz))
    known = nominal_maps(measurement)
    far = np.full(41, 0.3 * np.exp(0.5j))
    seen = recover_module.recovered_observation(known, known.reading(far)[0], None)
    _, made, _ = recover_module._averaged(measurement, known, far, seen, 10.0)
    error = averaged(freq_hz, far, recover_module._noise_at_antenna(measurement, far), 10.0).error
    slope = np.abs(known.reading(far + 1e-6)[0] - known.reading(far)[0]) / 1e-6
    assert np.all(error >= 0)
    np.testing.assert_allclose(made.rounding, error * slope, rtol=1e-4, atol=1e-12)


@pytest.mark.parametrize(("noise_db", "sweeps"), [(0.02, 4), (0.1, 9)])
def test_averaging_is_advised_at_a_far_plane_only_and_no_more_than_needed(noise_db, sweeps):
    """At the analyzer's port the noise of one sweep is all there is; behind a plane further out that of the standards stays."""
    setup = load_setup(BOATHOUSE)
    noisy = replace(setup, near=replace(setup.near, trace_noise_db=noise_db))
    freq_hz = np.linspace(200e6, 210e6, 31)
    far = np.full(31, 0.28 + 0j)
    sizes = recover_module._Sizes(np.abs(far), far, np.full(31, 0.25), np.full(31, 0.34), np.ones(31, bool), 3, 1 / 3)
    found = {}
    for plane in ("near", "lead"):
        there = replace(noisy, calibration=replace(noisy.calibration, plane=plane, load_db=46.0))
        measurement = measurement_of(there, build(there, freq_hz))
        found[plane] = recover_module._settled_by_averaging(there, measurement, sizes, 1)
    assert found["near"] is None
    assert found["lead"].what == f"average {sweeps} sweeps of the antenna and of each standard"
    assert found["lead"].high <= 2.0


@pytest.mark.parametrize("points", [400, 401, 1000])
def test_a_bound_by_blocks_is_made_once_of_every_frequency(points):
    freq_hz = np.linspace(180e6, 220e6, points)
    readings = Readings(freq_hz, np.full(points, 0.2), None, "")
    measurement = Measurement(freq_hz, 75.0, 75.0, (), ())
    low, high = by_blocks(lambda of, seen: (of.freq_hz, seen.freq_hz), measurement, readings)
    np.testing.assert_array_equal([low, high], [freq_hz, freq_hz])


LOFT = load_setup("tests/data/loft.toml")
TURN = "Next: turn 'pad' round and read again; if it is the right way, correct the file."


def test_after_an_impossible_reading_the_chain_is_tested():
    """Neither another plane nor a better part makes VSWR 10 behind a pad possible."""
    found = recover(LOFT, typed_readings("1.3 at 546 MHz", "10 at 600 MHz"), draws=2000)
    assert found.verdict == "impossible"
    assert opening(found)[2] == "Next: check the pad and its connections, then test the chain ('chain prove')."
    with pytest.raises(RangeError) as caught:
        recover(LOFT, typed_readings("10 at 600 MHz"), draws=2000)
    assert "chain prove" in caught.value.help


@pytest.mark.usefixtures("few_trials")
def test_a_pad_the_wrong_way_round_comes_before_all_other_advice(tmp_path):
    """First in the check, and the step of what is read and expected through it."""
    text = Path("tests/data/loft.toml").read_text(encoding="utf-8")
    text = text.replace('part = "min-loss-pad-bnc-f"\n', 'part = "min-loss-pad"\nreversed = true\n')
    path = tmp_path / "turned.toml"
    path.write_text(text.replace('near = "F-75 plug"', 'near = "BNC-75 plug"'), encoding="utf-8")
    for words in (["check"], ["expect"], ["recover", "--reading", "1.3 at 600 MHz"]):
        shown = CliRunner().invoke(chain, [words[0], str(path), *words[1:]]).stdout
        assert shown.splitlines()[2] == TURN, shown
    shown = CliRunner().invoke(chain, ["check", str(path)]).stdout
    assert shown.splitlines()[1] == "Caution, pad: the wrong way round: its 75-ohm end is at the 50-ohm side."


def test_what_the_digits_count_for_is_said():
    """Typed 1.3 is ten times as coarse as 1.30."""
    texts = [recover(LOFT, typed_readings(f"{each} at 546 MHz"), draws=2000).interpretation for each in ("1.3", "1.30")]
    assert all("half a step of the last digit either way counts" in each for each in texts)
    assert [each.split()[-3] for each in texts] == ["0.02", "0.002"]


def test_points_that_would_be_bad_alone_are_remarked_only_where_nothing_is_bad():
    """About as many as the seed makes of them; beside points that are bad the remark would play those down."""
    setup = load_setup("demo/boathouse.toml")
    freq = np.linspace(180e6, 200e6, 5)
    low = np.array([0.34, 0.34, 0.3, 0.3, 0.3])
    open_words = np.array(["not proven"] * 5)
    (text,) = _remarks(setup, freq, open_words, low, 1 / 3)
    assert text.startswith("about 2 points of 5 would be bad alone")
    assert _remarks(setup, freq, np.array(["fail", *open_words[1:]]), low, 1 / 3) == ()
    assert _remarks(setup, freq, open_words, low - 0.1, 1 / 3) == ()
