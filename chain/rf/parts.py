"""From an item of a set-up to its elements: pads, adapters, leads, sections and transformers here, other kinds in their modules."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.arrays import Complex, Real
from chain.errors import RangeError
from chain.rf import measured, network, splitter, twoport
from chain.rf.elements import Box, Element, Ladder, Line, end_radius, impedance_room_ohm, limit_radius, limit_shape
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S, NEPER_PER_DB
from library.records import Adapter, Coax, Limit, Pad, SectionLine, Transformer

COPPER_PER_K = 0.00393
"""Temperature coefficient of the resistance of copper at 20 degrees C; memory."""


def _unit_meant(mhz: Real, low_mhz: float, high_mhz: float) -> str:
    """The question whether another unit was meant, where the same figures in it lie inside a span."""
    for factor, meant in ((1e3, "MHz in place of kHz"), (1e-3, "kHz in place of MHz"), (1e-6, "Hz in place of MHz")):
        if low_mhz <= float(mhz.min()) * factor and float(mhz.max()) * factor <= high_mhz:
            return f"is {meant} meant?"
    return ""


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
            _unit_meant(freq_hz / 1e6, low / 1e6, high / 1e6)
            or "keep the sweep inside that span, or give the item its own attenuation",
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
    """Complex characteristic impedance of a lossy line [ohm]. Source: Z0 = R0 (1 - j (a_c - a_d)/b), first order in loss over phase."""
    if coax.impedance_points_hz:
        real = np.interp(np.log(freq_hz), np.log(coax.impedance_points_hz), coax.impedance_points_ohm)
    else:
        real = np.full(freq_hz.shape, coax.impedance_ohm)
    # Loss in the conductor turns the impedance capacitive, loss in the
    # dielectric inductive; at 0 Hz the first order has no meaning.
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.where(phase_rad > 0, (conductor_np - dielectric_np) / phase_rad, 0.0)
    return np.asarray(real * (1 - 1j * angle))


def _coax(item: Item, freq_hz: Real) -> tuple[Element, ...]:
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


MOST_OF_IMPEDANCE = 0.5
"""Largest tolerance of a section's impedance, as a share of it."""


