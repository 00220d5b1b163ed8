"""Coaxial leads: attenuation, velocity, complex impedance and temperature, with a junction at either end."""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex, Real
from chain.errors import RangeError
from chain.rf.elements import Element, Line, end_radius, impedance_room_ohm, limit_radius, limit_shape
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S, NEPER_PER_DB
from library.records import Coax

COPPER_PER_K = 0.00393
"""Temperature coefficient of the resistance of copper at 20 degrees C; memory."""


def attenuation_db_per_100m(coax: Coax, freq_hz: Real, temperature_c: float = 20.0) -> tuple[Real, Real]:
    """Attenuation of a cable matched in its own impedance, conductor and dielectric parts apart [dB per 100 m].

    Source: flat + per_sqrt_mhz sqrt(f) + per_mhz f. The conductor part follows sqrt(1 + 0.00393 dT), skin effect in
    copper.
    """
    low, high = coax.valid_from_hz, coax.valid_to_hz
    # Ends typed in MHz come back a rounding away from those of the sweep.
    slack = 1e-9 * high
    if freq_hz.size and (freq_hz.min() < low - slack or freq_hz.max() > high + slack):
        raise RangeError(
            f"{coax.id}: its loss is known from {low / 1e6:g} to {high / 1e6:g} MHz, "
            f"and {freq_hz.min() / 1e6:g} to {freq_hz.max() / 1e6:g} MHz was asked for",
            "keep the sweep inside that span, or give the item its own attenuation",
        )
    mhz = freq_hz / 1e6
    if coax.points_hz:
        # Loss follows a power of frequency, a straight line in logarithms. A table does
        # not part conductor from dielectric; all of it is taken for the conductor's,
        # which is most of it below 1 GHz and the part that temperature moves.
        logs = np.interp(np.log(freq_hz), np.log(coax.points_hz), np.log(coax.points_db_per_100m))
        conductor, dielectric = np.exp(logs), np.zeros_like(mhz)
    else:
        conductor = coax.flat_db_per_100m + coax.per_sqrt_mhz_db_per_100m * np.sqrt(mhz)
        dielectric = coax.per_mhz_db_per_100m * mhz
    # Skin depth and surface resistance both go with the square root
    # of resistivity, from the temperature that the figures hold for.
    warm = np.sqrt((1 + COPPER_PER_K * (temperature_c - 20)) / (1 + COPPER_PER_K * (coax.temperature_c - 20)))
    return conductor * warm, dielectric


def characteristic_ohm(coax: Coax, freq_hz: Real, conductor_np: Real, dielectric_np: Real, phase_rad: Real) -> Complex:
    """Complex characteristic impedance of a lossy line [ohm].

    Source: Z0 = R0 (1 - j (a_c - a_d)/b), first order in loss over phase.
    """
    if coax.impedance_points_hz:
        real = np.interp(np.log(freq_hz), np.log(coax.impedance_points_hz), coax.impedance_points_ohm)
    else:
        real = np.full(freq_hz.shape, coax.impedance_ohm)
    # Loss in the conductor turns the impedance capacitive, loss in the
    # dielectric inductive; at 0 Hz the first order has no meaning.
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.where(phase_rad > 0, (conductor_np - dielectric_np) / phase_rad, 0.0)
    return np.asarray(real * (1 - 1j * angle))


def elements(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """One line of the lead's length, with a junction at either end."""
    coax = item.part
    assert isinstance(coax, Coax)
    conductor, dielectric = attenuation_db_per_100m(coax, freq_hz, item.temperature_c)
    to_np = item.length_m / 100 * NEPER_PER_DB
    loss_np = (conductor + dielectric) * to_np
    phase = 2 * np.pi * freq_hz * item.length_m / (LIGHT_M_PER_S * coax.velocity_factor)
    spread = item.length_tolerance_m / item.length_m if item.length_m else 0.0
    impedance = characteristic_ohm(coax, freq_hz, conductor * to_np, dielectric * to_np, phase)
    # The limit is of the whole lead at its least lossy, and what its own impedance reflects is part of it.
    radius = end_radius(limit_radius(coax.limit, freq_hz), loss_np * (1 - coax.loss_tolerance) * (1 - spread))
    if radius is not None:
        own = np.abs((impedance - coax.impedance_ohm) / (impedance + coax.impedance_ohm))
        radius = np.maximum(radius - own, 0.0) / (1 - radius * own)
    return (
        Line(
            item.id,
            coax.impedance_ohm,
            coax.impedance_ohm,
            impedance,
            loss_np,
            phase,
            near_radius=radius,
            far_radius=radius,
            shape=limit_shape(coax.limit),
            loss_tolerance=coax.loss_tolerance,
            length_low=1 - spread,
            length_high=1 + spread,
            impedance_tolerance_ohm=min(coax.impedance_tolerance_ohm, impedance_room_ohm(radius, coax.impedance_ohm)),
        ),
    )
