"""The cascade against scikit-rf (`**` and `Circuit`) and against plain chain matrices, to 1e-10."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skrf import Frequency, Network
from skrf.circuit import Circuit
from skrf.media import DefinedGammaZ0
from skrf.network import a2s, cascade_list
from skrf.tlineFunctions import zl_2_Gamma0, zl_2_swr, zl_2_total_loss
from strategies import (
    adapter,
    chain_of,
    coax,
    floats,
    item,
    item_lists,
    ladder,
    pad,
    random_two_port,
    references,
    seeds,
    setup_of,
)

from chain import reflection as ratios
from chain.assembly.budget import budget
from chain.assembly.cascade import build
from chain.errors import RangeError
from chain.rf import twoport
from chain.rf.discs import extremes, forward, region_of
from chain.rf.elements import Box, Line, nominal
from chain.rf.parts import attenuation_db_per_100m, elements_of
from chain.setups import Arm
from library.load import load_library

AGREE = 1e-10
FREQ_HZ = np.array([87.5e6, 200e6, 470e6, 862e6])
GRID = Frequency.from_f(FREQ_HZ, unit="Hz")
LIGHT_M_PER_S = 299_792_458.0


def network(s, near_ohm, far_ohm, name="piece"):
    """A network of scikit-rf whose two ports have references of their own at every frequency."""
    z0 = np.tile([near_ohm, far_ohm], (len(s), 1))
    return Network(frequency=GRID, s=np.array(s), z0=z0, name=name)


@st.composite
def mixed_chains(draw):
    """Random two-ports with references of 50, 75 or 93 ohm at every port, and the references of the whole."""
    rng = np.random.default_rng(draw(seeds))
    elements = []
    for index in range(draw(st.integers(1, 12))):
        s = random_two_port(rng, FREQ_HZ.size, reciprocal=draw(st.booleans()))
        elements.append(Box(f"piece {index}", draw(references), draw(references), s))
    return elements, draw(references), draw(references)


@given(mixed_chains())
def test_random_chains_against_cascaded_networks(made):
    """Every joint of unequal references is bridged as the `**` operator bridges it."""
    elements, near_ohm, far_ohm = made
    ends = np.broadcast_to(np.eye(2)[::-1], (FREQ_HZ.size, 2, 2))
    parts = [network(element.s, element.near_ohm, element.far_ohm) for element in elements]
    reference = cascade_list([network(ends, near_ohm, near_ohm), *parts, network(ends, far_ohm, far_ohm)])
    np.testing.assert_allclose(nominal(elements, near_ohm, far_ohm, FREQ_HZ), reference.s, rtol=0, atol=AGREE)


@given(mixed_chains())
def test_random_chains_against_a_circuit(made):
    """The same chains wired up port by port."""
    elements, near_ohm, far_ohm = made
    parts = [network(element.s, element.near_ohm, element.far_ohm, element.id) for element in elements]
    near, far = Circuit.Port(GRID, "near", z0=near_ohm), Circuit.Port(GRID, "far", z0=far_ohm)
    ports = [(near, 0)]
    for part in parts:
        ports += [(part, 0), (part, 1)]
    ports.append((far, 0))
    wires = [list(ports[index : index + 2]) for index in range(0, len(ports), 2)]
    reference = Circuit(wires).network
    np.testing.assert_allclose(nominal(elements, near_ohm, far_ohm, FREQ_HZ), reference.s, rtol=0, atol=AGREE)


@given(mixed_chains())
def test_batches_of_draws_go_through_the_same_joints(made):
    """One cascade over draws and frequencies at once gives what each draw gives by itself."""
    elements, near_ohm, far_ohm = made
    stacked = [np.stack([element.s, element.s[::-1]]) for element in elements]
    joined = twoport.renormalise(
        stacked[0], (elements[0].near_ohm, elements[0].far_ohm), (near_ohm, elements[0].far_ohm)
    )
    for left, right, s in zip(elements, elements[1:], stacked[1:], strict=False):
        joined = twoport.star(twoport.star(joined, twoport.step(left.far_ohm, right.near_ohm)), s)
    joined = twoport.renormalise(joined, (near_ohm, elements[-1].far_ohm), (near_ohm, far_ohm))
    np.testing.assert_allclose(joined[0], nominal(elements, near_ohm, far_ohm, FREQ_HZ), rtol=0, atol=AGREE)
    np.testing.assert_allclose(joined[1, ::-1], joined[0], rtol=0, atol=AGREE)


# Chain matrices written down from the parts' own figures, without a line of the engine.


def line_abcd(impedance_ohm, gamma_length):
    cosh, sinh = np.cosh(gamma_length), np.sinh(gamma_length)
    return np.moveaxis(np.array([[cosh, impedance_ohm * sinh], [sinh / impedance_ohm, cosh]]), (0, 1), (-2, -1))


def abcd_of(each):
    """Chain matrix of an item, from its record."""
    part, omega = each.part, 2 * np.pi * FREQ_HZ
    if part.kind == "adapter":
        loss_np = part.loss_at_1ghz_db * np.sqrt(FREQ_HZ / 1e9) * np.log(10) / 20
        found = line_abcd(part.impedance_ohm, loss_np + 1j * omega * part.electrical_length_m / LIGHT_M_PER_S)
    elif part.kind == "coax":
        mhz = FREQ_HZ / 1e6
        conductor, dielectric = part.per_sqrt_mhz_db_per_100m * np.sqrt(mhz), part.per_mhz_db_per_100m * mhz
        alpha_c, alpha_d = (each_db / 100 * np.log(10) / 20 for each_db in (conductor, dielectric))
        beta = omega / (LIGHT_M_PER_S * part.velocity_factor)
        impedance = part.impedance_ohm * (1 - 1j * (alpha_c - alpha_d) / beta)
        found = line_abcd(impedance, (alpha_c + alpha_d + 1j * beta) * each.length_m)
    elif part.model == "resistors":
        found = np.broadcast_to(np.eye(2, dtype=complex), (FREQ_HZ.size, 2, 2))
        for kind, ohm in part.arms:
            arm = ohm + 1j * omega * part.arm_inductance_h
            matrix = np.tile(np.eye(2, dtype=complex), (FREQ_HZ.size, 1, 1))
            if kind == "series":
                matrix[:, 0, 1] = 1 / (1 / arm + 1j * omega * part.arm_capacitance_f)
            else:
                matrix[:, 1, 0] = 1 / arm
            found = found @ matrix
    else:
        # A T of resistors matched at both ends, with the specified loss: its arms by the closed form.
        n = 10 ** (part.loss_db / 10)
        shunt = 2 * np.sqrt(n * part.near_ohm * part.far_ohm) / (n - 1)
        arms = [ohm * (n + 1) / (n - 1) - shunt for ohm in (part.near_ohm, part.far_ohm)]
        near, across, far = (np.eye(2, dtype=complex) for _ in range(3))
        near[0, 1], across[1, 0], far[0, 1] = arms[0], 1 / shunt, arms[1]
        found = np.broadcast_to(near @ across @ far, (FREQ_HZ.size, 2, 2))
    if each.reversed:
        a, b, c, d = (found[:, i, j] for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)))
        found = np.moveaxis(np.array([[d, b], [c, a]]), (0, 1), (-2, -1))
    return found


@given(item_lists())
def test_chains_of_parts_against_chain_matrices(items):
    """Pads, adapters and leads, right way round and reversed, by cosh and sinh of their own figures."""
    total = np.broadcast_to(np.eye(2, dtype=complex), (FREQ_HZ.size, 2, 2))
    for each in items:
        total = total @ abcd_of(each)
    reference = a2s(total, np.tile([50.0, 75.0], (FREQ_HZ.size, 1)))
    found = budget(build(setup_of(items), FREQ_HZ)).s
    np.testing.assert_allclose(found, reference, rtol=0, atol=AGREE)


def loaded_line(ohm, loss_db, phase_rad, reference_ohm):
    """Budget at 100 MHz of a line of real impedance, of given loss and phase, between equal ports."""
    freq = 1e8
    length = phase_rad * LIGHT_M_PER_S * 0.66 / (2 * np.pi * freq)
    # Half of the loss in the conductors and half in the dielectric: no reactance.
    per_100m = loss_db / length * 100
    made = item(coax(ohm, per_100m / 2 / np.sqrt(100), per_100m / 2 / 100), length_m=length)
    return budget(chain_of([made], reference_ohm, reference_ohm, freq))


@given(floats(30, 120), floats(0, 4), floats(0.1, 12), references)
def test_line_against_a_medium(ohm, loss_db, phase_rad, reference_ohm):
    """A line of any impedance between equal ports, as scikit-rf's transmission-line medium makes it."""
    gamma = np.full(FREQ_HZ.size, loss_db * np.log(10) / 20 + 1j * phase_rad)
    reference = DefinedGammaZ0(GRID, gamma=gamma, z0=ohm, z0_port=reference_ohm).line(1, "m").s
    found = loaded_line(ohm, loss_db, phase_rad, reference_ohm)
    np.testing.assert_allclose(found.s[0], reference[0], rtol=0, atol=AGREE)


