"""Scattering matrices of two-ports on arrays: joining, turning round, terminating, reducing; and bilinear maps of reflections.

A matrix has shape `(..., 2, 2)`, complex128; port 0 is the near one, port 1 the far one. Each port is referred to a real
impedance that the caller keeps. Arrays made by `empty` keep each of the four elements contiguous, which is what lets
the star product run at the speed of plain array arithmetic. A map is value = (p G + q)/(r G + 1): three complex numbers per trial
and frequency.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chain.arrays import Complex
from library.frozen import dataclass

BLOCK_POINTS = 16_384


def empty(shape: tuple[int, ...]) -> Complex:
    """Uninitialised two-port matrices whose four elements are each contiguous in memory."""
    planes = np.empty((2, 2, *shape), dtype=complex)
    return np.moveaxis(planes, (0, 1), (-2, -1))


def star(near: Complex, far: Complex, out: Complex | None = None) -> Complex:
    """Join the far port of one two-port to the near port of the next, both in the same reference there.

    Source: Redheffer star product of scattering matrices.
    """
    shape = np.broadcast_shapes(near.shape[:-2], far.shape[:-2])
    whole = empty(shape) if out is None else out
    _star(near, far, whole, (np.empty(shape, dtype=complex), np.empty(shape, dtype=complex)))
    return whole


def _star(near: Complex, far: Complex, out: Complex, scratch: tuple[Complex, Complex]) -> None:
    """Star product without a temporary array, in an order that allows `out` to be `near`.

    9 multiplications, 3 additions and a reciprocal of complex numbers: 66 real operations.
    """
    a11, a12, a21, a22 = (near[..., row, column] for row in (0, 1) for column in (0, 1))
    b11, b12, b21, b22 = (far[..., row, column] for row in (0, 1) for column in (0, 1))
    o11, o12, o21, o22 = (out[..., row, column] for row in (0, 1) for column in (0, 1))
    forward, backward = scratch
    # 1/(1 - S22 S11) sums every bounce between the two ports that face each other. Each element
    # of `near` is read for the last time before the one that may share its memory is written.
    np.multiply(a22, b11, out=backward)
    np.subtract(1, backward, out=backward)
    np.reciprocal(backward, out=backward)
    np.multiply(a21, backward, out=o21)
    np.multiply(b12, backward, out=backward)
    np.multiply(o21, b11, out=forward)
    np.multiply(o21, b21, out=o21)
    np.multiply(forward, a12, out=forward)
    np.add(a11, forward, out=o11)
    np.multiply(a12, backward, out=o12)
    np.multiply(backward, a22, out=backward)
    np.multiply(backward, b21, out=backward)
    np.add(b22, backward, out=o22)


def cascade(parts: Sequence[Complex], out: Complex | None = None) -> Complex:
    """Star product of several two-ports, near to far, references already equal at every joint.

    Source: Redheffer star product, associative.
    """
    if not parts:
        raise ValueError("nothing to join")
    shape = np.broadcast_shapes(*(part.shape[:-2] for part in parts))
    whole = empty(shape) if out is None else out
    if len(parts) == 1 or not shape:
        _join(parts, whole)
        return whole
    # A block of trials stays in the cache from one two-port to the next.
    rows = max(1, BLOCK_POINTS // max(1, math.prod(shape[1:])))
    for start in range(0, shape[0], rows):
        block = slice(start, start + rows)
        cut = [part[block] if part.ndim == whole.ndim and part.shape[0] > 1 else part for part in parts]
        _join(cut, whole[block])
    return whole


def _join(parts: Sequence[Complex], out: Complex) -> None:
    """Star product of two-ports, or the only one there is."""
    if len(parts) == 1:
        out[...] = parts[0]
        return
    shape = out.shape[:-2]
    scratch = np.empty(shape, dtype=complex), np.empty(shape, dtype=complex)
    _star(parts[0], parts[1], out, scratch)
    for part in parts[2:]:
        _star(out, part, out, scratch)


def step(near_ohm: float, far_ohm: float) -> Complex:
    """Ideal junction of two real references: what a joint of unequal impedances does.

    Source: Continuity of voltage and current across the junction.
    """
    rho = (far_ohm - near_ohm) / (far_ohm + near_ohm)
    # Waves are normalised to power, so the junction is reciprocal and
    # lossless: the same factor either way, and unequal signs of rho.
    through = np.sqrt(1 - rho**2)
    return np.array([[rho, through], [through, -rho]], dtype=complex)


def flip(s: Complex) -> Complex:
    """The same two-port the other way round."""
    return s[..., ::-1, ::-1]


def renormalise(s: Complex, from_ohm: tuple[float, float], to_ohm: tuple[float, float]) -> Complex:
    """Refer a two-port to other real impedances (ideal steps joined at both ends; exact for real references)."""
    if from_ohm[0] != to_ohm[0]:
        s = star(step(to_ohm[0], from_ohm[0]), s)
    if from_ohm[1] != to_ohm[1]:
        s = star(s, step(from_ohm[1], to_ohm[1]))
    return s


def input_reflection(s: Complex, far_reflection: ArrayLike) -> Complex:
    """Reflection at the near port with a reflection at the far one: S11 + S12 S21 G/(1 - S22 G)."""
    far = np.asarray(far_reflection)
    return np.asarray(s[..., 0, 0] + s[..., 0, 1] * s[..., 1, 0] * far / (1 - s[..., 1, 1] * far))[()]


def from_abcd(abcd: Complex, near_ohm: float, far_ohm: float) -> Complex:
    """Scattering matrix of a chain matrix between two real references.

    Source: Textbook conversion of chain to scattering parameters, real references, reciprocal network.
    """
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    down = a * far_ohm + b + c * near_ohm * far_ohm + d * near_ohm
    out = empty(abcd.shape[:-2])
    out[..., 0, 0] = (a * far_ohm + b - c * near_ohm * far_ohm - d * near_ohm) / down
    # The far current counts outwards, as a chain matrix hands it on; the
    # determinant, 1 for reciprocal arms, belongs to one direction only.
    out[..., 0, 1] = 2 * np.sqrt(near_ohm * far_ohm) * (a * d - b * c) / down
    out[..., 1, 0] = 2 * np.sqrt(near_ohm * far_ohm) / down
    out[..., 1, 1] = (-a * far_ohm + b - c * near_ohm * far_ohm + d * near_ohm) / down
    return out


def reduce_port(s: Complex, port: int, reflection: ArrayLike) -> Complex:
    """Terminate one port of an n-port and drop it: elimination of one wave pair: S_ij + S_ik G S_kj/(1 - S_kk G)."""
    keep = [index for index in range(s.shape[-1]) if index != port]
    end = np.asarray(reflection)
    # What the port's own end sends back meets the port again: the series of bounces closes to this quotient.
    scale = end / (1 - s[..., port, port] * end)
    into = s[..., keep, port]
    out_of = s[..., port, keep]
    rest = s[..., keep, :][..., :, keep]
    return np.asarray(rest + scale[..., None, None] * into[..., :, None] * out_of[..., None, :])


@dataclass(frozen=True)
class Maps:
    """Coefficients of reading = (p G + q)/(r G + 1), shape (trials, frequencies) each."""

    p: Complex
    q: Complex
    r: Complex

    def reading(self, far_reflection: Complex) -> Complex:
        """Reading of a far reflection that broadcasts against (trials, frequencies)."""
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
        s = matrix if s is None else star(s, matrix, own)
        own = s if s is not matrix and s.shape[:-2] == shape else None
    if s is None:
        return identity(shape)
    product = s[..., 0, 1] * s[..., 1, 0] - s[..., 0, 0] * s[..., 1, 1]
    return Maps(product, s[..., 0, 0], -s[..., 1, 1])


def compose(outer: Maps, inner: Maps) -> Maps:
    """One map after another: outer(inner(G)) (product of the 2x2 matrices of the two maps)."""
    down = np.reciprocal(outer.r * inner.q + 1)
    return Maps(
        (outer.p * inner.p + outer.q * inner.r) * down,
        (outer.p * inner.q + outer.q) * down,
        (outer.r * inner.p + inner.r) * down,
    )


def inverse(maps: Maps) -> Maps:
    """The map that undoes another (inverse of the 2x2 matrix of the map)."""
    # One division, which takes ten times as long as a product; so does a change of sign.
    down = np.reciprocal(maps.p)
    less = down * -1.0
    return Maps(down, maps.q * less, maps.r * less)
