"""Parts of what a learnt figure rests on: drawn errors of the ends, scatter of repeats, a cable's own loss kept or contradicted."""

from dataclasses import replace

import numpy as np
import pytest

from chain.characterize.error_model import Analyzer, _ends
from chain.characterize.intervals import Interval, _scatter
from chain.characterize.lead_part import _kept
from chain.rf.parts import attenuation_db_per_100m
from library.load import load_library

FREQ_HZ = np.array([1e8, 5e8])


def test_open_and_short_depart_by_what_lies_across_and_in_series():
    """A capacitance C across an open and an inductance L in a short: reflections by their impedances, C and L drawn."""
    errors = Analyzer(open_capacitance_f=1e-12, short_inductance_h=1e-9)
    drawn = _ends(FREQ_HZ, errors, 75.0, np.random.default_rng(3), 500, False)
    omega = 2 * np.pi * FREQ_HZ
    for end, ideal in (("open", 1.0), ("short", -1.0)):
        seen = ideal + drawn[end]
        ohm = 75 * (1 + seen) / (1 - seen)
        size = 1 / (1j * omega * ohm) if end == "open" else ohm / (1j * omega)
        most = errors.open_capacitance_f if end == "open" else errors.short_inductance_h
        np.testing.assert_allclose(size.imag, 0, atol=1e-6 * most)
        np.testing.assert_allclose(size[:, 0], size[:, 1], rtol=1e-6)
        assert 0 < size.real.min() < 0.02 * most
        assert 0.98 * most < size.real.max() <= most


def test_scatter_of_distances_is_that_of_what_they_are_distances_of():
    """For n distances from their own mean the sum of squares over n - 1, as of any sample."""
    values = np.array([[1.0], [4.0], [2.0], [9.0]])
    apart = np.abs(values - values.mean(axis=0))
    assert _scatter("loss_apart", apart)[0] == pytest.approx(np.std(values, ddof=1))
    assert _scatter("loss", values)[0] == pytest.approx(np.std(values, ddof=1))


@pytest.mark.parametrize(("factor", "kept"), [(1.0, True), (1.1, True), (0.9, True), (1.2, False), (0.8, False)])
def test_the_loss_of_a_type_is_kept_where_its_tolerance_meets_the_interval(factor, kept):
    cable = replace(load_library().part("rg59"), loss_tolerance=0.12, attenuation_kind="nominal")
    typical = sum(attenuation_db_per_100m(cable, FREQ_HZ)) / 100
    loss = Interval(factor * typical, 0.97 * factor * typical, 1.03 * factor * typical)
    row, words = _kept(cable, FREQ_HZ, loss, 1.0, 50.0)
    assert bool(row) == kept
    assert ("another cable" in words) != kept
