"""Calibration standards at a far plane: what they truly are, what they are taken for, and the error terms they give."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from chain.arrays import Complex, Real
from chain.reflection import magnitude_from_return_loss
from chain.rf.elements import Box
from chain.rf.twoport import Maps
from chain.setups import Calibration, Near
from chain.uncertainty.streams import RandomSource, unit_reflections
from library.frozen import dataclass

if TYPE_CHECKING:
    from chain.uncertainty.sensitivity import Term

RESIDUALS = "near"
"""Name of the element that stands for the analyzer's residual errors."""
LEAST_APART = 1e-12
"""Difference of the readings of two standards that single precision gives as none."""


@dataclass(frozen=True)
class Standards:
    """Open, short and load at a plane. Sizes are limits: a true standard lies anywhere between ideal and its limit."""

    reference_ohm: float
    load_radius: float = 0.0
    load_inductance_h: float = 0.0
    open_capacitance_f: float = 0.0
    short_inductance_h: float = 0.0
    load_kind: str = "disc"

    @classmethod
    def of(cls, plane: Calibration, reference_ohm: float) -> Standards:
        """Standards of a set-up's calibration; one declared known leaves no error behind."""
        known = set(plane.known)
        return cls(
            reference_ohm,
            0.0 if plane.load_db is None else float(magnitude_from_return_loss(plane.load_db)),
            0.0 if "load" in known else plane.load_inductance_h,
            0.0 if "open" in known else plane.open_capacitance_f,
            0.0 if "short" in known else plane.short_inductance_h,
            plane.load_kind,
        )


def assumed_reflections(standards: Standards, freq_hz: Real) -> tuple[Complex, Complex, Complex]:
    """What the calibration takes open, short and load for."""
    return tuple(np.full(freq_hz.shape, value, dtype=complex) for value in (1.0, -1.0, 0.0))  # type: ignore[return-value]


def drawn_reflections(
    standards: Standards, freq_hz: Real, rng: RandomSource, count: int
) -> tuple[Complex, Complex, Complex]:
    """What the standards truly are, drawn.

    Source: Load: disc of its return loss, with a series inductance; open: a capacitance; short: an inductance; each
    rectangular from zero to its limit.
    """
    omega, ohm = 2 * np.pi * freq_hz, standards.reference_ohm
    # An open's fringing field is a capacitance across it, a short's and a load's leads an inductance: causal over the whole sweep.
    opened = _lossless(_drawn(omega * ohm * standards.open_capacitance_f, rng, count))
    shorted = -_lossless(_drawn(omega / ohm * standards.short_inductance_h, rng, count))
    series = _drawn(omega / (2 * ohm) * standards.load_inductance_h, rng, count)
    size = standards.load_radius * unit_reflections(rng, count, standards.load_kind)
    # The stated return loss is that of a resistance; the inductance of its leads comes in series with it:
    # (Z - R)/(Z + R) of Z = R (1 + s)/(1 - s) + 2 j R x.
    added = 1j * series * (1 - size)
    return opened, shorted, (size + added) / (1 + added)


def _drawn(most: Real, rng: RandomSource, count: int) -> Real:
    """What lies anywhere from zero to a limit, as fine as the source draws."""
    share = rng.random((count, 1))
    return np.asarray(most, dtype=share.dtype) * share


def _lossless(x: Real) -> Complex:
    """(1 - jx)/(1 + jx): the reflection of a reactance, in real arithmetic."""
    out = np.empty(x.shape, dtype=np.result_type(x.dtype, np.complex64))
    square = x * x
    down = 1 / (1 + square)
    np.multiply(1 - square, down, out=out.real)
    np.multiply(-2 * x, down, out=out.imag)
    return out


