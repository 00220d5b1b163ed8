"""Discs in the reflection plane and what maps do to them: the arithmetic behind guaranteed bounds.

Arrays have shape (2, frequencies, ...): index 0 follows the centre, index 1 is centred again at junctions. `hole_radius`
below zero means that nothing is excluded. `most` and `least` bound the magnitude by the best of what is carried.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
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
    """Exact image under (a z + b)/(c z + d); the unit disc where the pole lies inside an outer disc.

    Source: Image of a circle under a bilinear map.
    """
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
    """Multiply by `turn` (magnitude 1), a real factor from low to high and a rotation of up to half_rad either way.

    Source: Triangle inequality.
    """
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
