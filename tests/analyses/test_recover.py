"""What a reading is taken for with every unknown at zero."""

import numpy as np
import pytest
import strategies as made
from click.testing import CliRunner
from screens import says

from chain.analyses.recover import nominal_truth, recover
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.files.setup_file import load_setup
from chain.rf.bilinear import Maps
from chain.sweeps.readings import Readings, from_texts, thinned
from chain.uncertainty.measurement import measurement_of, nominal_maps
from chain.units import parse_reading

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
    done = CliRunner().invoke(chain, ["recover", *words, "--quiet"])
    assert done.exit_code == 0, done.output
    return " ".join(done.stdout.split())


def test_linear_propagation_is_told_where_it_holds_and_why_not_where_it_does_not():
    """u and its split where valid; the reason in one line where not; nothing to propagate without a phase."""
    behind_the_pad = "demo/plane-after-pad.toml"
    holds = said(behind_the_pad, "--reading", "0.3+0.2j at 210 MHz")
    assert says(holds, "linear", "0.033", "lead 7")
    assert not says(holds, "not valid")
    small = said(behind_the_pad, "--reading", "0.03+0.02j at 210 MHz")
    assert says(small, "linear", "not valid", "zero")
    both = said(behind_the_pad, "--reading", "0.3+0.2j at 210 MHz", "--reading", "0.03+0.02j at 211 MHz")
    assert says(both, "1 of 2", "0.033", "not valid", "zero")
    assert says(said(behind_the_pad, "--reading", "VSWR 1.5 at 210 MHz"), "linear", "phase")


def test_linear_shares_are_of_the_readings_it_holds_for():
    """The split adds up to the whole variance of the magnitude at the readings shown."""
    setup = load_setup("demo/plane-after-pad.toml")
    readings = from_texts([parse_reading("0.3+0.2j at 210 MHz")])
    found = recover(setup, readings, draws=4000).linear
    parts = sum(each.u_magnitude**2 for each in found.contributions)
    np.testing.assert_allclose(parts, found.u_magnitude**2, rtol=1e-9)


def test_readings_outside_the_sweep_of_the_set_up_are_told():
    """A sweep of another antenna is judged, but not without a word."""
    setup = load_setup("demo/boathouse.toml")
    inside, outside = (from_texts([parse_reading(f"VSWR 1.3 at {at} MHz")]) for at in (210, 500))
    assert not recover(setup, inside, draws=1000).warnings
    assert says(recover(setup, outside, draws=1000).warnings[0], "1 of 1", "outside")


def test_a_long_sweep_is_thinned_to_its_worst_readings():
    """Each group of neighbours leaves its largest reflection, with its own frequency and phase."""
    freq_hz = np.linspace(1e8, 2e8, 2001)
    reflection = 0.3 * np.exp(2j * np.pi * freq_hz / 1e7) * np.sin(freq_hz / 1e6)
    kept = thinned(Readings(freq_hz, np.abs(reflection), reflection, ""), 801)
    assert kept.freq_hz.size == 667
    assert kept.magnitude.max() == np.abs(reflection).max()
    assert np.array_equal(kept.magnitude, [np.abs(reflection[at : at + 3]).max() for at in range(0, 2001, 3)])
    assert np.array_equal(np.abs(kept.reflection), kept.magnitude)
    assert "of 2001 readings" in kept.warnings[0]


def test_the_cure_is_the_best_of_the_cheapest_kind_and_starts_from_the_interval_shown():
    """Moving the plane costs nothing wherever it goes: the plane that helps most is named."""
    found = recover(load_setup("demo/boathouse.toml"), from_texts([parse_reading("VSWR 1.3 at 210 MHz")]), draws=8000)
    assert found.improvement.what == "calibrate after 'lead'"
    assert (found.improvement.now_low, found.improvement.now_high) == pytest.approx(
        (found.low[0], found.high[0]), rel=1e-9
    )
