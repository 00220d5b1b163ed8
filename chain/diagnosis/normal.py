"""The normal distribution over arrays; loading a library for it would take as long as half an answer."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real

# Coefficients from the highest power down.
ERF = (
    (9.604973739870516, 90.02601972038427, 2232.005345946843, 7003.325141128051, 55592.30130103949),
    (1.0, 33.56171416475031, 521.3579497801527, 4594.323829709801, 22629.000061389095, 49267.39426086359),
)
NEAR = (
    (
        2.461969814735305e-10,
        0.5641895648310689,
        7.463210564422699,
        48.63719709856814,
        196.5208329560771,
        526.4451949954773,
        934.5285271719576,
        1027.5518868951572,
        557.5353353693994,
    ),
    (
        1.0,
        13.228195115474499,
        86.70721408859897,
        354.9377783878199,
        975.7085017432055,
        1823.9091668790973,
        2246.3376081871097,
        1656.6630919416134,
        557.5353408177277,
    ),
)
CENTRE = (
    (
        2509.0809287301227,
        33430.57558358813,
        67265.7709270087,
        45921.95393154987,
        13731.69376550946,
        1971.5909503065513,
        133.14166789178438,
        3.3871328727963665,
    ),
    (
        5226.495278852854,
        28729.085735721943,
        39307.89580009271,
        21213.794301586597,
        5394.196021424751,
        687.1870074920579,
        42.31333070160091,
        1.0,
    ),
)
TAIL = (
    (
        0.0007745450142783414,
        0.022723844989269184,
        0.2417807251774506,
        1.2704582524523684,
        3.6478483247632045,
        5.769497221460691,
        4.630337846156546,
        1.4234371107496835,
    ),
    (
        1.0507500716444169e-09,
        0.0005475938084995345,
        0.015198666563616457,
        0.14810397642748008,
        0.6897673349851,
        1.6763848301838038,
        2.053191626637759,
        1.0,
    ),
)
FURTHEST = 8.0


def _ratio(at: Real, coefficients: tuple[tuple[float, ...], tuple[float, ...]]) -> Real:
    above, below = (_polynomial(at, each) for each in coefficients)
    above /= below
    return above


def _polynomial(at: Real, coefficients: tuple[float, ...]) -> Real:
    # As numpy's `polyval`, to the bit, without an array more for every product and sum.
    out = np.full(np.shape(at), coefficients[0])
    for each in coefficients[1:]:
        out *= at
        out += each
    return out


LEAST = float(np.exp(-(FURTHEST**2)) * _ratio(np.array(FURTHEST), NEAR) / 2)


def below(score: Real) -> Real:
    """Chance of a standard normal number to lie below a score; to 1e-11.

    Source: W. J. Cody's kind of rational approximations of erf and erfc, as in S. L. Moshier's "Methods and programs for
    mathematical functions" (1989; memory).
    """
    at = np.atleast_1d(np.asarray(score, dtype=float) / np.sqrt(2))
    size = np.abs(at)
    out = np.where(at < 0, LEAST, 1.0)
    # Each form is worked out where it holds; farther out the tail is less than the rounding of 1.
    near, far = size < 1, size >= FURTHEST
    inner = at[near]
    out[near] = 0.5 + 0.5 * inner * _ratio(inner * inner, ERF)
    middle = ~(near | far)
    outer, size = at[middle], size[middle]
    tail = np.exp(-size * size) * _ratio(size, NEAR) / 2
    out[middle] = np.where(outer < 0, tail, 1 - tail)
    return out.reshape(np.shape(score))


def quantile(chance: Real) -> Real:
    """Score below which a standard normal number lies with a chance, from 1e-11 to as near to 1.

    Source: M. J. Wichura, "Algorithm AS 241: the percentage points of the normal distribution", Appl. Stat. 37 (1988).
    """
    chance = np.asarray(chance, dtype=float)
    off = chance - 0.5
    # Both forms are worked out everywhere and one is chosen: outside its own range neither may meet a root or a pole.
    centre = off * _ratio(np.maximum(0.180625 - off * off, 0.0), CENTRE)
    out = np.sqrt(-np.log(np.minimum(chance, 1 - chance)))
    return np.asarray(np.where(np.abs(off) <= 0.425, centre, np.sign(off) * _ratio(out - 1.6, TAIL)))
