"""Axes with ticks at round values: frequency, a match spaced by reflection, and plain figures."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from chain.plots.figure import Axis, Tick
from chain.reflection import magnitude_from_vswr, vswr
from chain.report.numbers import units

__all__ = ["even_axis", "frequency_axis", "vswr_axis"]

MOST_TICKS = 7
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0)
VSWR_TICKS = (1, math.inf, 2, 1.5, 3, 5, 1.2, 10, 1.1, 1.3, 1.7, 2.5, 4, 7, 20, 50, 30, 15, 100, 1.05, 1.02, 1.15, 1.4)
"""VSWRs worth a tick, the most telling first."""
LOSS_TICKS = (math.inf, 0, 10, 6, 14, 20, 3, 30, 8, 12, 17, 26, 2, 1, 4, 5, 23, 40)
"""Return losses worth a tick, in dB, the most telling first."""
CLOSEST = 0.09
"""Least distance between two ticks of a VSWR axis, as a share of it."""
FEWEST_TICKS = 4
NEAR, OPEN = 0.4, 0.875
"""Share of the largest reflection below which an axis begins at 1; reflection above which it ends at an open."""
ROOM = 0.05
LEAST_SPAN = 0.02
UNITS = ((10e9, 1e9, "GHz"), (1e6, 1e6, "MHz"), (1e3, 1e3, "kHz"), (0.0, 1.0, "Hz"))
"""Frequency from which a unit is used, the unit in Hz, and its name."""


def _round_values(low: float, high: float) -> list[tuple[float, str]]:
    """Multiples of a round step between two values, at most `MOST_TICKS` of them, each with its text."""
    span = high - low
    scale = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
    step = next(scale * each for each in STEPS if span / (scale * each) <= MOST_TICKS - 1)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    places = max(0, 1 - math.floor(math.log10(step)))
    return [(index * step, _shortest(index * step, places)) for index in range(first, last + 1)]


def _shortest(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def even_axis(label: str, unit: str, low: float, high: float, unit_size: float = 1.0) -> Axis:
    """Axis of evenly spaced values with round ticks."""
    if high <= low:
        room = abs(low) * 0.005 or 0.5
        low, high = low - room, high + room
    values = _round_values(low / unit_size, high / unit_size)
    return Axis(label, unit, low, high, tuple(Tick(value * unit_size, text) for value, text in values))


def frequency_axis(freq_hz: ArrayLike, room: float = 0.0) -> Axis:
    """Axis of frequency, in the unit that suits it."""
    found = np.asarray(freq_hz, dtype=float)
    low, high = float(found.min()), float(found.max())
    low, high = low - room * (high - low), high + room * (high - low)
    size, unit = next((size, unit) for least, size, unit in UNITS if high >= least)
    return even_axis("frequency", unit, low, high, size)


def vswr_axis(label: str, highest: float, lowest: float = 1.0) -> Axis:
    """Axis of matches, all as VSWR, from the lowest to at least the highest value, spaced by the reflection magnitude.

    Its ticks are VSWRs or return losses, by the unit in force. Source: Magnitude of reflection (S - 1)/(S + 1).
    """
    least, most = (float(magnitude_from_vswr(value)) for value in (lowest, max(highest, lowest, 1.02)))
    # A line that comes near to a perfect match is best seen from there.
    least = 0.0 if least < NEAR * most else max(least - ROOM * (most - least), 0.0)
    most = 1.0 if most > OPEN else most
    least, most = max(min(least, most - LEAST_SPAN), 0.0), min(max(most, least + LEAST_SPAN), 1.0)
    unit = "return loss, dB" if units().in_db else "VSWR"
    axis = Axis(label, unit, float(vswr(least)), float(vswr(most)), (), "reflection")
    chosen: list[tuple[float, float, str]] = []
    for value, text in _match_ticks():
        place = float(axis.share(value))
        if -1e-9 <= place <= 1 + 1e-9 and all(abs(place - other) >= CLOSEST for other, *_ in chosen):
            chosen.append((place, value, text))
    ticks = tuple(Tick(value, text) for _, value, text in sorted(chosen))
    if not units().in_db and len(ticks) < FEWEST_TICKS and math.isfinite(axis.high):
        ticks = tuple(Tick(value, text) for value, text in _round_values(axis.low, axis.high))
    return Axis(label, unit, axis.low, axis.high, ticks, "reflection")


def _match_ticks() -> list[tuple[float, str]]:
    """VSWRs worth a tick, each with its text in the unit in force."""
    if units().in_db:
        return [(float(vswr(10 ** (-value / 20))), f"{value:g}".replace("inf", ">60")) for value in LOSS_TICKS]
    return [(float(value), f"{value:g}".replace("inf", "open")) for value in VSWR_TICKS]
