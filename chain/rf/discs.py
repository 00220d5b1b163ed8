"""Guaranteed regions for a reflection on its way through a chain: what no admissible value of the unknowns can leave.

A region is an outer disc that holds the reflection and a hole that it cannot enter. Two of each are carried side by
side: one that follows the centre through every known mismatch, one that is centred again at each junction of unknown phase;
each is right by itself, so the narrower answer of the two is right as well. Known two-ports map discs exactly (bilinear
maps); a lossless junction of radius rho takes a magnitude b at most to (b + rho)/(1 + b rho); tolerances widen the disc.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf.elements import Box, Element, Ladder, Line
from chain.rf.regions import (
    Region,
    add_disc,
    bilinear,
    junction,
    quotient,
    scale,
    shift_by,
)


def forward(elements: Sequence[Element], region: Region) -> Region:
    """Carry a region from the far end of joined elements to their near end.

    Source: Exact image of a disc under a bilinear map; hyperbolic translation by a lossless junction.
    """
    for element in reversed(elements):
        if isinstance(element, Line):
            region = _line(element, region, 1)
        elif isinstance(element, Box):
            region = _box(element, region)
        else:
            region = _ladder(element, region, 1)
    return region


def backward(elements: Sequence[Element], region: Region) -> Region:
    """Carry a region from the near end of joined elements to their far end: what the far reflection can have been.

    Source: The same maps, each inverted.
    """
    for element in elements:
        if isinstance(element, Line):
            region = _line(element, region, -1)
        elif isinstance(element, Box):
            region = _box_back(element, region)
        else:
            region = _ladder(element, region, -1)
    return region


def _wide(value: NDArray[Any], region: Region) -> NDArray[Any]:
    """A value over frequency, shaped to broadcast against a region's trailing axes."""
    extra = region.center.ndim - 1 - value.ndim
    return value.reshape(value.shape + (1,) * extra)


def _line(line: Line, region: Region, direction: int) -> Region:
    # The tolerance of a line's impedance is part of its ends' limit; without a limit it is a junction of its own.
    ends = [_end(line, line.far_radius), _end(line, line.near_radius)]
    lossy = np.exp(2 * line.loss_np * (1 + line.loss_tolerance)) if line.inside_radius is not None else np.ones(())
    if direction < 0:
        ends.reverse()
        if line.inside_radius is not None:
            region = junction(region, _wide(line.inside_radius, region), _wide(lossy, region))
    if ends[0] is not None:
        region = junction(region, _wide(ends[0], region))
    region = _propagate(line, region, direction)
    if ends[1] is not None:
        region = junction(region, _wide(ends[1], region))
    if direction > 0 and line.inside_radius is not None:
        region = junction(region, _wide(line.inside_radius, region), _wide(lossy, region))
    return region


def _end(line: Line, radius: Real | None) -> Real | None:
    ref = line.near_ohm
    # A line's reactance goes with its loss and its resistance.
    stretch = (1 + line.loss_tolerance) * (1 + line.impedance_tolerance_ohm / ref) - 1
    reactive = stretch * np.abs(line.impedance_ohm.imag) / (2 * ref)
    if radius is not None:
        # Junction and complex impedance do not commute exactly; the excess is of second order in their product.
        wider = 1 + 4 * np.abs((line.impedance_ohm - ref) / (line.impedance_ohm + ref))
        return np.asarray((radius + reactive) * wider)
    tolerance = line.impedance_tolerance_ohm
    if not tolerance and not np.any(reactive):
        return None
    return np.asarray((tolerance + reactive * 2 * ref) / (2 * ref - tolerance))


def _propagate(line: Line, region: Region, direction: int) -> Region:
    ref = line.near_ohm
    rho = (line.impedance_ohm - ref) / (line.impedance_ohm + ref)
    known = bool(np.all(rho == 0))
    wide_rho = _wide(rho, region)
    # Into the line's own impedance and, below, out of it again, by exact maps: a known mismatch widens nothing.
    if not known:
        region = bilinear(region, 1.0, -wide_rho, -wide_rho, 1.0)
    loosest = np.exp(-2 * direction * line.loss_np * (1 - line.loss_tolerance) * min(line.length_low, line.length_high))
    tightest = np.exp(
        -2 * direction * line.loss_np * (1 + line.loss_tolerance) * max(line.length_low, line.length_high)
    )
    middle = (line.length_low + line.length_high) / 2
    turn = np.exp(-2j * direction * line.phase_rad * middle)
    half = 2 * line.phase_rad * abs(line.length_high - line.length_low) / 2
    # On the way back loss is a gain, and which end of the tolerance gives more of it turns round.
    low, high = np.minimum(loosest, tightest), np.maximum(loosest, tightest)
    region = scale(region, _wide(turn, region), _wide(low, region), _wide(high, region), _wide(half, region))
    return region if known else bilinear(region, 1.0, wide_rho, wide_rho, 1.0)


