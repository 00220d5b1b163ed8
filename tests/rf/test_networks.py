"""Matching networks as a part: how far what they are bought with may take them from nominal."""

import numpy as np
import pytest
import strategies as made

from chain.rf.network import elements, network_s
from chain.setups import Item
from library.records import Connector, Network, NetworkArm

STUB = {"velocity_factor": 0.66, "per_sqrt_mhz_db_per_100m": 1.0, "end": "short"}
RESONANT = (
    NetworkArm("shunt", "inductor", 5.7e-9, 0.1, 80),
    NetworkArm("shunt", "line", 75.0, 0.1, length_m=0.27, **STUB),
)
PLAIN = (NetworkArm("series", "inductor", 22e-9, 0.05, 80), NetworkArm("shunt", "capacitor", 5e-12, 0.05, 500))


@pytest.mark.parametrize("arms", [RESONANT, PLAIN])
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
