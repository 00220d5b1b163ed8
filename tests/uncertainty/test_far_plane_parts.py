"""Parts of the bounds at a far plane, each against what it bounds: noise, standards, what a chain passes; digits of readings."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from further import wide
from scipy.optimize import lsq_linear

from chain.rf import twoport
from chain.rf.elements import Box, Ladder, Line
from chain.uncertainty import far_plane_bounds as far_plane
from chain.uncertainty.calibration import Standards, standard_terms
from chain.uncertainty.measurement import Measurement
from chain.uncertainty.sampling import draw, hidden_digits
from chain.uncertainty.transfer import least_derivative, least_slope

RIM = np.exp(2j * np.pi * np.arange(720) / 720)
FREQ_HZ = np.array([6e8])


def measurement(through=0.7, match=0.0, **unknowns):
    """A chain of one known two-port before the plane, its far match at a phase of its own."""
    s = np.array([[[0, through], [through, match]]], dtype=complex)
    standards = Standards(75.0, **{key: unknowns.pop(key) for key in list(unknowns) if hasattr(Standards, key)})
    return Measurement(FREQ_HZ, 50.0, 75.0, (Box("pad", 50.0, 75.0, s),), (), standards=standards, **unknowns)


@pytest.mark.parametrize("x", [0.0, 0.3j, -0.9, 0.6 * np.exp(0.7j), 1.0])
@pytest.mark.parametrize("match", [0.0, 0.1, 0.35])
def test_noise_of_four_readings_is_as_large_as_it_can_be(x, match):
    """Sum of w |1 - S t|^2/P over every phase of the common match S of ideal standards: neither passed nor left by far."""
    of = measurement(match=match, noise=1e-3, drift=2e-3)
    plane = replace(far_plane._plane(of), blur=np.ones(1))
    at = np.array([complex(x)])
    weights = far_plane._weights(at)
    found = far_plane._noise(of, plane, at, np.abs(at), weights)
    noise = far_plane.CUT * np.sqrt(2) * of.noise
    sizes = [noise * abs(weight[0]) for weight in weights] + [noise + of.drift]
    worst = max(
        sum(size * abs(1 - match * phase * t) ** 2 for size, t in zip(sizes, (1, -1, 0, x), strict=True))
        for phase in RIM
    )
    assert found[0] == pytest.approx(worst / 0.7**2, rel=1e-4)


@pytest.mark.parametrize("phase", np.exp(2j * np.pi * np.arange(8) / 8))
def test_noise_of_a_poor_load_at_the_plane(phase):
    """A reading of the load that is off by e moves it by e |1 - S t|^2/P at the plane, t anywhere in the load's disc."""
    of = measurement(match=0.3 * phase, noise=1e-4, load_radius=0.3)
    load = far_plane._plane(of).noises[2][0]
    off = far_plane.CUT * np.sqrt(2) * of.noise
    worst = max(off * abs(1 - 0.3 * phase * 0.3 * t) ** 2 / 0.7**2 for t in RIM)
    assert worst <= load <= 1.02 * worst


