"""Kinds of limit, tolerances of matching sections and branches of splitters, as drawn, bounded and linearised."""

import numpy as np
import pytest
import strategies as made
from further import wide
from scipy.optimize import minimize

from chain.analyses.improvements import contributions, typical_share
from chain.assembly.cascade import build
from chain.errors import InputError
from chain.files.setup_file import parse_setup
from chain.rf.discs import forward, region_of
from chain.rf.elements import Tee, aligned, nominal
from chain.rf.parts import elements_of
from chain.setups import standing
from chain.uncertainty.calibration import Standards, drawn_reflections
from chain.uncertainty.contributions import names
from chain.uncertainty.linear import linear
from chain.uncertainty.measurement import measurement_of, nominal_maps, simulate
from chain.uncertainty.sampling import draw
from chain.uncertainty.sensitivity import circle_sd, element_terms
from chain.uncertainty.streams import unit_reflections

COUNT = 4000
ENDS = (
    '[sweep]\nstart = "150 MHz"\nstop = "{stop}"\npoints = 3\n[near]\nconnector = "{near}"\nimpedance = "{ohm} ohm"\nideal = true\n'
    '{extra}\n[far]\nconnector = "{far}"\n[calibration]\nideal = true\n{calibration}\n'
)


def setup_of(item, near="BNC-50 plug", far="BNC-75 plug", ohm=50, extra="", calibration="", stop="250 MHz"):
    text = ENDS.format(near=near, far=far, ohm=ohm, extra=extra, calibration=calibration, stop=stop)
    return parse_setup(f'{text}[[chain]]\nid = "x"\n{item}\n'.encode())


def elements_of_item(setup):
    return dict(build(setup).groups)["x"]


# Second moments of a disc, a circle and a uniform radius: handbook integrals of r^2 over each.
@pytest.mark.parametrize(("kind", "mean_square"), [("disc", 1 / 2), ("ring", 1.0), ("uniform-radius", 1 / 3)])
def test_kinds_have_their_moments(kind, mean_square):
    drawn = unit_reflections(np.random.default_rng(1), 200_000, kind)
    assert np.mean(np.abs(drawn) ** 2) == pytest.approx(mean_square, rel=0.01)
    assert np.abs(drawn).max() <= 1 + 1e-12
    assert circle_sd(1.0, kind) == pytest.approx(np.sqrt(mean_square / 2))


@pytest.mark.parametrize("kind", ["disc", "ring", "uniform-radius"])
def test_every_limit_of_a_file_takes_its_kind(kind):
    pad = elements_of_item(setup_of(f'part = "min-loss-pad"\nreflection_kind = "{kind}"'))[0]
    assert pad.shapes == (kind, kind)
    pad = elements_of_item(setup_of(f'part = "min-loss-pad"\nfar_reflection_kind = "{kind}"'))[0]
    assert pad.shapes == ("disc", kind)
    assert pad.flipped().shapes == (kind, "disc")
    assert pad.flipped().flipped().shapes == pad.shapes
    setup = setup_of('part = "min-loss-pad"', extra=f'directivity = "30 dB"\ndirectivity_kind = "{kind}"')
    assert measurement_of(setup, build(setup)).after[0].shapes == (kind, "disc")
    setup = setup_of('part = "min-loss-pad"', calibration=f'plane = "x"\nload = "30 dB"\nload_kind = "{kind}"')
    standards = measurement_of(setup, build(setup)).standards
    assert isinstance(standards, Standards)
    load = np.abs(drawn_reflections(standards, np.array([2e8]), np.random.default_rng(1), COUNT)[2])
    expected = {"disc": 0.0224, "ring": 0.0316, "uniform-radius": 0.0158}[kind]
    assert np.median(load) == pytest.approx(expected, rel=0.05)


RESIDUAL_KEYS = {"tracking": "0.3 dB", "repeatability": "40 dB", "drift": "40 dB"}
RESIDUAL_SIZES = {"tracking": 10 ** (0.3 / 20) - 1, "repeatability": 0.01, "drift": 0.01}


