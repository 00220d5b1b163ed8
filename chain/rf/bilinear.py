"""Bilinear maps of reflections on arrays: value = (p G + q)/(r G + 1), three complex numbers per draw and frequency."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex
from chain.rf import twoport
from library.frozen import dataclass


@dataclass(frozen=True)
class Maps:
    """Coefficients of reading = (p G + q)/(r G + 1), shape (draws, frequencies) each."""

    p: Complex
    q: Complex
    r: Complex

    def reading(self, far_reflection: Complex) -> Complex:
        """Reading of a far reflection that broadcasts against (draws, frequencies)."""
        return (self.p * far_reflection + self.q) / (self.r * far_reflection + 1)

    def ceiling(self) -> NDArray[np.float64]:
        """Largest magnitude that any passive far end can give: |centre| + radius of the image of the unit circle."""
        down = 1 - np.abs(self.r) ** 2
        # The pole's mirror image in the unit circle, -conj(r), is what maps to the centre
        # of the circle's image; |r| < 1 of a passive chain keeps the pole itself outside.
        center = (self.q - self.p * np.conj(self.r)) / down
        return np.asarray(np.abs(center) + np.abs(self.p - self.q * self.r) / down)

    def recovered(self, reading: Complex) -> Complex:
        """Far reflection of a reading: the inverse map."""
        # The adjugate of [[p, q], [r, 1]]: the determinant drops out of the quotient.
        return (reading - self.q) / (self.p - self.r * reading)


def shifted(maps: Maps, offset: Complex) -> Maps:
    """Add a complex number to what a map gives."""
    return Maps(maps.p + offset * maps.r, maps.q + offset, maps.r)


def identity(shape: tuple[int, int]) -> Maps:
    """The map that changes nothing."""
    return Maps(np.ones(shape, complex), np.zeros(shape, complex), np.zeros(shape, complex))


def through(matrices: Iterable[Complex], shape: tuple[int, int]) -> Maps:
    """The map of two-ports joined one to the next: S11 + S12 S21 G/(1 - S22 G)."""
    s, own = None, None
    for matrix in matrices:
        # Joined as they come, so that no more than one of them need be held.
        s = matrix if s is None else twoport.star(s, matrix, own)
        own = s if s is not matrix and s.shape[:-2] == shape else None
    if s is None:
        return identity(shape)
    product = s[..., 0, 1] * s[..., 1, 0] - s[..., 0, 0] * s[..., 1, 1]
    return Maps(product, s[..., 0, 0], -s[..., 1, 1])


def compose(outer: Maps, inner: Maps) -> Maps:
    """One map after another: outer(inner(G)) (product of the 2x2 matrices of the two maps)."""
    down = 1 / (outer.r * inner.q + 1)
    return Maps(
        (outer.p * inner.p + outer.q * inner.r) * down,
        (outer.p * inner.q + outer.q) * down,
        (outer.r * inner.p + inner.r) * down,
    )


def inverse(maps: Maps) -> Maps:
    """The map that undoes another (inverse of the 2x2 matrix of the map)."""
    return Maps(1 / maps.p, -maps.q / maps.p, -maps.r / maps.p)
