"""Guaranteed regions for a reflection on its way through a chain: what no admissible value of the unknowns can leave.

A region is an outer disc that holds the reflection and a hole that it cannot enter. Two of each are carried side by
side: one that follows the centre through every known mismatch, one that is centred again at each junction of unknown phase;
each is right by itself, so the narrower answer of the two is right as well. Known two-ports map discs exactly (bilinear
maps); a lossless junction of radius rho takes a magnitude b at most to (b + rho)/(1 + b rho); tolerances widen the disc.

Arrays have shape (2, frequencies, ...): index 0 follows the centre, index 1 is centred again at junctions. `hole_radius`
below zero means that nothing is excluded. `most` and `least` bound the magnitude by the best of what is carried.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf.elements import Box, Element, Ladder, Line
from library.frozen import dataclass

ROUNDING = 4e-15


@dataclass(frozen=True)
class Region:
    """Outer discs (`center`, `radius`) and holes (`hole_center`, `hole_radius`), shape (2, frequencies, ...)."""

    center: Complex
    radius: Real
    hole_center: Complex
    hole_radius: Real

    @property
    def most(self) -> Real:
        """Largest magnitude inside the region, shape (frequencies, ...)."""
        return np.asarray((np.abs(self.center) + self.radius).min(axis=0))

    @property
    def least(self) -> Real:
        """Smallest magnitude inside the region, shape (frequencies, ...)."""
        # Either the disc keeps clear of the origin, or the origin lies in the hole.
        outside = np.abs(self.center) - self.radius
        hole = self.hole_radius - np.abs(self.hole_center)
        return np.asarray(np.maximum(np.maximum(outside, hole).max(axis=0), 0.0))

    def inside_unit(self) -> Region:
        """The same region where it lies in the unit disc; where an outer disc leaves it, the unit disc instead."""
        beyond = ~(np.abs(self.center) + self.radius <= 1)
        return Region(
            np.where(beyond, 0, self.center), np.where(beyond, 1.0, self.radius), self.hole_center, self.hole_radius
        )


def region_of(center: Complex, radius: Real, hole_radius: Real | None = None) -> Region:
    """Start region: a disc, with a concentric hole if the magnitude is known."""
    hole = np.full(radius.shape, -1.0) if hole_radius is None else hole_radius
    pair = [np.stack([value, value]) for value in (center, radius, hole)]
    return Region(pair[0], pair[1], pair[0].copy(), pair[2])


def extremes(region: Region) -> tuple[Real, Real]:
    """Smallest and largest magnitude of a region, at most 1 (distance of the origin from a disc)."""
    return np.minimum(region.least, 1.0), np.minimum(region.most, 1.0)


def bilinear(region: Region, a: object, b: object, c: object, d: object) -> Region:
    """Exact image under (a z + b)/(c z + d); the unit disc where the pole lies inside an outer disc."""
    a, b, c, d = (np.asarray(value, dtype=complex) for value in (a, b, c, d))
    center, radius, good = _image(region.center, region.radius, a, b, c, d)
    # Where a pole falls inside the disc nothing is known but that the end is passive.
    center, radius = np.where(good, center, 0), np.where(good, radius, 1.0)
    hole_center, hole_radius, kept = _image(region.hole_center, np.maximum(region.hole_radius, 0.0), a, b, c, d)
    usable = kept & (region.hole_radius > 0)
    return Region(
        center, radius + ROUNDING, np.where(usable, hole_center, 0), np.where(usable, hole_radius - ROUNDING, -1.0)
    )


def _image(
    center: Complex, radius: Real, a: Complex, b: Complex, c: Complex, d: Complex
) -> tuple[Complex, Real, NDArray[np.bool_]]:
    pole = c * center + d
    # Positive where the pole lies outside the disc; the centre of
    # the image belongs to the pole's mirror image in the circle.
    down = np.abs(pole) ** 2 - np.abs(c) ** 2 * radius**2
    good = down > 0
    down = np.where(good, down, 1.0)
    image = ((a * center + b) * np.conj(pole) - a * np.conj(c) * radius**2) / down
    return image, radius * np.abs(a * d - b * c) / down, good


def scale(region: Region, turn: NDArray[Any], low: Real, high: Real, half_rad: Real) -> Region:
    """Multiply by `turn` (magnitude 1), a real factor from low to high and a rotation of up to half_rad either way."""
    middle, half = (low + high) / 2, (high - low) / 2
    angle = np.minimum(half_rad, np.pi)
    # A disc of radius 2 sin(angle/2) |c| about the unturned centre holds the whole arc.
    slip = half + 2 * high * np.sin(angle / 2)
    center = region.center * turn * middle
    radius = region.radius * high + np.abs(region.center) * slip
    hole_center = region.hole_center * turn * middle
    hole = region.hole_radius * low - np.abs(region.hole_center) * slip
    return Region(center, radius + ROUNDING, hole_center, np.where(region.hole_radius > 0, hole - ROUNDING, -1.0))


def shift_by(region: Region, offset: NDArray[Any]) -> Region:
    """Add a known complex number."""
    return Region(region.center + offset, region.radius, region.hole_center + offset, region.hole_radius)


def add_disc(region: Region, radius: Real) -> Region:
    """Add any complex number of magnitude up to `radius` (sum of two discs)."""
    return Region(region.center, region.radius + radius, region.hole_center, region.hole_radius - radius)


def quotient(region: Region, radius: NDArray[Any]) -> Region:
    """Map z to z/(1 - d z) for any complex d of magnitude up to `radius`.

    Source: |z/(1 - d z) - z| = |d z^2|/|1 - d z|; magnitudes by b/(1 - L b) and a/(1 + L a).
    """
    most, least = region.most, region.least
    # Where d z may reach 1 nothing is bounded: the floor makes the disc larger than any that counts.
    room = np.maximum(1 - np.real(radius) * most, 1e-9)
    slip = np.real(radius) * most**2 / room
    return _follow(region, slip, most / room, least / (1 + np.real(radius) * least))


def junction(region: Region, radius: NDArray[Any], stretch: NDArray[Any] | None = None) -> Region:
    """Put a lossless junction of unknown phase and magnitude up to `radius` in front.

    Source: (r + z)/(1 + conj(r) z): magnitudes by (b + rho)/(1 + b rho); displacement at most rho (1 + b^2)/(1 - rho
    b).
    """
    rho, most, least = np.real(radius), np.minimum(region.most, 1.0), region.least
    inner = most if stretch is None else np.minimum(most * np.real(stretch), 1.0)
    slip = rho * (1 + inner**2) / np.maximum(1 - rho * inner, 1e-9)
    high = (most + rho) / (1 + most * rho)
    low = np.maximum(least - rho, 0.0) / np.maximum(1 - least * rho, 1e-9)
    return _follow(region, slip, high, low)


def _follow(region: Region, slip: Real, high: Real, low: Real) -> Region:
    """Widen the disc that follows its centre by `slip`; centre the other again between the magnitudes low and high."""
    zero = np.zeros(high.shape, dtype=complex)
    return Region(
        np.stack([region.center[0], zero]),
        np.stack([region.radius[0] + slip, high + ROUNDING]),
        np.stack([region.hole_center[0], zero]),
        np.stack([region.hole_radius[0] - slip, np.where(low > 0, low - ROUNDING, -1.0)]),
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
    """Carry a region from the near end of joined elements to their far end: what the far reflection can have been."""
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
