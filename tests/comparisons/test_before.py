"""Two sweeps compared: an unchanged antenna seldom looks changed, a changed one does, and what both share cancels.

The readings come from scikit-rf pieces with faults of their own, and noise, drift and re-made joints drawn here.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skrf
from click.testing import CliRunner
from further import wide
from skrf.media import DefinedGammaZ0

from chain.antenna_report.differences import judged_line, match_lines
from chain.cli.main import chain as program
from chain.comparisons.antennas import compare_antennas
from chain.comparisons.differences import _tail
from chain.errors import RangeError
from chain.files.setup_file import load_setup
from chain.setups import Calibration
from chain.sweeps.readings import Readings

pytestmark = pytest.mark.usefixtures("answered_once")

FREQ = skrf.Frequency(174, 240, 24, unit="MHz")
SETUP = load_setup("demo/boathouse.toml")
NOISE = 10 ** (0.02 / 20) - 1
RADIUS = 10 ** (-50 / 20)


def disc(rng, count=1):
    """Numbers spread evenly over the disc of the set-up's repeatability and drift, both 50 dB."""
    return RADIUS * np.sqrt(rng.random(count)) * np.exp(2j * np.pi * rng.random(count))


def chain(ohm=86.6, capacitance_pf=0.3):
    """A pad of two resistors, one off its value, a connector that is not quite right, and 0.6 m of lead; in 50 ohm."""
    media = DefinedGammaZ0(FREQ, z0=50)
    pad = media.shunt(media.resistor(ohm) ** media.short()) ** media.resistor(43.3)
    gamma = 0.02 + 2j * np.pi * FREQ.f / (0.66 * 299792458)
    return (
        pad
        ** media.shunt_capacitor(capacitance_pf * 1e-12)
        ** DefinedGammaZ0(FREQ, z0_port=50, z0=75, gamma=gamma).line(0.6, "m")
    )


def reading(rng, two_port, antenna, phase=True):
    """One reading of an antenna of a reflection in 75 ohm: joint at the port made again, drift and noise."""
    ohm = 75 * (1 + antenna) / (1 - antenna)
    end = skrf.Network(frequency=FREQ, s=((ohm - 50) / (ohm + 50)).reshape(-1, 1, 1), z0=50)
    seen = (two_port**end).s[:, 0, 0]
    joint = disc(rng)
    seen = joint + (1 - abs(joint) ** 2) * seen / (1 + np.conj(joint) * seen)
    seen = seen + disc(rng) + NOISE * (rng.normal(size=seen.size) + 1j * rng.normal(size=seen.size))
    return Readings(FREQ.f, np.abs(seen), seen if phase else None, "made up")


def antenna(size=0.25):
    return size * np.exp(-2j * np.pi * FREQ.f * 4e-9)


def compared(setup, before, after, seed=1):
    return compare_antennas(setup, before, after, ("before", "now"), seed, exchanged=False)


def shares_changed(trials, phase):
    """Share of comparisons of an unchanged antenna that call it better or worse in any band."""
    rng = np.random.default_rng(5)
    found = 0
    for trial in range(trials):
        fixed = chain(86.6 * (1 + 0.01 * rng.normal()), 0.5 * rng.random())
        size = rng.uniform(0, 0.6)
        before, after = (reading(rng, fixed, antenna(size), phase) for _ in range(2))
        found += compared(SETUP, before, after, trial).verdict != "can't tell"
    return found / trials


@pytest.mark.slow
@pytest.mark.parametrize("phase", [True, False])
def test_an_unchanged_antenna_seldom_looks_changed(phase):
    """At most 5 % of comparisons show a change in any band; 400 trials, so 2 standard deviations are 2.2 %."""
    share = shares_changed(400, phase)
    print(f"called changed {'with' if phase else 'without'} phase: {share:.3f}")
    assert share <= 0.072