@pytest.mark.parametrize(
    ("opened_f", "shorted_h", "inductance_h", "radius", "mating"),
    [(2e-13, 0, 0, 0, 0), (0, 1e-9, 0, 0, 0), (0, 0, 2e-9, 0.05, 0), (2e-13, 1e-9, 2e-9, 0.05, 0.01)],
)
def test_standards_lie_where_they_are_reported_to(opened_f, shorted_h, inductance_h, radius, mating):
    """Every open, short and load within its limits, read through a joint of any phase, lies in its arc or disc; an arc is reached."""
    of = measurement(
        load_radius=radius,
        load_inductance_h=inductance_h,
        open_capacitance_f=opened_f,
        short_inductance_h=shorted_h,
        mating=mating,
    )
    ends = far_plane._true_standards(of)
    omega = 2 * np.pi * FREQ_HZ[0]
    parts = np.linspace(0, 1, 21)[:, None, None]
    joint = mating * RIM[::20]
    load_ohm = 75 * (1 + radius * RIM[::20, None]) / (1 - radius * RIM[::20, None]) + 1j * omega * inductance_h * parts
    ideal = (
        (1 - 1j * omega * opened_f * 75 * parts) / (1 + 1j * omega * opened_f * 75 * parts),
        (1j * omega * shorted_h * parts - 75) / (1j * omega * shorted_h * parts + 75),
        (load_ohm - 75) / (load_ohm + 75),
    )
    for end, true in zip(ends, ideal, strict=True):
        seen = ((joint + true) / (1 + np.conj(joint) * true)).ravel()
        line = end.lines[0][0]
        along = seen - end.center[0]
        share = np.clip((along * np.conj(line)).real / max(abs(line) ** 2, 1e-300), -1, 1) if abs(line) else 0.0
        assert np.max(np.abs(along - share * line)) <= end.radius[0] + 1e-12
    for end, true in zip(ends[:2], ideal[:2], strict=True):
        seen = (joint + true) / (1 + np.conj(joint) * true)
        assert end.reach[0] == pytest.approx(np.abs(seen - end.center[0]).max(), rel=0.2, abs=1e-9)


@pytest.mark.parametrize(("open_f", "short_h", "load_h"), [(5e-14, 0, 1.2e-8), (0, 2e-10, 1.2e-8), (1e-12, 5e-9, 4e-9)])
def test_errors_of_standards_are_those_left_when_their_middles_are_taken_out(open_f, short_h, load_h):
    """Every standard of a set, taken through the map that makes the middles ideal: on its line, give or take its radius.

    With one middle far off and another standard all but known, the line must be turned and stretched by the map's own slope.
    """
    of = measurement(open_capacitance_f=open_f, short_inductance_h=short_h, load_inductance_h=load_h)
    plane, middles = far_plane._plane(of), [end.center[0] for end in far_plane._true_standards(of)]
    turned = [((z + plane.b) / (plane.c * z + plane.d))[0] for z in middles]
    assert turned == pytest.approx([1, -1, 0], abs=1e-12)
    omega, ohm, share = 2 * np.pi * FREQ_HZ[0], 75.0, np.linspace(0, 1, 101)
    seen = (
        1 / (1j * omega * open_f * share * ohm + 1e-300),
        1j * omega * short_h * share / ohm,
        1 + 1j * omega * load_h * share / ohm,
    )
    for error, z in zip(plane.errors, ((each - 1) / (each + 1) for each in seen), strict=True):
        left = (z + plane.b) / (plane.c * z + plane.d) - error.center
        (line,) = error.lines
        # The nearest point of the line, for a share of its own.
        along = np.clip((left * np.conj(line)).real / max(abs(line[0]) ** 2, 1e-300), -1, 1)
        assert np.abs(left - along * line).max() <= error.radius[0] * (1 + 1e-9) + 1e-12


def read_with(true, x):
    """What a calibration shows of x that takes the standards `true` for 1, -1 and 0: the bilinear map through three points."""
    rows = [[t, 1, -ideal * t] for t, ideal in zip(true, (1, -1, 0), strict=True)]
    a, b, c = np.linalg.solve(np.array(rows, dtype=complex), np.array([1, -1, 0], dtype=complex))
    return (a * x + b) / (c * x + 1)


def beyond(found, value):
    """How far a value lies outside a spread of one place, by its best share of every line."""
    off = value - found.center[0]
    lines = np.array([[line[0].real for line in found.lines], [line[0].imag for line in found.lines]])
    rest = lsq_linear(lines, [off.real, off.imag], (-1, 1)).fun
    return np.hypot(*rest) - found.radius[0]


