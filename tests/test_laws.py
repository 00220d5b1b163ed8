"""Laws that hold whatever the chain: reciprocity, passivity, balance of power, ways there and back, limits of drawn parts."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import (
    LEAST_LOSS_DB,
    adapters,
    chain_of,
    coaxes,
    floats,
    item,
    item_lists,
    ladder,
    lead,
    limit,
    pad,
    pads,
    random_two_port,
    reflections,
    return_losses,
    seeds,
    setup_of,
    span_hz,
    two_ports,
)

from chain import twoport
from chain.bound import reading_range, true_range, true_range_complex
from chain.budget import budget
from chain.cascade import build
from chain.draws import draw, unit_draws
from chain.expect import expect
from chain.guarantee import reading_bound, true_bound, true_bound_complex
from chain.join import aligned, nominal
from chain.models import stages_of
from chain.models.limits import limit_radius
from chain.ratios import magnitude_from_vswr, vswr
from chain.readings import Readings
from chain.records import Arm, Calibration
from chain.recover import recover
from chain.simulate import measurement, nominal_maps, simulate
from library.load import load_library
from library.records import SectionLine, Transformer

FREQ_HZ = np.array([87.5e6, 200e6, 470e6, 862e6])
ROUNDING = 1e-10
LIBRARY = load_library()
KINDS = ("pad", "adapter", "coax", "section", "transformer", "splitter")


def largest_gain(s):
    """Largest singular value: above 1, more power comes out than goes in."""
    return np.linalg.norm(s, 2, axis=(-2, -1)).max()


def drawn_parts(placed, freq, count, seed=1):
    """Drawn two-ports of an item, in its own impedances."""
    rng = np.random.default_rng(seed)
    return twoport.cascade([draw(piece, rng, count) for piece in stages_of(placed, freq)])


# The star product


@given(two_ports(), two_ports(), two_ports())
def test_joining_is_associative(a, b, c):
    left = twoport.star(twoport.star(a, b), c)
    np.testing.assert_allclose(left, twoport.star(a, twoport.star(b, c)), atol=ROUNDING)


@given(two_ports(), two_ports(), reflections())
def test_joining_is_seen_piece_by_piece(a, b, far):
    """What is seen through two joined pieces is what the first shows of what the second shows."""
    inner = twoport.input_reflection(b, far)
    np.testing.assert_allclose(
        twoport.input_reflection(twoport.star(a, b), far), twoport.input_reflection(a, inner), atol=ROUNDING
    )


@given(two_ports(reciprocal=False), two_ports(reciprocal=False))
def test_turning_a_chain_round_turns_its_order(a, b):
    turned = twoport.star(twoport.flip(b), twoport.flip(a))
    np.testing.assert_allclose(twoport.flip(twoport.star(a, b)), turned, atol=ROUNDING)


@given(two_ports(), st.tuples(floats(20, 200), floats(20, 200)), st.tuples(floats(20, 200), floats(20, 200)))
def test_changing_references_and_back(s, first, second):
    there = twoport.renormalise(s, first, second)
    np.testing.assert_allclose(twoport.renormalise(there, second, first), s, atol=ROUNDING)
    assert largest_gain(there) <= 1 + ROUNDING


# Whole chains


@given(item_lists())
def test_chains_are_reciprocal_and_passive(items):
    s = nominal(chain_of(items, 50, 75, FREQ_HZ).pieces, 50, 75, FREQ_HZ)
    np.testing.assert_allclose(s[..., 0, 1], s[..., 1, 0], atol=ROUNDING)
    assert largest_gain(s) <= 1 + ROUNDING


@given(item_lists(), seeds)
@settings(max_examples=50)
def test_drawn_chains_are_reciprocal_and_passive(items, seed):
    rng = np.random.default_rng(seed)
    pieces = aligned(chain_of(items, 50, 75, FREQ_HZ).pieces, 50, 75, FREQ_HZ)
    s = twoport.cascade([draw(piece, rng, 300) for piece in pieces])
    np.testing.assert_allclose(s[..., 0, 1], s[..., 1, 0], atol=ROUNDING)
    assert largest_gain(s) <= 1 + ROUNDING


@given(item_lists())
def test_power_adds_up(items):
    """Reflected, dissipated and delivered shares make 1, no item creates power, losses explain one another."""
    found = budget(build(setup_of(items), FREQ_HZ))
    heat = sum((each.dissipated_share for each in found.items), np.zeros(FREQ_HZ.size))
    np.testing.assert_allclose(found.reflected_share + heat + found.delivered_share, 1, atol=ROUNDING)
    assert min(each.dissipated_share.min() for each in found.items) >= -ROUNDING
    np.testing.assert_allclose(found.delivered_share, 10 ** (-found.transducer_loss_db / 10), rtol=1e-9)
    direct_db = -10 * np.log10(1 - 0.2**2)
    np.testing.assert_allclose(found.transducer_loss_db - found.insertion_loss_db, direct_db, atol=1e-9)
    explained = sum(each.attenuation_db for each in found.items) + sum(each.mismatch_loss_db for each in found.joints)
    np.testing.assert_allclose(explained + found.interaction_db, found.transducer_loss_db, atol=1e-9)


@given(item_lists())
def test_loss_is_the_same_both_ways(items):
    """A chain walked from the antenna's end loses as much, and reflects at either end what the other way round shows."""
    there = budget(chain_of(items, 50, 75, FREQ_HZ))
    back = budget(chain_of([replace(each, reversed=not each.reversed) for each in items[::-1]], 75, 50, FREQ_HZ))
    np.testing.assert_allclose(there.transducer_loss_db, back.transducer_loss_db, atol=1e-8)
    np.testing.assert_allclose(twoport.flip(there.s), back.s, atol=ROUNDING)