@pytest.mark.statistical
def test_an_unchanged_antenna_looks_changed_in_few_of_60_trials():
    """60 trials at 5 %: more than eight is one chance in a hundred (binomial)."""
    assert shares_changed(60, True) <= 8 / 60


@pytest.mark.parametrize(
    ("before", "after", "word", "phase"),
    [
        (0.5, 0.15, "better", True),
        (0.15, 0.5, "worse", False),
        *wide((0.5, 0.15, "better", False), (0.15, 0.5, "worse", True)),
    ],
)
@pytest.mark.usefixtures("trials")
def test_a_change_is_found_and_its_direction(before, after, word, phase):
    """A reflection that falls to a third, or grows to three times, in every band is no repetition."""
    rng, fixed = np.random.default_rng(1), chain()
    pair = [reading(rng, fixed, antenna(size), phase) for size in (before, after)]
    found = compared(SETUP, *pair)
    assert found.verdict == word
    # The change that was made lies in the interval of every band.
    for each in found.channels:
        assert each.reflection_low <= after - before <= each.reflection_high


@pytest.mark.usefixtures("trials")
def test_an_antenna_that_only_turned_is_called_neither_better_nor_worse():
    """Behind an uncertain chain the same reflection at another phase may read larger or smaller."""
    rng = np.random.default_rng(2)
    for _ in range(4):
        fixed = chain(86.6 * (1 + 0.01 * rng.normal()), 0.5 * rng.random())
        pair = [reading(rng, fixed, antenna(0.3) * turn) for turn in (1, np.exp(1.5j))]
        assert compared(SETUP, *pair).verdict == "can't tell"


def test_what_both_sweeps_share_cancels():
    """A pad ten times as loose (4 dB there and back) widens the difference of two that are alike by less than four times."""
    rng, fixed = np.random.default_rng(3), chain()
    pair = [reading(rng, fixed, antenna(0.25)) for _ in range(2)]
    loose = tuple(
        replace(item, part=replace(item.part, loss_tolerance_db=2.0)) if item.id == "pad" else item
        for item in SETUP.items
    )
    tight, wide = compared(SETUP, *pair), compared(replace(SETUP, items=loose), *pair)
    for one, other in zip(tight.channels, wide.channels, strict=True):
        assert other.loss_high_db - other.loss_low_db < 4 * (one.loss_high_db - one.loss_low_db)


def test_the_joint_at_the_antenna_counts_where_antennas_are_exchanged():
    """Joints that repeat badly: two antennas can be distinguished less well than one before and after."""
    setup = replace(SETUP, near=replace(SETUP.near, repeatability_db=30.0), calibration=Calibration("lead", 40.0))
    rng, fixed = np.random.default_rng(4), chain()
    pair = [reading(rng, fixed, antenna(0.25)) for _ in range(2)]
    same, other = compared(setup, *pair), compare_antennas(setup, *pair)
    for one, two in zip(same.channels, other.channels, strict=True):
        assert two.loss_high_db - two.loss_low_db > 1.2 * (one.loss_high_db - one.loss_low_db)


def test_common_frequencies_only():
    """Half of the points are enough, fewer are an error that says so."""
    rng, fixed = np.random.default_rng(7), chain()
    one, two = (reading(rng, fixed, antenna(0.25)) for _ in range(2))
    half = Readings(two.freq_hz[::2], two.magnitude[::2], None, "")
    found = compared(SETUP, one, half)
    assert found.points == 12
    assert any("12 frequencies" in each for each in found.warnings)
    assert any("no phase" in each for each in found.warnings)
    with pytest.raises(RangeError, match="0 frequencies in common"):
        compared(SETUP, one, replace(two, freq_hz=two.freq_hz + 1e6))


def run(*words):
    return CliRunner().invoke(program, [*words, "--color", "never"], prog_name="chain")


