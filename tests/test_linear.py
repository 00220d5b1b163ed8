"""Linear propagation against GTC, against finite differences, and against drawn measurements."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import strategies as made
from hypothesis import given, settings
from hypothesis import strategies as st

from chain import twoport
from chain.coverage_region import recovered_draws
from chain.join import aligned
from chain.linear import linear
from chain.models import stages_of
from chain.sensitivity import circle_sd, expected, piece_terms, rematch_term, seen_and_slope
from chain.simulate import Measurement
from chain.stages import Box, Ladder, Line
from chain.standards import Standards, standard_terms
from chain.unknowns import names, only

FREQ = np.array([60e6, 200e6, 862e6])
ONE = np.ones(FREQ.size)
LIGHT = 299_792_458.0
ENDS = [0.3 + 0.2j, -0.5j, 0.05 - 0.8j]


def pieces(*items, freq=FREQ):
    return tuple(piece for each in items for piece in stages_of(each, freq))


def way(before, after, plane_ohm=50.0, **unknown):
    start = aligned(before, 50.0, plane_ohm, FREQ) if "standards" in unknown else ()
    return Measurement(FREQ, plane_ohm, 75.0, start, aligned(after, plane_ohm, 75.0, FREQ), **unknown)


# GTC: the same chains written out from the analyzer's equations, with nothing of the pieces but their figures.

ADAPTER = {"length_m": 0.05, "tolerance_m": 0.005, "loss_db": 0.06, "radius": 10 ** (-30 / 20)}
PAD = {"loss_db": made.LEAST_LOSS_DB, "tolerance_db": 0.2, "near": 10 ** (-26 / 20), "far": 10 ** (-30 / 20)}
LEAD = {"length_m": 0.6, "tolerance_m": 0.004, "loss_db": 0.2, "share": 0.1, "ohm": 2.0, "limit": 10 ** (-24 / 20)}
VELOCITY = 0.66


def gtc():
    return pytest.importorskip("GTC")


def real(g, mean, half_width):
    return g.ureal(mean, half_width / np.sqrt(3)) if half_width else mean


def disc(g, radius, shape="disc"):
    sd = radius / (2 if shape == "disc" else np.sqrt(2))
    return g.ucomplex(0j, (sd, sd))


def junction(r, x):
    return (r + x) / (1 + r.conjugate() * x)


def phase_rad(length_m, freq_hz, velocity=1.0):
    return 2 * np.pi * freq_hz * length_m / (LIGHT * velocity)


def gtc_adapter(g, x, freq_hz, at_middle=True):
    """One junction in the middle of a matched line whose length is not quite known."""
    loss = ADAPTER["loss_db"] * np.sqrt(freq_hz / 1e9) / made.DB_PER_NEPER
    stretch = real(g, 1.0, ADAPTER["tolerance_m"] / ADAPTER["length_m"])
    gamma = (loss + 1j * phase_rad(ADAPTER["length_m"], freq_hz)) * stretch
    half = g.exp(-gamma)
    return junction(disc(g, ADAPTER["radius"]), x * half) * half


def gtc_pad(g, x):
    loss_db = real(g, PAD["loss_db"], PAD["tolerance_db"])
    return disc(g, PAD["near"]) + 10 ** (-loss_db / 10) * x / (1 - disc(g, PAD["far"]) * x)


def gtc_lead(g, x, freq_hz, shape="disc"):
    """A junction at either end of a line whose loss, length and impedance are not quite known."""
    loss = LEAD["loss_db"] / made.DB_PER_NEPER
    gamma = loss * real(g, 1.0, LEAD["share"]) + 1j * phase_rad(LEAD["length_m"], freq_hz, VELOCITY)
    gamma = gamma * real(g, 1.0, LEAD["tolerance_m"] / LEAD["length_m"])
    each = LEAD["limit"] / (1 + 10 ** (-LEAD["loss_db"] / 10))
    # What an impedance that is off leaves of the limit, root mean square over its range.
    off = np.linspace(0, LEAD["ohm"], 20001)
    off = off / (150 - off)
    left = np.sqrt(np.mean(((each - off) / (1 - each * off)) ** 2))
    ohm = real(g, 75.0, LEAD["ohm"])
    rho = (ohm - 75.0) / (ohm + 75.0)
    x = junction(disc(g, left, shape), x)
    inside = (x - rho) / (1 - rho * x) * g.exp(-2 * gamma)
    return junction(disc(g, left, shape), (inside + rho) / (1 + rho * inside))


def assert_same(found, at, result):
    g = gtc()
    cov = g.variance(result)
    expected_covariance = [[cov.rr, cov.ri], [cov.ri, cov.ii]]
    assert found.recovered[at] == pytest.approx(g.value(result), abs=1e-9)
    assert found.covariance[at] == pytest.approx(np.array(expected_covariance), rel=2e-5, abs=1e-12)
    assert found.u_real[at] == pytest.approx(np.sqrt(cov.rr), rel=1e-5)
    assert found.u_imag[at] == pytest.approx(np.sqrt(cov.ii), rel=1e-5)
    assert found.u_magnitude[at] == pytest.approx(g.uncertainty(g.magnitude(result)), rel=1e-5)


def adapter_item():
    spread = {"length_tolerance_m": ADAPTER["tolerance_m"]}
    return made.item(made.adapter(50.0, ADAPTER["length_m"], ADAPTER["loss_db"], 30.0, **spread), "adapter")


def pad_item():
    return made.item(made.pad(PAD["loss_db"], 50.0, 75.0, PAD["tolerance_db"], 26.0, 30.0), "pad")


def lead_piece(shape="disc"):
    """Real impedance; loss and junctions the same at every frequency."""
    loss = LEAD["loss_db"] / made.DB_PER_NEPER
    each = LEAD["limit"] / (1 + 10 ** (-LEAD["loss_db"] / 10)) * ONE
    return Line(
        "lead",
        75.0,
        75.0,
        75 * ONE + 0j,
        loss * ONE,
        phase_rad(LEAD["length_m"], FREQ, VELOCITY),
        each,
        each,
        shape=shape,
        loss_tolerance=LEAD["share"],
        length_low=1 - LEAD["tolerance_m"] / LEAD["length_m"],
        length_high=1 + LEAD["tolerance_m"] / LEAD["length_m"],
        impedance_tolerance_ohm=LEAD["ohm"],
    )


@pytest.mark.parametrize("shape", ["disc", "ring"])
@pytest.mark.parametrize("end", ENDS)
def test_gtc_calibrated_at_the_analyzer(end, shape):
    """Noise, drift, a re-mated joint, adapter, pad and lead, undone by their nominal values."""
    g = gtc()
    unknown = {"noise": 0.001, "drift": 0.002, "mating": 0.003}
    for at, freq_hz in enumerate(FREQ):
        found = linear(way((), (*pieces(adapter_item(), pad_item()), lead_piece(shape)), **unknown), end)
        seen = gtc_adapter(g, gtc_pad(g, gtc_lead(g, end, freq_hz, shape)), freq_hz)
        reading = junction(disc(g, 0.003), seen) + disc(g, 0.002) + g.ucomplex(0j, (0.001, 0.001))
        slope = g.value(seen) / end
        assert_same(found, at, reading / slope)


@pytest.mark.parametrize("end", ENDS)
def test_gtc_resistors(end):
    """Shunt and series arms with inductance and capacitance, in ohms."""
    g = gtc()
    arms, tolerance, henry, farad = (("shunt", 86.6), ("series", 43.3), ("shunt", 900.0)), 0.02, 2e-9, 2e-13
    found = linear(way((), pieces(made.item(made.ladder(arms, 50.0, 75.0, tolerance, henry, farad)))), end)
    for at, freq_hz in enumerate(FREQ):
        omega = 2 * np.pi * freq_hz
        ohm = [real(g, value, value * tolerance) for _, value in arms]

        def reading(ohm, far, omega=omega):
            z = 75 * (1 + far) / (1 - far)
            z = 1 / (1 / z + 1 / (ohm[2] + 1j * omega * henry))
            arm = ohm[1] + 1j * omega * henry
            z = z + arm / (1 + 1j * omega * farad * arm)
            z = 1 / (1 / z + 1 / (ohm[0] + 1j * omega * henry))
            return (z - 50) / (z + 50)

        nominal = [value for _, value in arms]
        p, q, r = bilinear(lambda far, f=reading, n=nominal: f(n, far))
        assert_same(found, at, (reading(ohm, end) - q) / (p - r * reading(ohm, end)))


def bilinear(f):
    """Coefficients of (p x + q)/(r x + 1) from three values."""
    values = [f(x) for x in (0.0, 0.5, -0.5)]
    rows = [[x, 1, -x * y] for x, y in zip((0.0, 0.5, -0.5), values, strict=True)]
    return np.linalg.solve(np.array(rows), np.array(values))


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("end", ENDS)
def test_gtc_calibrated_after_the_pad(end, swapped):
    """Open, short and load read through one and the same adapter and pad, whose own unknowns must cancel."""
    g = gtc()
    standards = Standards(75.0, 0.03, 0.5e-9, 0.08e-12, 0.6e-9)
    unknown = {"noise": 0.0004, "drift": 0.002, "mating": 0.004, "flex_rad": 0.02, "standards": standards}
    swap = made.item(made.adapter(75.0, 0.04, 0.0, 32.0, 0.003), "other")
    if swapped:
        unknown["swap"] = pieces(swap)[0]
    for at, freq_hz in enumerate(FREQ):
        found = linear(way(pieces(adapter_item(), pad_item()), (lead_piece(),), 75.0, **unknown), end)
        omega = 2 * np.pi * freq_hz
        admittance = 1j * omega * 75 * half_range(g, 0.08e-12)
        shorted = 1j * omega * half_range(g, 0.6e-9) / 75
        size = disc(g, 0.03)
        load = (1 + size) / (1 - size) + 1j * omega * half_range(g, 0.5e-9) / 75
        true = [(1 - admittance) / (1 + admittance), (shorted - 1) / (shorted + 1), (load - 1) / (load + 1)]
        if swapped:
            true = gtc_swapped(g, true, freq_hz)
        box = gtc_box(g, freq_hz)
        raw = [box(junction(disc(g, 0.004), x)) + g.ucomplex(0j, (4e-4, 4e-4)) for x in true]
        turn = g.exp(-2j * real(g, 0.0, 0.02))
        seen = box(junction(disc(g, 0.004), gtc_lead(g, end, freq_hz))) * turn
        corrected = gtc_corrected(raw, seen + disc(g, 0.002) + g.ucomplex(0j, (4e-4, 4e-4)))
        wave = np.exp(-2 * LEAD["loss_db"] / made.DB_PER_NEPER - 2j * phase_rad(LEAD["length_m"], freq_hz, VELOCITY))
        assert_same(found, at, corrected / wave)


def half_range(g, most):
    """Anywhere from zero to a limit."""
    return g.ureal(most / 2, most / np.sqrt(12))


def gtc_box(g, freq_hz):
    """Adapter and pad with one set of unknowns, used for all four readings."""
    loss = ADAPTER["loss_db"] * np.sqrt(freq_hz / 1e9) / made.DB_PER_NEPER
    stretch = real(g, 1.0, ADAPTER["tolerance_m"] / ADAPTER["length_m"])
    half = g.exp(-(loss + 1j * phase_rad(ADAPTER["length_m"], freq_hz)) * stretch)
    r, near, far = disc(g, ADAPTER["radius"]), disc(g, PAD["near"]), disc(g, PAD["far"])
    product = 10 ** (-real(g, PAD["loss_db"], PAD["tolerance_db"]) / 10)
    return lambda x: junction(r, (near + product * x / (1 - far * x)) * half) * half


def gtc_swapped(g, true, freq_hz):
    """The adapter that stood at the plane meanwhile: one for all three, taken out again by its nominal length."""
    stretch = real(g, 1.0, 0.003 / 0.04)
    half, r = g.exp(-1j * phase_rad(0.04, freq_hz) * stretch), disc(g, 10 ** (-32 / 20))
    return [junction(r, x * half) * half * np.exp(2j * phase_rad(0.04, freq_hz)) for x in true]


def gtc_corrected(raw, reading):
    """One-port correction with standards taken for +1, -1 and 0."""
    opened, shorted, load = raw
    a, b = opened - load, shorted - load
    e11, t = (a + b) / (a - b), -2 * a * b / (a - b)
    return (reading - load) / (t + e11 * (reading - load))


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


def bare(piece, far):
    return twoport.input_reflection(piece.known().nominal(), far)


@given(line=lines(), far=made.reflections())
def test_a_line_against_finite_differences(line, far):
    """A line's reactance goes with its loss and its resistance."""
    far, ohm = np.array([far]), line.impedance_ohm
    terms = {term.what: term for term in piece_terms(line, far)}
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
    term = next(term for term in piece_terms(line, far) if term.what == "reflection, inside")
    assert "impedance" not in {each.what for each in piece_terms(line, far)}
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
    terms = {term.what: term for term in piece_terms(box, far)}

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
    terms = piece_terms(ladder, far)
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
    sizes = {term.what: float(np.max(term.sd)) for term in piece_terms(disc_piece, np.array([0.5 + 0j]))}
    assert sizes == pytest.approx({"reflection, near": 0.05, "loss": 0.3 / np.sqrt(3)})
    ring_piece = replace(disc_piece, shape="ring")
    assert piece_terms(ring_piece, np.zeros(1, complex))[0].sd == pytest.approx(0.1 / np.sqrt(2))
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
    drawn = recovered_draws(Measurement(FREQ, 50.0, 50.0, (), (section,)), 0.3, 20000)
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
            unknown["swap"] = pieces(made.item(made.adapter(ohm, 0.04, 0.02, limit_db(24, 34)), "other"))[0]
    return way(pieces(*items[:cut]), pieces(*items[cut:]), ohm, **unknown)


