"""Sweeps that a part cannot be learnt from, files at fault, odd sweeps, and the demo's own."""

import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from learning_world import Lead, Pad
from learnt_sweeps import ABOUT, ENDS, FEW, FREQ, PERFECT, ended, lead_sweeps, medium, sweeps_of
from skrf import Frequency

from chain.characterize.characterize import learn_back_to_back, learn_ends, learn_lead, learn_two_port
from chain.characterize.error_model import Analyzer
from chain.characterize.part_making import About, PartEnds
from chain.characterize.sweeps import Sweeps, one_port_sweeps, two_port_sweeps
from chain.errors import InputError, RangeError
from chain.sweeps.text import lines_of
from chain.sweeps.touchstone import parse
from library.errors import LibraryError
from library.files.ownfile import defects_of
from library.files.save import part_text
from library.files.store import tomllib


def test_what_contradicts_itself_is_refused():
    """Every message says what is wrong and what to do."""
    good = sweeps_of(FREQ, lead_sweeps())
    with pytest.raises(RangeError, match="length or its velocity factor is needed"):
        learn_lead(good, ABOUT, PERFECT)
    with pytest.raises(RangeError, match="open and short were exchanged"):
        learn_lead(sweeps_of(FREQ, lead_sweeps(swap=True)), ABOUT, PERFECT, 0.6)
    with pytest.raises(RangeError, match=r"not one of 50 ohm"):
        learn_lead(good, ABOUT, PERFECT, 0.6, impedance_ohm=50.0)
    with pytest.raises(RangeError, match=r"velocity factor of 1\.32"):
        learn_lead(good, ABOUT, PERFECT, 1.2)
    sizes = {name: np.abs(trace) for name, trace in lead_sweeps().items()}
    with pytest.raises(RangeError, match="no phase"):
        learn_lead(sweeps_of(FREQ, sizes, has_phase=False), ABOUT, PERFECT, 0.6)
    lossy = {name: np.full(FREQ.size, 0.2) for name in ("open", "short")}
    with pytest.raises(RangeError, match="the step from 50 to 75 ohm hides it"):
        learn_lead(sweeps_of(FREQ, lossy, has_phase=False), ABOUT, PERFECT, 9.0, 0.66, 75.0)
    lifted = {name: 1.09 * trace for name, trace in lead_sweeps().items()}
    with pytest.raises(RangeError, match="more comes back than was sent"):
        learn_lead(sweeps_of(FREQ, lifted), ABOUT, PERFECT, 0.6, draws=FEW)
    with pytest.raises(RangeError, match="50 to 850 MHz"):
        learn_lead(good, About("own", "2026-05-01", span_hz=(1e6, 2e6)), PERFECT, 0.6)


def test_a_span_that_cannot_tell_is_said_so():
    """A long line over a narrow span far from zero: turns cannot be counted; over too few points: phase jumps."""
    freq_hz = np.linspace(800e6, 806e6, 25)
    rng = np.random.default_rng(2)
    traces = lead_sweeps(freq_hz, lead=Lead(4.0, 0.66, 75.0, 1.0, 0.007))
    noisy = {name: trace + 0.01 * (rng.normal(size=25) + 1j * rng.normal(size=25)) for name, trace in traces.items()}
    with pytest.raises(RangeError, match="too short to count"):
        learn_lead(sweeps_of(freq_hz, noisy), ABOUT, PERFECT, 4.0, impedance_ohm=75.0)
    known = learn_lead(sweeps_of(freq_hz, traces), ABOUT, PERFECT, 4.0, 0.66, 75.0, draws=FEW)
    assert known.row["velocity_factor"] == pytest.approx(0.66, abs=1e-3)
    few = np.linspace(50e6, 850e6, 11)
    coarse = sweeps_of(few, lead_sweeps(few, lead=Lead(0.5, 0.66, 75, 1, 0)))
    with pytest.raises(RangeError, match="from one point of the sweep to the next"):
        learn_lead(coarse, ABOUT, PERFECT, 0.5)


@pytest.mark.parametrize(("stated", "agrees"), [(0.6, True), (0.7, True), (0.8, True), (0.35, False), (1.0, False)])
def test_a_velocity_that_the_phase_contradicts_is_refused(stated, agrees):
    """A line of scikit-rf: a rough velocity only counts turns; one that leaves phase at zero frequency is another line's."""
    frequency = Frequency(50, 850, 161, unit="MHz")
    line = medium(frequency, 75.0, 0.7, 0.9, 0.008).line(0.6, "m")
    sweeps = sweeps_of(frequency.f, {"open": ended(line, np.inf), "short": ended(line, 0.0)})
    if agrees:
        found = learn_lead(sweeps, ABOUT, PERFECT, length_m=0.6, velocity_factor=stated, draws=FEW)
        assert found.row["velocity_factor"] == pytest.approx(0.7, rel=1e-3)
    else:
        with pytest.raises(RangeError, match=f"delay is {0.7 / stated:.2f} times"):
            learn_lead(sweeps, ABOUT, PERFECT, length_m=0.6, velocity_factor=stated, draws=FEW)


