"""How little of a change at the plane may arrive at the analyzer: limits on a chain's transmission and far-side match."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from chain.rf.discs import forward, region_of
from chain.rf.elements import Box, Line, Stage

__all__ = ["least_derivative", "least_slope"]

Real = NDArray[np.float64]


def least_slope(pieces: Sequence[Stage], freq_hz: Real) -> tuple[Real, Real]:
    """Least |S12 S21| of joined pieces, and the largest |S22|, over every admissible value of their unknowns.

    Source: Moduli of the star product: |a21 b21|/(1 + |a22 b11|) and |b22| + |b21|^2 |a22|/(1 - |a22 b11|).
    """
    product, match = np.ones(freq_hz.shape), np.zeros(freq_hz.shape)
    for piece in pieces:
        least, most, near, far = _limits(piece)
        product = product * least / (1 + match * near) ** 2
        match = np.minimum(far + most * match / np.maximum(1 - match * near, 1e-6), 1.0)
    return product, match


def least_derivative(pieces: Sequence[Stage], most: Real) -> Real:
    """Least change seen at the near end per change of a far reflection up to a magnitude, over every admissible value.

    Source: Product of |S12 S21|/(1 + |S22| b)^2 along the chain, b the largest magnitude at each piece.
    """
    slope = np.ones(most.shape)
    region = region_of(np.zeros(most.shape, dtype=complex), most)
    for piece in reversed(pieces):
        least, _, _, match = (limit.reshape(limit.shape + (1,) * (most.ndim - 1)) for limit in _limits(piece))
        slope = slope * least / (1 + match * np.minimum(region.most, 1.2)) ** 2
        region = forward((piece,), region)
    return slope


def _limits(piece: Stage) -> tuple[Real, Real, Real, Real]:
    """Least and largest |S12 S21|, largest |S11| and |S22| of one piece."""
    s = piece.nominal()
    product = np.abs(s[..., 0, 1] * s[..., 1, 0])
    near, far = np.abs(s[..., 0, 0]), np.abs(s[..., 1, 1])
    if isinstance(piece, Box):
        spread = 10 ** (piece.loss_tolerance_db / 10)
        error = 0.0 if piece.product_radius is None else piece.product_radius
        near = near if piece.near_radius is None else near + piece.near_radius
        far = far if piece.far_radius is None else far + piece.far_radius
        return product / spread * (1 - error), product * spread * (1 + error), near, far
    if isinstance(piece, Line):
        stretch = (1 + piece.loss_tolerance) * max(piece.length_low, piece.length_high) - 1
        size = sum(
            (r for r in (piece.near_radius, piece.far_radius, piece.inside_radius) if r is not None), np.zeros(1)
        )
        tolerance = piece.impedance_tolerance_ohm
        size = size + (2 * tolerance / (2 * piece.near_ohm - tolerance) if tolerance else 0.0)
        size = (
            size
            + (piece.loss_tolerance + tolerance / piece.near_ohm) * np.abs(piece.impedance_ohm.imag) / piece.near_ohm
        )
        size = np.minimum(size, 0.9)
        least = product * np.exp(-2 * piece.loss_np * stretch) * (1 - size**2) ** 2 / (1 + size**2) ** 2
        return least, np.ones(product.shape), np.minimum(near + size, 1.0), np.minimum(far + size, 1.0)
    return _ladder_limits(product, near, far, piece.tolerance)


def _ladder_limits(product: Real, near: Real, far: Real, tolerance: float) -> tuple[Real, Real, Real, Real]:
    """A resistor off by a share t moves a reflection by at most t and the product by at most 4 t of itself."""
    return product * (1 - 4 * tolerance), product * (1 + 4 * tolerance), near + tolerance, far + tolerance