@given(floats(5, 500), floats(-300, 300), floats(0, 12), floats(0.1, 6))
def test_loss_and_vswr_of_a_loaded_line(resistance, reactance, loss_db, phase_rad):
    """Reflection, VSWR and total loss into any load, by scikit-rf's line functions."""
    load, theta = complex(resistance, reactance), loss_db * np.log(10) / 20 + 1j * phase_rad
    s = loaded_line(75, loss_db, phase_rad, 75).s[0]
    end = ratios.reflection_from_ohm(load, 75.0)
    assert end[()] == pytest.approx(zl_2_Gamma0(75, load)[0], abs=AGREE)
    assert ratios.vswr(abs(end))[()] == pytest.approx(zl_2_swr(75, load)[0], rel=1e-9)
    near = twoport.input_reflection(s, end)
    delivered = abs(s[1, 0]) ** 2 * (1 - abs(end) ** 2) / abs(1 - s[1, 1] * end) ** 2
    lost = (1 - abs(near) ** 2) / delivered
    assert lost == pytest.approx(np.abs(zl_2_total_loss(75, load, theta)).item(), rel=1e-9)


# Splitters: arms on the path, open, ended in a resistance, or holding items of their own.


def splitter_network(part):
    count = len(part.ports)
    s = np.zeros((FREQ_HZ.size, count, count), dtype=complex)
    for first, second, loss_db in part.loss_db:
        i, j = part.ports.index(first), part.ports.index(second)
        s[:, i, j] = s[:, j, i] = 10 ** (-loss_db / 20)
    return Network(frequency=GRID, s=s, z0=part.impedance_ohm, name="splitter")


