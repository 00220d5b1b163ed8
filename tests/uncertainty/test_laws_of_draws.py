"""Laws of drawn parts: how wide they spread, that they are passive, that none exceeds its own reflection limit."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import (
    adapters,
    coaxes,
    floats,
    item,
    item_lists,
    largest_gain,
    limit,
    pad,
    pads,
    random_two_port,
    return_losses,
    seeds,
    span_hz,
)

from chain.rf import twoport
from chain.rf.elements import Box, Line, aligned, limit_radius
from chain.rf.parts import elements_of
from chain.rf.twoport import through
from chain.setups import Arm
from chain.uncertainty.sampled_maps import drawn_through
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import unit_reflections
from library.load import load_library
from library.records import SectionLine, Transformer

FREQ_HZ = np.array([87.5e6, 200e6, 470e6, 862e6])
ROUNDING = 1e-10
LIBRARY = load_library()
KINDS = ("pad", "adapter", "coax", "section", "transformer", "splitter")


def drawn_parts(placed, freq, count, seed=1):
    """Drawn two-ports of an item, in its own impedances."""
    rng = np.random.default_rng(seed)
    return twoport.cascade([draw(element, rng, count) for element in elements_of(placed, freq)])


@given(seeds)
@settings(max_examples=10)
def test_spread_of_discs_and_rings(seed):
    """Standard deviation on each axis: r/2 over a disc, r/sqrt 2 on a ring; 40,000 draws."""
    rng = np.random.default_rng(seed)
    for shape, expected in (("disc", 0.5), ("ring", np.sqrt(0.5))):
        found = unit_reflections(rng, 40_000, shape)
        assert abs(found.mean()) < 0.02
        assert found.real.std() == pytest.approx(expected, abs=0.01)
        assert found.imag.std() == pytest.approx(expected, abs=0.01)
        assert np.abs(found).max() <= 1 + 1e-12


@pytest.mark.parametrize(("kind", "share"), [("disc", 0.5), ("ring", np.sqrt(0.5))])
def test_spread_of_a_drawn_pad(kind, share):
    """The same through a pad's own S11 and S22, which are drawn each by itself."""
    s = drawn_parts(item(pad(near_db=26, far_db=20, kind=kind)), FREQ_HZ[:1], 40_000)[:, 0]
    for port, return_loss_db in ((0, 26), (1, 20)):
        assert s[:, port, port].real.std() == pytest.approx(10 ** (-return_loss_db / 20) * share, rel=0.02)
    assert abs(np.mean(s[:, 0, 0] * np.conj(s[:, 1, 1]))) < 0.02 * 0.05 * 0.1


def limits_of(part):
    """Limits of a part at its own near and far end."""
    both = getattr(part, "limit", None)
    return getattr(part, "near_limit", both), getattr(part, "far_limit", both)


def placed_part(part, reversed_=False, length_m=0.6):
    """A part of any kind as an item, its spare ports ended in its own impedance."""
    if part.kind == "coax":
        return item(part, length_m=length_m, length_tolerance_m=0.02 * length_m, reversed=reversed_)
    if part.kind == "splitter":
        path = part.ports[:2][::-1] if reversed_ else part.ports[:2]
        arms = tuple(Arm(port, "matched", part.impedance_ohm) for port in part.ports[2:])
        return item(part, path=path, arms=arms)
    return item(part, reversed=reversed_)


def excess(s, limits, freq):
    """Largest drawn reflection over its limit."""
    worst = 0.0
    for port, each in enumerate(limits):
        radius = limit_radius(each, freq)
        if radius is not None:
            worst = max(worst, (np.abs(s[..., port, port]) / radius).max())
    return worst


def library_parts(kinds):
    return [name for kind in kinds for name in LIBRARY.ids(kind)]


@pytest.mark.parametrize("name", library_parts(KINDS))
def test_no_drawn_part_of_the_library_exceeds_its_limit(name):
    """Every part with a reflection limit, both ways round, other end matched in its own impedance."""
    part = LIBRARY.part(name)
    low, high = span_hz(part)
    # Below 5 MHz the reactance of the thinnest cables alone is above the limit of a lead made of them.
    freq = np.geomspace(max(low, 5e6), min(high, 2.9e9) * (1 - 1e-9), 5)
    for turned in (False, True):
        for length_m in (0.1, 0.6, 30) if part.kind == "coax" else (0,):
            s = drawn_parts(placed_part(part, turned, length_m), freq, 600)
            limits = limits_of(part)[::-1] if turned else limits_of(part)
            assert excess(s, limits, freq) <= 1 + 1e-6
            assert largest_gain(s) <= 1 + ROUNDING


@st.composite
def limited_parts(draw):
    """A part of every kind with a reflection limit of its own."""
    kind = draw(st.sampled_from(["pad", "adapter", "coax", "transformer", "splitter"]))
    rl = draw(return_losses)
    made = {
        "pad": pads(),
        "adapter": adapters(draw(st.sampled_from([50.0, 75.0]))),
        "coax": coaxes(draw(st.sampled_from([50.0, 75.0]))),
    }
    if kind in made:
        part = draw(made[kind])
        return part if kind == "pad" else replace(part, limit=limit(rl, draw(st.sampled_from(["disc", "ring"]))))
    if kind == "transformer":
        model = LIBRARY.part("transformer-11-9")
        assert isinstance(model, Transformer)
        loss_db = draw(floats(0.2, 2))
        return replace(model, limit=limit(min(rl, 30)), loss_db=loss_db, loss_tolerance_db=draw(floats(0, 1)) * loss_db)
    return replace(LIBRARY.part(draw(st.sampled_from(LIBRARY.ids("splitter")))), limit=limit(rl))


