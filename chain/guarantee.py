"""Guaranteed bounds of a whole measurement: chain, residuals, standards, noise (cut at three standard deviations), drift.

With the plane at the analyzer everything lies in front of the antenna. With a far plane the unchanging chain cancels:
the corrected reading is the bilinear map that takes the true standards to the assumed ones, and its departure from the
identity is bounded in closed form, first-order terms exactly and the rest by their moduli.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.bound import invert, reading_range
from chain.discs import backward, extremes, forward, region_of
from chain.regions import Region, add_disc, junction
from chain.simulate import Measurement
from chain.standards import Standards
from chain.transfer import least_slope

__all__ = ["CUT", "reading_bound", "true_bound", "true_bound_complex"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

CUT = 3.0
"""Normal unknowns are cut at this many standard deviations on each axis."""

PHASES: Complex = np.exp(2j * np.pi * np.arange(180) / 180)


def reading_bound(way: Measurement, magnitude: Real) -> tuple[Real, Real]:
    """Lowest and highest reading that ends of a given true magnitude can give.

    Parameters
    ----------
    way : the measurement.
    magnitude : shape (frequencies, ...), true reflection magnitude [-].

    Returns
    -------
    (low, high), same shape, reading magnitudes in the plane's reference [-].

    Examples
    --------
    >>> way = Measurement(np.array([1e8]), 75.0, 75.0, (), (), drift=0.01)
    >>> [round(float(value[0]), 6) for value in reading_bound(way, np.array([0.2]))]
    [0.19, 0.21]

    Source
    ------
    `chain.discs.forward`; at a far plane the displacement bound of this module.
    """
    if way.standards is None and not (way.mating or way.noise or way.drift):
        return reading_range(way.after, magnitude)
    region = forward(way.after, region_of(np.zeros(magnitude.shape, dtype=complex), magnitude, magnitude))
    seen = _to_reading(way, region)
    # Errors of a calibration can push the reading of a full reflection above 1.
    return seen.least, seen.most


def _to_reading(way: Measurement, region: Region) -> Region:
    if way.mating:
        region = junction(region, np.full((1,) * region.most.ndim, way.mating))
    additive = way.drift + CUT * np.sqrt(2) * way.noise
    if way.standards is None:
        return add_disc(region, np.full(region.most.shape, additive)) if additive else region
    return add_disc(region, _displacement(way, region.most))


def _displacement(way: Measurement, most: Real) -> Real:
    """Largest distance between the corrected reading and the reflection at the plane, for |reflection| <= most."""
    errors = _standard_errors(way)
    wide = [error.reshape(error.shape + (1,) * (most.ndim - 1)) for error in errors[:3]]
    opened, shorted, load = wide
    b = np.minimum(most, 1.0)
    moved = _reading_error(way, b, errors[3].reshape(opened.shape), errors[4].reshape(opened.shape))
    b = np.minimum(b + moved, 1.0 + 1e-12)
    x = b[..., None] * PHASES
    first = opened[..., None] * np.abs(x * (1 + x)) + shorted[..., None] * np.abs(x * (1 - x))
    first = (first + 2 * load[..., None] * np.abs(1 - x * x)).max(axis=-1)
    # Between two of the phases tried the sum changes by less than its slope times half their distance.
    first = first + (np.pi / PHASES.size) * b * (3 * (opened + shorted) + 4 * load)
    second = load * (opened + shorted) + 2 * b * opened * shorted + b * load * (opened + shorted)
    down = 2 - ((opened + shorted + 2 * load) * b + 2 * (opened + shorted + opened * shorted) + load * (opened + shorted))
    return np.asarray(np.where(down > 0.1, (first + second) / np.maximum(down, 0.1), 2.0) + moved)


def _standard_errors(way: Measurement) -> tuple[Real, Real, Real, Real, Real]:
    """Largest errors of open, short and load at the plane, the chain's least slope and its largest far-side match."""
    standards = way.standards
    assert standards is not None
    ideal, own = _own_errors(standards, way.freq_hz)
    slope, match = least_slope(way.before, way.freq_hz)
    noise = CUT * np.sqrt(2) * way.noise
    errors = []
    for reflection, error in zip(ideal, own, strict=True):
        size = abs(reflection)
        if way.swap is not None:
            error = error + _swap_error(way, reflection, error)
        if way.mating:
            reach = size + error
            error = error + way.mating * (1 + reach**2) / np.maximum(1 - way.mating * reach, 1e-9)
        # A raw reading off by n moves the reflection it stands for by n over the slope of the chain's map.
        referred = noise / slope * (1 + match * np.minimum(size + error, 1.2)) ** 2
        errors.append(error + referred / np.maximum(1 - referred, 0.1))
    return errors[0], errors[1], errors[2], slope, match