def _product(box: Box, region: Region) -> tuple[Complex, Real, Real, Real]:
    product = box.s[..., 0, 1] * box.s[..., 1, 0]
    # Ten and not twenty: a reflection passes the loss there and back.
    size, relative = np.abs(product), 10 ** (box.loss_tolerance_db / 10)
    turn = product / np.maximum(size, 1e-300)
    error = np.zeros(size.shape) if box.product_radius is None else box.product_radius
    return (
        np.asarray(_wide(turn, region)),
        np.asarray(_wide(size / relative, region)),
        np.asarray(_wide(size * relative, region)),
        np.asarray(_wide(np.broadcast_to(error, size.shape), region)),
    )


def _box(box: Box, region: Region) -> Region:
    s = box.s
    region = bilinear(region, 1.0, 0.0, -_wide(s[..., 1, 1], region), 1.0)
    # z/(1 - (S22 + d) z) is z'/(1 - d z') of z' = z/(1 - S22 z): what is known first, then what is not.
    if box.far_radius is not None:
        region = quotient(region, _wide(box.far_radius, region))
    turn, low, high, error = _product(box, region)
    region = scale(region, turn, low, high, np.zeros(()))
    region = add_disc(region, error * region.most)
    region = shift_by(region, _wide(s[..., 0, 0], region))
    if box.near_radius is not None:
        region = add_disc(region, _wide(box.near_radius, region))
    return region


def _box_back(box: Box, region: Region) -> Region:
    s = box.s
    if box.near_radius is not None:
        region = add_disc(region, _wide(box.near_radius, region))
    region = shift_by(region, -_wide(s[..., 0, 0], region))
    turn, low, high, error = _product(box, region)
    # A factor 1 + e is undone by 1 + f with |f| up to |e|/(1 - |e|).
    region = add_disc(region, error / np.maximum(1 - error, 1e-9) * region.most)
    region = scale(region, np.conj(turn), 1 / np.maximum(high, 1e-300), 1 / np.maximum(low, 1e-300), np.zeros(()))
    if box.far_radius is not None:
        region = quotient(region, _wide(box.far_radius, region))
    return bilinear(region, 1.0, 0.0, _wide(s[..., 1, 1], region), 1.0).inside_unit()


def _ladder(ladder: Ladder, region: Region, direction: int) -> Region:
    """Resistors one by one: a series or shunt arm is a bilinear map, its tolerance a disc of known size."""
    order = range(len(ladder.arms)) if direction < 0 else reversed(range(len(ladder.arms)))
    start, stop = (ladder.near_ohm, ladder.far_ohm) if direction < 0 else (ladder.far_ohm, ladder.near_ohm)
    region = _reference(region, start, stop)
    for index in order:
        kind, resistance = ladder.arms[index]
        series = kind == "series"
        factors = 1.0, 1 - ladder.tolerance, 1 + ladder.tolerance
        ends = [ladder.arm_ohm(index, resistance * factor) for factor in factors]
        # Impedance and admittance are bilinear in the resistance and never farther from nominal than at an end of its tolerance.
        added, *moved = (ohm / (2 * stop) if series else stop / (2 * ohm) for ohm in ends)
        wide = float(np.max([np.abs(each - added) for each in moved]))
        a, b, c, d = (1 - added, added, -added, 1 + added) if series else (1 - added, -added, added, 1 + added)
        if direction < 0:
            a, b, c, d = d, -b, -c, a
        region = bilinear(region, *(_wide(np.asarray(value), region) for value in (a, b, c, d)))
        if wide:
            region = add_disc(region, _arm_error(region, 1.0 if series else -1.0, wide))
    return region if direction > 0 else region.inside_unit()


def _arm_error(region: Region, away: float, wide: float) -> Real:
    """|G' - G| = d |away - G| |away - G'|, d the relative change of the arm; solved for the worst G'."""
    reach = np.minimum(np.abs(away - region.center) + region.radius, 2.0).min(axis=0)
    return np.asarray(wide * reach * reach / np.maximum(1 - wide * reach, 1e-9))


def _reference(region: Region, from_ohm: float, to_ohm: float) -> Region:
    if from_ohm == to_ohm:
        return region
    rho = (from_ohm - to_ohm) / (from_ohm + to_ohm)
    return bilinear(region, 1.0, rho, rho, 1.0)