def decimated(folder, name, start=0):
    """Every ninth point of a sweep of the demo, which is quicker."""
    head, option, *rows = Path("demo", name).read_text(encoding="utf-8").splitlines()
    path = folder / name
    path.write_text("\n".join([head, option, *rows[start::9]]) + "\n", encoding="utf-8")
    return str(path)


@pytest.mark.usefixtures("few_trials")
def test_the_command_prints_a_comparison_and_holds_it_as_json(tmp_path):
    """Three lines and a table below the answer; the same under `before` in JSON, and the same as of 'chain compare' but the joint."""
    after, before = (decimated(tmp_path, f"plane-after-pad{name}.s1p") for name in ("", "-before"))
    words = ("recover", "demo/plane-after-pad.toml", after, "--before", before)
    found = json.loads(run(*words, "--json").output)
    rows = found["before"]["channels"]
    assert found["before"]["exchanged"] is False
    assert {each["channel"] for each in rows} == {each["channel"] for each in found["channels"]}
    lines = run(*words).output.splitlines()
    (at,) = (number for number, line in enumerate(lines) if line.startswith("Now"))
    assert lines[at + 2].startswith("Next: ")
    assert max(map(len, lines)) <= 80
    other = json.loads(run("compare", words[1], before, after, "--json").output)["channels"]
    for one, two in zip(rows, other, strict=True):
        assert one["loss_change_db"] == pytest.approx(two["loss_change_db"])
        assert one["loss_high_db"] == pytest.approx(two["loss_high_db"], abs=0.05)


@pytest.mark.parametrize(
    ("words", "reported"),
    [
        (("--reading", "VSWR 1.3 at 210 MHz", "--before", "gone.s1p"), "give the later one as SWEEP"),
        (("{after}", "--before", "gone.s1p"), "there is no such file"),
        (("{after}", "--before", "{other}"), "frequencies in common"),
        (("{after}", "--before", "{after}"), "--before names the sweep itself"),
    ],
)
def test_a_comparison_that_cannot_be_made(tmp_path, words, reported):
    """An error that says why, exit status 2, before anything is simulated."""
    after = decimated(tmp_path, "plane-after-pad.s1p")
    other = decimated(tmp_path, "plane-after-pad-before.s1p", start=4)
    found = run("recover", "demo/plane-after-pad.toml", *(word.format(after=after, other=other) for word in words))
    assert found.exit_code == 2
    assert reported in found.output


@pytest.mark.usefixtures("few_trials")
def test_no_advice_asks_for_a_phase_that_the_analyzer_does_not_show(tmp_path):
    """Two sweeps of VSWR alone that tell nothing apart: more phase is no way out where the set-up says there is none."""
    text = Path("demo/plane-after-pad.toml").read_text("utf-8").replace('plane = "pad"', 'plane = "near"')
    for name, vswr in (("old", 1.30), ("new", 1.31)):
        rows = "".join(f"{mhz},{vswr}\n" for mhz in range(180, 190))
        (tmp_path / f"{name}.csv").write_text(f"frequency_mhz,vswr\n{rows}")
    reported = {}
    for shows in ("complex", "vswr"):
        setup = tmp_path / f"{shows}.toml"
        setup.write_text(text.replace("[near]\n", f'[near]\nshows = "{shows}"\n'), encoding="utf-8")
        words = ["recover", str(setup), str(tmp_path / "new.csv"), "--before", str(tmp_path / "old.csv")]
        reported[shows] = CliRunner().invoke(program, words).stdout
    assert "with phase" in reported["complex"]
    assert "with phase" not in reported["vswr"]
    assert "calibrate at the end" not in reported["vswr"]
    assert "without a phase only large changes show" in reported["vswr"]


LOFT = load_setup("tests/data/loft.toml")
MIDDLES = {21: 474e6, 25: 506e6, 30: 546e6, 36: 594e6, 40: 626e6, 44: 658e6, 48: 690e6}
EARLIER = {21: 1.15, 25: 1.12, 30: 1.10, 36: 1.25, 40: 1.08, 44: 1.30}