def load_network(reflection, name):
    return Network(frequency=GRID, s=np.full((FREQ_HZ.size, 1, 1), reflection), z0=75, name=name)


def arms():
    """What may hang on an arm: a label, the arm's contents, and the reflection at its end."""
    lead = item(coax(75, 0.7, 0.004), "arm lead", length_m=2.5)
    short = load_library().part("short-f-plug")
    opened = load_library().part("open-f-plug")
    return {
        "matched": (dict(end="matched", end_ohm=75.0), (), 0.0),
        "30 ohm": (dict(end="matched", end_ohm=30.0), (), (30 - 75) / (30 + 75)),
        "open": (dict(end="open"), (), 1.0),
        "lead and short": (dict(end="", items=(lead, item(short, "short"))), (lead,), -1.0),
        "lead and open": (dict(end="", items=(lead, item(opened, "open"))), (lead,), 1.0),
        "50-ohm piece and open": (
            dict(end="", items=(item(adapter(50, 0.06, 0.1), "arm piece"), item(opened, "open"))),
            (item(adapter(50, 0.06, 0.1), "arm piece"),),
            1.0,
        ),
    }


@pytest.mark.parametrize("name", ["splitter-2-ideal", "splitter-2", "splitter-3", "splitter-4", "tap-10"])
@pytest.mark.parametrize("hung", list(arms()))
@pytest.mark.parametrize("backwards", [False, True])
def test_splitter_arms_against_a_circuit(name, hung, backwards):
    """A pad, a splitter with its spare arms, a lead: wired up whole in scikit-rf, arms and all."""
    part = load_library().part(name)
    path = (part.ports[0], part.ports[1])
    spare = part.ports[2:]
    contents, elements, reflection = arms()[hung]
    if backwards:
        path = path[::-1]
    placed = item(part, "splitter", path=path, arms=tuple(Arm(port=port, **contents) for port in spare))
    first, last = item(pad(7.0), "pad"), item(coax(75, 1.0, 0.01), "lead", length_m=3.0)
    chain = chain_of([first, placed, last], 50, 75, FREQ_HZ)

    middle = splitter_network(part)
    parts = [
        network(budget(chain_of([each], *ohm, FREQ_HZ)).s, *ohm, each.id)
        for each, ohm in ((first, (50, 75)), (last, (75, 75)))
    ]
    near, far = Circuit.Port(GRID, "near", z0=50), Circuit.Port(GRID, "far", z0=75)
    ports = {port: index for index, port in enumerate(part.ports)}
    wires = [
        [(near, 0), (parts[0], 0)],
        [(parts[0], 1), (middle, ports[path[0]])],
        [(middle, ports[path[1]]), (parts[1], 0)],
        [(parts[1], 1), (far, 0)],
    ]
    for port in spare:
        before = (middle, ports[port])
        for each in elements:
            own = network(budget(chain_of([each], 75, 75, FREQ_HZ)).s, 75, 75, f"{each.id} {port}")
            wires.append([before, (own, 0)])
            before = (own, 1)
        wires.append([before, (load_network(reflection, f"end {port}"), 0)])
    reference = Circuit(wires).network.s
    np.testing.assert_allclose(nominal(chain.elements, 50, 75, FREQ_HZ), reference, rtol=0, atol=AGREE)


