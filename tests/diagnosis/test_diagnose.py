"""Known ends and what they mean: closed forms of a pad that is right, reversed, missing or lossy, spans, shares, verdicts."""

from dataclasses import replace
from math import inf, isinf

import numpy as np
import pytest
import strategies as made
from diagnosis_cases import BOATHOUSE, ENDS, ideal_reading, read
from hypothesis import given, settings
from hypothesis import strategies as st

from chain.assembly.bare_pad import bare_pad
from chain.diagnosis.diagnose import ASSUMED_LOAD_DB, prove
from chain.diagnosis.evidence import ENOUGH, FaultProbability, _gathered, probabilities
from chain.diagnosis.faults import WRONG_LEAD, FaultKind, SuspectedFault, kinds_of
from chain.diagnosis.likelihood import BLOCK, span_probability, strata, work_of
from chain.diagnosis.ohmmeter_likelihood import parse_ohms
from chain.diagnosis.records import CANT_TELL, NONE_OF_THESE, NOTHING_SHOWN
from chain.diagnosis.session import draw_block, session
from chain.diagnosis.terminations import known_ends, typed_span
from chain.errors import ChainError, RangeError, UnitError
from chain.files.setup_file import load_setup
from chain.sweeps.readings import Readings

BAND_III = np.array([207e6])


# Computed by hand from 43.30 ohm in series and 86.60 ohm across: the right way round G/3.732, reversed Z seen through the
# series arm last. Reversed, open and short differ: bench notes of pads (practice) tell a reversed pad by it.
@pytest.mark.parametrize(
    ("what", "expected"),
    [
        ("right", [1.732, 1.732, 1.000, 1.113]),
        ("pad reversed", [2.598, 1.155, 1.670, 1.500]),
        ("pad missing", [inf, inf, 1.500, 1.000]),
    ],
)
def test_ideal_pad_right_reversed_and_missing(what, expected):
    """Closed forms of the minimum-loss pad; without one the ends show as they are in 50 ohm."""
    resistors = replace(made.ladder([("shunt", 86.6025), ("series", 43.3013)]), arm_tolerance=0.0)
    for setup in (bare_pad(2e8, 2e8, ideal=True), made.setup_of([made.item(resistors, "pad")])):
        shown, _ = ideal_reading(setup, what)
        finite = [value for value in expected if not isinf(value)]
        assert shown[0, -len(finite) :] == pytest.approx(finite, abs=0.001)
        assert np.all(shown[:, : len(expected) - len(finite)] > 1e5)


def test_ideal_reversed_pad_as_specified_is_matched_the_wrong_way_round():
    """Reversed and matched at both ends the pad shows 12.01 dB: computed, the 75-ohm end seen from 50 ohm through 75 in 50."""
    shown, _ = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "pad reversed")
    magnitude = (shown[0, 2] - 1) / (shown[0, 2] + 1)
    assert -20 * np.log10(magnitude) == pytest.approx(12.01, abs=0.01)


def test_a_pad_of_another_loss_shows_it_twice_in_an_open():
    """Return loss of an open is twice the loss: there and back (published, glossaries of radio terms)."""
    shown, more_db = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "pad's loss differs")
    magnitude = (shown[:, 0] - 1) / (shown[:, 0] + 1)
    assert -20 * np.log10(magnitude) == pytest.approx(2 * (5.7195 + more_db), abs=0.001)
    assert shown[:, 2] == pytest.approx(1.0, abs=1e-6)
    assert -1.5 <= more_db.min() < more_db.max() <= 10.0


@pytest.mark.parametrize(
    "what", ["near connector poor", "far connector poor", "calibration out of date", "pad's loss differs"]
)
def test_faults_of_no_size_show_what_a_sound_chain_shows(what):
    """Every range reaches zero."""
    nothing = 1.5 / 11.5 if what == "pad's loss differs" else 0.0
    shown, _ = ideal_reading(bare_pad(2e8, 2e8, ideal=True), what, (nothing, nothing))
    right, _ = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "right")
    assert shown == pytest.approx(right, abs=1e-9)