@given(st.lists(coaxes(), min_size=1, max_size=3), floats(0.1, 5))
def test_matched_losses_add(cables, length_m):
    """Leads of one real impedance between ports of that impedance: attenuations add, and nothing else is lost."""
    freq = FREQ_HZ[:1]
    mhz = freq[0] / 1e6
    # Conductor and dielectric losses made equal, which leaves no reactance.
    real = [replace(each, per_sqrt_mhz_db_per_100m=each.per_mhz_db_per_100m * np.sqrt(mhz)) for each in cables]
    items = [item(each, f"lead {index}", length_m=length_m) for index, each in enumerate(real)]
    found = budget(chain_of(items, 75, 75, freq))
    total = sum(2 * each.per_mhz_db_per_100m * mhz for each in real) * length_m / 100
    assert found.transducer_loss_db[0] == pytest.approx(total, abs=1e-9)
    assert found.interaction_db[0] == pytest.approx(0, abs=1e-9)


# There and back


@given(item_lists(), reflections())
def test_the_inverse_map_undoes_the_chain(items, far):
    setup = setup_of(items)
    known = nominal_maps(measurement(setup, build(setup, FREQ_HZ)))
    slope = np.abs(known.p - known.q * known.r).min()
    assume(slope > 1e-4)
    np.testing.assert_allclose(known.recovered(known.reading(np.asarray(far))), far, atol=1e-11 / slope)


@given(item_lists(1, 1), reflections(0.98))
@settings(max_examples=12)
def test_recover_undoes_a_complex_reading(items, far):
    """recover(reading of x) = x, and the guaranteed bound holds x, for a reading with its phase."""
    setup = setup_of(items)
    s = budget(build(setup, FREQ_HZ)).s
    assume(np.abs(s[:, 1, 0]).min() > 0.05)
    reading = twoport.input_reflection(s, far)
    found = recover(setup, Readings(FREQ_HZ, np.abs(reading), reading, "complex"), draws=1000)
    np.testing.assert_allclose(found.true_reflection, far, atol=1e-8)
    np.testing.assert_allclose(found.true_vswr, vswr(abs(far)), rtol=1e-6)
    assert np.all(found.bound_low <= vswr(abs(far)) * (1 + 1e-9))
    assert np.all(found.bound_high >= vswr(abs(far)) * (1 - 1e-9))


def expected_and_recovered(items, true_vswr):
    """What expect says of some true values, and what recover makes of it: one reading each, a hertz apart."""
    setup = setup_of(items, freq_hz=(FREQ_HZ[1], FREQ_HZ[1], 1))
    assume(np.abs(budget(build(setup)).s[0, 1, 0]) > 0.05)
    rows = expect(setup, true_vswr, draws=1000).rows
    magnitudes = magnitude_from_vswr([row.reading_vswr for row in rows])
    freq = FREQ_HZ[1] + np.arange(float(len(rows)))
    found = recover(setup, Readings(freq, magnitudes, None, "VSWR"), draws=1000)
    return rows, found


