"""Two sweeps compared: an unchanged antenna seldom looks changed, a changed one does, and what both share cancels.

The readings come from scikit-rf pieces with faults of their own, and noise, drift and re-made joints drawn here.
"""

import json
from dataclasses import replace
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
import skrf
from click.testing import CliRunner
from rich.console import Console
from screens import says
from skrf.media import DefinedGammaZ0

from chain.analyses.compare import compare_sweeps
from chain.cli.main import chain as program
from chain.errors import RangeError
from chain.files.setup_file import load_setup
from chain.report.compare import render
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import Readings

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
    """One reading of an antenna of a reflection in 75 ohm: joint at the port made anew, drift and noise."""
    ohm = 75 * (1 + antenna) / (1 - antenna)
    end = skrf.Network(frequency=FREQ, s=((ohm - 50) / (ohm + 50)).reshape(-1, 1, 1), z0=50)
    seen = (two_port**end).s[:, 0, 0]
    joint = disc(rng)
    seen = joint + (1 - abs(joint) ** 2) * seen / (1 + np.conj(joint) * seen)
    seen = seen + disc(rng) + NOISE * (rng.normal(size=seen.size) + 1j * rng.normal(size=seen.size))
    return Readings(FREQ.f, np.abs(seen), seen if phase else None, "made up")


def antenna(size=0.25):
    return size * np.exp(-2j * np.pi * FREQ.f * 4e-9)


def shares_changed(trials, phase):
    """Share of comparisons of an unchanged antenna that show a change in any band."""
    rng = np.random.default_rng(5)
    found = 0
    for trial in range(trials):
        fixed = chain(86.6 * (1 + 0.01 * rng.normal()), 0.5 * rng.random())
        size = rng.uniform(0, 0.6)
        before, after = (reading(rng, fixed, antenna(size), phase) for _ in range(2))
        found += compare_sweeps(SETUP, before, after, seed=trial).verdict != "no change shown"
    return found / trials


@pytest.mark.slow
@pytest.mark.parametrize("phase", [True, False])
def test_an_unchanged_antenna_seldom_looks_changed(phase):
    """At most 5 % of comparisons show a change in any band; 600 trials, so 2 standard deviations are 1.8 %."""
    share = shares_changed(600, phase)
    print(f"called changed {'with' if phase else 'without'} phase: {share:.3f}")
    assert 0.015 <= share <= 0.068


@pytest.mark.statistical
def test_an_unchanged_antenna_looks_changed_in_few_of_60_trials():
    """60 trials at 5 %: more than eight is one chance in a hundred (binomial)."""
    assert shares_changed(60, True) <= 8 / 60


def test_an_unchanged_antenna_as_a_rule_shows_no_change():
    """Twelve trials: three false alarms of 5 % each would be one chance in fifty."""
    assert shares_changed(12, True) <= 0.17


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize(("before", "after", "word"), [(0.4, 0.2, "better"), (0.2, 0.4, "worse")])
def test_a_change_is_found_and_its_direction(phase, before, after, word):
    """A reflection that doubles or halves in every band is no repetition."""
    rng, fixed = np.random.default_rng(1), chain()
    pair = [reading(rng, fixed, antenna(size), phase) for size in (before, after)]
    found = compare_sweeps(SETUP, *pair)
    assert found.verdict == word
    assert {band.verdict for band in found.bands} == {word}
    # The change is the one that was made, as the nominal chain shows it: (after - before) within a fifth.
    if phase:
        assert np.mean([band.change for band in found.bands]) == pytest.approx(after - before, rel=0.2)
    assert found.of == ("antenna" if phase else "screen")


def test_a_turn_without_a_change_of_size_is_told_as_moved():
    """With phase a reflection that only turned is seen to have moved; its worst point is as good as before."""
    rng, fixed = np.random.default_rng(2), chain()
    pair = [reading(rng, fixed, antenna(0.3) * turn) for turn in (1, np.exp(0.6j))]
    found = compare_sweeps(SETUP, *pair)
    assert "moved" in {band.verdict for band in found.bands}
    assert np.median([band.moved for band in found.bands]) == pytest.approx(0.3 * 2 * np.sin(0.3), rel=0.25)


def test_what_both_sweeps_share_cancels():
    """A pad ten times as loose widens the interval of one reading, not what two readings repeat to."""
    rng, fixed = np.random.default_rng(3), chain()
    pair = [reading(rng, fixed, antenna(0.25)) for _ in range(2)]
    loose = tuple(
        replace(item, part=replace(item.part, loss_tolerance_db=2.0)) if item.id == "pad" else item
        for item in SETUP.items
    )
    tight, wide = compare_sweeps(SETUP, *pair), compare_sweeps(replace(SETUP, items=loose), *pair)
    for one, other in zip(tight.bands, wide.bands, strict=True):
        assert other.moved_repeats == pytest.approx(one.moved_repeats, rel=0.5)