def test_an_open_end_that_is_none_runs_from_open_to_short():
    """Reflection +1 to -1: at -1 it reads as the short does."""
    shown, size = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "open end not open")
    magnitude = (shown[:, 0] - 1) / (shown[:, 0] + 1)
    assert magnitude == pytest.approx(np.abs(size) / (2 + np.sqrt(3)), abs=1e-6)


def test_a_poor_far_connector_is_hidden_by_the_pad():
    """What a connector behind the pad reflects counts 1/3.73; in front of it, all of it."""
    far, size = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "far connector poor")
    near, _ = ideal_reading(bare_pad(2e8, 2e8, ideal=True), "near connector poor")
    magnitudes = [(values[:, 2] - 1) / (values[:, 2] + 1) for values in (far, near)]
    assert magnitudes[0] == pytest.approx(size / (2 + np.sqrt(3)), abs=1e-6)
    assert magnitudes[1] == pytest.approx(size, abs=1e-6)


# Typed readings.


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("1.73", 1.725, 1.735),
        ("VSWR 1.73", 1.725, 1.735),
        ("1.7:1", 1.65, 1.75),
        ("2", 1.5, 2.5),
        ("1.00", 1.0, 1.005),
        ("19.2", 19.15, 19.25),
    ],
)
def test_typed_vswr_stands_for_the_span_of_its_digits(text, low, high):
    """Half a step of the last digit either way, never below 1."""
    _, least, most, _ = typed_span(text)
    assert [least, most] == pytest.approx([(low - 1) / (low + 1), (high - 1) / (high + 1)])


@given(st.decimals(0, 60, places=1, allow_nan=False))
def test_typed_return_loss_of_either_sign(loss):
    """11.4 dB and -11.4 dB are one reading, and its span holds it."""
    size, low, high, words = typed_span(f"{loss} dB")
    assert (size, low, high, words) == typed_span(f"RL -{loss} dB")
    assert low < size <= high
    assert size == pytest.approx(10 ** (-float(loss) / 20))


@pytest.mark.parametrize("text", ["", "abc", "0.9", "1,7,3", "1.73 MHz", "VSWR 3 dB", "--", "nan", "-1.5"])
def test_what_is_no_reading_is_refused_with_its_option(text):
    """The option is named and a form that works is shown."""
    with pytest.raises(UnitError, match=r"--load: ") as caught:
        known_ends({"load": [text]}, 2e8)
    assert caught.value.help


@given(st.text(max_size=12))
@settings(max_examples=300)
def test_any_text_is_a_reading_or_our_error(text):
    """Never another exception; spans are in order."""
    try:
        size, low, high, _ = typed_span(text)
    except ChainError:
        return
    assert 0 <= low <= size <= high


def swept(start, stop, value=0.25, points=11):
    freq = np.linspace(start, stop, points)
    return Readings(freq, np.full(points, value), None, "")


def test_sweeps_count_by_their_mean_over_what_they_share():
    """Five frequencies of the shared span; reported as a typed reading is."""
    known = known_ends({"open": [swept(1e8, 3e8)], "load": [swept(2e8, 4e8, 0.02)]}, 2e8)
    assert known.freq_hz.tolist() == [2e8, 2.25e8, 2.5e8, 2.75e8, 3e8]
    assert known.readings[0].magnitude == pytest.approx(0.25)
    assert known.readings[0].low < 0.25 < known.readings[0].high
    assert "mean" in known.readings[0].told


def test_a_sweep_among_typed_readings_is_read_at_their_frequency():
    """Between its points by a straight line; outside it, an error that says what it holds."""
    freq = np.array([1e8, 2e8])
    sweep = Readings(freq, np.array([0.1, 0.3]), None, "")
    known = known_ends({"open": [sweep], "load": ["1.05"]}, 1.5e8)
    assert known.readings[0].magnitude == pytest.approx(0.2)
    with pytest.raises(RangeError, match="100 to 200 MHz"):
        known_ends({"open": [sweep]}, 1.5e8, 3e8)
    with pytest.raises(RangeError, match="share no frequency"):
        known_ends({"open": [swept(1e8, 2e8)], "short": [swept(3e8, 4e8)]}, 2e8)
    with pytest.raises(RangeError, match="nothing was read"):
        known_ends({}, 2e8)


