"""What ripples and how long the thing is: closed forms, lines of scikit-rf, the demo's known answer, the command."""

import json
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from answered_once import kept
from click.testing import CliRunner
from further import wide
from ripple_cases import LIGHT_M_PER_S, line_between, of
from skrf import Frequency
from skrf.media import DefinedGammaZ0

from chain.analyses.recover import recover
from chain.cli.main import chain
from chain.echoes.analyse import edge_points, gated, notice, ripple
from chain.echoes.detect import _groups
from chain.echoes.lengths import COARSE, Place, _explained
from chain.echoes.locate import Fitting, Stretch, folded_s, stretches
from chain.echoes.records import Length
from chain.echoes.search import _gains
from chain.files.setup_file import load_setup
from chain.reflection import vswr as ratio
from chain.sweeps.read import read_sweep
from chain.sweeps.reading_words import parse_reading
from chain.sweeps.readings import Readings, from_texts

pytestmark = pytest.mark.usefixtures("answered_once")

DEMO = Path(__file__).parent.parent.parent / "demo"
SETUP = str(DEMO / "ripple.toml")


@pytest.fixture(scope="module")
def answers():
    """Answers of the demo, with phase and without."""
    setup = load_setup(SETUP)
    return {name: kept(ripple)(read_sweep(str(DEMO / f"ripple.{name}")), setup) for name in ("s1p", "csv")}


# Published: an RF engineering article on line length between mismatched components, 1 m at 0.7 makes about 105 MHz.
# Computed: c vf/(2 length).
@pytest.mark.parametrize(
    ("length_m", "factor", "spacing_mhz", "tolerance_mhz"),
    [
        (1.0, 0.7, 105.0, 0.5),
        (5.0, 0.66, 19.7863, 0.001),
        (10.0, 0.83, 12.4414, 0.001),
        (20.0, 0.85, 6.3706, 0.001),
        *wide((0.5, 0.66, 197.9, 0.05), (1.0, 1.0, 149.8962, 0.01)),
    ],
)
@pytest.mark.parametrize("has_phase", [True, False], ids=["complex", "magnitude"])
def test_the_spacing_is_that_of_the_closed_form(length_m, factor, spacing_mhz, tolerance_mhz, has_phase):
    """A clean sweep of two reflections so far apart, from 100 to 1300 MHz."""
    freq = np.linspace(100e6, 1300e6, 801)
    seen = 0.3 + 0.05 * np.exp(-4j * np.pi * freq * length_m / (LIGHT_M_PER_S * factor))
    found = ripple(of(freq, seen, has_phase), gate=False)
    assert found.verdict == "ripple"
    assert len(found.components) == 1
    component = found.components[0]
    assert component.spacing_hz / 1e6 == pytest.approx(spacing_mhz, abs=tolerance_mhz)
    assert component.reflection == pytest.approx(0.05, rel=0.01)
    assert component.against == pytest.approx(0.3, rel=0.01)
    usual = {each.velocity_factor: each.length_m for each in component.lengths}
    assert usual[1.0] == pytest.approx(length_m / factor, rel=1e-3)
    if factor in usual:
        assert usual[factor] == pytest.approx(length_m, rel=1e-3)


# Computed: two return losses of 20 and 14 dB give 10.5 to 20.0 dB, 15 and 10 give 6.1 to 17.2 (sum and difference).
@pytest.mark.parametrize(("one_db", "other_db", "worst_db", "best_db"), [(20, 14, 10.5, 20.0), (15, 10, 6.1, 17.2)])
def test_two_reflections_are_reported_apart_by_size(one_db, other_db, worst_db, best_db):
    """Half the sum and half the difference of the extremes are the two reflections, and the swing is theirs."""
    freq = np.linspace(100e6, 900e6, 401)
    sizes = [10 ** (-loss / 20) for loss in (one_db, other_db)]
    magnitude = np.abs(sizes[0] + sizes[1] * np.exp(-2j * np.pi * freq / 25e6))
    component = ripple(of(freq, magnitude, False)).components[0]
    assert component.return_loss_db == pytest.approx(max(one_db, other_db), abs=0.1)
    assert -20 * np.log10(component.against) == pytest.approx(min(one_db, other_db), abs=0.1)
    for vswr, loss_db in ((component.high_vswr, worst_db), (component.low_vswr, best_db)):
        assert -20 * np.log10((vswr - 1) / (vswr + 1)) == pytest.approx(loss_db, abs=0.1)