@pytest.mark.parametrize("number", range(12))
def test_small_spreads_are_those_of_drawn_measurements(number):
    """Standard uncertainties within 5 % (8,000 draws: 0.8 % sampling), covariance within 5 % of them."""
    rng = np.random.default_rng(number)
    one = random_way(rng, 0.15)
    end = rng.uniform(0.2, 0.7) * np.exp(2j * np.pi * rng.random())
    found, drawn = linear(one, end), recovered_draws(one, end, 8000)
    assert found.valid.all(), found.reasons
    assert drawn.real.std(axis=0) == pytest.approx(found.u_real, rel=0.05)
    assert drawn.imag.std(axis=0) == pytest.approx(found.u_imag, rel=0.05)
    assert abs(drawn).std(axis=0) == pytest.approx(found.u_magnitude, rel=0.05)
    away = drawn - drawn.mean(axis=0)
    across = (away.real * away.imag).mean(axis=0)
    assert np.all(abs(across - found.covariance[:, 0, 1]) < 0.05 * found.u_real * found.u_imag)
    assert np.all(abs(drawn.mean(axis=0) - found.recovered) < 0.1 * (found.u_real + found.u_imag))


def test_where_it_calls_itself_valid_it_is():
    """40 chains of common quality: within 12 % of the drawn spread wherever valid, off by more in many that are not."""
    rng = np.random.default_rng(77)
    ratios = {True: [], False: []}
    for _ in range(40):
        one = random_way(rng)
        for size in (0.0, 0.1, 0.3, 0.6, 0.95):
            end = size * np.exp(2j * np.pi * rng.random())
            found, spread = linear(one, end), abs(recovered_draws(one, end, 3000)).std(axis=0)
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
    assert np.all(found.u_magnitude < 0.85 * abs(recovered_draws(one, 0.5, 4000)).std(axis=0))
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
    cut = replace(
        one, before=pieces(adapter_item()), after=(), reading_ohm=50.0, far_ohm=50.0, standards=Standards(50.0)
    )
    found = linear(cut, 0.3)
    assert found.contributions == ()
    assert np.all(found.covariance == 0)
    assert found.recovered == pytest.approx(0.3 * ONE)
    assert found.valid.all()


