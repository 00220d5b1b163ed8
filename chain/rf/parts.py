"""From an item of a set-up to its elements: pads, adapters, sections and transformers here, each other kind in its module."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.arrays import Real
from chain.rf import coax, measured, network, splitter, twoport
from chain.rf.elements import Box, Element, Ladder, Line, limit_radius, limit_shape
from chain.setups import Item
from library.formulas import LIGHT_M_PER_S, NEPER_PER_DB
from library.records import Adapter, Limit, Pad, SectionLine, Transformer

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
    "coax": coax.elements,
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