@pytest.mark.parametrize("has_phase", [True, False], ids=["complex", "magnitude"])
def test_a_lossy_line_of_another_library_comes_out_at_its_length(has_phase):
    """Mismatch, 8 m of line with loss, load, all of scikit-rf: length within 3 mm, ways travelled twice named as such."""
    freq, seen = line_between(8.0, 0.66, loss_db=1.5)
    found = ripple(of(freq, seen, has_phase))
    first = found.components[0]
    assert first.length_m == pytest.approx(8.0, abs=0.003)
    assert first.velocity_factor == 0.66
    assert {each.kind for each in found.components[1:]} <= {"repeat", "beat", "turn"}


def test_a_matched_line_does_not_ripple_but_its_length_is_reported():
    """R and X go round once in 12.4 MHz while the VSWR stays: 8 m at 0.66... the end of the line, and no ripple."""
    freq, seen = line_between(8.0, 0.66, near=0.0)
    found = ripple(of(freq, seen))
    assert found.verdict == "none"
    assert [each.kind for each in found.components] == ["turn"]
    assert found.components[0].length_m == pytest.approx(8.0, abs=0.001)
    assert ripple(of(freq, seen, False)).components == ()


def test_the_longest_length_has_two_points_a_ripple_and_the_shortest_a_ripple_and_a_half(answers):
    """A length l ripples every c v/(2 l): sampled twice a period at the most, and seen for 1.5 of them at the least."""
    found = answers["s1p"]
    step, span = float(np.diff(found.freq_hz).mean()), float(np.ptp(found.freq_hz))
    assert len(found.reach) > 1
    for each in found.reach:
        assert LIGHT_M_PER_S * each.velocity_factor / (2 * each.longest_m) == pytest.approx(2 * step, rel=0.05)
        assert LIGHT_M_PER_S * each.velocity_factor / (2 * each.shortest_m) == pytest.approx(span / 1.5, rel=0.05)


def test_the_demo_sweep_names_the_lead_and_the_door(answers):
    """The known answer of demo/make_ripple_sweep.py: 10 m of lead, and a door 3.2 m in front of the aerial."""
    found = answers["s1p"]
    lead, door = (each for each in found.components if each.kind == "echo")
    assert lead.matches == ("lead",)
    assert lead.length_m == pytest.approx(10.0, abs=0.15)
    assert lead.order == "before"
    assert door.matches == ()
    assert door.velocity_factor == 1.0
    assert door.length_m == pytest.approx(3.2, abs=0.1)
    assert "m of air in front of the antenna" in door.explanation
    assert door.order == "behind"
    assert door.far_reflection == pytest.approx(0.06, abs=0.005)
    assert found.counted_from == "antenna"


def test_the_demo_sweep_without_phase_names_the_lead_and_a_surface(answers):
    """The antenna's own phase passes for length there, within the uncertainty that is reported."""
    found = answers["csv"]
    lead, door, both = found.components
    assert lead.matches == ("lead",)
    assert abs(lead.length_m - 10.0) < 2 * lead.length_u_m
    assert abs(door.length_m - 3.2) < 2 * door.length_u_m
    assert both.kind == "beat"
    assert found.gated is None
    assert found.to_dict()["gated_reason"] == "no phase was read"


def test_the_gated_demo_sweep_is_the_aerial_seen_through_its_lead(answers):
    """Against the chain of the demo's script without door and poor connector: four times better than as read, edges reported."""
    world = runpy.run_path(str(DEMO / "make_ripple_sweep.py"))
    freq = Frequency(470, 694, 225, unit="MHz")
    world["aerial"].__globals__["DOOR_M"] = 1e7
    lead = world["lead"](freq).s[:, 1, 0]
    ohm_seen = world["aerial"](freq).s[:, 0, 0]
    far_door = 0.06 * np.exp(-2j * np.pi * freq.f * 2e7 / LIGHT_M_PER_S)
    own = ohm_seen - far_door
    for _ in range(20):
        own = ohm_seen - (1 - np.abs(own) ** 2) * far_door
    true = np.abs(lead**2 * own)
    found = answers["s1p"]
    inside = found.trusted
    assert 0.5 < np.mean(inside) < 0.9
    assert not inside[:10].any()
    assert not inside[-10:].any()
    error = np.abs(np.abs(found.gated) - true)[inside]
    as_read = np.abs(found.reading - true)[inside]
    assert np.sqrt(np.mean(error**2)) < 0.25 * np.sqrt(np.mean(as_read**2))
    assert error.max() < 0.01