def test_ends_that_read_alike_are_refused():
    """A forgotten change of the end, or a part that lets nothing through."""
    pad = Pad(87.0, 43.0, 0.02, 0.015, (0.0, 0.0)).s(FREQ)
    ends = {
        name: pad[:, 0, 0] + pad[:, 0, 1] ** 2 * end for name, end in (("open", 1.0), ("short", 1.0), ("load", 0.0))
    }
    with pytest.raises(RangeError, match="open and short read alike"):
        learn_ends(sweeps_of(FREQ, ends), ABOUT, PERFECT, ENDS)


def touchstone(path, columns, freq_hz=FREQ, ohm=50):
    """Write a Touchstone file of version 1."""
    rows = [
        " ".join([f"{freq / 1e6:.6f}", *(f"{part:.9f}" for each in row for part in (each.real, each.imag))])
        for freq, row in zip(freq_hz, np.asarray(columns).reshape(freq_hz.size, -1), strict=True)
    ]
    path.write_text("\n".join([f"# MHz S RI R {ohm}", *rows]) + "\n", encoding="utf-8")
    return str(path)


def reported(call, *arguments):
    """Messages and helps of an input error, one text."""
    with pytest.raises(InputError) as caught:
        call(*arguments)
    return [f"{each.message}; {each.help}" for each in caught.value.defects]


def test_files_that_do_not_go_together_are_all_reported_at_once(tmp_path):
    """Another grid, too many repeats, and a sweep without phase: each with its file."""
    traces = lead_sweeps()
    good = touchstone(tmp_path / "a.s1p", traces["open"])
    short = touchstone(tmp_path / "b.s1p", traces["short"])
    fewer = touchstone(tmp_path / "c.s1p", traces["short"][:41], FREQ[:41])
    bare = tmp_path / "d.csv"
    rows = [
        f"{freq / 1e6:.3f},{-20 * np.log10(abs(value)):.4f}" for freq, value in zip(FREQ, traces["short"], strict=True)
    ]
    bare.write_text("\n".join(["frequency_mhz,return_loss_db", *rows]) + "\n", encoding="utf-8")
    again = touchstone(tmp_path / "again.s1p", traces["open"] * 0.999)
    found = reported(one_port_sweeps, {"open": [good, again], "short": [fewer]})
    assert any("unequal numbers of sweeps: 2 of the open, 1 of the short" in text for text in found)
    assert any("has 41 points" in text and "has 81 points" in text for text in found)
    assert any("no phase" in text for text in reported(one_port_sweeps, {"open": [good], "short": [str(bare)]}))
    other = touchstone(tmp_path / "e.s1p", traces["short"], ohm=75)
    assert any("50 ohm and 75 ohm" in text for text in reported(one_port_sweeps, {"open": [good], "short": [other]}))
    assert one_port_sweeps({"open": [good], "short": [other]}, 50.0).reference_ohm == (50.0,)
    copy = touchstone(tmp_path / "copy.s1p", traces["open"])
    doubled = reported(one_port_sweeps, {"open": [good, copy], "short": [short, short]})
    assert any("copy.s1p" not in text and "is the same sweep as" in text for text in doubled)
    assert any("is given twice" in text for text in doubled)
    missing = reported(one_port_sweeps, {"open": ["no.s1p"], "short": ["nor-this.s1p"]})
    assert len(missing) == 2
    both = one_port_sweeps({"open": [good], "short": [short]})
    assert both.has_phase
    assert both.repeats == 1


def test_a_two_port_that_is_not_passive_or_not_reciprocal_is_refused(tmp_path):
    """A gain, an amplifier's one-way path, a file of one direction."""
    one = np.ones(FREQ.size)
    rows = {
        "gain": ([0.1, 1.2, 1.2, 0.1], "gives out"),
        "one way": ([0.1, 0.6, 0.2, 0.1], "S21 and S12 differ"),
        "one direction": ([0.1, 0.6, 0.0, 0.0], "one direction only"),
    }
    for values, text in rows.values():
        path = touchstone(tmp_path / "x.s2p", np.outer(one, values).astype(complex))
        assert text in reported(two_port_sweeps, [path])[0]


def test_a_row_that_would_not_be_read_is_not_written():
    """An id with blanks is refused by the rules of the file itself."""
    with pytest.raises(LibraryError, match="an id is made of letters"):
        part_text("termination", {"id": "my load", "connector": "F-75 plug", "type": "open"})


def test_text_of_the_user_stays_text():
    """Quotes, line feeds and escapes in a name or a remark never become TOML of their own."""
    row = {"id": "x", "name": 'a"\n[[pad]]\x1b[31m', "connector": "F-75 plug", "type": "open"}
    document = tomllib.loads(part_text("termination", row, ["one\n[[pad]]"]))
    assert list(document) == ["termination"]
    assert document["termination"][0]["name"] == 'a"?[[pad]]?[31m'


