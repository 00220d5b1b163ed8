"""Linear propagation against finite differences, and against drawn measurements."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import strategies as made
from further import wide
from hypothesis import given, settings
from hypothesis import strategies as st
from linear_cases import FREQ, ONE, elements, measurement

from chain.rf import twoport
from chain.rf.elements import Box, Ladder, Line, aligned
from chain.uncertainty.calibration import Standards, standard_terms
from chain.uncertainty.contributions import names, only
from chain.uncertainty.coverage_region import recovered_trials
from chain.uncertainty.linear import linear
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.sensitivity import circle_sd, element_terms, expected, rematch_term, seen_and_slope

# Finite differences of the pieces' own two-ports.

figures = st.floats(-1, 1)


@st.composite
def lines(draw):
    """A line of any impedance with one or two real unknowns of every kind."""
    each = np.ones(1)
    return Line(
        "line",
        75.0,
        75.0,
        (75 + 20 * draw(figures) + 3j * draw(figures)) * each,
        (0.2 + 0.2 * draw(figures)) * each,
        (3 + 3 * draw(figures)) * each,
        near_radius=0.1 * each,
        far_radius=0.05 * each,
        loss_tolerance=0.1,
        length_low=0.9,
        length_high=1.1,
        impedance_tolerance_ohm=2.0,
    )


def slope_of(seen, step):
    """Central difference of a function of one real number."""
    return (seen(step) - seen(-step)) / (2 * step)


def bare(element, far):
    return twoport.input_reflection(element.known().nominal(), far)


@given(line=lines(), far=made.reflections())
def test_a_line_against_finite_differences(line, far):
    """A line's reactance goes with its loss and its resistance."""
    far, ohm = np.array([far]), line.impedance_ohm
    terms = {term.what: term for term in element_terms(line, far)}
    assert set(terms) == {"reflection, near", "reflection, far", "loss", "length", "impedance"}
    moved = {
        "loss": lambda h: bare(
            replace(line, loss_np=line.loss_np * (1 + h), impedance_ohm=ohm + 1j * h * ohm.imag), far
        ),
        "length": lambda h: bare(
            replace(line, loss_np=line.loss_np * (1 + h), phase_rad=line.phase_rad * (1 + h)), far
        ),
        "impedance": lambda h: bare(replace(line, impedance_ohm=ohm * (1 + h / ohm.real)), far),
    }
    for what, seen in moved.items():
        assert terms[what].plain == pytest.approx(slope_of(seen, 1e-5), rel=1e-6, abs=1e-8)
    for axis in (1, 1j):
        at_near = terms["reflection, near"]
        seen = slope_of(lambda h, axis=axis: joined(h * axis, bare(line, far)), 1e-5)
        assert at_near.plain * axis + at_near.mirrored * np.conj(axis) == pytest.approx(seen, abs=1e-8)
        at_far = terms["reflection, far"]
        seen = slope_of(lambda h, axis=axis: bare(line, joined(h * axis, far)), 1e-5)
        assert at_far.plain * axis + at_far.mirrored * np.conj(axis) == pytest.approx(seen, abs=1e-8)
        again = rematch_term(0.01, far)
        seen = slope_of(lambda h, axis=axis: joined(h * axis, far), 1e-5)
        assert again.plain * axis + again.mirrored * np.conj(axis) == pytest.approx(seen, abs=1e-8)


def joined(r, far):
    """What a lossless junction shows in front of a reflection, by its matrix."""
    through = np.sqrt(1 - abs(r) ** 2)
    return twoport.input_reflection(np.array([[[r, through], [through, -np.conj(r)]]]), far)


@given(line=lines(), far=made.reflections(), radius=st.floats(0.01, 0.3))
def test_a_junction_inside_a_line_against_its_matrix(line, far, radius):
    """In the middle of a line of another impedance, between two ideal steps."""
    far, line = np.array([far]), replace(line, inside_radius=radius * np.ones(1), impedance_ohm=60 * np.ones(1) + 0j)
    term = next(term for term in element_terms(line, far) if term.what == "reflection, inside")
    assert "impedance" not in {each.what for each in element_terms(line, far)}
    half = twoport.empty((1,))
    half[..., 0, 0] = half[..., 1, 1] = 0
    half[..., 0, 1] = half[..., 1, 0] = np.exp(-(line.loss_np + 1j * line.phase_rad) / 2)

    def seen(r):
        through = np.sqrt(1 - abs(r) ** 2)
        middle = np.array([[[r, through], [through, -np.conj(r)]]])
        parts = [twoport.step(75, 60)[None], half, middle, half, twoport.step(60, 75)[None]]
        return twoport.input_reflection(twoport.cascade(parts), far)

    for axis in (1, 1j):
        found = term.plain * axis + term.mirrored * np.conj(axis)
        assert found == pytest.approx(slope_of(lambda h, axis=axis: seen(h * axis), 1e-5), abs=1e-8)