@given(limited_parts(), seeds, st.booleans())
def test_no_drawn_part_exceeds_its_limit(part, seed, turned):
    """Any figures of loss, length, impedance and tolerance, discs and rings."""
    placed = placed_part(part, turned, 2.0)
    own = elements_of(placed, FREQ_HZ)
    if part.kind == "coax":
        # Where a cable's reactance alone takes up the limit, no lead of it can keep it.
        assume(own[0].near_radius.min() > 0)
    near, far = own[0].near_ohm, own[-1].far_ohm
    elements = aligned(own, near, far, FREQ_HZ)
    rng = np.random.default_rng(seed)
    s = twoport.cascade([draw(element, rng, 500) for element in elements])
    limits = limits_of(part)[::-1] if turned else limits_of(part)
    assert excess(s, limits, FREQ_HZ) <= 1 + 1e-6
    assert largest_gain(s) <= 1 + ROUNDING


def test_a_tap_of_little_loss_is_drawn_passive_and_otherwise_as_stated():
    """Two discs at the ends of 0.6 dB would often give out more than goes in; draws that are passive stay as they are."""
    s = np.zeros((1, 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = 10 ** (-0.6 / 20)
    radius = np.full(1, 0.2)
    tap = Box("tap", 75.0, 75.0, s, radius, radius, loss_tolerance_db=0.3)
    kept, free = (draw(each, np.random.default_rng(1), 20_000) for each in (tap, replace(tap, passive=False)))
    gain = np.linalg.svd(free, compute_uv=False)[..., 0]
    assert (gain > 1).mean() > 0.2
    assert largest_gain(kept) <= 1 + ROUNDING
    np.testing.assert_array_equal(kept[gain <= 1], free[gain <= 1])
    # What is taken down is taken down to the edge, no further.
    np.testing.assert_allclose(np.linalg.svd(kept[gain > 1], compute_uv=False)[..., 0], 1, atol=1e-9)


def test_drawn_reflections_reach_the_limit():
    """The check above can fail: draws come close to the limit that they keep."""
    for part in (LIBRARY.part("min-loss-pad"), LIBRARY.part("n-plug-bnc-plug"), LIBRARY.part("rg59")):
        s = drawn_parts(placed_part(part), FREQ_HZ, 4000)
        assert excess(s, limits_of(part), FREQ_HZ) > 0.9


def test_a_section_has_no_hidden_limit():
    """Matching sections state no limit of their own; were one given, its draws would have to keep it too."""
    assert all(isinstance(LIBRARY.part(name), SectionLine) for name in LIBRARY.ids("section"))
    assert {LIBRARY.part(name).limit for name in LIBRARY.ids("section")} == {None}


@given(seeds, st.integers(1, 4))
def test_random_two_ports_are_what_the_tests_take_them_for(seed, count):
    s = random_two_port(np.random.default_rng(seed), count)
    assert largest_gain(s) < 1
    np.testing.assert_allclose(s, np.swapaxes(s, -1, -2), atol=1e-12)


@given(item_lists(), seeds)
def test_pieces_seen_one_behind_the_other_are_their_joined_two_ports(items, seed):
    """The same random numbers by two ways: star products of drawn matrices, and what each piece does to a reflection."""
    elements = aligned([each for one in items for each in elements_of(one, FREQ_HZ)], 50.0, 75.0, FREQ_HZ)

    def stream(index):
        return np.random.default_rng([seed, index])

    shape = (7, FREQ_HZ.size)
    joined = through([draw(element, stream(index), 7) for index, element in enumerate(elements)], shape)
    seen = drawn_through(elements, stream, *shape)
    for name in "pqr":
        wanted = np.broadcast_to(getattr(joined, name), shape)
        np.testing.assert_allclose(getattr(seen, name).T, wanted, rtol=0, atol=1e-12)


def test_nothing_between_is_the_map_that_changes_nothing():
    """No pieces: the reflection itself, in the shape asked for."""
    seen = drawn_through((), np.random.default_rng, 3, 2)
    assert seen.p.shape == (2, 3)
    assert np.all(seen.p == 1)
    assert not np.any(seen.q)
    assert not np.any(seen.r)


def test_a_junction_inside_a_line_of_another_impedance_by_both_ways():
    """Stepped into and out of, lossy and with everything unknown; behind it a lead, before it a tap."""
    one = np.ones(FREQ_HZ.size)
    inside = Line("a", 50.0, 50.0, (53 - 1j) * one, 0.02 * one, 2 * one, inside_radius=0.1 * one, length_high=1.2)
    lead = Line("b", 50.0, 50.0, (48 - 2j) * one, 0.1 * one, one, 0.2 * one, 0.1 * one, loss_tolerance=0.3)
    s = np.zeros((FREQ_HZ.size, 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = 0.9j
    tap = Box("c", 50.0, 50.0, s, 0.2 * one, 0.2 * one, loss_tolerance_db=0.2)
    elements, shape = (tap, inside, lead, inside), (9, FREQ_HZ.size)
    joined = through([draw(element, np.random.default_rng(index), 9) for index, element in enumerate(elements)], shape)
    seen = drawn_through(elements, np.random.default_rng, *shape)
    for name in "pqr":
        np.testing.assert_allclose(getattr(seen, name).T, getattr(joined, name), rtol=0, atol=1e-13)
