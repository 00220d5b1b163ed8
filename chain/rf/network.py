"""Matching networks of coils, capacitors and lengths of line, with loss and with the tolerance of what is bought."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.elements import Box, Element
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S, NEPER_PER_DB
from library.records import Network, NetworkArm

STEPS = {1: 65, 2: 13, 3: 5}
"""Places tried across the tolerance of each arm, by the number of arms: a hundred networks or so in all."""


def network_s(
    arms: Sequence[NetworkArm],
    freq_hz: Real,
    near_ohm: float,
    far_ohm: float,
    factors: Sequence[ArrayLike] | None = None,
) -> Complex:
    """Matrix of a network, each arm's value (a line's length) multiplied by its factor.

    Factors broadcast against the frequencies.

    Source: Product of the chain matrices of the arms; [[1, Z], [0, 1]], [[1, 0], [Y, 1]], and [[cosh, Z sinh], [sinh/Z, cosh]].
    """
    a: Complex | complex = 1.0 + 0j
    b: Complex | complex = 0j
    c: Complex | complex = 0j
    d: Complex | complex = 1.0 + 0j
    # Chain matrices multiply from near to far: each arm comes in from the right.
    for index, arm in enumerate(arms):
        factor = 1.0 if factors is None else np.asarray(factors[index])
        if arm.what == "line" and arm.way == "series":
            gamma = _propagation(arm, freq_hz, factor)
            cosh, sinh = np.cosh(gamma), np.sinh(gamma)
            a, b = a * cosh + b * sinh / arm.value, a * arm.value * sinh + b * cosh
            c, d = c * cosh + d * sinh / arm.value, c * arm.value * sinh + d * cosh
        elif arm.way == "series":
            impedance = _impedance(arm, freq_hz, factor)
            b, d = b + a * impedance, d + c * impedance
        else:
            admittance = 1 / _impedance(arm, freq_hz, factor)
            a, c = a + b * admittance, c + d * admittance
    shape = np.broadcast_shapes(freq_hz.shape, *(np.shape(each) for each in (a, b, c, d)))
    abcd = twoport.empty(shape)
    abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1] = a, b, c, d
    return twoport.from_abcd(abcd, near_ohm, far_ohm)


def _propagation(arm: NetworkArm, freq_hz: Real, factor: Real | float) -> Complex:
    """Attenuation and phase of a length of line [Np + j rad]."""
    mhz = freq_hz / 1e6
    loss_db = (arm.per_sqrt_mhz_db_per_100m * np.sqrt(mhz) + arm.per_mhz_db_per_100m * mhz) * arm.length_m / 100
    phase = 2 * np.pi * freq_hz * arm.length_m / (LIGHT_M_PER_S * arm.velocity_factor)
    return np.asarray((loss_db * NEPER_PER_DB + 1j * phase) * factor)


def _impedance(arm: NetworkArm, freq_hz: Real, factor: Real | float) -> Complex:
    """Impedance of a coil, a capacitor or a stub [ohm].

    Source: R = X/Q in series with the coil or capacitor; stubs Z0 tanh and Z0 coth of gamma l.
    """
    if arm.what == "line":
        turned = np.tanh(_propagation(arm, freq_hz, factor))
        # A stub without loss is a perfect short or open at some frequencies, which no division bears.
        turned = np.where(np.abs(turned) < 1e-9, 1e-9, turned)
        return np.asarray(arm.value * (turned if arm.end == "short" else 1 / turned))
    omega = 2 * np.pi * freq_hz
    reactance = omega * arm.value * factor if arm.what == "inductor" else -1 / (omega * arm.value * factor)
    loss = np.abs(reactance) / arm.quality_factor if arm.quality_factor else 0.0
    return np.asarray(loss + 1j * reactance)


def elements(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """A box of the nominal network, its unknowns as large as the worst of the tolerances' corners and of places between."""
    part = item.part
    assert isinstance(part, Network)
    nominal = network_s(part.arms, freq_hz, part.near_ohm, part.far_ohm)
    loose = any(arm.tolerance for arm in part.arms)
    if not loose:
        return (Box(item.id, part.near_ohm, part.far_ohm, nominal),)
    # Reflections of several arms add or cancel with frequency, so all are moved together and not one at a time. Near a
    # resonance the ends of a tolerance lie on either side of it, and what is farthest from nominal between them.
    steps = np.linspace(-1, 1, STEPS.get(len(part.arms), 3))
    corners = [
        network_s(part.arms, freq_hz, part.near_ohm, part.far_ohm, factors)
        for factors in product(*(1 + arm.tolerance * steps for arm in part.arms))
    ]
    off = [
        np.max([np.abs(each[:, port, port] - nominal[:, port, port]) for each in corners], axis=0) for port in (0, 1)
    ]
    # Relative, as the unknown of a box's product multiplies it.
    both = nominal[:, 0, 1] * nominal[:, 1, 0]
    passed = np.max([np.abs(each[:, 0, 1] * each[:, 1, 0] / both - 1) for each in corners], axis=0)
    return (Box(item.id, part.near_ohm, part.far_ohm, nominal, off[0], off[1], product_radius=passed),)