def test_a_gate_with_nothing_known_is_that_of_the_library():
    """The wrapper adds no figure of its own: same as scikit-rf's gate without a window over frequency."""
    freq = Frequency(100, 900, 201, unit="MHz")
    seen = 0.2 + 0.1 * np.exp(-2j * np.pi * freq.f * 50e-9)
    network = DefinedGammaZ0(freq, z0=50).load(0)
    network.s = seen.reshape(-1, 1, 1)
    plain = network.time_gate(start=-20e-9, stop=20e-9, fft_window=None, t_unit="s")
    assert np.allclose(gated(freq.f, seen, np.zeros(201), (-20e-9, 20e-9)), plain.s[:, 0, 0], atol=1e-15)
    assert edge_points(201, 4e6, (-20e-9, 20e-9)) == 7


def test_nothing_is_claimed_of_the_demo_aerial_without_ripple():
    """The boathouse aerial has a resonance and a short lead: no ripple, and the lead is listed as too short for the span."""
    setup = load_setup(str(DEMO / "boathouse.toml"))
    for name in ("boathouse.s1p", "boathouse.csv"):
        found = ripple(read_sweep(str(DEMO / name)), setup)
        assert found.verdict == "too narrow"
        assert found.components == ()
        assert [each.item for each in found.unseen] == ["lead"]
        assert found.unseen[0].spacing_hz / 1e6 == pytest.approx(164.886, abs=0.001)


def test_few_points_are_said_to_be_few():
    """Fifteen points, one point: an answer, not an error."""
    readings = from_texts([parse_reading(f"VSWR 1.3 at {100 + step} MHz") for step in range(15)])
    assert ripple(readings).verdict == "too few points"
    one = from_texts([parse_reading("VSWR 1.3 at 100 MHz")])
    assert ripple(one).verdict == "too few points"
    json.dumps(ripple(one).to_dict(), allow_nan=False)


def test_hard_sweeps_give_an_answer():
    """Nothing at all, a full reflection, all equal, uneven steps, a spike: a verdict each, no warning, no endless search."""
    rng = np.random.default_rng(1)
    freq = np.linspace(100e6, 200e6, 64)
    spike = np.where(np.arange(64) == 30, 0.5, 0.1)
    for magnitude in (np.zeros(64), np.ones(64), np.full(64, 0.2), spike, rng.random(64)):
        for has_phase in (True, False):
            found = ripple(of(freq, magnitude.astype(complex), has_phase))
            assert found.verdict in ("none", "too narrow", "ripple", "too coarse")
            json.dumps(found.to_dict(), allow_nan=False)
    uneven = np.sort(freq + rng.uniform(-0.4e6, 0.4e6, 64))
    seen = 0.3 + 0.05 * np.exp(-2j * np.pi * uneven / 10e6)
    found = ripple(of(uneven, seen))
    assert found.components[0].spacing_hz == pytest.approx(10e6, rel=1e-3)
    assert found.gated is None
    assert "uneven" in found.warnings[0]


def test_stretches_of_a_setup_lie_between_its_joints():
    """Delays by hand: 10 m at 0.82 is 81.36 ns there and back; it begins at the calibration plane."""
    from chain.assembly.cascade import build

    setup = load_setup(SETUP)
    known = stretches(setup, build(setup))
    assert [(each.near, each.far, each.items) for each in known] == [("pad/lead", "lead/far", ("lead",))]
    assert known[0].delay_s == pytest.approx(2 * 10 / (0.82 * LIGHT_M_PER_S))
    assert known[0].velocity_factor == pytest.approx(0.82)
    assert folded_s(8e-8, 1e7, True) == pytest.approx(8e-8)
    assert folded_s(8e-8, 1e7, False) == pytest.approx(2e-8)


@pytest.mark.usefixtures("few_trials")
def test_the_command_joins_the_remark_on_ripple_to_a_recovery(answers, tmp_path):
    """On the page and in the JSON of `chain recover`; the analysis itself runs no search; none where nothing can be determined."""
    setup, whole = load_setup(SETUP), read_sweep(str(DEMO / "ripple.csv"))
    assert notice(whole, setup) == answers["csv"].sentence
    assert "lead (10.0 m)" in answers["csv"].sentence
    sweep = tmp_path / "third.csv"
    rows = (f"{freq / 1e6:.1f},{ratio(size):.4f}" for freq, size in zip(whole.freq_hz, whole.magnitude, strict=True))
    sweep.write_text("\n".join(["frequency_mhz,vswr", *list(rows)[::3]]), "utf-8")
    ran = CliRunner().invoke(chain, ["recover", SETUP, str(sweep), "--draws", "1000", "--json"])
    found = json.loads(ran.stdout)["ripple"]
    assert found == notice(read_sweep(str(sweep)), setup)
    assert "lead (10.0 m)" in found
    few = Readings(whole.freq_hz[::40], whole.magnitude[::40], None, "")
    assert recover(setup, few, draws=1000).ripple is None
    quiet = load_setup(str(DEMO / "boathouse.toml"))
    assert notice(from_texts([parse_reading("VSWR 1.1 at 210 MHz")]), quiet) is None


