"""Simulated measurements: against scikit-rf networks, closed forms, and the same answer however the work is divided."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import strategies as made
from further import wide
from hypothesis import given, settings

from chain.rf.elements import Box, Line, aligned
from chain.rf.parts import elements_of
from chain.uncertainty import intervals, parallel
from chain.uncertainty.bounds import reading_bound
from chain.uncertainty.calibration import Standards
from chain.uncertainty.coverage_region import recovered_trials
from chain.uncertainty.intervals import Observation
from chain.uncertainty.measurement import Measurement, nominal_maps, simulate
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import unit_reflections

FREQ = np.array([60e6, 200e6, 470e6, 862e6])
LIGHT = 299_792_458.0
ROUND = np.exp(2j * np.pi * (np.arange(12) + 0.5) / 12)


def elements(*items, freq=FREQ):
    return tuple(element for each in items for element in elements_of(each, freq))


def calibrated(before, after, plane_ohm, standards, freq=FREQ, **unknown):
    """A measurement with its plane between two lists of items."""
    sides = (
        aligned(elements(*before, freq=freq), 50.0, plane_ohm, freq),
        aligned(elements(*after, freq=freq), plane_ohm, 75.0, freq),
    )
    return Measurement(freq, plane_ohm, 75.0, *sides, standards=standards, **unknown)


def same(first, second):
    return all(np.array_equal(getattr(first, name), getattr(second, name)) for name in "pqr")


# What a far plane shows.


@settings(max_examples=25)
@given(before=made.item_lists(), after=made.item_lists(near_side=0, far_side=2))
def test_ideal_standards_show_exactly_what_lies_after_the_plane(before, after):
    """Whatever the unknowns of the chain in front, once read without noise, drift or movement."""
    after = [replace(each, id=f"after {each.id}", ideal=True) for each in after if each.id.split()[0] != "pad"]
    measurement = calibrated(before, after, 75.0, Standards(75.0))
    found, known = simulate(measurement, 0, 1), nominal_maps(measurement)
    for end in (0.0, 1.0, -1.0, 0.3 - 0.4j):
        np.testing.assert_allclose(found.reading(np.array(end)) - known.reading(np.array(end)), 0, atol=1e-7)


def test_in_50_ohm_a_75_ohm_end_shows_its_step():
    """A 50-ohm load used at the 75-ohm plane: 75 ohm then reads 0.2, VSWR 1.5."""
    measurement = calibrated([made.item(made.pad(), "pad")], [], 50.0, Standards(50.0))
    np.testing.assert_allclose(simulate(measurement, 0, 1).reading(np.array(0.0)), 0.2, atol=1e-9)


# scikit-rf as an independent simulation: own draws, networks joined by the library, its one-port calibration.

UHF = 862e6
COUNT = 4000


class Bench:
    """Readings of drawn chains, the draws laid along the frequency axis of scikit-rf's networks."""

    def __init__(self, seed):
        self.skrf = pytest.importorskip("skrf")
        self.rng = np.random.default_rng(seed)
        self.grid = self.skrf.Frequency.from_f(np.arange(1, COUNT + 1) * 1e6, unit="hz")

    def disc(self, radius):
        return radius * np.sqrt(self.rng.random(COUNT)) * np.exp(2j * np.pi * self.rng.random(COUNT))

    def span(self, low, high):
        return self.rng.uniform(low, high, COUNT)

    def two_port(self, s11, s12, s22, near_ohm, far_ohm):
        s = np.empty((COUNT, 2, 2), dtype=complex)
        s[:, 0, 0], s[:, 0, 1], s[:, 1, 0], s[:, 1, 1] = s11, s12, s12, s22
        ohm = np.stack([np.broadcast_to(near_ohm, COUNT), np.broadcast_to(far_ohm, COUNT)], axis=1)
        return self.skrf.Network(frequency=self.grid, s=s, z0=ohm)

    def one_port(self, reflection, ohm):
        values = np.broadcast_to(reflection, COUNT).astype(complex).reshape(-1, 1, 1)
        return self.skrf.Network(frequency=self.grid, s=values, z0=ohm)

    def junction(self, r, ohm):
        return self.two_port(r, np.sqrt(1 - abs(r) ** 2), -np.conj(r), ohm, ohm)

    def line(self, ohm, wave):
        return self.two_port(0, wave, 0, ohm, ohm)

    def adapter(self, ohm, length_m, tolerance_m, radius, unknown=True):
        """Half a line, a junction, the other half; the place of the junction drawn too."""
        length = self.span(length_m - tolerance_m, length_m + tolerance_m) if unknown else length_m
        place = self.rng.random(COUNT)
        turn = 2 * np.pi * UHF * length / LIGHT
        parts = [self.line(ohm, np.exp(-1j * turn * place)), self.line(ohm, np.exp(-1j * turn * (1 - place)))]
        return parts[0] ** self.junction(self.disc(radius if unknown else 0.0), ohm) ** parts[1]

    def noise(self, size):
        return size * (self.rng.standard_normal(COUNT) + 1j * self.rng.standard_normal(COUNT))

    def corrected(self, raw, reading):
        """By the library's one-port calibration, everything labelled 50 ohm, which it needs to be."""
        ideals = [self.one_port(value, 50) for value in (1, -1, 0)]
        found = self.skrf.calibration.OnePort(measured=[self.one_port(each, 50) for each in raw], ideals=ideals)
        found.run()
        return found.apply_cal(self.one_port(reading, 50)).s[:, 0, 0]