@settings(max_examples=20)
@given(items=made.item_lists(), end=made.reflections(0.9))
def test_frequencies_do_not_depend_on_one_another(items, end):
    one = way((), pieces(*items), drift=0.002)
    whole = linear(one, end)
    for at in range(FREQ.size):
        alone = linear(one.at(slice(at, at + 1)), end)
        size = float(whole.covariance[at].max())
        assert alone.covariance[0] == pytest.approx(whole.covariance[at], rel=1e-6, abs=1e-6 * size + 1e-15)


@given(items=made.item_lists(near_side=1, far_side=1), end=made.reflections())
def test_slopes_of_pieces_multiply(items, end):
    """Small changes at the far end arrive by the product of the slopes."""
    far, through = np.full(FREQ.size, end), np.ones(FREQ.size, dtype=complex)
    joined_pieces = aligned(pieces(*items), 50.0, 75.0, FREQ)
    whole = twoport.cascade([piece.nominal() for piece in joined_pieces])
    for piece in reversed(joined_pieces):
        far, slope = seen_and_slope(piece, far)
        through = through * slope
    assert far == pytest.approx(twoport.input_reflection(whole, end))
    moved = slope_of(lambda h: twoport.input_reflection(whole, end + h), 1e-6)
    assert through == pytest.approx(moved, rel=1e-5, abs=1e-8)