def run(*words):
    """The command as the user calls it."""
    return CliRunner().invoke(chain, ["ripple", *[str(word) for word in words]])


def test_the_command_tells_verdict_first_and_the_contracted_keys():
    """Text begins with the sentence; JSON holds what others rely on, nothing infinite."""
    text = run(DEMO / "ripple.s1p", SETUP)
    assert text.exit_code == 0
    assert text.output.startswith("Dips every 12.29 MHz: as long as lead (10.0 m)")
    made = json.loads(run(DEMO / "ripple.s1p", SETUP, "--json").output)
    assert made["verdict"] == "ripple"
    for component in made["components"]:
        assert {"spacing_hz", "length_m", "velocity_factor", "reflection", "matches"} <= set(component)
    assert made["components"][0]["matches"] == ["lead"]
    assert len(made["gated"]) == len(made["freq_hz"]) == len(made["trusted"]) == len(made["fitted"]) == 225


def test_without_a_setup_usual_lines_and_a_surface_are_offered():
    """Three velocity factors, marked as assumed."""
    text = run(DEMO / "ripple.csv", "-v").output
    assert "solid polyethylene" in " ".join(text.split())
    assert "assumed (state" in text.lower()


@pytest.mark.parametrize("name", ["steady.s1p", "steady.csv"])
def test_a_gated_sweep_is_written_and_read_back(tmp_path, name, answers):
    """Same figures through the project's own reader; not over another file, not without phase."""
    path = tmp_path / name
    assert run(DEMO / "ripple.s1p", SETUP, "--gate", path, "--quiet").exit_code == 0
    written = read_sweep(str(path)) if name.endswith("s1p") else None
    gate = answers["s1p"].gated
    if written is not None:
        assert np.allclose(written.reflection, gate[answers["s1p"].trusted], atol=1e-12)
    else:
        rows = np.loadtxt(path, delimiter=",", skiprows=4)
        assert np.allclose(rows[:, 1] + 1j * rows[:, 2], gate, atol=1e-12)
        assert set(rows[:, 3]) == {0.0, 1.0}
    again = run(DEMO / "ripple.s1p", SETUP, "--gate", path)
    assert again.exit_code == 2
    assert "--force" in again.output


@pytest.mark.parametrize(
    ("words", "reported"),
    [
        ([], "give one sweep"),
        ([DEMO / "ripple.s1p", DEMO / "ripple.csv"], "give one sweep"),
        ([DEMO / "ripple.csv", "--gate", "x.csv"], "no phase was read"),
        ([DEMO / "ripple.s1p", "--gate", "x.s1p"], "needs a reference impedance"),
        ([DEMO / "ripple.s1p", "--gate", DEMO / "ripple.s1p", "--force"], "not overwritten"),
        ([DEMO / "ripple.s1p", "--gate", "x.png"], ".s1p or .csv"),
        ([DEMO / "ripple.s1p", "--gate", "x.csv", "-o", "./x.csv"], "give each output a file of its own"),
        (["nothing.s1p"], "no such file"),
    ],
)
def test_what_cannot_be_done_is_refused_with_its_remedy(words, reported):
    """Exit 2, one sentence, no traceback, nothing written."""
    result = run(*words)
    assert result.exit_code == 2
    assert reported in result.output
    assert not Path("x.csv").exists()


def test_the_demo_script_writes_the_demo_sweeps(tmp_path):
    """Seeded: the files in the tree are what the script makes, and say that they are invented."""
    world = runpy.run_path(str(DEMO / "make_ripple_sweep.py"))
    world["main"](tmp_path)
    for name in ("ripple.s1p", "ripple.csv"):
        assert (tmp_path / name).read_text(encoding="utf-8") == (DEMO / name).read_text(encoding="utf-8")
        assert "Invented" in (DEMO / name).read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize("phase", [False, True])
