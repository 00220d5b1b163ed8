"""The reactance of a half-wave element, and the change of its length, against a method of moments that knows no transmission line."""

import numpy as np
import pytest
from dipole_moments import dipole_ohm, resonant_length
from further import wide
from tuning_world import as_readings, bench

from chain.setups import Antenna
from chain.tuning.direction import change_by_slope, dipole_impedance_ohm, ohm_per_percent
from chain.tuning.tune import tune

C_M_PER_S = 299_792_458.0


@pytest.mark.parametrize(("half_over_radius", "expected"), [(1000, 12.4), (100, 8.1), (30, 5.8)])
def test_the_slope_of_the_transmission_line_dipole(half_over_radius, expected):
    """Ohm per cent off resonance, transmission-line theory of the dipole (memory), to the last digit given."""
    length, diameter = 1.0, 1.0 / half_over_radius
    assert ohm_per_percent(length, diameter) == pytest.approx(expected, abs=0.05)
    assert change_by_slope(expected, length, diameter) == pytest.approx(-0.01, rel=0.01)
    assert dipole_impedance_ohm(length, diameter) == pytest.approx(120 * (np.log(2 * half_over_radius) - 1))


def test_the_method_of_moments_gives_the_published_half_wave_dipole():
    """One sinusoidal mode half a wave long: 73.1 + j42.5 ohm, as every textbook on antennas prints (memory)."""
    assert dipole_ohm(0.5, 1e4, 1) == pytest.approx(73.1 + 42.5j, abs=0.05)


@pytest.mark.parametrize(("length_over_diameter", "expected"), [(5000, 0.49), (50, 0.475)])
def test_resonant_lengths_of_a_textbook(length_over_diameter, expected):
    """Shortened by 2 % and by 5 % (table of a textbook on antennas, whole per cents; memory)."""
    assert resonant_length(length_over_diameter) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("half_over_radius", "short"), [(1000, 0.07), (100, 0.13), (30, 0.27)])
def test_the_slope_form_is_steeper_than_the_method_of_moments_by_what_its_interval_allows(half_over_radius, short):
    """6 % steeper for thin wire, 12 % at 100, a quarter at 30: the interval of the slope form reaches that far."""
    length = resonant_length(half_over_radius, 21)
    rise = dipole_ohm(length * 1.005, half_over_radius, 21).imag - dipole_ohm(length * 0.995, half_over_radius, 21).imag
    formula = ohm_per_percent(1.0, 1.0 / half_over_radius)
    assert formula * (1 - short) <= rise <= formula


@pytest.mark.parametrize("half_over_radius", [60, *wide(1000)])
def test_a_dipole_cut_as_it_is_reported_resonates_where_it_is_wanted(half_over_radius):
    """A rod of fixed thickness, swept, tuned, cut by the share that was said, and solved again: within 0.3 % of the wanted place."""
    freq = np.linspace(540e6, 660e6, 61)
    length_m = resonant_length(half_over_radius, 21) * C_M_PER_S / 592e6
    radius_m = length_m / 2 / half_over_radius

    def reflection(metres, at_hz):
        waves = metres * np.asarray(at_hz) / C_M_PER_S
        ohm = np.array([dipole_ohm(each, metres / 2 / radius_m, 21) for each in waves])
        return (ohm - 75) / (ohm + 75)

    antenna = Antenna("half-wave", length_m, 2 * radius_m)
    readings = as_readings(freq, reflection(length_m, freq))
    found = tune(bench(61, antenna), readings, 606e6, 606e6)
    assert found.verdict == "too long"
    assert found.change.basis == "resonance"
    cut_m = length_m + found.change.length_m.value
    again = as_readings(freq, reflection(cut_m, freq))
    place = tune(bench(61, antenna), again, 606e6, 606e6).resonances[0].freq_hz.value
    assert place == pytest.approx(606e6, rel=3e-3)
    share = found.change.share.value
    assert found.by_slope.share.low <= share <= found.by_slope.share.high