@given(s=made.two_ports(count=1), far=made.reflections())
def test_a_box_against_finite_differences(s, far):
    far, unknown = np.array([far]), np.array([0.05])
    box = Box("box", 50.0, 75.0, s, unknown, unknown, "disc", 0.3, unknown)
    terms = {term.what: term for term in element_terms(box, far)}

    def moved(near=0.0, at_far=0.0, factor=1.0):
        other = s.copy()
        other[..., 0, 0] += near
        other[..., 1, 1] += at_far
        other[..., 0, 1] *= factor
        return twoport.input_reflection(other, far)

    step = 1e-6
    ways = {
        "reflection, near": lambda h: moved(near=h),
        "reflection, far": lambda h: moved(at_far=h),
        "loss": lambda h: moved(factor=10 ** (-h / 10)),
        "transmission": lambda h: moved(factor=1 + h),
    }
    assert set(terms) == set(ways)
    for what, seen in ways.items():
        assert terms[what].plain == pytest.approx(slope_of(seen, step), rel=1e-5, abs=1e-7)
        assert not np.any(terms[what].mirrored)


@given(
    arms=st.lists(st.tuples(st.sampled_from(["series", "shunt"]), st.floats(10, 300)), min_size=1, max_size=4),
    far=made.reflections(),
    parasitic=st.floats(0, 1),
)
def test_resistors_against_finite_differences(arms, far, parasitic):
    freq = np.array([800e6])
    ladder = Ladder("pad", 50.0, 75.0, tuple(arms), freq, 0.02, 3e-9 * parasitic, 3e-13 * parasitic)
    far = np.array([far])
    terms = element_terms(ladder, far)
    assert [term.what for term in terms] == [f"resistor {index + 1}" for index in range(len(arms))]
    for index, term in enumerate(terms):
        values = [value for _, value in arms]

        def seen(h, index=index, values=values):
            other = [value + h * (place == index) for place, value in enumerate(values)]
            return twoport.input_reflection(ladder.matrix(tuple(other)), far)

        assert term.plain == pytest.approx(slope_of(seen, 1e-4), rel=1e-5, abs=1e-9)
        assert term.sd == pytest.approx(0.02 * values[index] / np.sqrt(3))


def test_standard_uncertainties_of_the_distributions():
    """Disc r/2, ring r/sqrt 2, rectangular a/sqrt 3, one-sided a/sqrt 12; a normal one as it stands."""
    disc_piece = Box("box", 50.0, 50.0, np.eye(2)[None, ::-1] + 0j, near_radius=np.array([0.1]), loss_tolerance_db=0.3)
    sizes = {term.what: float(np.max(term.sd)) for term in element_terms(disc_piece, np.array([0.5 + 0j]))}
    assert sizes == pytest.approx({"reflection, near": 0.05, "loss": 0.3 / np.sqrt(3)})
    ring_piece = replace(disc_piece, shape="ring")
    assert element_terms(ring_piece, np.zeros(1, complex))[0].sd == pytest.approx(0.1 / np.sqrt(2))
    assert circle_sd(0.2) == pytest.approx(0.1)
    spread = [term.sd for _, terms in standard_terms(Standards(75.0, 0.1, 1e-9, 1e-13, 2e-9), FREQ) for term in terms]
    assert [float(sd) for sd in spread] == pytest.approx([1e-13 / 12**0.5, 2e-9 / 12**0.5, 0.05, 1e-9 / 12**0.5])
    plain = Measurement(FREQ, 75.0, 75.0, (), (), noise=0.004)
    assert linear(plain, 0.3).u_real == pytest.approx(0.004 * ONE)


