"""What ripples: the periodic parts of a sweep, the length that makes each, and the item that is so long; echoes gated out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real, median
from chain.assembly.cascade import build
from chain.echoes.detect import FEWEST_POINTS, RESOLVED, Found, find
from chain.echoes.lengths import AIR, MATERIALS, Place, components_of, sentence_of
from chain.echoes.locate import ANTENNA_PERIODS, Stretch, antenna_delay_s, stretches
from chain.echoes.records import Component, Reach, Ripple, Unseen
from chain.echoes.search import FALSE_ALARM
from chain.reflection import vswr
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.uncertainty.measurement import measurement_of, nominal_maps
from library.formulas import LIGHT_M_PER_S
from library.records import Coax

SWINGS = 4.0
"""How far the smooth part must vary, over the noise, before it counts as swinging at all."""
UNEVEN = 0.02
MOST_POINTS = 2001
SHORT_M = 0.1
"""Leads shorter than this are not listed as unseen: no sweep of an antenna band resolves them."""
GATE = 0.75
"""Where the gate ends, as a share of the way to the nearest echo."""


def ripple(readings: Readings, setup: Setup | None = None, gate: bool = True) -> Ripple:
    """Find the periodic parts of a sweep and name what makes them.

    Parameters
    ----------
    readings : the sweep, complex or magnitude only.
    setup : the set-up it was taken with, if it is known.
    gate : take the echoes out of a complex sweep by a time gate.

    Returns
    -------
    Ripple, the strongest component first.

    Raises
    ------
    FitError, RangeError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> import numpy as np
    >>> from chain import readings_of, ripple
    >>> freq_hz = np.linspace(100e6, 900e6, 201)
    >>> delay_s = 2 * 0.5 / (0.66 * 299_792_458)
    >>> seen = 0.3 + 0.05 * np.exp(-2j * np.pi * freq_hz * delay_s)
    >>> found = ripple(readings_of(freq_hz, reflection=seen))
    >>> component = found.components[0]
    >>> round(component.spacing_hz / 1e6, 1), round(component.length_m, 3), component.velocity_factor
    (197.9, 0.5, 0.66)

    Source
    ------
    Spacing = c vf/(2 length); the fit by `chain.echoes.detect`.
    """
    if readings.freq_hz.size < FEWEST_POINTS:
        return _too_few(readings, setup)
    readings = _decimated(readings)
    found = find(readings.freq_hz, readings.reflection, readings.magnitude)
    place = _place(readings, setup, found)
    components = components_of(found, place)
    shown = _gated(readings, found, components) if gate else (None, None, None)
    verdict = _verdict(found, components)
    unseen = _unseen(setup, found, place.stretches)
    steady = np.abs(found.main_values)
    return Ripple(
        **_identity(readings, setup),
        verdict=verdict,
        sentence=sentence_of(verdict, components, found, place),
        components=components,
        counted_from=place.counted_from,
        fitted=np.abs(found.fitted),
        steady=steady,
        steady_vswr=vswr(steady),
        gated=shown[0],
        gated_vswr=None if shown[0] is None else vswr(np.abs(shown[0])),
        trusted=shown[1],
        gate_s=shown[2],
        span_hz=found.span_hz,
        step_hz=found.step_hz,
        widest_hz=found.widest_hz,
        narrowest_hz=found.narrowest_hz,
        reach=_reach(found, place),
        unseen=unseen,
        noise=found.noise,
        warnings=(*(() if setup is None else setup.warnings), *readings.warnings, *_cautions(readings)),
    )


def notice(readings: Readings, setup: Setup) -> str | None:
    """Say in a sentence that readings ripple, for an answer to another question (`ripple`, without its gate)."""
    if readings.freq_hz.size < FEWEST_POINTS:
        return None
    found = ripple(readings, setup, gate=False)
    return found.sentence if found.verdict in ("ripple", "too coarse") else None


def _identity(readings: Readings, setup: Setup | None) -> dict[str, Any]:
    return {
        "title": "" if setup is None else setup.title,
        "plane": "" if setup is None else setup.calibration.plane,
        "interpretation": readings.interpretation,
        "has_phase": readings.reflection is not None,
        "freq_hz": readings.freq_hz,
        "reading": readings.magnitude,
        "reading_vswr": vswr(readings.magnitude),
        "false_alarm": FALSE_ALARM,
        "assumed": ("velocity factors 0.66, 0.82 and 1; name a set-up for those of your own leads",)
        if setup is None
        else (),
    }


def _place(readings: Readings, setup: Setup | None, found: Found) -> Place:
    """Where the main reflection stands, which velocity factors are likely, and which stretches the set-up has."""
    if setup is None:
        return Place((), MATERIALS, found.main.delay_s, "strongest reflection" if found.resolved else "plane")
    chain = build(setup, readings.freq_hz)
    known = stretches(setup, chain)
    factors = {item.part.velocity_factor: item.id for item in setup.items if isinstance(item.part, Coax)}
    own = tuple((factor, name) for factor, name in factors.items() if factor != 1.0)
    materials = (*own, AIR) if own else MATERIALS
    antenna = antenna_delay_s(known)
    maps = nominal_maps(measurement_of(setup, chain))
    # The determinant of the map, S12 S21: what a reflection at the antenna keeps until it is read.
    gain = float(np.mean(np.abs(maps.p - maps.q * maps.r)))
    slack = ANTENNA_PERIODS / found.span_hz + sum(each.tolerance_s for each in known if each.delay_s == antenna)
    # Where neither fit nor span distinguishes it from the plane, the main reflection is taken to stand at the antenna.
    here = found.main.delay_s if found.resolved or antenna * found.span_hz >= RESOLVED else antenna
    if abs(here - antenna) <= slack:
        return Place(known, materials, here, "antenna", gain, here, slack)
    return Place(known, materials, here, "strongest reflection" if found.resolved else "plane", gain, antenna, slack)


def _gated(
    readings: Readings, found: Found, components: Sequence[Component]
) -> tuple[Complex | None, NDArray[np.bool_] | None, tuple[float, float] | None]:
    """Main reflection through a gate that ends before the nearest echo, and where that can be trusted."""
    if readings.reflection is None or not found.echoes or not components or _is_uneven(readings.freq_hz):
        return None, None, None
    # The gate is symmetric about the main reflection: an echo before it bounds it as one behind it does.
    half = GATE * min(abs(each.delay_s - found.main.delay_s) for each in found.echoes)
    gate = (found.main.delay_s - half, found.main.delay_s + half)
    known = np.asarray(found.main_values, dtype=complex)
    shown = gated(readings.freq_hz, readings.reflection, known, gate)
    trusted = np.zeros(readings.freq_hz.shape, dtype=bool)
    # Cutting a sweep off smears it in time, and what the gate takes of that is missing near either end.
    edge = edge_points(trusted.size, found.step_hz, gate)
    trusted[edge : trusted.size - edge] = True
    return shown, trusted, gate


def _is_uneven(freq_hz: Real) -> bool:
    step = np.diff(freq_hz)
    return bool(np.ptp(step) > UNEVEN * float(median(step)))


def _cautions(readings: Readings) -> tuple[str, ...]:
    if not _is_uneven(readings.freq_hz):
        return ()
    text = "the steps of the sweep are uneven: lengths hold, but the longest one that can be found follows from the usual step"
    return (text if readings.reflection is None else f"{text}, and no time gate is possible",)


def _verdict(found: Found, components: Sequence[Component]) -> str:
    ripples = [each for each in components if each.kind == "echo"]
    if ripples:
        return "ripple" if any(each.resolved for each in ripples) else "too coarse"
    return "too narrow" if found.swing > SWINGS * found.noise else "none"


def _reach(found: Found, place: Place) -> tuple[Reach, ...]:
    return tuple(
        Reach(
            factor,
            material,
            LIGHT_M_PER_S * factor / (2 * found.widest_hz),
            LIGHT_M_PER_S * factor / (2 * found.narrowest_hz),
        )
        for factor, material in place.materials
    )


def _unseen(setup: Setup | None, found: Found, known: Sequence[Stretch]) -> tuple[Unseen, ...]:
    """Leads whose own ripple lies outside what the span and the step can resolve."""
    if setup is None:
        return ()
    leads = {item.id for item in setup.items if isinstance(item.part, Coax) and item.length_m >= SHORT_M}
    out = []
    for each in known:
        if len(each.items) != 1 or each.items[0] not in leads:
            continue
        spacing = 1 / each.delay_s
        if spacing > found.widest_hz:
            reason = f"too narrow: the span holds {found.span_hz / spacing:.1f} of its ripples"
            remedy = f"sweep a span of at least {1.5 * spacing / 1e6:.0f} MHz"
        elif spacing < found.narrowest_hz:
            reason = f"too coarse: {spacing / found.step_hz:.1f} points to one of its ripples"
            remedy = f"take steps of at most {spacing / 2e6:.3g} MHz"
        else:
            continue
        out.append(Unseen(each.items[0], spacing, reason, remedy))
    return tuple(out)


def _decimated(readings: Readings) -> Readings:
    """The readings, neighbours averaged where there are very many points: their step is far finer than any lead needs."""
    count = -(-readings.freq_hz.size // MOST_POINTS)
    if count == 1:
        return readings
    whole = readings.freq_hz.size // count * count
    freq, magnitude = (
        values[:whole].reshape(-1, count).mean(axis=1) for values in (readings.freq_hz, readings.magnitude)
    )
    seen, rounding = (
        None if values is None else values[:whole].reshape(-1, count).mean(axis=1)
        for values in (readings.reflection, readings.rounding)
    )
    text = f"{readings.freq_hz.size} points were averaged by {count}; the step that limits the length is that of the averages"
    size, notes = magnitude if seen is None else np.abs(seen), (*readings.warnings, text)
    return replace(readings, freq_hz=freq, magnitude=size, reflection=seen, rounding=rounding, warnings=notes)


def _too_few(readings: Readings, setup: Setup | None) -> Ripple:
    freq = readings.freq_hz
    span = float(freq[-1] - freq[0])
    step = float(median(np.diff(freq))) if freq.size > 1 else 0.0
    text = f"Too few points to tell: {freq.size}, where {FEWEST_POINTS} are needed."
    blank = np.full(freq.shape, np.nan)
    return Ripple(
        **_identity(readings, setup),
        verdict="too few points",
        sentence=text,
        components=(),
        counted_from="plane",
        fitted=blank,
        steady=blank,
        steady_vswr=blank,
        gated=None,
        gated_vswr=None,
        trusted=None,
        gate_s=None,
        span_hz=span,
        step_hz=step,
        widest_hz=span / 1.5,
        narrowest_hz=2 * step,
        reach=(),
        unseen=(),
        noise=float("nan"),
        warnings=readings.warnings,
    )


BETA = 6.0
"""Shape of the gate's Kaiser window: side lobes about 44 dB down."""