def typed(readings):
    """VSWR by channel, as it stands on a screen of two decimals."""
    shown = np.array(list(readings.values()))
    freq = np.array([MIDDLES[channel] for channel in readings])
    return Readings(freq, (shown - 1) / (shown + 1), None, "typed", rounding=np.full(shown.size, 0.01 / 4))


@pytest.mark.parametrize("shown", [2.1, *wide(1.7, 1.9)])
def test_a_reading_near_the_ceiling_of_the_pad_is_worse_than_one_far_below(shown):
    """What a trial takes for more than a full reflection is still more than what it takes for less."""
    later = {21: 1.30, 25: 1.22, 30: 1.15, 36: 1.50, 40: 1.08, 44: shown}
    found = compared(LOFT, typed(EARLIER), typed(later))
    rows = {each.channel: each for each in found.channels}
    assert rows["44"].verdict == "worse"
    # The interval stays among what an antenna can be: it may be nothing, but no less.
    assert -1e-9 <= rows["44"].loss_low_db <= rows["44"].loss_change_db
    assert rows["44"].second_low_vswr >= rows["44"].first_vswr - 0.05
    assert found.most.verdict == "worse"
    assert compared(LOFT, typed(later), typed(EARLIER)).count("better") == found.count("worse")


def test_the_channel_of_the_first_lines_is_one_that_differs():
    """Where the largest change is not sure, a smaller one that is stands for the verdict."""
    earlier = {21: 1.03, 25: 1.9}
    found = compared(LOFT, typed(earlier), typed({21: 1.45, 25: 1.95}))
    rows = [replace(each, loss_change_db=9.0) if each.verdict == "can't tell" else each for each in found.channels]
    found = replace(found, channels=tuple(rows))
    assert [each.verdict for each in found.channels] == ["worse", "can't tell"]
    assert found.most.channel == "21"
    assert "Channel 21" in match_lines(found)[1]


def test_two_antennas_and_one_before_and_after_say_what_they_take_them_for():
    """The same trials and the same 95 %; what differs is said in the same words, and nothing shown is not no difference."""
    later = EARLIER | {44: 1.45}
    two = compare_antennas(LOFT, typed(EARLIER), typed(later), ("before", "after"), 1)
    one = compared(LOFT, typed(EARLIER), typed(later))
    assert match_lines(two)[0] == "Cannot tell: none of 6 channels surely differs between before and after."
    assert judged_line(two) == "Taken for two antennas at any phases; all 6 channels judged together (95 %)."
    assert judged_line(one) == "Taken for one antenna, its phase kept; all 6 channels judged together (95 %)."
    # What a reading says by itself stays known however little a difference does.
    own = {each.channel: (each.second_low_vswr, each.second_high_vswr) for each in two.channels}
    assert own["21"][1] < 10
    assert own["44"][0] > 1.5


def test_a_reading_of_no_antenna_is_impossible_and_nothing_is_concluded():
    """VSWR 10 behind a pad: the step after is to test the chain."""
    found = compared(LOFT, typed(EARLIER | {48: 1.2}), typed(EARLIER | {48: 10.0}))
    assert [each.verdict for each in found.channels].count("impossible") == 1
    assert found.verdict == "can't tell"
    assert any("channel 48: a reading cannot come through this chain" in each for each in found.warnings)
    assert "chain prove" in match_lines(found)[2]


def test_trials_that_are_alike_push_no_other_row_out():
    """A row that says the same in every trial leaves the ends of the others where they would be without it."""
    row = np.random.default_rng(3).normal(size=4000)
    saturated = np.minimum(np.random.default_rng(4).normal(size=4000), -2.5)
    assert _tail([row, np.zeros(4000)]) == pytest.approx(_tail([row]), rel=1e-6)
    assert _tail([row, saturated]) < _tail([row])