def test_a_lopsided_range_moves_the_expectation():
    """A section 7 to 15 mm long, nominally 10 mm: its mean length is 11 mm."""
    section = Line("joint", 50.0, 50.0, 75 * ONE + 0j, 0 * ONE, 0.2 * ONE, length_low=0.7, length_high=1.5)
    assert isinstance(expected(section), Line)
    found = linear(Measurement(FREQ, 50.0, 50.0, (), (section,)), 0.3)
    drawn = recovered_trials(Measurement(FREQ, 50.0, 50.0, (), (section,)), 0.3, 20000)
    assert np.all(abs(found.recovered - 0.3) > 0.003)
    assert found.recovered == pytest.approx(drawn.mean(axis=0), abs=2e-3)


# Drawn measurements of random chains.


def random_way(rng, size=1.0):
    """Adapter, pad and lead with random figures, calibrated before, between or behind them; size scales every unknown."""

    def limit_db(low, high):
        return rng.uniform(low, high) - 20 * np.log10(size)

    arms = (("shunt", 86.6), ("series", 43.3))
    specified = made.pad(
        rng.uniform(5.72, 9), 50.0, 75.0, size * rng.uniform(0, 0.4), limit_db(20, 34), limit_db(20, 34)
    )
    pad = specified if rng.random() < 0.6 else made.ladder(arms, tolerance=size * rng.uniform(0, 0.05))
    spread = {"limit_db": limit_db(16, 30), "tolerance_ohm": size * rng.uniform(0, 2), "loss_tolerance": size * 0.2}
    adapter = made.adapter(50.0, rng.uniform(0.02, 0.08), 0.05, limit_db(20, 34), size * rng.uniform(0, 0.008))
    cable = made.coax(rng.uniform(72, 78), 1.0, 0.002, **spread)
    lead = made.item(cable, "lead", length_m=rng.uniform(0.2, 4), length_tolerance_m=size * rng.uniform(0, 0.01))
    items = (made.item(adapter, "adapter"), made.item(pad, "pad"), lead)
    cut = int(rng.integers(0, 4))
    ohm = 50.0 if cut < 2 else 75.0
    unknown = {"noise": size * 1e-3, "drift": size * 0.003, "mating": size * 0.005}
    if cut:
        unknown["flex_rad"] = size * 0.02
        unknown["standards"] = Standards(ohm, size * 0.04, size * 1e-9, size * 1e-13, size * 1e-9)
        if rng.random() < 0.5:
            unknown["swap"] = elements(made.item(made.adapter(ohm, 0.04, 0.02, limit_db(24, 34)), "other"))[0]
    return measurement(elements(*items[:cut]), elements(*items[cut:]), ohm, **unknown)


@pytest.mark.parametrize("number", range(12))
def test_small_spreads_are_those_of_drawn_measurements(number):
    """Standard uncertainties within 5 % (8,000 draws: 0.8 % sampling), covariance within 5 % of them."""
    rng = np.random.default_rng(number)
    one = random_way(rng, 0.15)
    end = rng.uniform(0.2, 0.7) * np.exp(2j * np.pi * rng.random())
    found, drawn = linear(one, end), recovered_trials(one, end, 8000)
    assert found.valid.all(), found.reasons
    assert drawn.real.std(axis=0) == pytest.approx(found.u_real, rel=0.05)
    assert drawn.imag.std(axis=0) == pytest.approx(found.u_imag, rel=0.05)
    assert abs(drawn).std(axis=0) == pytest.approx(found.u_magnitude, rel=0.05)
    away = drawn - drawn.mean(axis=0)
    across = (away.real * away.imag).mean(axis=0)
    assert np.all(abs(across - found.covariance[:, 0, 1]) < 0.05 * found.u_real * found.u_imag)
    assert np.all(abs(drawn.mean(axis=0) - found.recovered) < 0.1 * (found.u_real + found.u_imag))


@pytest.mark.parametrize("chains", [20, *wide(40)])
def test_where_it_calls_itself_valid_it_is(chains):
    """Chains of common quality: within 12 % of the drawn spread wherever valid, off by more in many that are not."""
    rng = np.random.default_rng(77)
    ratios = {True: [], False: []}
    for _ in range(chains):
        one = random_way(rng)
        for size in (0.0, 0.1, 0.3, 0.6, 0.95):
            end = size * np.exp(2j * np.pi * rng.random())
            found, spread = linear(one, end), abs(recovered_trials(one, end, 3000)).std(axis=0)
            for fine, ratio in zip(found.valid, found.u_magnitude / spread, strict=True):
                ratios[bool(fine)].append(ratio)
    assert len(ratios[True]) > 100
    assert np.max(np.abs(np.array(ratios[True]) - 1)) < 0.12
    assert np.mean(np.abs(np.array(ratios[False]) - 1) > 0.12) > 0.4