@pytest.mark.parametrize(("kind", "mean_square"), [("disc", 1 / 2), ("ring", 1.0), ("uniform-radius", 1 / 3)])
@pytest.mark.parametrize("key", RESIDUAL_KEYS)
def test_what_a_calibration_leaves_takes_its_kind(key, kind, mean_square):
    """Drawn readings of a full reflection, nothing else unknown: their spread is the kind's own, linear propagation's too."""
    setup = setup_of(
        'part = "min-loss-pad"\nideal = true', extra=f'{key} = "{RESIDUAL_KEYS[key]}"\n{key}_kind = "{kind}"'
    )
    measurement = measurement_of(setup, build(setup))
    readings = np.concatenate([simulate(measurement, batch, 3).reading(0.8)[:, 0] for batch in range(8)])
    seen = nominal_maps(measurement).reading(np.array([0.8]))[0, 0]
    # Joint: r - conj(r) x^2; tracking: T x; drift: itself.
    factor = {"tracking": abs(seen) ** 2, "repeatability": 1 + abs(seen) ** 4, "drift": 1.0}[key]
    size = RESIDUAL_SIZES[key] ** 2 * mean_square * factor
    assert np.mean(np.abs(readings - readings.mean()) ** 2) == pytest.approx(size, rel=0.04)
    found = linear(measurement, 0.8)
    slope = measurement_slope(measurement)
    assert found.u_real[0] ** 2 + found.u_imag[0] ** 2 == pytest.approx(size / slope**2, rel=0.02)


def measurement_slope(measurement):
    """By how much a change at the antenna changes the reading, numerically."""
    low, high = (nominal_maps(measurement).reading(np.array([0.8 + step]))[0, 0] for step in (-1e-5, 1e-5))
    return abs(high - low) / 2e-5


def test_a_kind_without_a_limit_and_an_unknown_one_are_reported():
    with pytest.raises(InputError, match="does not say how magnitudes are spread"):
        setup_of('part = "min-loss-pad"\nreflection_kind = "circle"')
    with pytest.raises(InputError, match="no reflection that it could be the kind of"):
        setup_of('part = "min-loss-pad-resistors"\nreflection_kind = "ring"')


def test_uniform_radius_in_a_part_file(tmp_path):
    from library.load import load_library

    path = tmp_path / "mine.toml"
    path.write_text(
        '[[adapter]]\nid = "a"\nnear = "N-50 plug"\nfar = "BNC-50 jack"\nimpedance_ohm = 50\nelectrical_length_mm = 40\n'
        'reflection = {return_loss_db = 26, magnitude_kind = "uniform-radius"}\n'
    )
    assert load_library([path]).part("a").limit.kind == "uniform-radius"


def test_an_adapter_known_worse_than_it_is_long_amplifies_nothing():
    """1 mm give or take 5 mm, with loss: drawn lengths end at zero, and every draw is passive."""
    item = made.item(made.adapter(50.0, 1e-3, 3.0, length_tolerance_m=5e-3), "x")
    (line,) = elements_of(item, np.array([1e9]))
    drawn = draw(line, np.random.default_rng(1), COUNT)
    assert np.linalg.svd(drawn, compute_uv=False).max() <= 1 + 1e-12


@pytest.mark.parametrize("name", ["quarter-wave", "twelfth-wave", "twelfth-wave-wide"])
def test_a_section_s_tolerances_are_drawn_and_stay_in_the_bound(name):
    """Against a line computed by its telegrapher's solution at the very ends of the tolerances."""
    setup = setup_of(f'part = "{name}"')
    part = setup.items[0].part
    assert (part.impedance_tolerance_ohm, part.length_tolerance_m) == (2.0, 0.005)
    elements = elements_of_item(setup)
    freq = np.array([150e6, 200e6, 250e6])
    rng = np.random.default_rng(2)
    seen = np.zeros((COUNT, 3), dtype=complex)
    for element in reversed(aligned(elements, 50.0, 75.0, freq)):
        s = draw(element, rng, COUNT)
        seen = s[..., 0, 0] + s[..., 0, 1] * s[..., 1, 0] * seen / (1 - s[..., 1, 1] * seen)
    seen = np.abs(seen)
    assert seen.std(axis=0).min() > 1e-3

    def exact(change_ohm, change_m):
        far = np.full(3, 75.0 + 0j)
        for impedance, wavelengths in reversed(part.pieces):
            turn = 1j * np.tan(2 * np.pi * freq / 299792458.0 * (wavelengths * 299792458.0 / part.design_hz + change_m))
            own = impedance + change_ohm
            far = own * (far + own * turn) / (own + far * turn)
        return np.abs((far - 50) / (far + 50))

    corners = np.array([exact(a * 2.0, b * 0.005) for a in (-1, 0, 1) for b in (-1, 0, 1)])
    start = region_of(np.zeros(3, dtype=complex), np.zeros(3), np.zeros(3))
    region = forward(aligned(elements, 50.0, 75.0, freq), start)
    assert np.all(corners <= region.most + 1e-9)
    assert np.all(corners >= region.least - 1e-9)
    assert np.all(seen <= region.most + 1e-9)
    # Nominal: the middle of the corners' list.
    assert np.abs(nominal(elements, 50.0, 75.0, freq)[:, 0, 0]) == pytest.approx(exact(0.0, 0.0), abs=1e-9)