@given(seeds, st.integers(3, 5), st.data())
def test_ending_a_port_against_a_connected_load(seed, count, data):
    """Reducing any port of a random n-port against scikit-rf's connection of a one-port there."""
    rng = np.random.default_rng(seed)
    raw = rng.standard_normal((2, FREQ_HZ.size, count, count))
    s = (raw[0] + 1j * raw[1]) / (4 * count)
    port = data.draw(st.integers(0, count - 1))
    reflection = 0.9 * np.exp(2j * np.pi * rng.random(FREQ_HZ.size))
    whole = Network(frequency=GRID, s=s, z0=75, name="whole")
    end = Network(frequency=GRID, s=reflection[:, None, None], z0=75, name="end")
    rest = [index for index in range(count) if index != port]
    outer = [Circuit.Port(GRID, f"port {index}", z0=75) for index in rest]
    wires = [[(outer[place], 0), (whole, index)] for place, index in enumerate(rest)] + [[(whole, port), (end, 0)]]
    reference = Circuit(wires).network.s
    np.testing.assert_allclose(twoport.reduce_port(s, port, reflection), reference, rtol=0, atol=AGREE)


def test_resistors_against_a_medium():
    """A T of chip resistors built of scikit-rf's lumped elements."""
    medium = DefinedGammaZ0(GRID, gamma=np.full(FREQ_HZ.size, 1j), z0=50)
    reference = medium.resistor(8.55) ** medium.shunt_resistor(141.93) ** medium.resistor(8.55)
    part = ladder([("series", 8.55), ("shunt", 141.93), ("series", 8.55)], 50, 50)
    found = elements_of(item(part), FREQ_HZ)[0].nominal()
    np.testing.assert_allclose(found, reference.s, rtol=0, atol=AGREE)


def test_a_cable_holds_to_both_ends_of_its_span():
    """Typed ends of a sweep lie a rounding off; a thousandth beyond is beyond."""
    part = replace(load_library().part("rg59"), valid_from_hz=1e8, valid_to_hz=3e9)
    for ends in ([1e8, 3e9], [1e8 * (1 - 1e-10), 3e9 * (1 + 1e-10)]):
        assert np.all(attenuation_db_per_100m(part, np.array(ends))[0] > 0)
    for beyond in ([0.99e8, 3e9], [1e8, 3.003e9]):
        with pytest.raises(RangeError, match="known from 100 to 3000 MHz"):
            attenuation_db_per_100m(part, np.array(beyond))


def test_a_lead_of_complex_impedance_is_not_bounded_wide():
    """Both junctions at their limit, and the little that the line itself reflects, are all that a known match can become."""
    size, ohm = np.array([0.05]), np.array([75 - 0.4j])
    line = Line("lead", 75.0, 75.0, ohm, np.array([0.05]), np.array([3.0]), size, size)
    most = extremes(forward((line,), region_of(np.zeros(1, complex), np.zeros(1))))[1]
    assert 0.1 * np.exp(-0.1) <= most[0] <= 1.05 * (0.1 + 2 * abs((ohm[0] - 75) / (ohm[0] + 75)))