def gated(freq_hz: NDArray[np.float64], reflection: Complex, known: Complex, gate_s: tuple[float, float]) -> Complex:
    """Reflection within a gate of delays.

    Source: A Kaiser window over delays, symmetric about its own middle sample, between two Fourier transforms; none over
    frequency, for dividing by one that goes to zero spoils the edges.
    """
    step_hz = (freq_hz[-1] - freq_hz[0]) / (freq_hz.size - 1)
    delay_s = np.fft.fftshift(np.fft.fftfreq(freq_hz.size, step_hz))
    first, last = (int(np.argmin(np.abs(delay_s - each))) for each in gate_s)
    gate = np.zeros(freq_hz.size)
    gate[first : last + 1] = np.kaiser(last - first + 1, BETA)
    # What is known of the main reflection stays out of the transform,
    # where the ends of the sweep would smear it over all delays.
    course = np.fft.fftshift(np.fft.ifft(reflection - known))
    return np.asarray(known + np.fft.fft(np.fft.ifftshift(course * gate)))


def edge_points(points: int, step_hz: float, gate_s: tuple[float, float]) -> int:
    """Points at either band edge that a gate spoils.

    Source: A gate of the width T averages over about 1/T of frequency; nearer to an edge the average lacks its other
    half.
    """
    return min(int(np.ceil(1 / ((gate_s[1] - gate_s[0]) * step_hz))), points // 2)