def _reading_error(way: Measurement, most: Real, slope: Real, match: Real) -> Real:
    """Noise, drift and a moved lead on the antenna's own raw reading, as a displacement of |reflection| <= most at the plane."""
    error = np.full(most.shape, CUT * np.sqrt(2) * way.noise + way.drift)
    if way.flex_rad:
        error = error + 2 * np.sin(min(way.flex_rad, np.pi / 2)) * reading_range(way.before, most)[1]
    near = 1 + match * most
    room = slope - error * match * near
    return np.asarray(np.where(room > 0.1 * slope, error * near**2 / np.maximum(room, 1e-9), 2.0))


def _own_errors(standards: Standards, freq_hz: Real) -> tuple[tuple[float, float, float], tuple[Real, Real, Real]]:
    omega = 2 * np.pi * freq_hz
    ohm = standards.reference_ohm
    open_error = 2 * omega * standards.open_capacitance_f * ohm
    short_error = 2 * omega * standards.short_inductance_h / ohm
    radius = standards.load_radius
    series = omega * standards.load_inductance_h / (2 * ohm)
    # G' - G = d (1 - G)(1 - G') for a relative change d = jwL/2R of the load's impedance.
    load_error = radius + series * (1 + radius) * (1 + radius + series) / np.maximum(1 - series * (1 + radius), 0.1)
    return (1.0, -1.0, 0.0), (open_error, short_error, load_error)


def _swap_error(way: Measurement, reflection: float, error: Real) -> Real:
    """How far an adapter that differs from its nominal moves a standard."""
    assert way.swap is not None
    start = region_of(np.full(way.freq_hz.shape, reflection, dtype=complex), np.broadcast_to(error, way.freq_hz.shape))
    seen = backward((way.swap.known(),), forward((way.swap,), start))
    return np.asarray((np.abs(seen.center - reflection) + seen.radius).min(axis=0)) - error


def true_bound(way: Measurement, reading: Real) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a reading's magnitude can come from.

    Parameters
    ----------
    way : the measurement.
    reading : shape (frequencies,), reading as a reflection magnitude [-].

    Returns
    -------
    (low, high), shape (frequencies,) [-]; NaN where no passive end can give the reading.

    Examples
    --------
    >>> way = Measurement(np.array([1e8]), 75.0, 75.0, (), (), drift=0.01)
    >>> [round(float(value[0]), 4) for value in true_bound(way, np.array([0.2]))]
    [0.19, 0.21]

    Source
    ------
    Inverse of `reading_bound`.
    """
    return invert(lambda magnitude: reading_bound(way, magnitude), reading)


def true_bound_complex(way: Measurement, reading: Complex) -> tuple[Real, Real]:
    """Lowest and highest true magnitude that a complex reading can come from.

    Parameters
    ----------
    way : the measurement.
    reading : shape (frequencies,), complex reading in the plane's reference [-].

    Returns
    -------
    (low, high), shape (frequencies,) [-]; NaN where no passive end can give the reading.

    Examples
    --------
    >>> way = Measurement(np.array([1e8]), 75.0, 75.0, (), (), drift=0.01)
    >>> [round(float(value[0]), 4) for value in true_bound_complex(way, np.array([0.2j]))]
    [0.19, 0.21]

    Source
    ------
    The reading's disc carried back through the chain, narrowed by what its magnitude alone allows.
    """
    low, high = true_bound(way, np.abs(reading))
    if way.standards is not None:
        # The displacement is largest for the largest reflection the reading can stand for.
        error = _displacement(way, np.minimum(np.abs(reading) + 0.3, 1.0))
    else:
        error = np.full(reading.shape, way.drift + CUT * np.sqrt(2) * way.noise)
    region = region_of(reading.astype(complex), error)
    if way.mating:
        region = junction(region, np.full(reading.shape, way.mating))
    least, most = extremes(backward(way.after, region))
    low, high = np.fmax(low, least), np.fmin(high, most)
    impossible = np.isnan(low) | (low > high + 1e-9)
    return np.where(impossible, np.nan, low), np.where(impossible, np.nan, high)