@pytest.mark.parametrize("x", [0.0, 0.35 - 0.3j, *wide(-0.7j, 0.999, -0.95)])
@pytest.mark.parametrize(
    ("open_f", "short_h", "load_h"), [(5e-14, 0, 1.2e-8), (0, 2e-10, 1.2e-8), (6e-13, 2.5e-9, 4e-9)]
)
def test_every_set_of_standards_shows_what_it_may_and_is_undone_to_what_it_may(open_f, short_h, load_h, x):
    """Standards anywhere in their ranges, the calibration solved again with each set: no reading lies outside, none comes from there."""
    of = measurement(open_capacitance_f=open_f, short_inductance_h=short_h, load_inductance_h=load_h)
    plane, omega, ohm, at = far_plane._plane(of), 2 * np.pi * FREQ_HZ[0], 75.0, np.array([x + 0j])
    outside = []
    for shares in itertools.product((0, 0.5, 1), repeat=3):
        sides = [
            1j * omega * each
            for each in (open_f * ohm * shares[0], short_h / ohm * shares[1], load_h / ohm * shares[2])
        ]
        true = (1 - sides[0]) / (1 + sides[0]), (sides[1] - 1) / (sides[1] + 1), sides[2] / (sides[2] + 2)
        shown = read_with(true, at[0])
        spread, (least, most) = far_plane._shown(of, plane, at, np.abs(at))
        outside += [beyond(spread, shown), least[0] - abs(shown), abs(shown) - most[0]]
        outside.append(beyond(far_plane._behind(of, plane, np.array([shown])), at[0]))
    assert max(outside) <= 1e-9


@pytest.mark.parametrize("x", [0.3, -0.8j, 1.0])
def test_a_moved_lead_turns_the_antenna_along_its_line_and_disc(x):
    """Every turn there and back, behind a chain that shows nothing of its own: an arc parts from its tangent by half its square."""
    of = measurement(flex_rad=0.1)
    plane = replace(far_plane._plane(of), seen=np.zeros(1), match=np.zeros(1))
    spread, added = far_plane._antenna(of, plane, np.array([x + 0j]), np.array([abs(x)]))
    turned = np.exp(0.2j * np.linspace(-1, 1, 101)) * x - x
    (line,) = spread.lines
    along = np.clip((turned / line[0]).real, -1, 1)
    assert added[0] == 0
    assert np.abs(turned - along * line[0]).max() <= spread.radius[0] <= 0.2**2 / 2 * abs(x) * (1 + 1e-12)


def test_weights_are_one_at_their_own_standard_and_nothing_at_the_others():
    found = np.array([far_plane._weights(np.array([t + 0j])) for t in (1, -1, 0)])[..., 0]
    np.testing.assert_allclose(found, np.eye(3), atol=1e-15)


TEE_20_DB = (("series", 40.909), ("shunt", 10.101), ("series", 40.909))


@pytest.mark.parametrize("tolerance", [0.01, 0.1, 0.24, 0.3, 0.6])
@pytest.mark.parametrize("reactances", [(0.0, 0.0), (1e-9, 5e-14)])
@pytest.mark.parametrize("arms", [(("series", 43.3), ("shunt", 86.6)), TEE_20_DB, TEE_20_DB + TEE_20_DB])
def test_resistors_pass_no_less_than_the_least(arms, reactances, tolerance):
    """With every resistor at an end of its tolerance, wide or many as they are; two pads in a row have six of them."""
    pad = Ladder("pad", 50.0, 75.0, arms, FREQ_HZ, tolerance, *reactances)
    corners = [
        pad.matrix(tuple(np.array([ohm * (1 + sign * tolerance)]) for (_, ohm), sign in zip(arms, signs, strict=True)))[
            0
        ]
        for signs in itertools.product((-1, 1), repeat=len(arms))
    ]
    product, match = least_slope((pad,), FREQ_HZ)
    least = min(abs(s[0, 1] * s[1, 0]) for s in corners)
    assert 0 < product[0] <= least * (1 + 1e-12)
    if not any(reactances):
        assert product[0] == pytest.approx(least)
    assert match[0] >= max(abs(s[1, 1]) for s in corners)
    assert 0 < least_derivative((pad,), np.array([0.3]))[0] <= product[0]
    # What such a pad passes at most decides how much of a mismatch behind the one before it comes back.
    ahead = Box("a", 50.0, 50.0, np.array([[[0.1, 0.6], [0.6, 0.3]]], dtype=complex))
    _, match = least_slope((ahead, pad), FREQ_HZ)
    assert match[0] >= max(abs(twoport.star(ahead.s, s[None])[0, 1, 1]) for s in corners)


