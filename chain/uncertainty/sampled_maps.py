"""Drawn pieces as seen from the near side: each put in front of what lies behind it, without making its two-port first.

What a piece does to a reflection x is a bilinear map, and a chain of them a product of 2x2 matrices: (p x + q)/(r x + s).
Leaving s as it comes until the end saves a division per piece; a junction or a length of line takes a quarter of what the
star product of whole two-ports does. The random numbers are those of `chain.uncertainty.sampling.draw`, in its order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex
from chain.rf.bilinear import Maps
from chain.rf.elements import Element, Line
from chain.uncertainty.sampling import draw, inside_constants, lead_constants, wave

__all__ = ["drawn_through"]


@dataclass(frozen=True)
class _Seen:
    """(p x + q)/(r x + s) for each draw and frequency; None for one that is zero throughout."""

    p: Complex
    q: Complex | None
    r: Complex | None
    s: Complex


def drawn_through(
    elements: Sequence[Element], streams: Callable[[int], np.random.Generator], count: int, frequencies: int
) -> Maps:
    """The map of pieces drawn and joined one to the next.

    Source: S11 + S12 S21 x/(1 - S22 x), a lossless junction (r + x)/(1 + conj(r) x), a length of line x e^(-2 (a +
    jb) l).
    """
    one = np.ones((1, 1), dtype=complex)
    seen = _Seen(one, None, None, one)
    for number in range(len(elements) - 1, -1, -1):
        element, rng = elements[number], streams(number)
        seen = (
            _line(element, rng, count, seen)
            if isinstance(element, Line)
            else _two_port(draw(element, rng, count), seen)
        )
    # Only now, once for the whole chain.
    down = 1 / seen.s
    zero = np.zeros((1, 1), dtype=complex)
    values = (seen.p * down, zero if seen.q is None else seen.q * down, zero if seen.r is None else seen.r * down)
    return Maps(*(np.broadcast_to(value, (count, frequencies)) for value in values))


def _line(line: Line, rng: np.random.Generator, count: int, seen: _Seen) -> _Seen:
    if line.inside_radius is not None:
        loss, phase, place, reflection = inside_constants(line, rng, count)
        own = None
        if not np.all(line.impedance_ohm == line.near_ohm):
            own = (line.impedance_ohm - line.near_ohm) / (line.impedance_ohm + line.near_ohm)
            seen = _junction(-own, -own, seen)
        seen = _turned(wave(loss * (2 - 2 * place), phase * (2 - 2 * place)), seen)
        seen = _turned(wave(loss * (2 * place), phase * (2 * place)), _junction(reflection, np.conj(reflection), seen))
        return seen if own is None else _junction(own, own, seen)
    loss, phase, rho, ends = lead_constants(line, rng, count)
    near, far = ends
    if far is not None:
        # Facing the line, the far junction shows the other of its two reflections.
        seen = _junction(-np.conj(far), -far, seen)
    if rho is not None:
        # A step seen from its other side has the opposite sign.
        seen = _junction(-rho, -rho, seen)
    seen = _turned(wave(2 * loss, 2 * phase), seen)
    if rho is not None:
        seen = _junction(rho, rho, seen)
    return seen if near is None else _junction(near, np.conj(near), seen)


def _turned(twice: Complex, seen: _Seen) -> _Seen:
    """Behind a length of line, passed through twice."""
    return _Seen(seen.p * twice, None if seen.q is None else seen.q * twice, seen.r, seen.s)


def _junction(outward: Complex, inward: Complex, seen: _Seen) -> _Seen:
    """Behind (outward + x)/(1 + inward x): a lossless junction, or a step of impedance where both are the same."""
    p, s = _plus(seen.p, outward, seen.r), _plus(seen.s, inward, seen.q)
    assert p is not None
    assert s is not None
    return _Seen(p, _plus(seen.q, outward, seen.s), _plus(seen.r, inward, seen.p), s)


def _plus(value: Complex | None, factor: Complex, other: Complex | None) -> Complex | None:
    """One value, and another by a factor added to it."""
    if other is None:
        return value
    product = factor * other
    if value is None:
        return product
    if product.shape == np.broadcast_shapes(product.shape, value.shape):
        product += value
        return product
    return value + product


def _two_port(s: Complex, seen: _Seen) -> _Seen:
    """Behind a two-port: with u the denominator less S22 times the numerator, (S11 u + S12 S21 numerator)/u."""
    product = s[..., 0, 1] * s[..., 1, 0]
    r, down = _plus(seen.r, -s[..., 1, 1], seen.p), _plus(seen.s, -s[..., 1, 1], seen.q)
    assert down is not None
    p = _plus(product * seen.p, s[..., 0, 0], r)
    q = _plus(None if seen.q is None else product * seen.q, s[..., 0, 0], down)
    assert p is not None
    return _Seen(p, q, r, down)