@pytest.mark.usefixtures("trials")
def test_sweeps_of_a_reversed_pad_are_reported():
    """A frequency apart each, means over the sweep: open and short differ from what a right pad shows."""
    known = known_ends({"open": [swept(174e6, 240e6, 0.444)], "short": [swept(174e6, 240e6, 0.0718)]}, 207e6)
    setup = made.setup_of(
        [made.item(made.pad(near_db=40.0, far_db=40.0, tolerance_db=0.1), "pad")], trace_noise_db=0.02
    )
    assert prove(setup, known, draws=1).verdict == "pad reversed"


# Likelihoods.


def test_chance_of_a_span_agrees_with_simulated_noise():
    """A magnitude with complex noise, drawn: within the error of 400,000 draws where it is far from zero."""
    rng = np.random.default_rng(1)
    noise = 0.01 * (rng.standard_normal(400_000) + 1j * rng.standard_normal(400_000))
    for size in (0.05, 0.2, 0.9):
        seen = np.abs(size + noise)
        for low, high in ((size - 0.005, size + 0.01), (0.0, size), (size, inf)):
            level = np.array([np.sqrt(size**2 + 0.01**2)])
            expected = float(span_probability(level, np.array([0.01]), low, high)[0])
            assert np.mean((seen > low) & (seen < high)) == pytest.approx(expected, abs=0.006)


@given(st.lists(st.floats(0.05, 1), min_size=1, max_size=6), st.integers(50, 400))
def test_strata_share_out_all_draws(weights, count):
    """Every draw belongs to one fault, in proportion."""
    total = sum(weights)
    parts = strata(FaultKind("", tuple(SuspectedFault("", None, each / total) for each in weights)), count)
    assert parts[0].start == 0
    assert parts[-1].stop == count
    for part, weight in zip(parts, weights, strict=True):
        assert part.stop - part.start == pytest.approx(count * weight / total, abs=1.01)


@given(st.lists(st.floats(1e-6, 10), min_size=2, max_size=8))
def test_shares_are_likelihoods_over_their_sum(likelihoods):
    """Equal priors: shares add up to 1 and keep the order of the likelihoods."""
    one = np.ones(1)
    found = [FaultProbability(FaultKind("", ()), each, 0.1, 10, one, one.astype(int), one) for each in likelihoods]
    share, error = probabilities(found)
    assert share.sum() == pytest.approx(1)
    assert share == pytest.approx(np.array(likelihoods) / sum(likelihoods))
    assert np.all(error >= 0)