CASES = [
    {"plane": "pad", "load": 0.03, "noise": 5e-4},
    {"plane": "pad", "load": 0.01, "load_h": 1.5e-9, "open_f": 2e-13, "short_h": 2e-9, "drift": 0.003},
    {"plane": "pad", "mating": 0.01, "flex": 0.03, "noise": 2e-4, "ohm_tolerance": 3.0},
    {"plane": "pad", "swap": 0.04, "lead_radius": 0.04},
    {"plane": "adapter", "load": 0.02, "mating": 0.004, "swap": 0.03, "flex": 0.02},
    {
        "plane": "lead",
        "load": 0.03,
        "short_h": 1e-9,
        "mating": 0.01,
        "flex": 0.05,
        "lead_radius": 0.05,
        "ohm_tolerance": 0.0,
    },
]
END = 0.35 * np.exp(0.7j)


def by_networks(case, seed):
    """Recovered reflections of the case, every step through scikit-rf."""
    bench = Bench(seed)
    adapter = bench.adapter(50, 0.05, 0.004, 0.05)
    loss = 10 ** (-(made.LEAST_LOSS_DB + bench.span(-0.2, 0.2)) / 20)
    pad = bench.two_port(bench.disc(0.05), loss, bench.disc(0.05), 50, 75)
    tolerance = case.get("ohm_tolerance", 0.0)
    wave = 10 ** (-0.3 / 20) * np.exp(-2j * np.pi * UHF * 0.4 / LIGHT)
    ends = [bench.junction(bench.disc(case.get("lead_radius", 0.0)), 75) for _ in range(2)]
    lead = ends[0] ** bench.line(75 + bench.span(-tolerance, tolerance), wave) ** ends[1]
    chain, cut = [adapter, pad, lead], ["adapter", "pad", "lead"].index(case["plane"]) + 1
    ohm = 50 if cut == 1 else 75
    box, after = bench.skrf.network.cascade_list(chain[:cut]), chain[cut:]
    omega = 2 * np.pi * UHF
    charge = 1j * omega * ohm * bench.span(0, 1) * case.get("open_f", 0.0)
    coil = 1j * omega * bench.span(0, 1) * case.get("short_h", 0.0) / ohm
    size = bench.disc(case.get("load", 0.0))
    load = (1 + size) / (1 - size) + 1j * omega * bench.span(0, 1) * case.get("load_h", 0.0) / ohm
    standards = [(1 - charge) / (1 + charge), (coil - 1) / (coil + 1), (load - 1) / (load + 1)]
    if "swap" in case:
        other = bench.adapter(ohm, 0.04, 0.0, case["swap"])
        undo = bench.adapter(ohm, 0.04, 0.0, 0.0, unknown=False).inv
        standards = [(undo**other ** bench.one_port(each, ohm)).s[:, 0, 0] for each in standards]

    def mated(network):
        return bench.junction(bench.disc(case.get("mating", 0.0)), ohm) ** network

    def noisy(values):
        return values + bench.noise(case.get("noise", 0.0))

    raw = [noisy((box ** mated(bench.one_port(each, ohm))).s[:, 0, 0]) for each in standards]
    antenna = bench.skrf.network.cascade_list([*after, bench.one_port(END, 75)])
    turn = np.exp(-2j * bench.span(-1, 1) * case.get("flex", 0.0))
    reading = noisy((box ** mated(antenna)).s[:, 0, 0] * turn) + bench.disc(case.get("drift", 0.0))
    corrected = bench.one_port(bench.corrected(raw, reading), ohm)
    pad_as_stated = bench.two_port(0, 10 ** (-made.LEAST_LOSS_DB / 20), 0, 50, 75)
    stated = [pad_as_stated, bench.line(75, wave)][cut - 1 :] if cut < 3 else []
    for part in stated:
        corrected = part.inv**corrected
    return corrected.s[:, 0, 0]