def test_a_section_s_tolerances_may_be_stated():
    part = setup_of('part = "quarter-wave"\nimpedance_tolerance = "10 %"\nlength_tolerance = "1 mm"').items[0].part
    assert part.impedance_tolerance_ohm == pytest.approx(6.12, abs=0.01)
    assert part.length_tolerance_m == 0.001


STUB = (
    'part = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\nend = [{ id = "stub", part = "rg59", '
    'length = "2 m", near = "F-75 plug", far = "F-75 plug" }, { id = "end", part = "short-f-jack" }]'
)


def test_a_splitter_s_arm_is_drawn_as_the_chain_that_it_is():
    """Its draws turn with frequency like the arm itself, and stay inside the discs that bound it."""
    setup = setup_of(STUB, near="F-75 plug", far="F-75 plug", ohm=75)
    (tee,) = elements_of_item(setup)
    assert isinstance(tee, Tee)
    drawn = draw(tee, np.random.default_rng(3), COUNT)
    nominal = tee.nominal()
    for port, radius in ((0, tee.near_radius), (1, tee.far_radius)):
        assert np.all(np.abs(drawn[..., port, port] - nominal[..., port, port]) <= radius * (1 + 1e-9))
    # Drawn from discs, S11 and S22 would know nothing of each other; one arm seen from both ends moves them together.
    known = Tee(**{**vars(tee), "port_radius": None, "loss_tolerance_db": 0.0})
    alone = draw(known, np.random.default_rng(3), COUNT)
    moved = alone - nominal
    link = np.abs(np.mean(moved[:, 1, 0, 0] * np.conj(moved[:, 1, 1, 1]))) / np.mean(np.abs(moved[:, 1, 0, 0]) ** 2)
    isolated = np.abs(tee.full[0, 0, 2] / tee.full[0, 1, 2]) ** 2
    assert link * isolated == pytest.approx(1.0, rel=0.05)
    # Passive, whatever is drawn.
    assert np.linalg.svd(drawn, compute_uv=False).max() <= 1 + 1e-9


def worst_of_arms(tee, measure, rng):
    """Largest departure that an optimiser finds at one frequency: ends, ports and losses of all ways anywhere in their limits."""
    s, m = tee.full[0], tee.full.shape[-1]
    arms = [branch.port for branch in tee.branches]
    pairs = [(i, j) for i in range(m) for j in range(i)]

    def departure(x):
        own, losses = x[: 4 * len(arms)].reshape(4, -1), np.tanh(x[4 * len(arms) :])
        full = s.copy()
        for (i, j), loss in zip(pairs, losses, strict=True):
            full[i, j] = full[j, i] = s[i, j] * 10 ** (tee.loss_tolerance_db * loss / 20)
        full[arms, arms] += tee.port_radius[0] * np.tanh(own[0]) * np.exp(1j * own[1])
        ends = [
            branch.end[0] + branch.end_radius[0] * np.tanh(size) * np.exp(1j * turn)
            for branch, size, turn in zip(tee.branches, own[2], own[3], strict=True)
        ]
        inner = np.linalg.inv(np.eye(len(arms)) - full[np.ix_(arms, arms)] @ np.diag(ends))
        path = list(tee.path)
        seen = full[np.ix_(path, path)] + full[np.ix_(path, arms)] @ np.diag(ends) @ inner @ full[np.ix_(arms, path)]
        straight = full[path[1], path[0]] / s[path[1], path[0]]
        return -abs(measure(seen, straight))

    starts = rng.normal(size=(3, 4 * len(arms) + len(pairs)))
    starts[:, : len(arms)] = starts[:, 2 * len(arms) : 3 * len(arms)] = 2.0
    return max(-minimize(departure, each).fun for each in starts)


