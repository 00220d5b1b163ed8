"""Parts of what a learnt figure rests on: drawn errors of the ends, scatter of repeats, a cable's own loss kept or contradicted."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import skrf

from chain.characterize.error_model import Analyzer, _ends, disturbed_two_port
from chain.characterize.intervals import Interval, _scatter
from chain.characterize.lead import design
from chain.characterize.lead_part import _kept
from chain.characterize.part_making import MOST_PERCENT, line_loss
from chain.characterize.two_port import windows
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


def test_source_match_lifts_what_is_passed_by_its_bounces_at_either_port():
    """Only the source match is off: what it is in each draw shows in S11 and S22, and S21 then is that of a circuit simulator's."""
    s = np.array([[[0.3 - 0.1j, 0.5], [0.5, -0.25j]]])
    drawn = disturbed_two_port(s, Analyzer(source_match=0.1), np.random.default_rng(4), 50, False)[:, 0]
    match = [(1 - own / seen) / own for own, seen in ((s[0, p, p], drawn[:, p, p]) for p in (0, 1))]
    assert 0.05 < np.abs(match).max() <= 0.1 + 1e-12
    freq = skrf.Frequency(1, 1, 1, unit="GHz")
    for index, (m1, m2) in enumerate(zip(*match, strict=True)):
        boxes = [[[0, 1], [1, m1]], s[0], [[m2, 1], [1, 0]]]
        whole = skrf.network.cascade_list(
            [skrf.Network(frequency=freq, s=np.array([each], dtype=complex)) for each in boxes]
        )
        # The wave that goes round through the part and both ports is of second order in the match: 0.1^2 times 0.5^2.
        assert abs(drawn[index, 1, 0] / whole.s[0, 1, 0] - 1) < 0.004
        assert drawn[index, 0, 1] == drawn[index, 1, 0]


def test_windows_cover_the_sweep_to_its_last_point():
    """Limits are stated for each, so that no frequency is without one, and neighbours meet in a point."""
    for points in (5, 9, 33, 100, 401):
        found = windows(np.arange(points, dtype=float))
        assert (found[0].start, found[-1].stop) == (0, points)
        assert all(one.stop == other.start + 1 for one, other in pairwise(found))


def test_a_loss_that_may_be_none_is_covered_to_its_upper_end_at_every_frequency():
    """Where no loss at all may be true, the course is half the upper end with all of it either way, bent as that may be."""
    at_hz = np.linspace(1e8, 9e8, 21)
    high = 0.2 + 0.3 * np.sin(np.linspace(0, np.pi, 21))
    parts, percent = line_loss(at_hz, Interval(high / 3, np.zeros(21), high), True)
    assert percent == MOST_PERCENT
    covered = design(at_hz, True) @ parts * (1 + percent / 100)
    assert np.all(covered >= high * (1 - 1e-4))
    assert np.min(covered / high) == pytest.approx(1, abs=1e-3)
