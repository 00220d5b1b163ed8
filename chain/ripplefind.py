"""The reflections of a sweep in seconds: the main one, the echoes beside it, and what the sweep is too coarse or narrow for."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chain.ripplemodel import Echo, Fit, Model, Sweep, echo_shape, refine, sweep_of
from chain.ripplesearch import LEAST_PERIODS, noise_of, search

__all__ = ["FEWEST_POINTS", "RESOLVED", "Found", "Reflection", "find"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Values = NDArray[np.float64] | NDArray[np.complex128]

FEWEST_POINTS = 16
AT_PLANE = 0.5
"""Periods up to which the main reflection is taken for one at the calibration plane: its own course may turn as much."""
RESOLVED = 2.0
"""Periods from which on the main reflection clearly stands away from the plane."""
ROUNDS = 3
SETTLED = 0.02
LEAST_REFLECTION = 5e-4
"""Echoes below this are left out: no connector repeats so well."""
SKIRT_PERIODS, SKIRT = 6.0, 0.25
"""An echo so near a stronger one and so much weaker is what its simple course leaves over, not a reflection of its own."""


@dataclass(frozen=True)
class Reflection:
    """One reflection: delay there and back with its standard uncertainty, and its size over the sweep (root mean square).

    The delay counts from the calibration plane; in a sweep without phase, from the main reflection, its sign unknown.
    """

    delay_s: float
    delay_u_s: float
    size: float


@dataclass(frozen=True)
class Found:
    """Reflections of a sweep. `main_values`: the main one over frequency (its magnitude where no phase was read).

    `resolved`: the main one stands away from the calibration plane, and its delay is its own; else 0 is taken.
    `swing` is how much the main one varies (standard deviation), `noise` the standard deviation of what no term explains.
    """

    has_phase: bool
    span_hz: float
    step_hz: float
    main: Reflection
    resolved: bool
    echoes: tuple[Reflection, ...]
    main_values: Values
    fitted: Values
    swing: float
    noise: float

    @property
    def widest_hz(self) -> float:
        """Widest spacing that this span can tell."""
        return self.span_hz / LEAST_PERIODS

    @property
    def narrowest_hz(self) -> float:
        """Narrowest spacing that this step can tell."""
        return 2 * self.step_hz


def find(freq_hz: Real, reflection: Complex | None, magnitude: Real) -> Found:
    """Find the reflections that a sweep is made of.

    Parameters
    ----------
    freq_hz : shape (points,), rising, at least 16 [Hz].
    reflection : shape (points,), or None where only a magnitude was read [-].
    magnitude : shape (points,) [-].

    Returns
    -------
    Found, the strongest echo first.

    Raises
    ------
    ValueError : fewer points than that.

    Examples
    --------
    >>> freq_hz = np.linspace(100e6, 900e6, 201)
    >>> seen = 0.2 + 0.1 * np.exp(-2j * np.pi * freq_hz / 40e6)
    >>> [round(1e-6 / each.delay_s, 3) for each in find(freq_hz, seen, abs(seen)).echoes]
    [40.0]
    >>> [round(1e-6 / each.delay_s, 3) for each in find(freq_hz, None, abs(seen)).echoes]
    [40.0]

    Source
    ------
    A reflection with the delay t turns once for every 1/t of frequency.
    """
    if freq_hz.size < FEWEST_POINTS:
        raise ValueError(f"{freq_hz.size} points are too few")
    span = float(freq_hz[-1] - freq_hz[0])
    step = float(np.median(np.diff(freq_hz)))
    x = 2 * (freq_hz - freq_hz[0]) / span - 1
    if reflection is None:
        pivot, (sweep, found) = 0.0, search(sweep_of(x, None, magnitude))
    else:
        pivot, sweep, found = _turned_back(x, reflection, step / span)
    main = _main_values(sweep, found) * (echo_shape(x, pivot) if reflection is not None else 1.0)
    swing = float(np.std(_main_values(sweep, found)))
    resolved = abs(pivot) >= RESOLVED
    noise = noise_of(sweep, found)
    at, doubt, found = _main_delay(sweep, found, pivot) if resolved else (0.0, 0.0, found)
    echoes = tuple(
        Reflection((echo.periods + pivot) / span, spread * noise / span, _size(part))
        for echo, spread, part in zip(found.model.echoes, found.spread, found.parts, strict=True)
        if _counts(echo, _size(part), found)
    )
    fitted = found.fitted * echo_shape(x, pivot) if reflection is not None else np.sqrt(np.maximum(found.fitted.real, 0))
    own = Reflection(at / span, doubt * noise / span, _size(main))
    return Found(
        reflection is not None, span, step, own, resolved, echoes, main, np.asarray(fitted), swing, noise
    )


def _counts(echo: Echo, size: float, found: Fit) -> bool:
    stronger = [
        other
        for other, part in zip(found.model.echoes, found.parts, strict=True)
        if _size(part) > size / SKIRT and abs(other.periods - echo.periods) < SKIRT_PERIODS
    ]
    return size >= LEAST_REFLECTION and abs(echo.periods) >= LEAST_PERIODS and not stronger


def _size(values: Values) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))


def _main_values(sweep: Sweep, found: Fit) -> Values:
    if not sweep.has_phase:
        return sweep.carrier
    return np.asarray(found.smooth + sum(found.resonances, np.zeros(sweep.x.shape, complex)))


def _turned_back(x: Real, reflection: Complex, step: float) -> tuple[float, Sweep, Fit]:
    """Search about the main reflection's own delay, which is found along with it."""
    pivot = _strongest(x, reflection, 1 / step)
    if abs(pivot) < AT_PLANE:
        pivot = 0.0
    for left in reversed(range(ROUNDS)):
        turned = reflection / echo_shape(x, pivot)
        sweep, found = search(sweep_of(x, turned, np.abs(turned)), -pivot - AT_PLANE)
        shift = _mean_turn(x, _main_values(sweep, found))
        if pivot == 0.0 or left == 0 or abs(shift) < SETTLED:
            break
        pivot += shift
    return pivot, sweep, found