@pytest.mark.parametrize("decimals", [None, 4])
def test_a_very_long_sweep_is_averaged_and_says_so(phase, decimals):
    """12,000 points: 2,000 averages of 6, the spacing as it is, a warning that names the figures; digits or not."""
    freq = np.linspace(470e6, 860e6, 12000)
    seen = 0.2 + 0.05 * np.exp(-2j * np.pi * freq / 12.5e6)
    readings = of(freq, seen, phase)
    if decimals is not None:
        readings = replace(readings, rounding=np.full(freq.size, 0.5 * 10.0**-decimals))
    found = ripple(readings)
    assert found.components[0].spacing_hz == pytest.approx(12.5e6, rel=1e-4)
    assert found.freq_hz.size == 2000
    assert found.step_hz == pytest.approx(6 * (freq[1] - freq[0]), rel=1e-6)
    assert "12000 points were averaged by 6" in found.warnings[0]


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_the_answer_fits_every_screen(columns, answers):
    """No line is longer than the console; every figure of the table is there in ASCII too."""
    from io import StringIO

    from chain.cli.output import console_for
    from chain.setup_report.ripple import render

    page = StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", str(columns))
        render(answers["s1p"], console_for(page, "never"))
    text = page.getvalue()
    assert max(len(line.rstrip()) for line in text.splitlines()) <= columns
    for figure in ("12.29 MHz", "46.7", "0.82"):
        assert figure in text
    assert text.isascii() or "─" in text


def test_user_text_does_not_steer_the_terminal():
    """A title with an escape sequence is shown harmless."""
    from dataclasses import replace
    from io import StringIO

    from chain.cli.output import console_for
    from chain.setup_report.ripple import render

    setup = load_setup(SETUP)
    odd = tuple(replace(item, id="a\x1b[31m[red]b") if item.id == "lead" else item for item in setup.items)
    setup = replace(setup, items=odd)
    page = StringIO()
    render(ripple(read_sweep(str(DEMO / "ripple.s1p")), setup), console_for(page, "never"))
    assert "\x1b" not in page.getvalue()
    assert "[red]b" in page.getvalue()


@pytest.mark.parametrize("has_phase", [True, False])
def test_what_an_echo_takes_up_is_what_least_squares_takes_up(has_phase):
    """Power of the residual that each delay's columns take up beside the terms so far, by a fit of their own."""
    rng = np.random.default_rng(5)
    x, delays = np.linspace(-1, 1, 40), np.linspace(2, 9, 12)
    scale = rng.uniform(0.5, 1.5, x.size)
    basis, _ = np.linalg.qr(rng.normal(size=(x.size, 3)) + (1j * rng.normal(size=(x.size, 3)) if has_phase else 0))
    seen = rng.normal(size=x.size) + (1j * rng.normal(size=x.size) if has_phase else 0)
    residual = seen - basis @ (basis.conj().T @ seen)

    def transform(columns, twice=1.0):
        return np.exp(1j * np.pi * np.outer(delays * twice, x)) @ columns

    found = _gains(SimpleNamespace(residual=residual, basis=basis), transform, scale)
    for delay, gain in zip(delays, found, strict=True):
        wave = np.exp(-1j * np.pi * delay * x)
        own = wave[:, None] if has_phase else scale[:, None] * np.stack([wave.real, wave.imag], axis=1)
        columns = np.concatenate([basis, own], axis=1)
        left = residual - columns @ np.linalg.lstsq(columns, residual, rcond=None)[0]
        assert gain == pytest.approx(np.sum(np.abs(residual) ** 2) - np.sum(np.abs(left) ** 2), rel=1e-9)


def test_an_echo_joins_the_group_that_it_is_nearest_to():
    """Of groups at 5 and at 15 ripples the one at 15 takes an echo at 15.5."""
    echoes = [SimpleNamespace(periods=periods) for periods in (5.0, 15.0, 15.5)]
    parts = [np.full(8, size, dtype=complex) for size in (0.3, 0.2, 0.1)]
    fit = SimpleNamespace(model=SimpleNamespace(echoes=echoes), spread=(0.1, 0.1, 0.1), parts=parts)
    assert [[echo.periods for echo, *_ in group] for group in _groups(fit)] == [[5.0], [15.0, 15.5]]


def test_a_coarse_step_is_said_where_no_longer_way_of_the_list_explains_it():
    """A ripple of nearly half a turn a point: short, or an alias; where a lead of the list is that alias, it is named."""
    lead = Stretch("plane", "far end", ("lead",), 10.0, 1e-7, 1e-9, True)
    place = Place((lead,), ((1.0, "air"),), 0.0, "the plane")
    lengths = [Length(1.0, "air", 1.0, 0.1)]
    seen = (0.0, "unknown", COARSE + 0.01)
    for fits, coarse in (((), True), ((Fitting(lead, False, 0.5),), True), ((Fitting(lead, True, 0.5),), False)):
        assert ("coarse step" in _explained(place, lengths, fits, "", seen)) is coarse
