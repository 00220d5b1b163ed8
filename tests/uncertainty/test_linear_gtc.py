"""Linear propagation against GTC, the same chains written out from the analyzer's equations."""

from __future__ import annotations

import numpy as np
import pytest
import strategies as made
from linear_cases import FREQ, ONE, elements, measurement

from chain.rf.elements import Line
from chain.uncertainty.calibration import Standards
from chain.uncertainty.linear import linear

LIGHT = 299_792_458.0
ENDS = [0.3 + 0.2j, -0.5j, 0.05 - 0.8j]

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
        found = linear(measurement((), (*elements(adapter_item(), pad_item()), lead_piece(shape)), **unknown), end)
        seen = gtc_adapter(g, gtc_pad(g, gtc_lead(g, end, freq_hz, shape)), freq_hz)
        reading = junction(disc(g, 0.003), seen) + disc(g, 0.002) + g.ucomplex(0j, (0.001, 0.001))
        slope = g.value(seen) / end
        assert_same(found, at, reading / slope)


@pytest.mark.parametrize("end", ENDS)
def test_gtc_resistors(end):
    """Shunt and series arms with inductance and capacitance, in ohms."""
    g = gtc()
    arms, tolerance, henry, farad = (("shunt", 86.6), ("series", 43.3), ("shunt", 900.0)), 0.02, 2e-9, 2e-13
    found = linear(measurement((), elements(made.item(made.ladder(arms, 50.0, 75.0, tolerance, henry, farad)))), end)
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
        unknown["swap"] = elements(swap)[0]
    for at, freq_hz in enumerate(FREQ):
        found = linear(measurement(elements(adapter_item(), pad_item()), (lead_piece(),), 75.0, **unknown), end)
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