def test_the_error_of_a_likelihood_is_that_of_a_share():
    """A quarter of the trials agrees, all alike: a share p of N has the relative error sqrt((1 - p)/(p N))."""
    none, one = np.zeros(BLOCK // 4, dtype=int), np.ones(BLOCK // 4)
    found = _gathered(FaultKind("", ()), [(none, none, one, one)], np.ones(1), 1.0, None)
    assert found.likelihood == pytest.approx(0.25)
    assert found.error == pytest.approx(np.sqrt(0.75 / 0.25 / BLOCK))


def test_aimed_draws_give_the_same_likelihood_as_plain_ones():
    """Every kind, the pad either way round: means of the chances within five of their standard errors, and surer though spans are wide."""
    texts = {"open": ["1.7"], "short": ["1.7"], "load": ["1.1"]}
    known = known_ends(texts, 207e6)
    of = session(BOATHOUSE, known.freq_hz, [(each.end, each.seating) for each in known.readings], 32.0, 26.0)
    kinds = kinds_of(BOATHOUSE, known.freq_hz, set(texts), False, False)
    work = work_of(of, kinds, known.readings, None, 5)
    whole = [[(0.0, 1.0)] * len(plans) for plans in work.plans]
    sides = []
    for aim in (None, work.proposal):
        blocks = [work.predicted(number, whole, aim) for number in range(3)]
        chances = [np.concatenate([work.chances(i, block[i])[3] for block in blocks]) for i in range(len(kinds))]
        sides.append([(each.sum() / 3 / BLOCK, np.sqrt(np.square(each).sum()) / 3 / BLOCK) for each in chances])
    assert work.proposal is not None
    for kind, (plain, plain_error), (proposed, aimed_error) in zip(kinds, sides[0], sides[1], strict=True):
        assert abs(plain - proposed) <= 5 * np.hypot(plain_error, aimed_error) + 1e-6, kind.what
    assert sides[1][0][1] < sides[0][0][1]


def test_items_whose_names_end_alike_err_each_by_itself():
    names = ("first n-bnc adapter", "other n-bnc adapter")
    setup = made.setup_of([made.item(made.adapter(limit_db=26.0))] * 2, far_ohm=50.0)
    setup = replace(setup, items=tuple(replace(each, id=name) for each, name in zip(setup.items, names, strict=True)))
    drawn = draw_block(session(setup, np.array([2e8]), [("open", 0)], 32.0, 26.0), 0, 50, 1).elements
    first, other = (drawn[name, 0][:, 0, 0, 0] for name in names)
    assert not np.isclose(first, other).any()


# Kinds.


def test_kinds_of_the_demo():
    """Thirteen kinds at most; near joints up to the pad, far joints behind it."""
    kinds = {kind.what: kind for kind in kinds_of(BOATHOUSE, BAND_III, set(ENDS), True, True)}
    assert len(kinds) == 13
    assert [fault.joint for fault in kinds["near connector poor"].faults] == ["near/adapter", "adapter/pad"]
    assert [fault.joint for fault in kinds["far connector poor"].faults] == ["pad/lead", "lead/far"]
    assert all(sum(fault.weight for fault in kind.faults) == pytest.approx(1) for kind in kinds.values())


def test_one_kind_until_a_reseated_reading_and_none_that_was_not_read():
    """Near connector and calibration are one; without an open reading no open end; without a meter no blocked DC."""
    names = [kind.what for kind in kinds_of(BOATHOUSE, BAND_III, {"short"}, False, False)]
    assert "near connector poor or calibration out of date" in names
    assert "near connector poor" not in names
    assert not {"open end not open", "wrong load (50 ohm)", "pad blocks DC"} & set(names)


@pytest.mark.usefixtures("trials")
def test_behind_the_plane_of_a_calibration_no_pad_can_be_wrong():
    """What lies ahead of the plane is calibrated out, and the result says so."""
    setup = load_setup("demo/plane-after-pad.toml")
    found = prove(setup, known_ends({"load": ["1.30"], "short": ["60"]}, 207e6), draws=1)
    assert not any("pad" in each.what for each in found.hypotheses)
    assert any("no pad lies behind" in text for text in found.warnings)


# Verdicts.


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(
    ("given", "verdict", "item"),
    [
        ({"open": "2.20", "short": "2.25", "load": "1.67", "load50": "1.70"}, "pad reversed", "pad"),
        ({"open": "82", "short": "71.0", "load": "1.51", "load50": "1.80"}, "pad missing", "pad"),
        ({"open": "1.30", "short": "1.29", "load": "1.04", "load50": "1.06"}, "pad's loss differs", "pad"),
        ({"open": "1.10", "short": "1.70", "load": "1.10", "load50": "1.12"}, "open end not open", ""),
        (
            {"open": "8.75", "short": "4.40", "load": "5.40"},
            "near connector poor or calibration out of date",
            "near/adapter",
        ),
        ({"open": "1.71", "short": "1.71", "load": "1.57", "load50": "1.56"}, "far connector poor", None),
    ],
)
def test_clear_readings_are_named(given, verdict, item):
    """One of each kind, as a chain of the demo's parts would read; memory of no source, drawn from the kinds."""
    found = read(**given)
    assert found.verdict == verdict
    assert found.hypotheses[0].share >= ENOUGH
    if item is not None and verdict.startswith("pad"):
        assert found.hypotheses[0].item == item
    assert sum(each.share for each in found.hypotheses) == pytest.approx(1)


@pytest.mark.usefixtures("trials")
def test_the_loss_of_a_pad_is_reported_with_its_interval():
    """An open of return loss 17.7 dB behind 0.2 dB of adapter and lead: a pad of about 8.7 dB."""
    first = read(open="1.30", short="1.29", load="1.04", load50="1.06").hypotheses[0]
    assert first.size_of == "loss_db"
    assert first.size_low < 8.7 < first.size_high
    assert first.size_high - first.size_low < 2


@pytest.mark.usefixtures("trials")
def test_close_kinds_are_not_reported_and_the_next_reading_is_named():
    """A sound chain with one reading shows no fault, and what to read next is said with what it would show."""
    found = read(load="1.10")
    assert found.verdict == NOTHING_SHOWN
    assert found.hypotheses[0].share < ENOUGH
    assert found.telling.end != "load"
    assert 0 <= found.telling.overlap <= 1
    assert {"pad's loss differs", "far connector poor"} <= {each.what for each in found.could_hide}
    beyond = read(load="1.45")
    assert beyond.verdict == CANT_TELL
    assert beyond.telling is not None


@pytest.mark.usefixtures("trials")
def test_another_lead_than_stated_is_named():
    """A 50-ohm cable where one of 75 is stated, long enough to show: the item is named."""
    setup = made.setup_of(
        [
            made.item(made.pad(near_db=40.0, far_db=40.0, tolerance_db=0.1), "pad"),
            made.item(made.coax(75.0, 0.1, limit_db=36.0), "lead", length_m=0.25),
        ],
        freq_hz=(200e6, 200e6, 1),
        directivity_db=46.0,
        source_match_db=42.0,
        trace_noise_db=0.01,
    )
    other = kinds_of(setup, BAND_III, {"load"}, False, False)
    assert [
        fault.setup.items[1].part.impedance_ohm for kind in other if kind.what == WRONG_LEAD for fault in kind.faults
    ] == [50]
    found = read(setup, open="1.73", short="1.73", load="1.23", load50="1.12", loads=(40.0, 40.0))
    assert found.verdict == WRONG_LEAD
    assert found.hypotheses[0].item == "lead 1"


def long_lead(length_m):
    """A lead of 75 ohm straight on an analyzer of 75 ohm, 0.1 dB a metre."""
    return made.setup_of(
        [made.item(made.coax(75.0, 0.0, 0.05, limit_db=30.0, loss_tolerance=0.1), "lead", length_m=length_m)],
        75.0,
        75.0,
        freq_hz=(200e6, 200e6, 1),
        directivity_db=40.0,
        source_match_db=36.0,
        trace_noise_db=0.02,
    )


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(
    ("lost_db", "verdict"), [(3.0, {"right", "no fault shown"}), (5.0, {WRONG_LEAD}), (1.5, {WRONG_LEAD})]
)
def test_another_cable_of_the_same_impedance_is_named_by_its_loss(lost_db, verdict):
    """30 m that lose 3 dB stated: an open and a short read 2 A dB down, worked by hand; one of 5 dB or 1.5 dB is another cable."""
    size = 10 ** (-2 * lost_db / 20)
    shown = f"{(1 + size) / (1 - size):.2f}"
    found = read(long_lead(30.0), open=shown, short=shown, load="1.04", loads=(36.0, 36.0))
    assert found.verdict in verdict
    assert not [text for text in found.warnings if "another cable" in text]


@pytest.mark.usefixtures("trials")
def test_a_cable_that_cannot_be_told_from_another_is_said_to_be_so():
    """Of 2 m half as much again is 0.1 dB: no kind of its own, one sentence beside the sound chain."""
    size = 10 ** (-2 * 0.2 / 20)
    shown = f"{(1 + size) / (1 - size):.1f}"
    found = read(long_lead(2.0), open=shown, short=shown, load="1.04", loads=(36.0, 36.0))
    assert found.verdict in ("right", "no fault shown")
    assert [text for text in found.warnings if text.startswith("another cable of the same impedance as 'lead 0'")]


@pytest.mark.usefixtures("trials")
def test_readings_that_no_fault_gives():
    """Short at 5.7 and a 50-ohm load at 9.1 where the others are as they should be: mistyped, said as such."""
    found = read(open="1.73", short="5.71", load="1.12", load50="9.12")
    assert found.verdict == NONE_OF_THESE
    assert not found.hypotheses[0].agrees


@pytest.mark.usefixtures("trials")
def test_a_reseated_reading_tells_the_connector_from_the_calibration():
    """The load reads 2.9 and then 1.6: a connector; 2.9 and again 2.9: the calibration."""
    changed = read(load=["2.90", "1.60"], short="3.10")
    same = read(load=["2.90", "2.91", "2.89"], short="3.10")
    share = {
        name: {each.what: each.share for each in found.hypotheses}
        for name, found in (("changed", changed), ("same", same))
    }
    assert share["changed"]["near connector poor"] > 10 * share["changed"]["calibration out of date"]
    assert share["same"]["calibration out of date"] > share["changed"]["calibration out of date"]
    together = read(load="2.90", short="3.10")
    assert together.hypotheses[0].what == "near connector poor or calibration out of date"


@pytest.mark.usefixtures("trials")
def test_only_an_ohmmeter_tells_a_pad_that_blocks_dc():
    """At radio frequency it is as a right one: without a meter not among the kinds, with one reported or ruled out."""
    ends = {"open": "1.73", "short": "1.71", "load": "1.05", "load50": "1.12"}
    share = {each.what: each.share for each in read(**ends, ohms=inf).hypotheses}
    assert share["pad blocks DC"] > 0.9
    ruled_out = {each.what: each.share for each in read(**ends, ohms=86.6).hypotheses}
    assert ruled_out["pad blocks DC"] < 0.01 * ruled_out["right"]
    assert "pad blocks DC" not in {each.what for each in read(**ends).hypotheses}


@pytest.mark.usefixtures("trials")
def test_an_ohmmeter_settles_what_one_reading_leaves_open():
    """129.9 ohm is the other end of the pad."""
    found = read(load="1.67", ohms=129.5)
    assert found.verdict == "pad reversed"
    assert found.ohms_expected == pytest.approx(86.6, abs=0.1)


@pytest.mark.usefixtures("trials")
def test_loads_are_the_calibrations_own_or_assumed():
    """The set-up's 75-ohm load holds 32 dB; of a 50-ohm load nothing is stated, which is said."""
    found = read(load="1.05", loads=(None, None), draws=1)
    assert found.load_db == 32.0
    assert found.load50_db == ASSUMED_LOAD_DB
    assert any("--load50-limit" in text for text in found.assumed)


@pytest.mark.usefixtures("few_trials")
def test_same_seed_same_shares_and_plain_values():
    """Threads and blocks leave no trace; the plain values hold no NaN and no infinity."""
    known = known_ends({"open": ["1.73"], "load": ["1.05"]}, 207e6)
    one, two = (prove(BOATHOUSE, known, inf, draws=15_000, seed=1) for _ in range(2))
    assert [each.share for each in one.hypotheses] == [each.share for each in two.hypotheses]
    plain = one.to_dict()
    assert plain["ohms"] is None
    assert plain["ohms_open"] is True
    assert {"what", "item", "share"} <= set(plain["hypotheses"][0])
    assert "right" in str(one)


@pytest.mark.parametrize(
    ("text", "ohm"),
    [
        *[("86.6", 86.6), ("86.6 ohm", 86.6), ("1.2 kohm", 1200.0), ("0", 0.0), ("2 kohm", 2e3)],
        *[("86,6", 86.6), ("86,6 ohm", 86.6), ("0,0", 0.0), ("86.6\u00a0ohm", 86.6)],
        *[
            (words, inf)
            for words in ("open", "OL", "o.l.", "0L", "overload", "over range", "inf", "infinite", "\u221e", "---")
        ],
    ],
)
def test_ohms_as_typed(text, ohm):
    """With or without the unit, a decimal comma; an open in words, and as meters show it."""
    assert parse_ohms(text) == ohm


@pytest.mark.parametrize("text", ["-5", "-0.3 ohm", "\u22125", "- 12"])
def test_ohms_below_zero_are_volts_on_the_lead(text):
    """No resistance is: the remedy is what makes the meter true, and not another spelling."""
    with pytest.raises(UnitError, match="volts on the lead") as caught:
        parse_ohms(text)
    assert "every supply" in caught.value.help


@given(st.text(max_size=10))
def test_any_text_is_an_ohm_reading_or_our_error(text):
    """Never another exception, and the option is named."""
    try:
        ohm = parse_ohms(text)
    except UnitError as error:
        named = error.message.startswith("--ohms: ")
    else:
        named = ohm >= 0
    assert named