def test_two_known_two_ports_in_the_worst_phase():
    """Where all reflections add the least transmission is left by the sum of moduli and the largest match is reached."""
    first = Box("a", 50.0, 50.0, np.array([[[0.1, 0.6], [0.6, 0.3]]], dtype=complex))
    other = Box("b", 50.0, 50.0, np.array([[[0.4, 0.5], [0.5, 0.2]]], dtype=complex))
    product, match = least_slope((first, other), FREQ_HZ)
    whole = twoport.star(first.s, other.s)[0]
    assert match[0] == pytest.approx(abs(whole[1, 1]))
    away = replace(other, s=other.s * np.array([[-1, 1], [1, 1]]))
    least = twoport.star(first.s, away.s)[0]
    assert product[0] == pytest.approx(abs(least[0, 1] * least[1, 0]))


@pytest.mark.parametrize("radius", [0.1, 0.5, 0.9])
def test_a_line_passes_no_less_than_the_least_and_matches_no_worse(radius):
    """Two junctions of the largest radius with as much line between them as makes them worst."""
    size = np.array([radius])
    line = Line("lead", 50.0, 50.0, np.array([50.0 + 0j]), np.zeros(1), np.ones(1), size, size)
    product, match = least_slope((line,), FREQ_HZ)
    assert 0 < product[0] <= ((1 - radius**2) / (1 + radius**2)) ** 2 + 1e-12
    assert match[0] >= min(2 * radius / (1 + radius**2), 1.0) - 1e-12


def test_second_order_of_the_standards():
    """Half the second derivative over the first, by differences: w R of an open, w/R of a short, w/(2 R) of a load."""
    omega, size = 2 * np.pi * FREQ_HZ[0], 1e-4
    forms = (
        lambda u: (1 - 1j * omega * 75 * u) / (1 + 1j * omega * 75 * u),
        lambda u: (1j * omega * u - 75) / (1j * omega * u + 75),
        lambda u: 1j * omega * u / (150 + 1j * omega * u),
    )
    steps = size / (omega * 75), size * 75 / omega, size * 75 / omega
    standards = Standards(75.0, 0.0, 1e-15, 1e-20, 1e-15)
    for form, step, (_, terms) in zip(forms, steps, standard_terms(standards, FREQ_HZ), strict=True):
        second = (form(2 * step) - 2 * form(step) + form(0.0)) / step**2
        first = (form(2 * step) - form(0.0)) / (2 * step)
        assert np.asarray(terms[-1].curve).ravel()[0] == pytest.approx(abs(second / first) / 2, rel=1e-2)


@pytest.mark.parametrize("together", [True, False])
def test_digits_hide_as_much_on_either_side_of_either_part(together):
    half = np.array([0.01, 0.02])
    drawn = hidden_digits(np.random.default_rng(1), 4000, half, True, together)
    for part in (drawn.real, drawn.imag):
        assert np.all(np.abs(part) <= half)
        np.testing.assert_allclose(part.mean(axis=0), 0.0, atol=0.04 * half.max())
        np.testing.assert_allclose(part.std(axis=0) * np.sqrt(3), half * np.ones(2), rtol=0.03)