def _strongest(x: Real, reflection: Complex, window: float) -> float:
    """Periods of the strongest reflection by a tapered transform, from a little before the plane on."""
    tapered = reflection * (1 - x**2)
    periods = np.arange(-0.02, 0.98, 1 / (8 * x.size)) * window
    # Delays that differ by the window look alike in an even sweep, so that one transform serves for all of them.
    count = 8 * x.size
    even = np.interp(np.linspace(-1, 1, x.size), x, tapered.real) + 1j * np.interp(
        np.linspace(-1, 1, x.size), x, tapered.imag
    )
    power = np.abs(np.fft.ifft(even, count))[np.round(periods / window * count).astype(int) % count]
    return float(periods[int(np.argmax(power))])


def _mean_turn(x: Real, values: Values) -> float:
    """Periods by which values turn on average, weighted by their power."""
    slope = np.gradient(values, x)
    return float(-np.sum((values.conj() * slope).imag) / (np.pi * np.sum(np.abs(values) ** 2)))


def _main_delay(sweep: Sweep, found: Fit, pivot: float) -> tuple[float, float, Fit]:
    """Periods of the main reflection with their spread, fitted together with the echoes where it has a plain course."""
    model = found.model
    if model.degree > 2 or model.poles:
        # A course of its own is not told from a delay: half of what is taken for one at the plane.
        return pivot, AT_PLANE / 2 / noise_of(sweep, found), found
    whole = refine(sweep, Model(-1, (Echo(0.0, model.degree), *model.echoes)))
    at = pivot + whole.model.echoes[0].periods
    echoes = replace(whole.model, echoes=whole.model.echoes[1:])
    rest = replace(whole, model=echoes, parts=whole.parts[1:], spread=whole.spread[1:])
    return at, whole.spread[0], rest
