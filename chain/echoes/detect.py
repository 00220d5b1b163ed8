"""The reflections of a sweep in seconds: the main one, the echoes beside it, and what the sweep is too coarse or narrow for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real, median
from chain.echoes.model import Echo, EchoFit, Model, SampledSweep, echo_shape, refine, sweep_of
from chain.echoes.search import LEAST_PERIODS, noise_of, search
from library.frozen import dataclass

Values = NDArray[Any]

FEWEST_POINTS = 16
AT_PLANE = 0.5
"""Periods up to which the main reflection is taken for one at the calibration plane: its own course may turn as much."""
RESOLVED = 2.0
"""Periods from which on the main reflection clearly stands away from the plane."""
STEADY, TURNING = 0.15, 0.8
"""Periods by which the phase of an antenna itself turns over the sweep, as a standard deviation: it passes for length. Without
phase the second, times how far the magnitude swings (its standard deviation over its root mean square), comes on top; practice."""
RESIDUAL = 0.29 * 0.01
"""Shift of an echo, in periods times its size, by what a calibration leaves: 40 dB at an unknown delay shifts a delay in the fit by
3/pi max |<x exp(j pi d x)>| = 0.42 of their ratio at most, 0.29 on the average of the phase."""
CLEAR_MINIMUM = 4.0
"""Depth over the noise from which on a minimum counts as a dip."""
ROUNDS = 3
SETTLED = 0.02
LEAST_REFLECTION, LEAST_SHARE = 5e-4, 0.01
"""Echoes below this, or this share of the main reflection, are left out: no connector repeats so well."""
MERGED_PERIODS = 1.5
"""Echoes as near as this are one, of a course that its simple form does not hold."""
SKIRT_PERIODS, SKIRT = 6.0, 0.25
"""An echo so near a stronger one and so much weaker is what its simple course leaves over, not a reflection of its own."""


@dataclass(frozen=True)
class FoundReflection:
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
    main: FoundReflection
    resolved: bool
    echoes: tuple[FoundReflection, ...]
    main_values: Values
    fitted: Values
    swing: float
    noise: float

    @property
    def minima(self) -> int:
        """How often the fitted magnitude dips, by more than its noise explains."""
        size = np.abs(self.fitted)
        # Ends count as extremes: a fall to the edge of the span is half a dip.
        turning = np.flatnonzero(np.diff(np.sign(np.diff(size)))) + 1
        extremes = [float(each) for each in size[[0, *turning, -1]]]
        return sum(
            min(before, after) - here > CLEAR_MINIMUM * self.noise
            for before, here, after in zip(extremes, extremes[1:], extremes[2:], strict=False)
        )

    @property
    def widest_hz(self) -> float:
        """Widest spacing that this span can resolve."""
        return self.span_hz / LEAST_PERIODS

    @property
    def narrowest_hz(self) -> float:
        """Narrowest spacing that this step can resolve."""
        return 2 * self.step_hz


def find(freq_hz: Real, reflection: Complex | None, magnitude: Real) -> Found:
    """Find the reflections that a sweep is made of. Source: A reflection with the delay t turns once for every 1/t of frequency."""
    if freq_hz.size < FEWEST_POINTS:
        raise ValueError(f"{freq_hz.size} points are too few")
    span = float(freq_hz[-1] - freq_hz[0])
    step = float(median(np.diff(freq_hz)))
    # Middle of the span at 0: delay and amplitude, or phase, are then nearly uncorrelated.
    x = 2 * (freq_hz - freq_hz[0]) / span - 1
    if reflection is None:
        # Magnitudes do not resolve the main reflection's own delay; all others are relative to it.
        pivot, (sweep, found) = 0.0, search(sweep_of(x, None, magnitude))
    else:
        pivot, sweep, found = _turned_back(x, reflection, step / span)
    main = _main_values(sweep, found) * (echo_shape(x, pivot) if reflection is not None else 1.0)
    # Echoes too slow to be distinguished from the antenna count as its own course.
    swing = float(np.hypot(np.std(_main_values(sweep, found)), _size(sum(_slow(found), np.zeros(x.shape)))))
    resolved = abs(pivot) >= RESOLVED
    noise = noise_of(sweep, found)
    at, uncertainty, found = _main_delay(sweep, found, pivot) if resolved else (0.0, 0.0, found)
    least = max(LEAST_REFLECTION, LEAST_SHARE * _size(main))
    groups = [group for group in _groups(found) if _size(_sum(group)) >= least]
    # Without phase an antenna whose magnitude swings turns by an unknown angle, which passes for length.
    # With phase the main reflection's own delay carries that uncertainty.
    turn = 0.0 if reflection is not None else STEADY + TURNING * min(swing / max(_size(main), 1e-12), 1.0)
    # Noise, the antenna's own turning, and what the calibration left, independent of one another.
    unsure = [np.sqrt((g[0][1] * noise) ** 2 + turn**2 + (RESIDUAL / _size(_sum(g))) ** 2) for g in groups]
    echoes = tuple(_merged(group, pivot, float(each), span) for group, each in zip(groups, unsure, strict=True))
    fitted = (
        found.fitted * echo_shape(x, pivot) if reflection is not None else np.sqrt(np.maximum(found.fitted.real, 0))
    )
    uncertainty = np.hypot(uncertainty * noise, STEADY if reflection is not None else 0.0)
    own = FoundReflection(at / span, float(uncertainty) / span, _size(main))
    return Found(reflection is not None, span, step, own, resolved, echoes, main, np.asarray(fitted), swing, noise)


_Group = list[tuple[Echo, float, Complex]]


def _groups(found: EchoFit) -> list[_Group]:
    """Echoes of the fit, strongest first, each with those that are too near it to be others; skirts are left out."""
    out: list[_Group] = []
    for echo, spread, part in zip(found.model.echoes, found.spread, found.parts, strict=True):
        nearest = min(out, key=lambda group: abs(group[0][0].periods - echo.periods), default=None)
        apart = np.inf if nearest is None else abs(nearest[0][0].periods - echo.periods)
        if nearest is not None and apart < MERGED_PERIODS:
            nearest.append((echo, spread, part))
        elif abs(echo.periods) >= LEAST_PERIODS and not any(_skirts(echo, part, group) for group in out):
            out.append([(echo, spread, part)])
    return out


def _skirts(echo: Echo, part: Complex, group: _Group) -> bool:
    return abs(group[0][0].periods - echo.periods) < SKIRT_PERIODS and _size(part) < SKIRT * _size(_sum(group))


def _sum(group: _Group) -> Complex:
    return np.asarray(sum(part for _, _, part in group))


def _merged(group: _Group, pivot: float, own: float, span: float) -> FoundReflection:
    """One reflection of a group: mean delay by power, as uncertain as its members lie apart."""
    # Centre of power, and its spread as one more uncertainty: members of a group stand for one reflection.
    power = np.array([_size(part) ** 2 for _, _, part in group])
    periods = np.array([echo.periods for echo, _, _ in group])
    at = float(np.sum(power * periods) / np.sum(power))
    uncertainty = float(np.sqrt(own**2 + np.sum(power * (periods - at) ** 2) / np.sum(power)))
    return FoundReflection((at + pivot) / span, uncertainty / span, _size(_sum(group)))


def _size(values: Values) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))


def _slow(found: EchoFit) -> list[Complex]:
    """Echoes of too few ripples to be distinguished from the main reflection's own course."""
    pairs = zip(found.model.echoes, found.parts, strict=True)
    return [part for echo, part in pairs if abs(echo.periods) < LEAST_PERIODS]


