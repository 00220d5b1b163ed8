"""Whether a change of the match is what more loss in the lead, or in a joint, would have made of the same antenna."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chain.arrays import Complex, Real
from chain.comparisons.bands import ChannelBand
from chain.comparisons.differences import PHASES, Halves, simultaneous_ends
from chain.comparisons.joint_trials import JointTrials, recovered_magnitudes, recovered_reflections, with_digits

EXPONENTS = (0.0, 0.5)
"""Of frequency: loss of a bad joint is the same everywhere, that of a lead grows with the root (skin effect)."""
MOST_APART = 2.0
LEAST_POWER = 1e-9
"""Share of reflected power below which nothing is read."""


def lossier_lead_db(
    trials: JointTrials,
    readings: tuple[Complex | Real, Complex | Real],
    bands: Sequence[ChannelBand],
    halves: Halves = (None, None),
) -> float | None:
    """Gain of return loss that all bands share within their uncertainty, in the middle of the sweep [dB]; None without one.

    A lead that loses L dB more one way multiplies every reflection by 10^(-2 L/20): the return loss grows by 2 L everywhere.
    """
    if len(bands) < 2:
        # One figure alone has nothing that it could differ from.
        return None
    centre_hz = np.array([(each.low_hz + each.high_hz) / 2 for each in bands])
    rows = _gains_db(trials, readings, bands, halves)
    nominal = _gains_db(trials, readings, bands, halves, known=True)
    low = np.min([[ends[0] for ends in simultaneous_ends(list(each))] for each in rows], axis=0)
    high = np.max([[ends[1] for ends in simultaneous_ends(list(each))] for each in rows], axis=0)
    about = np.median(nominal, axis=0)[:, 0]
    for exponent in EXPONENTS:
        shape = (centre_hz / np.median(centre_hz)) ** exponent
        least, most = float(np.max(low / shape)), float(np.min(high / shape))
        shared = about / shape
        # Wide intervals share much: what is twice as much in one band as in another is called alike by nobody.
        if 0 < least <= most and shared.max() <= MOST_APART * shared.min():
            return float(np.median(shared))
    return None


def _gains_db(
    trials: JointTrials,
    readings: tuple[Complex | Real, Complex | Real],
    bands: Sequence[ChannelBand],
    halves: Halves,
    known: bool = False,
) -> Real:
    """Gain of each band's return loss, shape (phases, bands, trials); `known`: with every unknown at zero, one trial."""
    first, second = readings
    sizes: list[tuple[Real, Real]] = []
    if np.iscomplexobj(first) and np.iscomplexobj(second):
        pair = [
            recovered_reflections(trials, which, np.asarray(each, dtype=complex), half)
            for which, (each, half) in enumerate(zip(readings, halves, strict=True))
        ]
        one, other = (np.abs(far[1][None, :] if known else far[0]) for far in pair)
        sizes.append((one, other))
    else:
        # More loss leaves the phase as it is: both readings are of one unknown phase.
        for turn in np.exp(2j * np.pi * np.arange(PHASES) / PHASES):
            ends = []
            for which, (each, half) in enumerate(zip(readings, halves, strict=True)):
                size = np.asarray(np.abs(each), dtype=float)
                seen = size if known else np.asarray(with_digits(trials, which, size, half), dtype=float)
                maps = trials.known if known else trials.readings[which]
                ends.append(recovered_magnitudes(maps, seen, complex(turn))[0])
            sizes.append((ends[0], ends[1]))
    return np.array(
        [[_gain_db(one[:, each.members], other[:, each.members]) for each in bands] for one, other in sizes]
    )


def _gain_db(first: Real, second: Real) -> Real:
    powers = [np.maximum((each.astype(float) ** 2).mean(axis=1), LEAST_POWER) for each in (first, second)]
    return np.asarray(10 * np.log10(powers[0] / powers[1]))
