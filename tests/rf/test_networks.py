"""How far parts may lie from nominal: matching networks by what they are bought with, a matrix by its part's limit, a file not at all."""

import numpy as np
import pytest
import strategies as made

from chain.rf import measured
from chain.rf.matrix import two_port
from chain.rf.network import elements, network_s
from chain.setups import Item
from library.records import Connector, Measured, Network, NetworkArm

STUB = {"velocity_factor": 0.66, "per_sqrt_mhz_db_per_100m": 1.0, "end": "short"}
RESONANT = (
    NetworkArm("shunt", "inductor", 5.7e-9, 0.1, 80),
    NetworkArm("shunt", "line", 75.0, 0.1, length_m=0.27, **STUB),
)
ONE_LOOSE = (RESONANT[0], NetworkArm("shunt", "line", 75.0, 0.0, length_m=0.27, **STUB))
PLAIN = (NetworkArm("series", "inductor", 22e-9, 0.05, 80), NetworkArm("shunt", "capacitor", 5e-12, 0.05, 500))


@pytest.mark.parametrize("arms", [RESONANT, ONE_LOOSE, PLAIN])
def test_networks_of_bought_parts_lie_in_their_box(arms):
    """Drawn anywhere in their tolerances, also where a stub near half a wave resonates with the coil between their ends."""
    freq = np.linspace(300e6, 400e6, 41)
    end = Connector("F-75", "jack")
    part = Network("net", "net", end, end, 75.0, 75.0, arms, made.OWN)
    (box,) = elements(Item("net", part, end, end), freq)
    nominal, rng = box.nominal(), np.random.default_rng(2)
    factors = [1 + arm.tolerance * rng.uniform(-1, 1, (3000, 1)) for arm in arms]
    drawn = network_s(arms, freq, 75.0, 75.0, factors)
    for port, radius in ((0, box.near_radius), (1, box.far_radius)):
        moved = np.abs(drawn[..., port, port] - nominal[..., port, port]).max(axis=0)
        assert np.all(moved <= 1.1 * radius)
    product = drawn[..., 0, 1] * drawn[..., 1, 0] / (nominal[..., 0, 1] * nominal[..., 1, 0])
    assert np.all(np.abs(product - 1).max(axis=0) <= 1.1 * box.product_radius)


def test_what_is_not_known_of_an_adapter_shows_at_both_ends_of_its_matrix():
    """Matched but for its limit of 20 dB: a reflection of up to 0.1 at either end, whichever way round."""
    adapter = made.adapter(50.0, limit_db=20.0)
    for turned in (False, True):
        found = two_port(adapter, np.array([3e8]), 50.0, turned)
        assert (found.near_radius[0], found.far_radius[0]) == pytest.approx((0.1, 0.1))


@pytest.mark.parametrize(("points", "freq_mhz"), [(3, [100, 150, 200]), (11, [104, 163])])
def test_a_measured_two_port_is_its_file_and_a_curve_between_its_points(tmp_path, points, freq_mhz):
    """A delay of 1 ns that halves the wave: three points are enough where the sweep is the file's own."""

    def through(mhz):
        return 0.5 * np.exp(-2j * np.pi * 1e-3 * np.asarray(mhz))

    table = [(mhz, complex(through(mhz))) for mhz in np.linspace(100, 200, points)]
    rows = (f"{mhz} 0 0 {s.real!r} {s.imag!r} {s.real!r} {s.imag!r} 0 0" for mhz, s in table)
    (tmp_path / "delay.s2p").write_text("\n".join(["# MHz S RI R 50", *rows]))
    end = Connector("N-50", "plug")
    part = Measured("delay", "delay", end, end, 50.0, 50.0, str(tmp_path / "delay.s2p"), made.OWN)
    (box,) = measured.elements(Item("delay", part, end, end), np.array(freq_mhz) * 1e6)
    np.testing.assert_allclose(box.s[:, 1, 0], through(freq_mhz), rtol=1e-5)