@pytest.mark.parametrize(("ends", "share"), [("load-f-jack", 0.9), ("short-f-jack", 0.25)])
@pytest.mark.parametrize("part", ["splitter-3", *wide("splitter-2", "splitter-4-satellite")])
def test_all_arms_of_a_splitter_together_stay_in_its_discs(part, ends, share):
    """Ways between arms let what one of them sends back meet the others: the discs hold all of it.

    Of loads hardly more; sizes alone do not know that the bounces between shorts take turns in sign.
    """
    arms = "".join(
        f'[[chain.arm]]\nport = "out{number}"\nend = [{{ id = "end{number}", part = "{ends}" }}]\n'
        for number in range(2, int(part.split("-")[1]) + 1)
    )
    item = f'part = "{part}"\npath = ["in", "out1"]\n{arms}'
    (tee,) = elements_of_item(setup_of(item, near="F-75 plug", far="F-75 plug", ohm=75))
    rng, nominal = np.random.default_rng(5), tee.nominal()[0]
    for port, radius in ((0, tee.near_radius), (1, tee.far_radius)):
        worst = worst_of_arms(tee, lambda s, _, port=port: s[port, port] - nominal[port, port], rng)
        assert worst <= (radius - tee.port_radius)[0] * (1 + 1e-6)
        assert worst >= share * (radius - tee.port_radius)[0]
    product = nominal[0, 1] * nominal[1, 0]
    worst = worst_of_arms(tee, lambda s, straight: s[0, 1] * s[1, 0] / (product * straight**2) - 1, rng)
    assert share * tee.product_radius[0] <= worst <= tee.product_radius[0] * (1 + 1e-6)


@pytest.mark.parametrize("far", [0.0, 0.5, 0.4 - 0.6j])
@pytest.mark.parametrize("arm", ["stub", "load"])
def test_a_splitter_s_effects_are_those_of_its_draws(far, arm):
    """First-order effects of ports, losses and what hangs on the arm: their sum has the spread of drawn splitters."""
    item = STUB.replace("short-f-jack", "load-f-jack") if arm == "load" else STUB
    setup = setup_of(item, near="F-75 plug", far="F-75 plug", ohm=75)
    (tee,) = elements_of_item(setup)
    drawn = np.concatenate([draw(tee, np.random.default_rng(seed), COUNT) for seed in range(5)])
    seen = drawn[..., 0, 0] + drawn[..., 0, 1] * drawn[..., 1, 0] * far / (1 - drawn[..., 1, 1] * far)
    terms = element_terms(tee, np.full(3, far, dtype=complex))
    power, pseudo = sum(term.power for term in terms), sum(term.pseudo for term in terms)
    middle = seen - seen.mean(axis=0)
    assert np.mean(np.abs(middle) ** 2, axis=0) == pytest.approx(power, rel=0.06)
    assert np.abs(np.mean(middle**2, axis=0) - pseudo) == pytest.approx(0, abs=0.06 * power.max())


def test_a_splitter_s_draws_are_those_of_a_network_library():
    """One draw of the arm, put together by scikit-rf."""
    skrf = pytest.importorskip("skrf")
    setup = setup_of(STUB, near="F-75 plug", far="F-75 plug", ohm=75)
    (tee,) = elements_of_item(setup)
    freq = skrf.Frequency.from_f([150e6, 200e6, 250e6], unit="Hz")
    whole = skrf.Network(frequency=freq, s=np.array(tee.full), z0=75)
    (branch,) = tee.branches
    reflection = branch.end
    for element in reversed(branch.elements):
        s = element.nominal()
        reflection = s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * reflection / (1 - s[:, 1, 1] * reflection)
    end = skrf.Network(frequency=freq, s=reflection[:, None, None], z0=75)
    theirs = skrf.network.connect(whole, branch.port, end, 0)
    np.testing.assert_allclose(theirs.s, tee.nominal(), atol=1e-12)