@pytest.mark.parametrize(("size", "word"), [(0.0, "zero"), (0.02, "zero"), (0.99, "full"), (1.0, "full")])
def test_near_zero_and_near_a_full_reflection_it_gives_no_answer(size, word):
    found = linear(Measurement(FREQ, 75.0, 75.0, (), (), noise=0.01), size)
    assert not found.valid.any()
    assert all(word in reason for reason in found.reasons)
    assert np.isnan(found.interval()).all()
    plain = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert plain["magnitude_low"] == [None] * FREQ.size
    assert plain["valid"] == [False] * FREQ.size


@pytest.mark.parametrize("noise", [0.001, 0.002, 0.004])
def test_unknowns_too_large_for_a_linear_form_are_named(noise):
    """A 50-ohm line nearly half a turn long in 75 ohm: its length counts in second order only, and that is most of the doubt."""
    length = {"length_low": 0.95, "length_high": 1.05}
    section = Line("lead", 75.0, 75.0, 50 * ONE + 0j, 0 * ONE, 3 * ONE, **length)
    one = Measurement(FREQ, 75.0, 75.0, (), (section,), noise=noise)
    found = linear(one, 0.5)
    assert np.all(found.u_magnitude < 0.85 * abs(recovered_trials(one, 0.5, 4000)).std(axis=0))
    assert not found.valid.any()
    assert "second-order" in found.reasons[0]


def test_contributions_add_up_and_are_those_of_each_unknown_alone():
    one = random_way(np.random.default_rng(4), 0.5)
    found = linear(one, 0.3 - 0.1j)
    assert one.standards is not None
    assert [each.share for each in found.contributions] == sorted(
        (each.share for each in found.contributions), reverse=True
    )
    assert sum(each.share for each in found.contributions) == pytest.approx(1)
    assert {each.id for each in found.contributions} <= set(names(one))
    squares = sum(each.u_real**2 for each in found.contributions)
    assert np.sqrt(squares) == pytest.approx(found.u_real)
    for each in found.contributions:
        alone = linear(only(one, each.id), 0.3 - 0.1j)
        # Alone, the others stand at zero instead of at their expectation, which turns the effects a little.
        assert np.hypot(alone.u_real, alone.u_imag) == pytest.approx(np.hypot(each.u_real, each.u_imag), rel=0.05)


def test_what_lies_before_the_plane_does_not_count():
    one = replace(random_way(np.random.default_rng(1)), noise=0.0, drift=0.0, mating=0.0, flex_rad=0.0, swap=None)
    adapter = made.item(made.adapter(50.0, 0.05, 0.06, 30.0, 0.005), "adapter")
    ohms = {"reading_ohm": 50.0, "far_ohm": 50.0, "standards": Standards(50.0)}
    cut = replace(one, before=elements(adapter), after=(), **ohms)
    found = linear(cut, 0.3)
    assert found.contributions == ()
    assert np.all(found.covariance == 0)
    assert found.recovered == pytest.approx(0.3 * ONE)
    assert found.valid.all()


@settings(max_examples=20)
@given(items=made.item_lists(), end=made.reflections(0.9))
def test_frequencies_do_not_depend_on_one_another(items, end):
    one = measurement((), elements(*items), drift=0.002)
    whole = linear(one, end)
    for at in range(FREQ.size):
        alone = linear(one.at(slice(at, at + 1)), end)
        size = float(whole.covariance[at].max())
        assert alone.covariance[0] == pytest.approx(whole.covariance[at], rel=1e-6, abs=1e-6 * size + 1e-15)


@given(items=made.item_lists(near_side=1, far_side=1), end=made.reflections())
def test_slopes_of_pieces_multiply(items, end):
    """Small changes at the far end arrive by the product of the slopes."""
    far, through = np.full(FREQ.size, end), np.ones(FREQ.size, dtype=complex)
    joined_pieces = aligned(elements(*items), 50.0, 75.0, FREQ)
    whole = twoport.cascade([element.nominal() for element in joined_pieces])
    for element in reversed(joined_pieces):
        far, slope = seen_and_slope(element, far)
        through = through * slope
    assert far == pytest.approx(twoport.input_reflection(whole, end))
    moved = slope_of(lambda h: twoport.input_reflection(whole, end + h), 1e-6)
    assert through == pytest.approx(moved, rel=1e-5, abs=1e-8)