def test_more_noise_repeats_worse():
    """Ten times the noise needs about ten times the change."""
    rng, fixed = np.random.default_rng(4), chain()
    pair = [reading(rng, fixed, antenna(0.25)) for _ in range(2)]
    quiet = replace(SETUP, near=replace(SETUP.near, repeatability_db=None, drift_db=None, trace_noise_db=0.02))
    loud = replace(SETUP, near=replace(quiet.near, trace_noise_db=0.2))
    ratio = compare_sweeps(loud, *pair).bands[0].moved_repeats / compare_sweeps(quiet, *pair).bands[0].moved_repeats
    assert ratio == pytest.approx(10.1, rel=0.15)


def test_a_set_up_that_states_no_repeatability_judges_nothing():
    """Without noise, drift, repeatability and flex any difference would be a change."""
    rng, fixed = np.random.default_rng(6), chain()
    bare = replace(SETUP, near=replace(SETUP.near, repeatability_db=None, drift_db=None, trace_noise_db=None))
    found = compare_sweeps(bare, *(reading(rng, fixed, antenna(0.25)) for _ in range(2)))
    assert found.verdict == "not judged"


def test_a_coarse_file_repeats_no_better_than_its_last_digit(tmp_path):
    """VSWR with one decimal is known to half a tenth only."""
    values = np.linspace(1.1, 1.3, 24)
    texts = {}
    for name, digits in (("coarse", 1), ("fine", 4)):
        rows = [f"{f / 1e6:.6f},{value:.{digits}f}" for f, value in zip(FREQ.f, values, strict=True)]
        path = tmp_path / f"{name}.csv"
        path.write_text("\n".join(["f/MHz,VSWR", *rows]))
        texts[name] = read_sweep(str(path))
    coarse, fine = (compare_sweeps(SETUP, texts[name], texts[name]).bands[0] for name in ("coarse", "fine"))
    # Closed form: half a tenth of VSWR at 1.1 is 0.05/2.1 in reflection, about 0.023.
    assert coarse.moved_repeats > fine.moved_repeats + 0.015


def test_common_frequencies_only():
    """Half of the points are enough, fewer are an error that says so."""
    rng, fixed = np.random.default_rng(7), chain()
    one, two = (reading(rng, fixed, antenna(0.25)) for _ in range(2))
    half = Readings(two.freq_hz[::2], two.magnitude[::2], None, "")
    found = compare_sweeps(SETUP, one, half)
    assert found.points == 12
    assert any("12 frequencies" in each for each in found.warnings)
    assert any("no phase" in each for each in found.warnings)
    with pytest.raises(RangeError, match="0 frequencies in common"):
        compare_sweeps(SETUP, one, replace(two, freq_hz=two.freq_hz + 1e6))


def run(*words):
    return CliRunner().invoke(program, [*words, "--color", "never"], prog_name="chain")


def thinned(folder, name, start=0):
    """Every ninth point of a sweep of the demo, which is quicker."""
    head, option, *rows = Path("demo", name).read_text(encoding="utf-8").splitlines()
    path = folder / name
    path.write_text("\n".join([head, option, *rows[start::9]]) + "\n", encoding="utf-8")
    return str(path)


def test_the_command_prints_a_comparison_and_holds_it_as_json(tmp_path):
    """Channels most changed first, each with what it repeats to; everything under `before` in JSON."""
    after, before = (thinned(tmp_path, f"plane-after-pad{name}.s1p") for name in ("", "-before"))
    words = ("recover", "demo/plane-after-pad.toml", after, "--before", before)
    found = json.loads(run(*words, "--json").output)
    assert found["before"]["of"] == "antenna"
    names = [band["channel"] for band in found["before"]["bands"]]
    assert names == [each["channel"] for each in found["channels"]]
    assert all(band["moved"] > band["moved_repeats"] for band in found["before"]["bands"])
    page = StringIO()
    render(compare_sweeps(load_setup(words[1]), read_sweep(before), read_sweep(after)), Console(file=page, width=80))
    lines = page.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(page.getvalue().split())
    assert says(text, "changed", "8 of 8", "channel")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--reading", "VSWR 1.3 at 210 MHz", "--before", "gone.s1p"), "give the later one as SWEEP"),
        (("{after}", "--before", "gone.s1p"), "cannot be read"),
        (("{after}", "--before", "{other}"), "frequencies in common"),
        (("{after}", "--before", "{after}"), "--before names the sweep itself"),
    ],
)
def test_a_comparison_that_cannot_be_made(tmp_path, words, told):
    """An error that says why, exit status 2, before anything is simulated."""
    after = thinned(tmp_path, "plane-after-pad.s1p")
    other = thinned(tmp_path, "plane-after-pad-before.s1p", start=4)
    found = run("recover", "demo/plane-after-pad.toml", *(word.format(after=after, other=other) for word in words))
    assert found.exit_code == 2
    assert told in found.output
