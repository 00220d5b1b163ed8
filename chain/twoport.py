"""Scattering matrices of two-ports on arrays: joining, turning round, terminating, reducing.

A matrix has shape `(..., 2, 2)`, complex128; port 0 is the near one, port 1 the far one. Each port is referred to a real
impedance that the caller keeps. Arrays made by `empty` keep each of the four elements contiguous, which is what lets
the star product run at the speed of plain array arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["cascade", "empty", "flip", "from_abcd", "input_reflection", "reduce_port", "renormalise", "star", "step"]

Complex = NDArray[np.complex128]


def empty(shape: tuple[int, ...]) -> Complex:
    """Uninitialised two-port matrices whose four elements are each contiguous in memory.

    Parameters
    ----------
    shape : leading shape, such as (draws, frequencies).

    Returns
    -------
    shape (*shape, 2, 2) complex128 view.

    Examples
    --------
    >>> s = empty((3, 4))
    >>> s.shape, s[..., 0, 1].flags.c_contiguous
    ((3, 4, 2, 2), True)

    Source
    ------
    Memory layout only; no formula.
    """
    planes = np.empty((2, 2, *shape), dtype=complex)
    return np.moveaxis(planes, (0, 1), (-2, -1))


def star(near: Complex, far: Complex) -> Complex:
    """Join the far port of one two-port to the near port of the next, both in the same reference there.

    Parameters
    ----------
    near, far : shape (..., 2, 2), broadcast against each other [-].

    Returns
    -------
    shape (..., 2, 2), the two as one [-].

    Examples
    --------
    >>> line = np.array([[0, -1j], [-1j, 0]])
    >>> star(line, line)[0, 1]
    np.complex128(-1+0j)

    Source
    ------
    Redheffer star product of scattering matrices.
    """
    out = empty(np.broadcast_shapes(near.shape[:-2], far.shape[:-2]))
    a22, b11 = near[..., 1, 1], far[..., 0, 0]
    inverse = 1 / (1 - a22 * b11)
    forward = near[..., 1, 0] * inverse
    backward = far[..., 0, 1] * inverse
    out[..., 0, 0] = near[..., 0, 0] + forward * b11 * near[..., 0, 1]
    out[..., 0, 1] = near[..., 0, 1] * backward
    out[..., 1, 0] = far[..., 1, 0] * forward
    out[..., 1, 1] = far[..., 1, 1] + backward * a22 * far[..., 1, 0]
    return out


def cascade(parts: Sequence[Complex]) -> Complex:
    """Star product of several two-ports, near to far, references already equal at every joint.

    Parameters
    ----------
    parts : matrices of shape (..., 2, 2), at least one [-].

    Returns
    -------
    shape (..., 2, 2) [-].

    Raises
    ------
    ValueError : no two-port given.

    Examples
    --------
    >>> pad = np.array([[0, 0.5], [0.5, 0]], dtype=complex)
    >>> float(cascade([pad, pad, pad])[1, 0].real)
    0.125

    Source
    ------
    Redheffer star product, associative.
    """
    if not parts:
        raise ValueError("nothing to join")
    total = parts[0]
    for part in parts[1:]:
        total = star(total, part)
    return total


def step(near_ohm: float, far_ohm: float) -> Complex:
    """Ideal junction of two real references: what a joint of unequal impedances does.

    Parameters
    ----------
    near_ohm, far_ohm : real reference at either side [ohm].

    Returns
    -------
    shape (2, 2), port 0 referred to near_ohm, port 1 to far_ohm [-].

    Examples
    --------
    >>> float(abs(step(50, 75)[0, 0])), float((-20 * np.log10(step(50, 75)[1, 0].real)).round(5))
    (0.2, 0.17729)

    Source
    ------
    Continuity of voltage and current across the junction.
    """
    rho = (far_ohm - near_ohm) / (far_ohm + near_ohm)
    through = np.sqrt(1 - rho**2)
    return np.array([[rho, through], [through, -rho]], dtype=complex)


def flip(s: Complex) -> Complex:
    """The same two-port the other way round.

    Parameters
    ----------
    s : shape (..., 2, 2) [-].

    Returns
    -------
    shape (..., 2, 2), ports exchanged [-].

    Examples
    --------
    >>> flip(np.array([[1, 2], [3, 4]]))[0].tolist()
    [4, 3]

    Source
    ------
    Renaming of the ports.
    """
    return s[..., ::-1, ::-1]


def renormalise(s: Complex, from_ohm: tuple[float, float], to_ohm: tuple[float, float]) -> Complex:
    """Refer a two-port to other real impedances.

    Parameters
    ----------
    s : shape (..., 2, 2), referred to from_ohm [-].
    from_ohm, to_ohm : (near, far) real references [ohm].

    Returns
    -------
    shape (..., 2, 2), referred to to_ohm [-].

    Examples
    --------
    >>> thru = np.array([[0, 1], [1, 0]], dtype=complex)
    >>> float(abs(renormalise(thru, (75, 75), (50, 50))[1, 0]).round(12))
    1.0

    Source
    ------
    Ideal steps joined at both ends; exact for real references.
    """
    if from_ohm[0] != to_ohm[0]:
        s = star(step(to_ohm[0], from_ohm[0]), s)
    if from_ohm[1] != to_ohm[1]:
        s = star(s, step(from_ohm[1], to_ohm[1]))
    return s


def input_reflection(s: Complex, far_reflection: ArrayLike) -> Complex:
    """Reflection at the near port with a reflection at the far one.

    Parameters
    ----------
    s : shape (..., 2, 2) [-].
    far_reflection : broadcast against the leading shape [-].

    Returns
    -------
    complex array of the leading shape [-].

    Examples
    --------
    >>> pad = np.array([[0, 0.5], [0.5, 0]], dtype=complex)
    >>> input_reflection(pad, 1.0)
    np.complex128(0.25+0j)

    Source
    ------
    S11 + S12 S21 G/(1 - S22 G).
    """
    far = np.asarray(far_reflection)
    return np.asarray(s[..., 0, 0] + s[..., 0, 1] * s[..., 1, 0] * far / (1 - s[..., 1, 1] * far))[()]


def from_abcd(abcd: Complex, near_ohm: float, far_ohm: float) -> Complex:
    """Scattering matrix of a chain matrix between two real references.

    Parameters
    ----------
    abcd : shape (..., 2, 2) [[A, B], [C, D]], SI units.
    near_ohm, far_ohm : real references [ohm].

    Returns
    -------
    shape (..., 2, 2) [-].

    Examples
    --------
    >>> series_25 = np.array([[1, 25], [0, 1]], dtype=complex)
    >>> float(abs(from_abcd(series_25, 50.0, 75.0)[0, 0]).round(6))
    0.333333

    Source
    ------
    Textbook conversion of chain to scattering parameters, real references, reciprocal network.
    """
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    down = a * far_ohm + b + c * near_ohm * far_ohm + d * near_ohm
    out = empty(abcd.shape[:-2])
    out[..., 0, 0] = (a * far_ohm + b - c * near_ohm * far_ohm - d * near_ohm) / down
    out[..., 0, 1] = 2 * np.sqrt(near_ohm * far_ohm) * (a * d - b * c) / down
    out[..., 1, 0] = 2 * np.sqrt(near_ohm * far_ohm) / down
    out[..., 1, 1] = (-a * far_ohm + b - c * near_ohm * far_ohm + d * near_ohm) / down
    return out


def reduce_port(s: Complex, port: int, reflection: ArrayLike) -> Complex:
    """Terminate one port of an n-port and drop it.

    Parameters
    ----------
    s : shape (..., n, n) [-].
    port : index of the port to end.
    reflection : what it is ended in, in that port's reference, broadcast against the leading shape [-].

    Returns
    -------
    shape (..., n - 1, n - 1), the other ports in their old order [-].

    Examples
    --------
    >>> tee = np.array([[-1, 2, 2], [2, -1, 2], [2, 2, -1]]) / 3 + 0j
    >>> float(abs(reduce_port(tee, 2, 1.0)[0, 0]))
    0.0

    Source
    ------
    Elimination of one wave pair: S_ij + S_ik G S_kj/(1 - S_kk G).
    """
    keep = [index for index in range(s.shape[-1]) if index != port]
    end = np.asarray(reflection)
    scale = end / (1 - s[..., port, port] * end)
    into = s[..., keep, port]
    out_of = s[..., port, keep]
    rest = s[..., keep, :][..., :, keep]
    return np.asarray(rest + scale[..., None, None] * into[..., :, None] * out_of[..., None, :])