@pytest.mark.parametrize("seed", range(60))
def test_no_drawn_line_passes_less_or_matches_worse(seed):
    """Lines of any impedance, lossy ones of a complex one, with tolerances of everything and reflections up to 0.6."""
    rng = np.random.default_rng(seed)
    loss, phase = np.array([rng.choice([1e-3, 0.05, 0.5])]), np.array([rng.uniform(0.2, 6.0)])
    most = min(1.0, 0.9 * loss[0] / phase[0])
    ohm = np.array([rng.uniform(66.0, 84.0) * (1 + 1j * rng.uniform(-most, most))])
    radii = [None if rng.random() < 0.3 else np.array([rng.choice([0.02, 0.1, 0.3, 0.6])]) for _ in range(2)]
    spread = {"loss_tolerance": rng.choice([0.0, 0.3]), "length_low": 0.95, "length_high": 1.05}
    if seed % 3:
        own = {"near_radius": radii[0], "far_radius": radii[1], "impedance_tolerance_ohm": rng.choice([0.0, 5.0, 20.0])}
    else:
        own = {"inside_radius": np.array([0.2])}
    line = Line("line", 75.0, 75.0, ohm, loss, phase, shape="ring", **spread, **own)
    drawn = draw(line, rng, 3000)
    product, match = least_slope((line,), FREQ_HZ)
    assert product[0] <= np.abs(drawn[..., 0, 1] * drawn[..., 1, 0]).min()
    assert match[0] >= np.abs(drawn[..., 1, 1]).max()


@pytest.mark.parametrize("size", [0.0, 0.1, 0.4, 0.7, 1.0])
@pytest.mark.parametrize("errors", [(0.02, 0.02, 0.02), (0.15, 0.0, 0.1), (0.1, 0.14, 0.0), (0.3, 0.25, 0.2)])
def test_ends_of_the_whole_map_are_not_passed_and_not_left_by_far(size, errors):
    """Reflections z seen by the map that takes 1 + eo, -1 + es, el to 1, -1, 0: 40,000 of them, errors at the rims of their discs."""
    rng = np.random.default_rng(4)
    slack = []
    for center in size * RIM[::90]:
        z = center + 0.05 * np.sqrt(rng.random(40_000).round(1)) * RIM[rng.integers(720, size=40_000)]
        opened, shorted, load = (each * RIM[rng.integers(720, size=40_000)] for each in errors)
        pole = (opened + shorted - 2 * load) / (2 + opened - shorted)
        seen = np.abs((z - load) / (pole * (z - 1 - opened) + 1 + opened - load))
        true = far_plane.Spread(np.array([center]), (), np.array([0.05]))
        low, high = (each[0] for each in far_plane._by_ratio(true, [np.array([each]) for each in errors]))
        assert low <= seen.min() <= seen.max() <= high
        slack.append((high - low - np.ptp(seen)) / np.ptp(seen) if np.isfinite(high) else 0.0)
    assert np.median(slack) <= (2.5 if max(errors) > 0.2 else 0.5)


@pytest.mark.parametrize("size", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("pole", [0.0, 0.1, 0.3])
def test_half_a_step_of_the_phase_is_held_by_its_line_and_disc(size, pole):
    """Every x within half a step of one tried, through the middle of the standards (x + b)/(c x + 1)."""
    c = pole * np.exp(0.3j)
    turns = np.exp(1j * np.linspace(-1, 1, 201) * far_plane.HALF_STEP)
    for x in size * RIM[::45]:
        middle, slope = (x + 0.05j) / (c * x + 1), (1 - 0.05j * c) / (c * x + 1) ** 2
        found = far_plane._half_a_step(
            far_plane.Spread(np.array([middle]), (), np.zeros(1)),
            np.zeros(1),
            np.array([x]),
            np.array([slope]),
            np.abs(np.array([c / (c * x + 1)])),
        )
        seen = (x * turns + 0.05j) / (c * x * turns + 1)
        along = np.clip(((seen - middle) / found.lines[0][0]).real, -1, 1)
        assert np.abs(seen - middle - along * found.lines[0][0]).max() <= found.radius[0] + 1e-15
        assert found.reach[0] <= 1.2 * np.abs(seen - middle).max()