@pytest.mark.parametrize(
    ("item", "stop", "expected"),
    [
        ('part = "min-loss-pad"', "250 MHz", "memory"),
        ('part = "min-loss-pad"\nreflection = "26 dB"\nloss_tolerance = "0.2 dB"', "250 MHz", "stated"),
        ('part = "min-loss-pad"\nreflection = "26 dB"', "250 MHz", "memory"),
        ('part = "min-loss-pad-resistors"', "250 MHz", "practice"),
        ('part = "min-loss-pad-resistors"\nresistor_tolerance = "1 %"', "250 MHz", "stated"),
        ('part = "quarter-wave"', "250 MHz", "practice"),
        ('part = "min-loss-pad"\nideal = true', "250 MHz", "stated"),
    ],
)
def test_standing_is_that_of_the_figures_that_are_unknown(item, stop, expected):
    assert standing(setup_of(item, stop=stop), "x") == expected


@pytest.mark.parametrize(("stop", "expected"), [("300 MHz", "practice"), ("400 MHz", "memory")])
def test_drop_cable_is_from_memory_above_the_published_figures(stop, expected):
    keys = 'part = "series6"\nlength = "5 m"\nnear = "F-75 plug"\nfar = "F-75 plug"\nimpedance_tolerance = "3 ohm"'
    setup = setup_of(keys, near="F-75 jack", far="F-75 jack", ohm=75, stop=stop)
    assert standing(setup, "x") == expected
    reported = " ".join(text for text in setup.assumed if "attenuation " in text)
    assert ("evidence memory" in reported) == (expected == "memory")


def test_standing_of_the_analyzer_and_of_the_standards():
    setup = parse_setup(
        b'[sweep]\nstart = "150 MHz"\nstop = "250 MHz"\n[near]\nconnector = "BNC-50 plug"\ntrace_noise = "0.02 dB"\n'
        b'[far]\nconnector = "BNC-75 plug"\n[[chain]]\nid = "x"\npart = "min-loss-pad"\n[calibration]\nplane = "x"\n'
        b'load = "30 dB"\nload_inductance = "1 nH"\n'
    )
    found = {name: standing(setup, name) for name in ("near", "noise", "drift", "re-mating", "load", "open", "short")}
    assert found == dict.fromkeys(found, "practice") | {"noise": "stated", "load": "stated"}


JOINT = 'near = "BNC-50 plug"\nfar = "F-75 plug"\npart = "rg59"\nlength = "0.6 m"\n'


def test_an_unknown_joint_is_a_rule_of_thumb():
    """A connector half of the wrong impedance: nobody stated how long it is."""
    setup = setup_of(JOINT, near="BNC-75 jack", far="F-75 jack", ohm=75)
    (joint,) = [name for name in names(measurement_of(setup, build(setup))) if "/" in name]
    assert standing(setup, joint) == "practice"


@pytest.mark.parametrize(
    ("stated", "least", "most"), [("reflection", 0.0, 0.03), ("loss_tolerance", 0.93, 1.0), ("both", 0, 0)]
)
def test_share_of_typical_values_counts_each_figure_of_an_item(stated, least, most):
    """A pad of 26 dB and 0.2 dB: nearly all of its error comes from its reflections, by an estimate of the two.

    Reflections count 1/0.52^2 times at the antenna, both ends alike; 0.2 dB is 0.046 of a reflection of 0.3, and over the root of 3.
    """
    by_limit, by_loss = 10 ** (-26 / 10) * (1 / 0.518**4 + 0.3**4) / 2, (0.3 * 2 * 0.2 / 8.686) ** 2 / 3
    expected = {"reflection": by_loss, "loss_tolerance": by_limit, "both": 0.0}[stated] / (by_limit + by_loss)
    keys = {"reflection": 'reflection = "26 dB"', "loss_tolerance": 'loss_tolerance = "0.2 dB"'}
    given = "\n".join(keys.values()) if stated == "both" else keys[stated]
    setup = setup_of('part = "min-loss-pad"\n' + given)
    measurement = measurement_of(setup, build(setup))
    shares = [each for each in contributions(measurement, 0.3) if each.id == "x"]
    found = typical_share(setup, measurement, shares, 0.3, 1) / sum(each.share for each in shares)
    assert least <= found <= most
    assert found == pytest.approx(expected, rel=0.5, abs=0.02)
