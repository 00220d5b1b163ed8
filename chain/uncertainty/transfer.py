"""How little of a change at the plane may arrive at the analyzer: limits on a chain's transmission and far-side match."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chain.arrays import Real
from chain.rf.discs import forward, region_of
from chain.rf.elements import Box, Element, Line

__all__ = ["least_derivative", "least_slope"]

LEAST_SHARE = 1e-6
"""Share of its nominal |S12 S21| that a network of resistors keeps at least."""


def least_slope(elements: Sequence[Element], freq_hz: Real) -> tuple[Real, Real]:
    """Least |S12 S21| of joined elements, and the largest |S22|, over every admissible value of their unknowns.

    Source: Moduli of the star product: |a21 b21|/(1 + |a22 b11|) and |b22| + |b21|^2 |a22|/(1 - |a22 b11|).
    """
    product, match = np.ones(freq_hz.shape), np.zeros(freq_hz.shape)
    for element in elements:
        least, most, near, far = _limits(element)
        product = product * least / (1 + match * near) ** 2
        match = np.minimum(far + most * match / np.maximum(1 - match * near, 1e-6), 1.0)
    return product, match


def least_derivative(elements: Sequence[Element], most: Real) -> Real:
    """Least change seen at the near end per change of a far reflection up to a magnitude, over every admissible value.

    Source: Product of |S12 S21|/(1 + |S22| b)^2 along the chain, b the largest magnitude at each element.
    """
    slope = np.ones(most.shape)
    region = region_of(np.zeros(most.shape, dtype=complex), most)
    for element in reversed(elements):
        least, _, _, match = (limit.reshape(limit.shape + (1,) * (most.ndim - 1)) for limit in _limits(element))
        # Each element at the largest reflection it can see: a product
        # of least slopes is no more than the least of the whole.
        slope = slope * least / (1 + match * np.minimum(region.most, 1.2)) ** 2
        region = forward((element,), region)
    return slope


def _limits(element: Element) -> tuple[Real, Real, Real, Real]:
    """Least and largest |S12 S21|, largest |S11| and |S22| of one element."""
    s = element.nominal()
    product = np.abs(s[..., 0, 1] * s[..., 1, 0])
    near, far = np.abs(s[..., 0, 0]), np.abs(s[..., 1, 1])
    if isinstance(element, Box):
        spread = 10 ** (element.loss_tolerance_db / 10)
        error = 0.0 if element.product_radius is None else element.product_radius
        near = near if element.near_radius is None else near + element.near_radius
        far = far if element.far_radius is None else far + element.far_radius
        return product / spread * (1 - error), product * spread * (1 + error), near, far
    if isinstance(element, Line):
        stretch = (1 + element.loss_tolerance) * max(element.length_low, element.length_high) - 1
        size = sum(
            (r for r in (element.near_radius, element.far_radius, element.inside_radius) if r is not None), np.zeros(1)
        )
        tolerance = element.impedance_tolerance_ohm
        size = size + (2 * tolerance / (2 * element.near_ohm - tolerance) if tolerance else 0.0)
        size = (
            size
            + (element.loss_tolerance + tolerance / element.near_ohm)
            * np.abs(element.impedance_ohm.imag)
            / element.near_ohm
        )
        size = np.minimum(size, 0.9)
        least = product * np.exp(-2 * element.loss_np * stretch) * (1 - size**2) ** 2 / (1 + size**2) ** 2
        return least, np.ones(product.shape), np.minimum(near + size, 1.0), np.minimum(far + size, 1.0)
    return _ladder_limits(product, near, far, element.tolerance)


def _ladder_limits(product: Real, near: Real, far: Real, tolerance: float) -> tuple[Real, Real, Real, Real]:
    """A resistor off by a share t moves a reflection by at most t and the product by at most 4 t of itself."""
    # From a quarter on that leaves nothing, and what passes is never less.
    least = np.maximum(1 - 4 * tolerance, LEAST_SHARE)
    return product * least, product * (1 + 4 * tolerance), near + tolerance, far + tolerance
