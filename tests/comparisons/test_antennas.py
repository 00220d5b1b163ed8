"""Two antennas through one chain: intervals of the difference hold in a world of scikit-rf's, and are far narrower.

The world (`coverage_world`) draws the demo's parts by the physics alone; here both antennas are read through one draw of
it, each with its own joints, drift and noise.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from coverage_world import Adapter, Case, Lead, Pad, Screen, World, joint, radius
from further import wide

from chain.analyses.recover import recover
from chain.assembly.cascade import read_sweep_for
from chain.cli.main import chain as program
from chain.comparisons.antennas import compare_antennas
from chain.comparisons.bands import ChannelBand
from chain.comparisons.differences import differences
from chain.comparisons.joint_trials import draw_jointly, recovered_magnitudes
from chain.errors import RangeError
from chain.files.setup_file import load_setup
from chain.reflection import magnitude_from_vswr
from chain.sweeps.readings import Readings

pytestmark = pytest.mark.usefixtures("answered_once")

DEMO = "demo/boathouse.toml"
SETUP = load_setup(DEMO)
FREQ = np.linspace(174e6, 181e6, 15)
PLANES = {"near": 0, "pad": 2, "lead": 3}
BOATHOUSE = Case(
    "boathouse",
    tuple(FREQ),
    (
        Adapter(50, 0.05, 26, 0.05, 0.00625),
        Pad(50, 75, 5.7195, 0.2, 26, 26),
        Lead(75, 0.6, 20, 1.035, 0.00725, 0.66, 3, 0.12),
    ),
    2,
    {"directivity_db": 40, "source_match_db": 36, "tracking_db": 0.1},
    {"noise_db": 0.02, "repeatability_db": 50, "drift_db": 50},
    {"load_db": 32},
)
CASES = {
    "both matched": (0.0, 0.0, 0.0),
    "bent a little": (0.30, 0.25, 0.0),
    "one perfect": (0.0, 0.35, 0.0),
    "opposite phases": (0.30, 0.25, np.pi),
    "bad and good": (0.70, 0.30, 1.0),
    "both small": (0.05, 0.15, 2.0),
    "one bad point": (0.30, None, 0.0),
}


def at_plane(plane):
    return replace(SETUP, calibration=replace(SETUP.calibration, plane=plane))


def pair(plane, sizes, trials, rng):
    """True reflections of two antennas, and their readings through the same drawn chains; shape (trials, frequencies)."""
    first, second, turn = sizes
    start, delay = 2 * np.pi * rng.random((trials, 1)), 10e-9 * rng.random((trials, 1))
    dip = 0.3 - 0.15 * abs(np.linspace(-1, 1, FREQ.size))
    shapes = [np.full(FREQ.size, first), dip if second is None else np.full(FREQ.size, second)]
    far = [
        size * np.exp(1j * (start + more - 2 * np.pi * FREQ * delay))
        for size, more in zip(shapes, (0.0, turn), strict=True)
    ]
    world = World(BOATHOUSE, trials, rng)
    screen = Screen(world, PLANES[plane])
    seen = []
    for each in far:
        screen.antenna_joint = screen.mating()
        screen.offset = world.noise() + world.off(radius(50))
        seen.append(screen.reading(joint(screen.mating(), each)))
    return shapes, seen


def missed(plane, name, trials, seed=5):
    """Shares of trials whose interval lies above, and below, the true difference: of the worst point, of the loss; widths."""
    shapes, (first, second) = pair(plane, CASES[name], trials, np.random.default_rng(seed))
    draws = draw_jointly(at_plane(plane), FREQ, 2, 2, 1)
    band = (ChannelBand("5", FREQ[0], FREQ[-1], slice(0, FREQ.size), True),)
    worst = [float(each.max()) for each in shapes]
    loss = [-10 * np.log10(1 - np.mean(each**2)) for each in shapes]
    out = []
    for one, other in zip(first, second, strict=True):
        (found,), _, _ = differences(draws, ((0, one), (1, other)), band, together=False)
        change, more = worst[1] - worst[0], loss[1] - loss[0]
        out.append(
            (
                found.worst_low > change + 1e-12,
                found.worst_high < change - 1e-12,
                found.loss_low_db > more + 1e-12,
                found.loss_high_db < more - 1e-12,
                found.worst_high - found.worst_low,
            )
        )
    return np.mean(out, axis=0)


@pytest.mark.slow
@pytest.mark.parametrize("plane", PLANES)
@pytest.mark.parametrize("name", CASES)
def test_differences_cover_in_every_class(plane, name):
    """At least 94 % of 1000 differences, less twice their own standard deviation (0.75 %), in each class."""
    found = missed(plane, name, 1000)
    print(plane, name, found.round(3))
    assert found[0] + found[1] <= 0.06 + 0.015
    assert found[2] + found[3] <= 0.06 + 0.015


@pytest.mark.parametrize(
    ("plane", "name"), [("near", "bent a little"), ("pad", "one bad point"), ("lead", "one perfect")]
)
def test_differences_cover_in_a_small_world(plane, name):
    """Forty differences: five missed of 6 % would be one chance in twenty."""
    found = missed(plane, name, 40)
    assert found[0] + found[1] <= 0.13
    assert found[2] + found[3] <= 0.13


def magnitudes(found):
    return magnitude_from_vswr(np.minimum(found.high, 1e9)) - magnitude_from_vswr(found.low)


def test_a_difference_is_at_most_half_as_wide_as_separate_answers():
    """The demo's own bench and sweep, calibrated at the analyzer's port; the second antenna is the first with a bent end."""
    from chain.assembly.cascade import read_sweep_for

    setup = replace(SETUP, sweep=replace(SETUP.sweep, channels=()))
    whole = read_sweep_for(setup, "demo/boathouse.s1p")
    first = replace(whole, freq_hz=whole.freq_hz[::6], magnitude=whole.magnitude[::6], reflection=whole.reflection[::6])
    turned = first.reflection * 1.05 * np.exp(0.02j)
    second = replace(first, reflection=turned, magnitude=np.abs(turned))
    found = compare_antennas(setup, first, second)
    apart = sum(magnitudes(recover(setup, each, draws=4000)) for each in (first, second))
    ratios = []
    for each in found.channels:
        here = np.flatnonzero((first.freq_hz >= each.low_hz) & (first.freq_hz <= each.high_hz))
        worst = here[np.argmax(first.magnitude[here])]
        ratios.append((each.reflection_high - each.reflection_low) / apart[worst])
    print(f"width over the sum of the separate ones: {min(ratios):.2f} to {max(ratios):.2f}")
    # The interval of each difference holds for all rows at once, that of each separate answer for itself alone.
    assert max(ratios) <= 0.5


def test_magnitudes_that_give_a_reading_give_it():
    """The roots of the quadratic, put back into the map, read what was read (where there is a root)."""
    draws = draw_jointly(SETUP, FREQ[:3], 1, 1, 3)
    maps, turn = draws.readings[0], np.exp(0.7j)
    for size in (0.05, 0.12, 0.25):
        for found in recovered_magnitudes(maps, np.full(3, size), turn):
            inside = (found > 1e-6) & (found < 1 - 1e-6)
            shown = np.abs(maps.reading(found * turn))
            off = np.abs(shown - size)[inside]
            # A reading below what any magnitude of that phase gives has no root: the nearest one counts.
            assert np.mean(off < 1e-5) > 0.6


def test_without_phase_nothing_cancels_of_itself_and_this_is_reported():
    """The same sweep twice: with phase a narrow interval about nothing, without one a wide one; never a verdict."""
    rng = np.random.default_rng(2)
    _, (first, second) = pair("near", (0.3, 0.3, 0.0), 1, rng)
    readings = [Readings(FREQ, np.abs(each[0]), each[0], "made up") for each in (first, second)]
    with_phase = compare_antennas(SETUP, *readings)
    without = compare_antennas(SETUP, *(replace(each, reflection=None) for each in readings))
    assert {with_phase.verdict, without.verdict} == {"can't tell"}
    assert not without.has_phase
    for one, other in zip(with_phase.channels, without.channels, strict=True):
        assert other.loss_high_db - other.loss_low_db > 3 * (one.loss_high_db - one.loss_low_db)


@pytest.mark.parametrize(("exchanged", "phase"), [(True, True), *wide((True, False), (False, True), (False, False))])
@pytest.mark.usefixtures("trials")
def test_the_other_order_says_the_same_of_both(exchanged, phase):
    setup = load_setup("demo/plane-after-pad.toml")
    pair = [
        read_sweep_for(setup, f"demo/plane-after-pad{each}.s1p").at(slice(None, None, 4)) for each in ("-before", "")
    ]
    if not phase:
        pair = [replace(each, reflection=None) for each in pair]
    there = compare_antennas(setup, *pair, exchanged=exchanged)
    back = compare_antennas(setup, *reversed(pair), exchanged=exchanged)
    words = {"better": "worse", "worse": "better"}
    assert back.verdict == words.get(there.verdict, there.verdict)
    for one, other in zip(there.channels, back.channels, strict=True):
        assert (other.first_vswr, other.second_vswr) == (one.second_vswr, one.first_vswr)
        assert (other.reflection_low, other.reflection_high) == (-one.reflection_high, -one.reflection_low)
        assert (other.loss_low_db, other.loss_high_db) == (-one.loss_high_db, -one.loss_low_db)
        assert other.verdict == words.get(one.verdict, one.verdict)


def test_sweeps_that_share_no_frequencies_and_set_ups_that_never_differ_are_refused():
    """With the remedy."""
    one = Readings(FREQ, np.full(15, 0.1), np.full(15, 0.1 + 0j), "made up")
    with pytest.raises(RangeError, match="0 frequencies in common"):
        compare_antennas(SETUP, one, replace(one, freq_hz=FREQ + 12e6))
    near = replace(SETUP.near, trace_noise_db=None, repeatability_db=None, drift_db=None)
    with pytest.raises(RangeError, match="how well this set-up repeats"):
        compare_antennas(replace(SETUP, near=near), one, one)
    # A lead that is moved changes every reading, by an angle or by a delay.
    for flexed in ({"flex_deg": 1.0}, {"flex_deg_at_1ghz": 1.0}):
        moved = replace(SETUP.calibration, plane="lead", **flexed)
        assert compare_antennas(replace(SETUP, near=near, calibration=moved), one, one).verdict == "can't tell"


@pytest.mark.usefixtures("few_trials")
def test_the_command_answers_in_three_lines_and_in_json(tmp_path):
    """Demo sweeps: three lines of at most 80 characters, the same verdicts in JSON and on the page, --enforce exits with 1."""
    words = ["compare", *(f"demo/plane-after-pad{each}" for each in (".toml", "-before.s1p", ".s1p"))]
    done = CliRunner().invoke(program, words)
    lines = done.stdout.splitlines()
    assert done.exit_code == 0
    assert lines[0] == "B: better than A in 3, worse in 1 of 8 channels."
    assert lines[2].startswith("Next: ")
    assert lines[3] == ""
    assert max(len(line) for line in lines) <= 80
    page = tmp_path / "page.html"
    done = CliRunner().invoke(program, [*words, "--json", "--levels", "demo/levels.csv", "--page", str(page), "-q"])
    found = json.loads(done.stdout)
    assert [each["verdict"] for each in found["channels"]].count("better") == 3
    assert found["levels"]["verdict"] == "better"
    assert found["levels"]["channels"][0]["gain_db"] is not None
    text = page.read_text("utf-8")
    assert lines[0] in text
    assert "<script" not in text
    assert CliRunner().invoke(program, [*words, "--enforce"]).exit_code == 1
    assert CliRunner().invoke(program, [*words, "--page", str(page)]).exit_code == 2
    for bad in (["compare"], ["compare", DEMO], ["compare", "--levels", "demo/levels.csv", "--plot"]):
        assert CliRunner().invoke(program, bad).exit_code == 2
