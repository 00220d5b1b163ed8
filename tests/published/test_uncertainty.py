"""Worked figures of uncertainty and mismatch (uncertainty.toml), each through the public function that computes it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from strategies import item, minimum_loss_ohm, pad

from chain.analyses.judgement import verdict
from chain.reflection import magnitude_from_return_loss, magnitude_from_vswr, mismatch_loss_db, return_loss_db, vswr
from chain.rf import twoport
from chain.rf.elements import Box, Line, line_s
from chain.rf.parts import elements_of
from chain.rf.twoport import Maps, inverse, through
from chain.setups import Near
from chain.uncertainty.bounds import reading_range, true_bound_complex
from chain.uncertainty.calibration import residual_box, solve
from chain.uncertainty.coverage_region import recovered_trials
from chain.uncertainty.linear import linear
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.sampling import draw
from chain.uncertainty.sensitivity import circle_sd
from chain.uncertainty.streams import unit_reflections
from library.formulas import minimum_loss_db
from library.records import Connector

try:
    import tomllib
except ImportError:
    import tomli as tomllib

FREQ = np.array([100e6])
ONE = np.ones(1)
DRAWS = 200_000
FILE = Path(__file__).with_name("uncertainty.toml")
CHECKS = tomllib.loads(FILE.read_text(encoding="utf-8"))["check"]


def rng():
    return np.random.default_rng(20260)


def box(s11=0.0, s22=0.0, product=1.0, **unknown):
    """A two-port of one frequency by S11, S22 and S12*S21; an error term of an instrument, which may seem to give out power."""
    s = np.array([[[s11, np.sqrt(complex(product))], [np.sqrt(complex(product)), s22]]])
    return Box("box", 50.0, 50.0, s, passive=False, **unknown)


def measurement_of(*elements, **unknown):
    return Measurement(FREQ, 50.0, 50.0, (), elements, **unknown)


def drawn(elements, far):
    """Readings of drawn pieces ended in far, shape (draws,)."""
    source = rng()
    return through([draw(element, source, DRAWS) for element in elements], (DRAWS, 1)).reading(far)[:, 0]


def phases(count=DRAWS):
    return unit_reflections(np.random.default_rng(7), count, "ring")


def number(pair):
    return complex(*pair) if isinstance(pair, list) else pair


def pair(value):
    return [float(np.real(value)), float(np.imag(value))]


def noisy(x1, u):
    return linear(measurement_of(noise=u), x1), recovered_trials(measurement_of(noise=u), x1, DRAWS)[:, 0]


def power_lost(x1, u):
    """Power lost by reflection, the square of a recovered reflection with noise on each axis."""
    lost = np.abs(noisy(x1, u)[1]) ** 2
    return {"mean": lost.mean(), "u": lost.std()}


def power_lost_ends(x1, u):
    low, high = np.quantile(np.abs(noisy(x1, u)[1]) ** 2, (0.025, 0.975))
    return {"low": low, "high": high}


def power_lost_linear(x1, u):
    found = noisy(x1, u)[0]
    assert found.valid.all()
    size = abs(found.recovered[0])
    spread = 2 * size * found.u_magnitude[0]
    return {"u": spread, "low": size**2 - 1.96 * spread, "high": size**2 + 1.96 * spread}


def linear_refused(x1, u):
    found = noisy(x1, u)[0]
    assert not found.valid.any()
    assert "zero" in found.reasons[0]
    assert np.isnan(found.interval()).all()
    return {}


def linear_magnitude(x1, u):
    found = noisy(x1, u)[0]
    assert found.valid.all()
    return {"u_magnitude": found.u_magnitude[0]}


def magnitude_drawn(x1, u):
    values = noisy(x1, u)[1]
    return {"magnitude": abs(values).mean(), "u_magnitude": abs(values).std(), "u_phase": np.angle(values).std()}


def mismatch(vswr_source, vswr_load):
    source, load = (float(magnitude_from_vswr(value)) for value in (vswr_source, vswr_load))
    return _limits(source, load)


def mismatch_rl(rl1_db, rl2_db):
    source, load = (float(magnitude_from_return_loss(value)) for value in (rl1_db, rl2_db))
    return {"larger_side_db": _limits(source, load)["delivered_high_db"]}


def _limits(source, load):
    """A source match of unknown phase makes the wave into the load 1/(1 - Gs Gl)."""
    ends = reading_range((box(far_radius=source * ONE),), load * ONE)
    low_db, high_db = (float(20 * np.log10(end[0] / load)) for end in ends)
    return {
        "delivered_high_db": high_db,
        "delivered_low_db": low_db,
        "factor_high_db": -low_db,
        "factor_low_db": -high_db,
        "factor_high_percent": 100 * (10 ** (-low_db / 10) - 1),
    }


def mismatch_drawn(g_source, g_load, source_shape, load_shape):
    load = g_load * unit_reflections(np.random.default_rng(3), DRAWS, load_shape)
    into = drawn((box(far_radius=g_source * ONE, shape=source_shape),), load) / load[:, 0]
    return {"u": (abs(into) ** 2).std()}


def adapters(vswr_adapters, vswr_load):
    elements = [
        Line("adapter", 50.0, 50.0, 50 * ONE + 0j, 0 * ONE, ONE, inside_radius=_radius(each)) for each in vswr_adapters
    ]
    low, high = (float(end[0]) for end in reading_range(elements, magnitude_from_vswr(vswr_load) * ONE))
    return {
        "vswr_min": vswr(low),
        "vswr_max": vswr(high),
        "gamma_min": low,
        "gamma_max": high,
        "rl_max_db": return_loss_db(low),
        "rl_min_db": return_loss_db(high),
    }


def _radius(value):
    return magnitude_from_vswr(value) * ONE


def adapter_drawn(vswr_adapter, vswr_load):
    own, load = float(magnitude_from_vswr(vswr_adapter)), float(magnitude_from_vswr(vswr_load))
    element = Line("adapter", 50.0, 50.0, 50 * ONE + 0j, 0 * ONE, ONE, inside_radius=own * ONE, shape="ring")
    size = abs(drawn((element,), load))
    found = {"mean_gamma": size.mean(), "rms_gamma": np.sqrt((size**2).mean())}
    most = reading_range((element,), load * ONE)[1][0]
    assert found["rms_gamma"] < np.hypot(own, load)
    assert size.max() <= most < own + load
    return {**found, "sum_gamma": own + load, "rss_gamma": np.hypot(own, load)}


def _residuals(directivity_db=None, match_db=None, tracking=0.0):
    tracking_db = 20 * np.log10(1 + tracking) if tracking else None
    return residual_box(Near(Connector("N-50", "jack"), 50.0, directivity_db, match_db, tracking_db), FREQ)


def directivity(d_db):
    """A return loss of 20 dB read with a directivity d_db below it."""
    low, high = reading_range((_residuals(20 + d_db),), 0.1 * ONE)
    return {"low_db": 20 - return_loss_db(high)[0], "high_db": return_loss_db(low)[0] - 20}


def _unknown_phase(found):
    """Residuals of stated size and unknown phase; a disc sqrt 2 as wide spreads a tracking error as its ring does."""
    return replace(found, shape="ring", far_shape="ring", product_radius=np.sqrt(2) * found.product_radius)


def one_port_budget(directivity_db, match_db, tracking, gamma):
    element = _unknown_phase(_residuals(directivity_db, match_db, tracking))
    found = linear(measurement_of(element), gamma)
    assert found.u_real == pytest.approx(found.u_imag)
    return {"u": found.u_magnitude[0]}


def one_port_worst(directivity_db, match_db, tracking, gamma):
    high = reading_range((_residuals(directivity_db, match_db, tracking),), gamma * ONE)[1]
    return {"worst": high[0] - gamma}


def one_port_extremes(d, m_db, t, gamma):
    element = _residuals(-20 * np.log10(d), m_db, t)
    low, high = (float(end[0]) for end in reading_range((element,), gamma * ONE))
    size = abs(drawn((replace(element, shape="ring", far_shape="ring"),), gamma))
    assert low <= size.min()
    assert size.max() <= high
    return {"low": low, "high": high}


def one_port_drawn(d, m_db, t, gamma):
    size = abs(drawn((_unknown_phase(_residuals(-20 * np.log10(d), m_db, t)),), gamma))
    return {"mean": size.mean(), "u": size.std()}


def _matched_pad(loss_db):
    return elements_of(item(pad(loss_db, 50.0, 50.0)), FREQ)


def pad_in_front(pad_db, rl_db):
    low, high = reading_range(_matched_pad(pad_db), magnitude_from_return_loss(rl_db) * ONE)
    assert low == pytest.approx(high)
    return {"rl_in_db": return_loss_db(high)[0], "vswr_in": vswr(high)[0]}


def noise_through_pad(pad_db):
    factor = linear(measurement_of(*_matched_pad(pad_db), noise=1e-4), 0.3).u_magnitude[0] / 1e-4
    return {"factor": factor, "directivity_loss_db": 20 * np.log10(factor)}


def directivity_behind_pad(gamma, pad_db, directivity_db):
    elements = _matched_pad(pad_db)
    seen = reading_range(elements, gamma * ONE)[0]
    measured = measurement_of(_residuals(directivity_db), *elements)
    low, high = true_bound_complex(measured, seen.astype(complex))
    return {"gamma_m": seen[0], "rl_low_db": return_loss_db(high)[0], "rl_high_db": return_loss_db(low)[0]}


def fifty_to_seventy_five(z1, z2):
    step = twoport.step(z1, z2)
    series, shunt = minimum_loss_ohm(z2, z1)
    line = line_s(z2 * ONE + 0j, 1j * np.pi * np.linspace(0, 1, 181), z1)
    through_db = 20 * np.log10(np.abs(line[..., 1, 0]))
    return {
        "gamma": abs(step[0, 0]),
        "vswr": vswr(step[0, 0]),
        "rl_db": return_loss_db(step[0, 0]),
        "mismatch_loss_db": mismatch_loss_db(step[0, 0]),
        "min_loss_pad_db": minimum_loss_db(z2, z1),
        "pad_series_ohm": series,
        "pad_shunt_ohm": shunt,
        "line_between_max_db": through_db.max(),
        "line_between_min_db": through_db.min(),
    }


def _error_map(e00, e11, t):
    return through([box(e00, e11, t).s[None]], (1, 1))


def indicated(e00, e11, t, gamma):
    maps = _error_map(e00, e11, t)
    ends = {"m_open": 1.0, "m_short": -1.0, "m_load": 0.0, "m_dut": gamma}
    return {name: pair(maps.reading(np.array(end))[0, 0]) for name, end in ends.items()}


def solved(m_open, m_short, m_load, m_dut):
    maps = solve([np.full((1, 1), value) for value in (m_open, m_short, m_load)], [np.array([v]) for v in (1, -1, 0)])
    p, q, r = maps.p[0, 0], maps.q[0, 0], maps.r[0, 0]
    found = {"e00": q, "e11": -r, "t": p - q * r, "gamma": maps.recovered(np.array(m_dut))[0, 0]}
    return {name: pair(value) for name, value in found.items()}


def error_box(e00, e11, t, gamma):
    s = box(e00, e11, t).s
    other = s.copy()
    other[..., 0, 1], other[..., 1, 0] = -s[..., 0, 1], -s[..., 1, 0]
    first, second = (twoport.input_reflection(each, gamma)[0] for each in (s, other))
    assert first == pytest.approx(second)
    assert through([s[None]], (1, 1)).reading(np.array(gamma))[0, 0] == pytest.approx(first)
    return {"gamma_in": pair(first)}


def undone(e00, e11, t):
    back = inverse(_error_map(e00, e11, t))
    return {"a": pair(back.p[0, 0]), "b": pair(back.q[0, 0]), "c": pair(back.r[0, 0])}


def reflectometer(a, b, c, W):
    back = Maps(*(np.full((1, 1), value) for value in (a, b, c)))
    gamma = back.reading(np.array(W))[0, 0]
    front = inverse(back)
    e00, e11 = front.q[0, 0], -front.r[0, 0]
    found = linear(measurement_of(box(e00, e11, front.p[0, 0] + e00 * e11), noise=1e-3), gamma)
    assert found.u_real == pytest.approx(found.u_imag)
    return {"gamma": pair(gamma), "abs_W": found.u_real[0] / 1e-3}


def zone(limit_rl_db, U_db, rl_db):
    ends = (vswr(magnitude_from_return_loss(value)) for value in (rl_db + U_db, rl_db - U_db))
    return {"zone": verdict(*map(float, ends), float(vswr(magnitude_from_return_loss(limit_rl_db))))}


def limit(rl_db):
    size = magnitude_from_return_loss(rl_db)
    edge = float(vswr(size))
    assert verdict(1.0, edge, edge) == "pass"
    assert verdict(edge, 3.0, edge) == "not proven"
    return {"gamma": size}


def _three_parts(given):
    """Discs twice as wide as the standard uncertainty; a load that is off by one is a matched piece in front of it."""
    elements = []
    for name in ("pad", "coax", "adapter"):
        loss_db, phase, u = given[f"{name}_db"], given[f"{name}_phase"], given[f"{name}_u"]
        through_wave = 10 ** (-loss_db / 20) * np.exp(1j * phase)
        wide = 2 * u * ONE
        unknown = {"near_radius": wide, "far_radius": wide, "product_radius": wide / abs(through_wave)}
        elements.append(box(given[f"{name}_s11"], given[f"{name}_s22"], through_wave**2, **unknown))
    return (*elements, box(near_radius=2 * given["load_u"] * ONE)), given["load"]


def three_parts(**given):
    elements, load = _three_parts(given)
    known = through([element.nominal()[None] for element in elements], (1, 1))
    seen = known.reading(np.array(load))[0, 0]
    # The uncertainty is of what is recovered at the load; the map's slope takes it back to the input.
    slope = abs((known.p - known.q * known.r) / (known.r * load + 1) ** 2)[0, 0]
    found = linear(measurement_of(*elements), load)
    at_input = slope * found.u_real[0]
    assert found.u_imag == pytest.approx(found.u_real)
    assert found.covariance[0, 0, 1] == pytest.approx(0, abs=1e-15)
    return {"gamma_in": pair(seen), "u_re": at_input, "u_im": at_input, "magnitude": abs(seen), "u_magnitude": at_input}


def three_parts_drawn(**given):
    elements, load = _three_parts(given)
    seen = drawn(elements, load)
    size = abs(seen)
    return {"u_re": seen.real.std(), "u_im": seen.imag.std(), "mean_magnitude": size.mean(), "u_magnitude": size.std()}


def factors(a):
    """A loss that is off by a moves a reflection by a ln(10)/10 of itself."""
    found = linear(measurement_of(box(product=0.5, loss_tolerance_db=a)), 1.0)
    per_db = float(np.log(10) / 10)
    return {
        "uniform": found.u_real[0] / per_db,
        "uniform_disk": circle_sd(a),
        "uniform_ring": circle_sd(a, "ring"),
    }


WAYS = {name: value for name, value in globals().items() if name in {each["through"] for each in CHECKS}}
ZONES = {"conditional pass": "not proven", "conditional fail": "not proven"}


def label(check):
    given = ", ".join(f"{key} {value}" for key, value in check["inputs"].items())
    return f"{check['through']}: {given}"[:90]


def test_every_check_is_sound():
    assert len(CHECKS) >= 100
    for check in CHECKS:
        assert set(check) - {"note"} == {"through", "inputs", "expected", "tolerance", "evidence", "source"}
        assert check["evidence"] in ("published", "practice", "computed", "memory")
        assert check["source"]
        assert check["through"] in WAYS


@pytest.mark.parametrize("check", CHECKS, ids=label)
def test_figure(check):
    found = WAYS[check["through"]](
        **{key: number(value) if key != "vswr_adapters" else value for key, value in check["inputs"].items()}
    )
    tolerance = {"abs": 0.0, "rel": 0.0, **check["tolerance"]}
    for name, expected in check["expected"].items():
        if isinstance(expected, str):
            assert found[name] == ZONES.get(expected, expected), name
            continue
        worst = np.max(np.abs(np.asarray(found[name], dtype=float) - np.asarray(expected)))
        assert worst <= tolerance["abs"] + tolerance["rel"] * np.max(np.abs(expected)), name