def by_simulation(case):
    """The same case through the pieces and `simulate`."""
    freq, one = np.array([UHF]), np.ones(1)
    turn = 2 * np.pi * UHF * one / LIGHT

    def adapter(name, ohm, length_m, radius, spread=0.0):
        each = (50 if ohm == 50 else 75) * one + 0j
        span = {"length_low": 1 - spread, "length_high": 1 + spread}
        return Line(name, ohm, ohm, each, 0 * one, turn * length_m, inside_radius=radius * one, **span)

    s = np.zeros((1, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = 10 ** (-made.LEAST_LOSS_DB / 20)
    pad = Box("pad", 50.0, 75.0, s, 0.05 * one, 0.05 * one, "disc", 0.2)
    radius = case.get("lead_radius", 0.0) * one if "lead_radius" in case else None
    loss = 0.3 / made.DB_PER_NEPER * one
    tolerance = case.get("ohm_tolerance", 0.0)
    lead = Line("lead", 75.0, 75.0, 75 * one + 0j, loss, turn * 0.4, radius, radius, impedance_tolerance_ohm=tolerance)
    chain, cut = (
        [adapter("adapter", 50.0, 0.05, 0.05, 0.08), pad, lead],
        ["adapter", "pad", "lead"].index(case["plane"]) + 1,
    )
    ohm = 50.0 if cut == 1 else 75.0
    standards = Standards(ohm, *(case.get(name, 0.0) for name in ("load", "load_h", "open_f", "short_h")))
    swap = adapter("other", ohm, 0.04, case["swap"]) if "swap" in case else None
    sizes = [case.get(name, 0.0) for name in ("noise", "drift", "mating", "flex")]
    measurement = Measurement(freq, ohm, 75.0, tuple(chain[:cut]), tuple(chain[cut:]), *sizes, swap, standards)
    return recovered_trials(measurement, END, COUNT, seed=9)[:, 0]


@pytest.mark.parametrize("number", [1, 3, 5, *wide(0, 2, 4)])
def test_scikit_rf_gives_the_same_distribution(number):
    """4,000 draws each: spreads within 6 % (sampling error of their ratio 1.6 %), means, and the magnitudes as a whole."""
    stats = pytest.importorskip("scipy.stats")
    case = CASES[number]
    theirs, ours = by_networks(case, 100 + number), by_simulation(case)
    for part in (np.real, np.imag, np.abs):
        assert part(ours).std() == pytest.approx(part(theirs).std(), rel=0.06)
        assert abs(part(ours).mean() - part(theirs).mean()) < 0.1 * part(theirs).std()
        assert stats.ks_2samp(part(ours), part(theirs)).pvalue > 1e-4


# The same answer however the work is divided.


def everything():
    """A measurement in which every kind of unknown takes part."""
    adapter = made.item(made.adapter(50.0, 0.05, 0.05, 26.0, 0.004), "adapter")
    pad = made.item(made.pad(tolerance_db=0.2, near_db=26.0, far_db=26.0), "pad")
    # A limit that the impedance's tolerance alone would break, and more of it the lossier the lead, so at low frequencies.
    cable = made.coax(75.0, 1.0, 0.002, limit_db=28.0, tolerance_ohm=5.0, loss_tolerance=0.1)
    lead = made.item(cable, "lead", length_m=3.0, length_tolerance_m=0.005)
    swap = elements(made.item(made.adapter(75.0, 0.04, 0.02, 30.0), "other"))[0]
    standards = Standards(75.0, 0.03, 1e-9, 1e-13, 1e-9)
    unknown = {"noise": 1e-3, "drift": 2e-3, "mating": 0.005, "flex_rad": 0.02, "swap": swap}
    return calibrated([adapter, pad], [lead], 75.0, standards, **unknown)


def test_one_seed_one_answer():
    measurement = everything()
    assert same(simulate(measurement, 0, 5), simulate(measurement, 0, 5))
    assert not same(simulate(measurement, 0, 5), simulate(measurement, 0, 6))
    assert not same(simulate(measurement, 0, 5), simulate(measurement, 1, 5))


def test_batches_drawn_together_are_those_drawn_one_by_one():
    measurement = everything()
    alone = [simulate(measurement, batch, 5, 7) for batch in (2, 3, 4)]
    together = simulate(measurement, 2, 5, 7, batches=3)
    for name in "pqr":
        assert np.array_equal(getattr(together, name), np.concatenate([getattr(each, name) for each in alone]))


def test_some_frequencies_alone_are_those_of_the_whole_sweep():
    measurement = everything()
    whole = simulate(measurement, 2, 5)
    for first, last in ((0, 1), (1, 3), (3, 4)):
        part = simulate(measurement.at(slice(first, last)), 2, 5, first)
        for name in "pqr":
            assert np.array_equal(getattr(part, name), getattr(whole, name)[:, first:last])
    apart = np.array([0, 2, 3])
    part = simulate(measurement.at(apart), 2, 5, apart.tolist())
    for name in "pqr":
        assert np.array_equal(getattr(part, name), getattr(whole, name)[:, apart])


@pytest.mark.parametrize("with_phase", [False, True])
def test_block_and_threads_change_nothing(with_phase, monkeypatch):
    """One frequency at a time on one thread, all at once, and on four threads: equal to the last bit."""
    measurement = everything()
    size = np.linspace(0.02, 0.4, measurement.freq_hz.size)
    seen = Observation(size, size if with_phase else None, np.full(size.shape, 0.001))
    found = []
    for block, threads in ((1, 1), (10**9, 1), (1, 4), (4000, 3)):
        monkeypatch.setattr(intervals, "BLOCK", block)
        monkeypatch.setattr(parallel, "thread_count", lambda threads=threads: threads)
        found.append(intervals.intervals(measurement, seen, 1 / 3, np.full(size.shape, 0.01), 2000, 3).ends)
    for other in found[1:]:
        for name, value in vars(found[0]).items():
            assert np.array_equal(value, getattr(other, name)), name


# Closed forms.


@pytest.mark.parametrize(("shape", "sd"), [("disc", 0.5), ("ring", np.sqrt(0.5))])
def test_spread_of_disc_and_ring(shape, sd):
    """On each axis r/2 and r/sqrt 2, the axes uncorrelated; 200,000 draws."""
    unit = unit_reflections(np.random.default_rng(1), 200_000, shape)
    assert unit.real.std() == pytest.approx(sd, rel=0.005)
    assert unit.imag.std() == pytest.approx(sd, rel=0.005)
    assert abs((unit.real * unit.imag).mean()) < 0.002
    assert abs(unit).max() <= 1 + 1e-12
    one = np.ones(1)
    box = Box("box", 50.0, 50.0, np.eye(2)[None, ::-1] + 0j, 0.1 * one, 0.2 * one, shape, passive=False)
    drawn = draw(box, np.random.default_rng(2), 100_000)
    assert drawn[:, 0, 0, 0].real.std() == pytest.approx(0.1 * sd, rel=0.01)
    assert drawn[:, 0, 1, 1].imag.std() == pytest.approx(0.2 * sd, rel=0.01)
    line = Line("line", 50.0, 50.0, 50 * one + 0j, 0 * one, 3 * one, inside_radius=0.1 * one, shape=shape)
    assert draw(line, np.random.default_rng(3), 100_000)[:, 0, 0, 0].real.std() == pytest.approx(0.1 * sd, rel=0.01)


def test_spread_of_noise_drift_and_a_remated_joint():
    """Noise as stated, new at every frequency; drift a disc, the same at all; a re-mated joint a disc (1 + |G|^4)."""
    plain = Measurement(FREQ, 75.0, 75.0, (), ())
    noisy = recovered_trials(replace(plain, noise=0.004), 0.5, 20_000) - 0.5
    assert noisy.real.std(axis=0) == pytest.approx(np.full(FREQ.size, 0.004), rel=0.03)
    assert abs(np.corrcoef(noisy.real.T)[0, 1:]).max() < 0.04
    drifted = recovered_trials(replace(plain, drift=0.02), 0.5, 20_000) - 0.5
    assert drifted.real.std(axis=0) == pytest.approx(np.full(FREQ.size, 0.01), rel=0.03)
    assert np.ptp(drifted, axis=1).max() < 1e-12
    mated = recovered_trials(replace(plain, mating=0.01), 0.5, 20_000) - 0.5
    assert mated.real.std(axis=0) == pytest.approx(np.full(FREQ.size, 0.005 * (1 - 0.25)), rel=0.03)
    assert mated.imag.std(axis=0) == pytest.approx(np.full(FREQ.size, 0.005 * (1 + 0.25)), rel=0.03)


def test_a_joint_opened_again_is_drawn_anew_for_every_reading():
    """Four openings, each r - conj(r) x^2 in front of x: 2r on the imaginary axis at open and short, r at the load."""
    measurement = replace(calibrated([], [], 75.0, Standards(75.0), mating=0.01), before=())
    drawn = recovered_trials(measurement, 0.5, 20_000)[:, 0] - 0.5
    # Weights at 0.5 of the quadratics that are 1 at one standard and 0 at the others: x(x + 1)/2, x(x - 1)/2, 1 - x^2.
    at_open, at_short, at_load, antenna = 0.375, -0.125, 0.75, np.array([1 - 0.25, 1 + 0.25])
    real = np.hypot(at_load, antenna[0])
    imag = np.sqrt((2 * at_open) ** 2 + (2 * at_short) ** 2 + at_load**2 + antenna[1] ** 2)
    assert drawn.real.std() == pytest.approx(0.005 * real, rel=0.03)
    assert drawn.imag.std() == pytest.approx(0.005 * imag, rel=0.03)


# What matters at UHF: computed independently by simulation, one unknown at a time: 95 % error of |G| at |G| = 0.2, 862 MHz,
# plane after the pad, parts of 26 dB. Its lead is off by the full angle; here any angle up to sqrt 3 times it spreads the same.

REMATED_50 = {"plane": "adapter", "ideal": True}
TABLE = [
    ("load 32 dB", {"load": 32.0}, 0.022),
    ("shop terminator 20 dB", {"load": 20.0}, 0.088),
    ("75-ohm re-mating 40 dB", {"mating": 10 ** (-40 / 20)}, 0.013),
    ("75-ohm re-mating 30 dB", {"mating": 10 ** (-30 / 20)}, 0.042),
    ("50-ohm re-mating 50 dB", {"mating": 10 ** (-50 / 20), **REMATED_50}, 0.016),
    ("50-ohm re-mating 40 dB", {"mating": 10 ** (-40 / 20), **REMATED_50}, 0.052),
    ("lead flex 1 degree", {"flex_rad": np.sqrt(3) * np.deg2rad(1), "lead": True}, 0.013),
    ("lead flex 3 degrees", {"flex_rad": np.sqrt(3) * np.deg2rad(3), "lead": True}, 0.039),
    ("drift 0.003", {"drift": 0.003}, 0.011),
    ("noise 1e-3", {"noise": 1e-3}, 0.012),
    ("adapter swapped 26 dB", {"swap": 26.0}, 0.042),
]


@pytest.mark.parametrize(("unknown", "expected"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE])
def test_one_unknown_at_a_time_at_862_mhz(unknown, expected):
    given_here = dict(unknown)
    freq = np.array([UHF])
    before = [made.item(made.adapter(50.0, 0.05, 0.05, 26.0), "adapter")]
    pad = made.item(made.pad(tolerance_db=0.2, near_db=26.0, far_db=26.0), "pad", ideal=given_here.pop("ideal", False))
    if given_here.pop("lead", False):
        before.insert(0, made.item(made.coax(50.0, 1.0, 0.002, limit_db=20.0), "test lead", length_m=0.6))
    at_adapter = given_here.pop("plane", "pad") == "adapter"
    ohm, after = (50.0, [pad]) if at_adapter else (75.0, [])
    load_db = given_here.pop("load", None)
    standards = Standards(ohm, 0.0 if load_db is None else 10 ** (-load_db / 20))
    if "swap" in given_here:
        other = made.item(made.adapter(75.0, 0.04, 0.05, given_here["swap"]), "other")
        given_here["swap"] = elements(other, freq=freq)[0]
    measurement = calibrated(before if at_adapter else [*before, pad], after, ohm, standards, freq, **given_here)
    errors = [abs(abs(recovered_trials(measurement, 0.2 * end, 2000)) - 0.2) for end in ROUND]
    assert np.quantile(errors, 0.95) == pytest.approx(expected, rel=0.25)


@pytest.mark.parametrize("flex_rad", [0.01, 0.1])
@pytest.mark.parametrize("magnitude", [0.0, 0.2, 0.6, 1.0])
def test_no_draw_leaves_the_bound(flex_rad, magnitude):
    """Noise left out, as it has no limit. The reading of a full reflection may exceed 1, and so does its bound."""
    for measurement in (
        everything(),
        replace(everything(), swap=None, mating=0.0, drift=0.0, standards=Standards(75.0)),
    ):
        measurement = replace(measurement, noise=0.0, flex_rad=flex_rad)
        low, high = reading_bound(measurement, np.full(FREQ.size, magnitude))
        for batch in range(4):
            maps = simulate(measurement, batch, 1)
            for end in magnitude * ROUND:
                size = abs(maps.reading(np.array(end)))
                assert np.all(size <= high + 1e-9)
                assert np.all(size >= low - 1e-9)
