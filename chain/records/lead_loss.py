"""Loss of a lead from its open or shorted end, and the same at 20 degrees C, so that summer and winter compare."""

from __future__ import annotations

import math

import numpy as np

from chain.arrays import Real
from chain.assembly.budget import budget
from chain.records.bench import ReadingPair
from chain.records.record import ChannelRecord
from chain.setups import Setup
from library.records import Coax

PER_K = 0.00198
"""Rise of a cable's loss per kelvin, of its loss at 20 degrees C: 0.198 %/K, a published trade rule; copper by the skin
effect alone gives half of 0.393 %/K."""
ROOM_C = 20.0
THERMOMETER_K = 2.0
"""Standard uncertainty of the cable's temperature where one is stated for the air: practice."""
SEASONS_K = 15.0
"""A temperature that is not stated lies so far from 20 degrees C at most, rectangular: practice."""


def corrected_loss_db(
    loss_db: float, fixed_db: float, temperature_c: float | None, uncertainty_db: float
) -> tuple[float, float]:
    """Loss as it would be at 20 degrees C, and its standard uncertainty: A = A_fixed + A_cable (1 + 0.00198 (T - 20))."""
    cable = max(loss_db - fixed_db, 0.0)
    if temperature_c is None:
        return loss_db, math.hypot(uncertainty_db, cable * PER_K * SEASONS_K / math.sqrt(3))
    at_room = fixed_db + (loss_db - fixed_db) / (1 + PER_K * (temperature_c - ROOM_C))
    return at_room, math.hypot(uncertainty_db, cable * PER_K * THERMOMETER_K)


def lead_channels(bench: ReadingPair, readings: list[Real]) -> tuple[ChannelRecord, ...]:
    """Loss one way in each channel, from the magnitudes read with the far end open, shorted, or one of each.

    Source: What comes back has gone both ways: half the return loss; open and short averaged, so that their ripple cancels.
    """
    fixed = fixed_loss_db(bench.setup, bench.trials.freq_hz)
    share = np.mean([each[:: bench.step] ** 2 for each in readings], axis=0)
    # Of a full reflection, as each of two drawn readings shows it: half their difference is what one repeats to.
    shown = [np.abs(maps.reading(np.ones(1, dtype=complex))) ** 2 for maps in bench.trials.readings]
    out = []
    for band in bench.bands:
        here = band.members
        pair = [-5 * np.log10(np.maximum(each[:, here].mean(axis=1), 1e-12)) for each in shown]
        repeat = float(np.std(pair[1] - pair[0])) / math.sqrt(2 * len(readings))
        loss = float(-5 * np.log10(max(float(share[here].mean()), 1e-12)))
        out.append(
            ChannelRecord(
                band.name,
                band.low_hz,
                band.high_hz,
                loss,
                max(repeat, 1e-6),
                fixed_db=float(fixed[here].mean()),
            )
        )
    return tuple(out)


def fixed_loss_db(setup: Setup, freq_hz: Real) -> Real:
    """Loss after the calibration plane that is no cable's: pads, adapters and the like, as stated."""
    found = budget(setup)
    names = [item.id for item in setup.items]
    after = 0 if setup.calibration.plane == "near" else names.index(setup.calibration.plane) + 1
    kinds = {item.id: item.part for item in setup.items[after:]}
    losses = [
        np.interp(freq_hz, found.freq_hz, each.attenuation_db)
        for each in found.items
        if each.id in kinds and not isinstance(kinds[each.id], Coax)
    ]
    return np.asarray(sum(losses, np.zeros(freq_hz.shape)))