def outcome(call):
    """What a call gives, or the error of ours that it raises."""
    try:
        return call()
    except RangeError as error:
        return error


@given(
    seed=st.integers(0, 2**32 - 1),
    points=st.sampled_from([5, 6, 33]),
    low_hz=st.floats(1e4, 3e9),
    ratio=st.sampled_from([1.0001, 1.1, 2.0, 100.0]),
    shape=st.sampled_from(["zero", "constant", "noise", "delay", "delay and step"]),
    method=st.sampled_from(["lead", "sizes", "ends", "two-port", "back-to-back"]),
)
def test_whatever_was_measured_gives_finite_figures_or_our_own_error(seed, points, low_hz, ratio, shape, method):
    """Sweeps of nothing, of noise, of no delay: a part with finite figures that the library takes, or a RangeError."""
    rng = np.random.default_rng(seed)
    freq_hz = np.linspace(low_hz, low_hz * ratio, points)

    def trace():
        turn = np.exp(-2j * np.pi * freq_hz * rng.uniform(0, 2e-8))
        noise = 0.1 * (rng.normal(size=points) + 1j * rng.normal(size=points))
        return {
            "zero": 0 * turn,
            "constant": np.full(points, rng.uniform(-1, 1), complex),
            "noise": noise,
            "delay": rng.uniform(-1, 1) * turn,
            "delay and step": rng.uniform(-1, 1) * turn + 0.2,
        }[shape][None]

    ends = PartEnds("N-50 plug", "N-50 jack", 50.0, 50.0)
    analyzer = Analyzer(*rng.choice([0.0, 0.01], 7))
    s = np.stack([trace(), *[trace()] * 2, trace()], axis=-1).reshape(1, points, 2, 2)
    through = Sweeps(freq_hz, {"through": s}, (50.0, 50.0))
    known = Sweeps(freq_hz, {end: trace() for end in ("open", "short", "load")}, (50.0,))
    sizes = Sweeps(freq_hz, {end: abs(each).astype(complex) for end, each in known.traces.items()}, (50.0,), False)
    kind = str(rng.choice(["pad", "adapter", "coax"]))
    calls = {
        "lead": lambda: learn_lead(known, ABOUT, analyzer, 0.6, draws=20),
        "sizes": lambda: learn_lead(sizes, ABOUT, analyzer, 0.6, 0.66, 75.0, draws=20),
        "ends": lambda: learn_ends(known, ABOUT, analyzer, ends, kind, length_m=0.6, draws=20),
        "two-port": lambda: learn_two_port(through, ABOUT, analyzer, ends, kind, length_m=0.6, draws=20),
        "back-to-back": lambda: learn_back_to_back(through, ABOUT, analyzer, ends, 0.2, 26.0, draws=20),
    }
    found = outcome(calls[method])
    if isinstance(found, RangeError):
        assert found.help
        return
    for values in (found.loss_db, found.loss_low_db, found.loss_high_db):
        assert np.isfinite(values).all()
    assert (found.loss_low_db <= found.loss_high_db).all()
    assert not defects_of(tomllib.loads(found.text))


def test_the_demo_sweeps_are_what_their_script_writes(tmp_path):
    """To a step of the last digit, for other processors round otherwise."""
    runpy.run_path("demo/make_learning_sweeps.py")["main"](tmp_path)
    made = sorted(tmp_path.iterdir())
    assert len(made) == 11
    for path in made:
        kept = Path("demo", path.name)
        new, old = (parse(lines_of(str(each)), str(each)) for each in (path, kept))
        np.testing.assert_array_equal(new.freq_hz, old.freq_hz)
        np.testing.assert_allclose(new.s, old.s, atol=3e-6)


def test_the_demo_lead_is_the_one_the_script_makes():
    """0.6 m, velocity factor 0.662, 75.8 ohm: the learnt figures hold what the script built the sweeps from."""
    sweeps = one_port_sweeps({"open": ["demo/lead-open.s1p"], "short": ["demo/lead-short.s1p"]})
    errors = Analyzer(0.01, 0.0158, 0.0116, 0.0023, 0.00316, 0.00316)
    found = learn_lead(sweeps, ABOUT, errors, length_m=0.6, length_tolerance_m=0.003)
    figures = {each.name: each for each in found.figures}
    for name, true in (("velocity_factor", 0.662), ("impedance_ohm", 75.8)):
        assert figures[name].low < true < figures[name].high
    mhz = found.freq_hz / 1e6
    true_db = (1.09 * np.sqrt(mhz) + 0.0068 * mhz) * 0.006
    assert (found.loss_low_db < true_db).all()
    assert (true_db < found.loss_high_db).all()