several = st.lists(floats(1.0, 20), min_size=4, max_size=4)


@given(floats(5.72, 12), floats(0, 3), several)
@settings(max_examples=8)
def test_recover_undoes_expect(loss_db, lead_db, true_vswr):
    """recover(expect(x)) = x without a phase, through a matched pad and lead.

    Behind a mismatch the typical reading hardly depends on a small reflection: there the inverse is ill defined.
    """
    items = [item(pad(loss_db)), lead(lead_db, FREQ_HZ[1])]
    _, found = expected_and_recovered(items, true_vswr)
    np.testing.assert_allclose(magnitude_from_vswr(found.true_vswr), magnitude_from_vswr(true_vswr), atol=1e-7)


@given(item_lists(1, 1), several)
@settings(max_examples=8)
def test_bounds_meet_there_and_back(items, true_vswr):
    """The typical reading lies inside its bound, and the true value inside the bound of that reading."""
    rows, found = expected_and_recovered(items, true_vswr)
    for index, row in enumerate(rows):
        assert row.bound_low * (1 - 1e-9) <= row.reading_vswr <= row.bound_high * (1 + 1e-9)
        assert found.bound_low[index] <= true_vswr[index] * (1 + 1e-5)
        assert found.bound_high[index] >= true_vswr[index] * (1 - 1e-5)


# Bounds hold every draw


def drawn_readings(items, magnitude, seed, count=2000):
    rng = np.random.default_rng(seed)
    pieces = aligned(chain_of(items, 50, 75, FREQ_HZ).pieces, 50, 75, FREQ_HZ)
    s = twoport.cascade([draw(piece, rng, count) for piece in pieces])
    far = magnitude * np.exp(2j * np.pi * rng.random((count, 1)))
    return pieces, twoport.input_reflection(s, far)


@given(item_lists(), floats(0, 1), seeds)
@settings(max_examples=60)
def test_bound_holds_every_admissible_draw(items, magnitude, seed):
    """No drawn chain reads outside the bound of its end's magnitude."""
    pieces, reading = drawn_readings(items, magnitude, seed)
    low, high = reading_range(pieces, np.full(FREQ_HZ.size, magnitude))
    assert np.all(np.abs(reading) <= high + ROUNDING)
    assert np.all(np.abs(reading) >= low - ROUNDING)


@given(item_lists(1, 1), floats(0, 1), seeds)
@settings(max_examples=10)
def test_bound_of_the_truth_holds_the_truth(items, magnitude, seed):
    """Whatever is read of a drawn chain, the bound of the true magnitude holds it: with phase and without."""
    pieces, reading = drawn_readings(items, magnitude, seed, 3)
    for seen in reading:
        for low, high in (true_range(pieces, np.abs(seen)), true_range_complex(pieces, seen)):
            assert np.all(low <= magnitude + 1e-6)
            assert np.all(high >= magnitude - 1e-6)


@st.composite
def measured_setups(draw):
    """Set-ups calibrated at the analyzer or after an item, with every unknown of the act of measuring but noise."""
    items = draw(item_lists(1, 1))
    residuals = {"directivity_db": 40.0, "source_match_db": 36.0, "tracking_db": 0.1}
    setup = setup_of(items, freq_hz=(174e6, 240e6, 3), drift_db=draw(floats(45, 60)), **residuals)
    setup = replace(setup, near=replace(setup.near, repeatability_db=draw(floats(40, 60))))
    if draw(st.booleans()):
        return setup
    planes = [each.id for each in setup.items if each.part.kind != "coax"]
    return replace(
        setup,
        calibration=Calibration(
            draw(st.sampled_from(planes)),
            load_db=draw(floats(26, 46)),
            load_inductance_h=draw(floats(0, 1e-9)),
            open_capacitance_f=draw(floats(0, 5e-14)),
            short_inductance_h=draw(floats(0, 5e-10)),
            flex_deg=draw(floats(0, 2)),
        ),
    )


