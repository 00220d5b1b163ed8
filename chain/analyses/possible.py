"""What no passive antenna can show through a chain: the bound of every reading, and the readings that have none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.errors import RangeError
from chain.reflection import return_loss_db, vswr
from chain.sweeps.readings import Readings
from chain.uncertainty.bounds import reading_bound, rounded_bound, true_bound_complex
from chain.uncertainty.measurement import Measurement, nominal_maps

BLOCK = 400
"""Frequencies of a long sweep that bounds are made for at a time."""


def bounded(
    measurement: Measurement, readings: Readings, in_db: bool = False
) -> tuple[tuple[Real, Real], tuple[tuple[float, str], ...]]:
    """Bound of every reading, and those that nothing possible gives; an error where that is all of them."""
    bound = by_blocks(_bound, measurement, readings)
    _, ceiling = by_blocks(
        lambda here, part: reading_bound(here, np.ones(part.magnitude.shape), lower=False), measurement, readings
    )
    refused = _refusals(readings, bound[0], ceiling, in_db)
    if len(refused) == readings.freq_hz.size:
        raise RangeError(
            refused[0][1], "check the pad and its connections ('chain prove' tests them), or correct the set-up"
        )
    return bound, refused


def _bound(measurement: Measurement, readings: Readings) -> tuple[Real, Real]:
    if readings.reflection is not None:
        return true_bound_complex(measurement, readings.reflection, readings.rounding)
    return rounded_bound(measurement, readings.magnitude, readings.rounding)


def by_blocks(
    bound: Callable[[Measurement, Readings], tuple[Real, Real]], measurement: Measurement, readings: Readings
) -> tuple[Real, Real]:
    """A bound of a long sweep, some frequencies at a time, so that it fits into memory."""
    count = readings.freq_hz.size
    parts = [
        bound(measurement.at(chosen), readings.at(chosen))
        for chosen in (slice(start, min(start + BLOCK, count)) for start in range(0, count, BLOCK))
    ]
    low, high = (np.concatenate(each) for each in zip(*parts, strict=True))
    return low, high


def impossible(measurement: Measurement, readings: Readings) -> NDArray[np.bool_]:
    """Which readings no passive antenna can give, by the same rule as `bounded`, and quick where most are possible."""
    known = nominal_maps(measurement)
    if readings.reflection is not None:
        doubtful = np.abs(known.recovered(readings.reflection)[0]) > 1
    else:
        # Antennas of the nominal chain show anything up to its ceiling, if one of them shows nothing at all.
        doubtful = (readings.magnitude > known.ceiling()[0]) | (np.abs(known.q[0]) > np.abs(known.p[0]))
    found = np.zeros(readings.freq_hz.shape, dtype=bool)
    at = np.flatnonzero(doubtful)
    if at.size:
        found[at] = np.isnan(by_blocks(_bound, measurement.at(at), readings.at(at))[0])
    return found


def _in_words(size: float, in_db: bool) -> str:
    """A reflection as a return loss, or in either unit, which the user may see on the screen."""
    loss_db = return_loss_db(np.asarray(size))
    if in_db:
        return f"{float(loss_db):.1f} dB return loss"
    return f"VSWR {float(vswr(size)):.2f} (return loss {float(loss_db):.1f} dB)"


def _refusals(readings: Readings, bound_low: Real, ceiling: Real, in_db: bool) -> tuple[tuple[float, str], ...]:
    out = []
    for freq, low, seen, most in zip(readings.freq_hz, bound_low, readings.magnitude, ceiling, strict=True):
        if np.isnan(low):
            text = (
                f"{_in_words(seen, in_db)} at {freq / 1e6:g} MHz cannot come from any passive antenna behind this chain"
            )
            if seen > most:
                text += (
                    f": while its parts keep their limits nothing reads worse than {_in_words(most, in_db)}. Likely causes: the "
                    "pad is missing, the wrong way round or faulty, or the analyzer was calibrated at another plane"
                )
            out.append((float(freq), text))
    return tuple(out)