def _pad(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """One element: the ladder of resistors, or a box of the stated loss with its limits at both ends."""
    pad = item.part
    assert isinstance(pad, Pad)
    ends = pad.near_ohm, pad.far_ohm
    if pad.model == "resistors":
        unknowns = pad.arm_tolerance, pad.arm_inductance_h, pad.arm_capacitance_f
        return (Ladder(item.id, *ends, pad.arms, freq_hz, *unknowns),)
    s = twoport.empty(freq_hz.shape)
    s[..., 0, 0] = s[..., 1, 1] = 0
    s[..., 0, 1] = s[..., 1, 0] = 10 ** (-pad.loss_db / 20)
    return (
        Box(
            item.id,
            *ends,
            s,
            limit_radius(pad.near_limit, freq_hz),
            limit_radius(pad.far_limit, freq_hz),
            limit_shape(pad.near_limit),
            pad.loss_tolerance_db,
            far_shape=limit_shape(pad.far_limit, ""),
        ),
    )


def _adapter(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """A short line, loss growing with the square root of frequency, with one junction of unknown reflection inside."""
    adapter = item.part
    assert isinstance(adapter, Adapter)
    length = adapter.electrical_length_m
    spread = adapter.length_tolerance_m / length if length else 0.0
    # Skin effect: an adapter is nearly all conductor.
    loss_np = adapter.loss_at_1ghz_db * np.sqrt(freq_hz / 1e9) * NEPER_PER_DB
    phase = 2 * np.pi * freq_hz * length / LIGHT_M_PER_S
    radius = limit_radius(adapter.limit, freq_hz)
    return (
        _line(
            item.id, adapter.impedance_ohm, loss_np, phase, radius, adapter.limit, spread, loss=adapter.loss_tolerance
        ),
    )


def _section(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """A lossless line for each matching section, then what the making adds, as a junction in the far impedance."""
    section = item.part
    assert isinstance(section, SectionLine)
    none = np.zeros(freq_hz.shape)
    lines = []
    for impedance, wavelengths in section.pieces:
        # Electrical length throughout: lengths are stated in wavelengths on the line, so no velocity factor comes in.
        spread = min(section.length_tolerance_m / (wavelengths * LIGHT_M_PER_S / section.design_hz), 1.0)
        phase = 2 * np.pi * wavelengths * freq_hz / section.design_hz
        room_ohm = min(section.impedance_tolerance_ohm, MOST_OF_IMPEDANCE * impedance)
        lines.append(_line(item.id, impedance, none, phase, spread=spread, tolerance_ohm=room_ohm))
    made = _line(item.id, section.far_ohm, none, none, limit_radius(section.limit, freq_hz), section.limit)
    return (*lines, made)


def _transformer(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """What the turns ratio leaves unmatched, then a loss without length that holds one junction of unknown reflection.

    The loss is too small for reflections drawn at both ends by themselves: together they could give out more power than
    goes in. What the ratio reflects is part of the limit.
    """
    part = item.part
    assert isinstance(part, Transformer)
    seen_ohm = part.far_ohm / part.turns_ratio**2 if part.turns_ratio else part.near_ohm
    # An ideal ratio shows the far impedance over its square; where that is not the near one, a step is left.
    ratio = twoport.step(part.near_ohm, seen_ohm)
    radius = limit_radius(part.limit, freq_hz)
    if radius is not None:
        own = abs(ratio[0, 0])
        radius = np.maximum(radius - own, 0.0) / (1 - radius * own)
    loss_np = np.full(freq_hz.shape, part.loss_db * NEPER_PER_DB)
    loose = min(part.loss_tolerance_db / part.loss_db, 1.0) if part.loss_db else 0.0
    return (
        Box(item.id, part.near_ohm, part.far_ohm, np.broadcast_to(ratio, (*freq_hz.shape, 2, 2))),
        _line(item.id, part.far_ohm, loss_np, np.zeros(freq_hz.shape), radius, part.limit, loss=loose),
    )


def _line(
    name: str,
    ohm: float,
    loss_np: Real,
    phase_rad: Real,
    radius: Real | None = None,
    limit: Limit | None = None,
    spread: float = 0.0,
    loss: float = 0.0,
    tolerance_ohm: float = 0.0,
) -> Line:
    """A line of one real impedance: `spread` and `loss` are relative tolerances, `radius` that of a junction inside it."""
    return Line(
        name,
        ohm,
        ohm,
        np.full(phase_rad.shape, ohm, dtype=complex),
        loss_np,
        phase_rad,
        inside_radius=radius,
        shape=limit_shape(limit),
        loss_tolerance=loss,
        # A learnt length may be known worse than it is long, and below zero a line would amplify.
        length_low=max(1 - spread, 0.0),
        length_high=1 + spread,
        impedance_tolerance_ohm=tolerance_ohm,
    )


ELEMENTS: dict[str, Callable[[Item, Real], tuple[Element, ...]]] = {
    "adapter": _adapter,
    "coax": _coax,
    "measured": measured.elements,
    "network": network.elements,
    "pad": _pad,
    "section": _section,
    "splitter": lambda item, freq_hz: splitter.elements(item, freq_hz, elements_of),
    "transformer": _transformer,
}
"""The function that describes a part of each kind; a kind of part that the library knows and this table does not is a fault."""


def elements_of(item: Item, freq_hz: Real) -> tuple[Element, ...]:
    """Elements of an item as placed, near to far, without its unknowns if it is declared ideal."""
    elements = ELEMENTS[item.part.kind](item, freq_hz)
    if item.reversed:
        elements = tuple(element.flipped() for element in reversed(elements))
    if item.ideal:
        elements = tuple(element.known() for element in elements)
    return elements