@given(measured_setups(), floats(0, 1), seeds)
@settings(max_examples=40)
def test_bound_holds_every_simulated_measurement(setup, magnitude, seed):
    """Residuals, standards, drift, re-mating and flexed leads included: no simulated reading passes its bound."""
    way = measurement(setup, build(setup))
    maps = simulate(way, 0, seed)
    rng = np.random.default_rng(seed)
    reading = np.abs(maps.reading(magnitude * np.exp(2j * np.pi * rng.random((maps.p.shape[0], 1)))))
    low, high = reading_bound(way, np.full(way.freq_hz.size, magnitude))
    # A corrected reading may lie above 1; the bound speaks of magnitudes up to 1.
    assert np.all(np.minimum(reading, 1) <= high + ROUNDING)
    assert np.all(reading >= low - ROUNDING)


@given(measured_setups(), floats(0, 0.95), seeds)
@settings(max_examples=10)
def test_bound_of_the_truth_holds_in_simulated_measurements(setup, magnitude, seed):
    way = measurement(setup, build(setup))
    rng = np.random.default_rng(seed)
    far = magnitude * np.exp(2j * np.pi * rng.random((4, 1)))
    maps = simulate(way, 0, seed)
    for index in range(4):
        seen = maps.reading(far[index])[index]
        if np.abs(seen).max() >= 1:
            continue
        for low, high in (true_bound(way, np.abs(seen)), true_bound_complex(way, seen)):
            assert np.all(low <= magnitude + 1e-6)
            assert np.all(high >= magnitude - 1e-6)


def specified_pad(*ends):
    return item(pad(LEAST_LOSS_DB, *ends, tolerance_db=0.2, near_db=26, far_db=26))


SETUPS = {
    "pad": ([specified_pad(50, 75)], 40.0),
    "no pad": ([], 40.0),
    "no pad, poor directivity": ([], 20.0),
    "resistors the wrong way round": ([item(ladder([("series", 43.3), ("shunt", 86.6)], 50, 75, 0.01))], 40.0),
}


@pytest.mark.parametrize("true_vswr", [1.0, 1.2, 1.5, 2.0, 3.0, 10.0, float("inf")])
@pytest.mark.parametrize("name", list(SETUPS))
def test_expected_interval(name, true_vswr):
    """The interval holds its share of fresh readings and the nominal one, and never leaves the guaranteed bound.

    10,000 readings by another seed; the standard deviation of the share is 0.002. Behind a known mismatch the readings
    pile up at both ends and the interval holds more than its share.
    """
    items, directivity_db = SETUPS[name]
    setup = setup_of(items, directivity_db=directivity_db)
    row = expect(setup, [true_vswr], draws=4000).rows[0]
    assert row.bound_low <= row.reading_low <= row.reading_vswr <= row.reading_high <= row.bound_high
    way = measurement(setup, build(setup))
    rng = np.random.default_rng(5)
    turn = np.exp(2j * np.pi * rng.random((10, 1000, 1)))
    far = magnitude_from_vswr(true_vswr) * turn
    seen = np.concatenate([np.abs(simulate(way, chunk, 99).reading(far[chunk])) for chunk in range(10)])
    low, high = magnitude_from_vswr([row.reading_low, row.reading_high])
    assert np.mean((seen >= low) & (np.minimum(seen, 1) <= high)) >= 0.945


# Draws


@given(seeds)
@settings(max_examples=10)
def test_spread_of_discs_and_rings(seed):
    """Standard deviation on each axis: r/2 over a disc, r/sqrt 2 on a ring; 40,000 draws."""
    rng = np.random.default_rng(seed)
    for shape, expected in (("disc", 0.5), ("ring", np.sqrt(0.5))):
        found = unit_draws(rng, 40_000, shape)
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
            if part.kind != "splitter":
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
    own = stages_of(placed, FREQ_HZ)
    if part.kind == "coax":
        # Where a cable's reactance alone takes up the limit, no lead of it can keep it.
        assume(own[0].near_radius.min() > 0)
    near, far = own[0].near_ohm, own[-1].far_ohm
    pieces = aligned(own, near, far, FREQ_HZ)
    rng = np.random.default_rng(seed)
    s = twoport.cascade([draw(piece, rng, 500) for piece in pieces])
    limits = limits_of(part)[::-1] if turned else limits_of(part)
    assert excess(s, limits, FREQ_HZ) <= 1 + 1e-6


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