def standard_terms(standards: Standards, freq_hz: Real) -> list[tuple[Complex, list[Term]]]:
    """What open, short and load are expected to be, and the effects of their unknowns on them.

    Source: (Z - R)/(Z + R) with a capacitance, an inductance, a mismatch R(1 + s)/(1 - s); rectangular from zero to
    the limit.
    """
    from chain.uncertainty.sensitivity import Term, circle_sd, real_term

    omega, ohm = 2 * np.pi * freq_hz, standards.reference_ohm
    # From zero to the limit, rectangular: half the limit on average, its standard deviation by JCGM 100, equation 6.
    root12 = np.sqrt(12)
    admittance = 1j * omega * ohm * standards.open_capacitance_f / 2
    opened = (1 - admittance) / (1 + admittance)
    shorted, by_short = _inductive(np.zeros(freq_hz.shape), omega * standards.short_inductance_h / 2, ohm)
    load, by_load = _inductive(np.full(freq_hz.shape, ohm), omega * standards.load_inductance_h / 2, ohm)
    of_open, of_short, of_load = [], [], []
    if standards.open_capacitance_f:
        effect = -2j * omega * ohm / (1 + admittance) ** 2
        of_open.append(real_term("open", "its capacitance", effect, standards.open_capacitance_f / root12, omega * ohm))
    if standards.short_inductance_h:
        sd = standards.short_inductance_h / root12
        of_short.append(real_term("short", "its inductance", 1j * omega * by_short, sd, omega / ohm))
    if standards.load_radius:
        sd = circle_sd(standards.load_radius, standards.load_kind)
        effect = 2 * ohm * by_load
        of_load.append(Term("load", "reflection of the load", effect, np.zeros_like(load), sd, False, np.abs(load)))
    if standards.load_inductance_h:
        sd = standards.load_inductance_h / root12
        of_load.append(real_term("load", "its inductance", 1j * omega * by_load, sd, omega / (2 * ohm)))
    return [(opened, of_open), (shorted, of_short), (load, of_load)]


def _inductive(resistance_ohm: Real, reactance_ohm: Real, reference_ohm: float) -> tuple[Complex, Complex]:
    """Reflection of a resistance with a series reactance, and its derivative by the impedance."""
    impedance = resistance_ohm + 1j * reactance_ohm
    down = impedance + reference_ohm
    return np.asarray((impedance - reference_ohm) / down), np.asarray(2 * reference_ohm / down**2)


def solve(raw: Sequence[Complex], assumed: Sequence[Complex]) -> Maps:
    """Error terms of a one-port calibration with three standards, as the map from the plane to the raw reading.

    Source: raw + raw r G = p G + q for each standard: three linear equations, solved by elimination.
    """
    (m1, m2, m3), (g1, g2, g3) = raw, assumed
    # Subtracting the third equation from the others leaves two for p and r.
    # Of the equations for standards 1 and 2 less that for 3; with ideal open, short and load no divisor is small.
    a1, a2 = g1 - g3, g2 - g3
    b1, b2 = m3 * g3 - m1 * g1, m3 * g3 - m2 * g2
    c1, c2 = m1 - m3, m2 - m3
    down = np.reciprocal(_apart(a1 * b2 - a2 * b1))
    p = _apart((c1 * b2 - c2 * b1) * down)
    r = (a1 * c2 - a2 * c1) * down
    return Maps(p, m3 + m3 * r * g3 - p * g3, r)


def _apart(difference: Complex) -> Complex:
    """What tells standards apart, as a divisor: of two that read alike rounding may leave nothing."""
    # Next to nothing in its place, so that such a trial knows nothing of the antenna and does not end the whole answer.
    return difference if difference.all() else np.where(difference == 0, difference.dtype.type(LEAST_APART), difference)


def residual_box(near: Near, freq_hz: Real) -> Box | None:
    """What the analyzer's calibration left: directivity, source match and tracking as one two-port.

    Source: One-port error model: reading = D + (1 + T) G/(1 - M G).
    """
    if near.directivity_db is None and near.source_match_db is None and near.tracking_db is None:
        return None

    def radius(loss_db: float | None) -> Real:
        size = 0.0 if loss_db is None else float(magnitude_from_return_loss(loss_db))
        return np.full(freq_hz.shape, size)

    through = np.zeros((*freq_hz.shape, 2, 2), dtype=complex)
    through[..., 0, 1] = through[..., 1, 0] = 1
    tracking = 0.0 if near.tracking_db is None else 10 ** (near.tracking_db / 20) - 1
    return Box(
        RESIDUALS,
        near.impedance_ohm,
        near.impedance_ohm,
        through,
        radius(near.directivity_db),
        radius(near.source_match_db),
        shape=near.directivity_kind,
        product_radius=np.full(freq_hz.shape, tracking),
        # Errors of a calibration may show more than all of a wave.
        passive=False,
        far_shape=near.source_match_kind,
        product_shape=near.tracking_kind,
    )