def _main_values(sweep: SampledSweep, found: EchoFit) -> Values:
    if not sweep.has_phase:
        return sweep.carrier
    return np.asarray(found.smooth + sum((*found.resonances, *_slow(found)), np.zeros(sweep.x.shape, complex)))


def _turned_back(x: Real, reflection: Complex, step: float) -> tuple[float, SampledSweep, EchoFit]:
    """Search about the main reflection's own delay, which is found along with it."""
    # The main reflection is turned back to delay 0, so that its course is a polynomial of low degree.
    pivot = _strongest(x, reflection, 1 / step)
    if abs(pivot) < AT_PLANE:
        pivot = 0.0
    for left in reversed(range(ROUNDS)):
        turned = reflection / echo_shape(x, pivot)
        # Nothing passive answers before the calibration plane: earlier delays are not looked for.
        sweep, found = search(sweep_of(x, turned, np.abs(turned)), -pivot - AT_PLANE)
        shift = _mean_turn(x, _main_values(sweep, found))
        if abs(pivot) < RESOLVED or left == 0 or abs(shift) < SETTLED:
            break
        pivot += shift
    return pivot, sweep, found


def _strongest(x: Real, reflection: Complex, window: float) -> float:
    """Periods of the strongest reflection by a tapered transform, from a little before the plane on."""
    # Sidelobes of an untapered transform (-13 dB) would let a strong echo pass for the main reflection.
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
    # Mean of the instantaneous delay -Im(G* dG/dx)/(pi |G|^2), weighted by |G|^2.
    slope, power = np.gradient(values, x), float(np.sum(np.abs(values) ** 2))
    return float(-np.sum((values.conj() * slope).imag)) / (np.pi * power) if power else 0.0


def _main_delay(sweep: SampledSweep, found: EchoFit, pivot: float) -> tuple[float, float, EchoFit]:
    """Periods of the main reflection with their spread, fitted together with the echoes where it has a plain course."""
    model = found.model
    if model.degree > 2 or model.poles:
        # A course of its own is not distinguished from a delay: half of what is taken for one at the plane.
        return pivot, AT_PLANE / 2 / noise_of(sweep, found), found
    # Degree -1 leaves no polynomial: the main reflection is an echo like the others and gets its own variance.
    whole = refine(sweep, Model(-1, (Echo(0.0, model.degree), *model.echoes)))
    at = pivot + whole.model.echoes[0].periods
    echoes = replace(whole.model, echoes=whole.model.echoes[1:])
    rest = replace(whole, model=echoes, parts=whole.parts[1:], spread=whole.spread[1:])
    return at, whole.spread[0], rest
