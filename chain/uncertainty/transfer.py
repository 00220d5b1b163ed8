"""How little of a change at the plane may arrive at the analyzer: limits on a chain's transmission and far-side match."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chain.arrays import Real
from chain.rf.discs import forward, region_of
from chain.rf.elements import Box, Element, Ladder, Line

MOST_OFF = 0.999
"""Largest tolerance of resistors that is distinguished from all of them."""


def least_slope(elements: Sequence[Element], freq_hz: Real) -> tuple[Real, Real]:
    """Least |S12 S21| of joined elements, and the largest |S22|, over every admissible value of their unknowns.

    Source: Moduli of the star product: |a21 b21|/(1 + |a22 b11|) and |b22| + |b21|^2 |a22|/(1 - |a22 b11|).
    """
    product, match = np.ones(freq_hz.shape), np.zeros(freq_hz.shape)
    for element in elements:
        least, most, near, far = _limits(element)
        # Both ways pass between the two reflections, so the series of bounces counts twice.
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
        return _line_limits(element)
    return _ladder_limits(element, product, near, far)


def _line_limits(line: Line) -> tuple[Real, Real, Real, Real]:
    """The same of a line: one junction after the other, each in the worst phase to all before it."""
    ohm, tolerance, resistance = line.near_ohm, line.impedance_tolerance_ohm, line.impedance_ohm.real
    # Resistances of real lines lie on one side of the reference at both ends, and still count twice: what cancels is not known.
    step = np.abs(resistance - ohm) / (resistance + ohm)
    off = np.full(step.shape, tolerance / (2 * ohm - tolerance))
    # Its reactance goes with loss and resistance, and counts at both ends together.
    reactive = (1 + line.loss_tolerance) * (1 + tolerance / ohm) * np.abs(line.impedance_ohm.imag) / ohm
    own = (radius for radius in (line.near_radius, line.far_radius, line.inside_radius) if radius is not None)
    passed, size = np.ones(step.shape), np.zeros(step.shape)
    for radius in (step, step, off, off, reactive, *own):
        passed = passed * (1 - radius**2) / (1 + size * radius) ** 2
        size = (size + radius) / (1 + size * radius)
    most_np = line.loss_np * (1 + line.loss_tolerance) * max(line.length_low, line.length_high)
    return np.exp(-2 * most_np) * passed, np.ones(step.shape), size, size


def _ladder_limits(ladder: Ladder, product: Real, near: Real, far: Real) -> tuple[Real, Real, Real, Real]:
    """The same of a network of resistors, every one of them off.

    Source: A reflection moves by half the sum of the resistors' relative changes, each weighted by the share of the power that it
    takes (Tellegen), and these shares are at most 1 together: by half of ln(1/(1 - t)).
    """
    off = min(ladder.tolerance, MOST_OFF)
    moved = max(off, -np.log(1 - off) / 2)
    least, most = _ladder_products(ladder, product, off)
    return least, most, np.minimum(near + moved, 1.0), np.minimum(far + moved, 1.0)


def _ladder_products(ladder: Ladder, product: Real, off: float) -> tuple[Real, Real]:
    """Least and largest |S12 S21| of a network of resistors.

    Source: Of real resistances alone what passes falls with each in series and rises with each in shunt. With reactances: an arm
    of impedance z sees Zt, and z (1 + t) passes 1/(1 + t z/(z + Zt)) of it in series; so each arm keeps 1 - t at least.
    """
    if ladder.inductance_h or ladder.capacitance_f:
        kept = (1 - off) ** (2 * len(ladder.arms))
        return product * kept, product / kept

    def passed(sign: float) -> Real:
        factors = ((1 + sign * off) if kind == "series" else (1 - sign * off) for kind, _ in ladder.arms)
        s = ladder.matrix(tuple(ohm * factor for (_, ohm), factor in zip(ladder.arms, factors, strict=True)))
        return np.abs(s[..., 0, 1] * s[..., 1, 0])

    return passed(1), passed(-1)
