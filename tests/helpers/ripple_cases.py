"""Sweeps that ripple as a line of scikit-rf makes them."""

import numpy as np
from skrf import Frequency
from skrf.media import DefinedGammaZ0

from chain.sweeps.readings import Readings

LIGHT_M_PER_S = 299_792_458.0


def line_between(length_m, factor, near=0.15, far=0.3, start=100, stop=900, points=201, loss_db=0.0):
    """One-port of scikit-rf: a mismatch, a line, a load; and its frequencies."""
    freq = Frequency(start, stop, points, unit="MHz")
    gamma = loss_db / 8.685889638 / length_m + 2j * np.pi * freq.f / (LIGHT_M_PER_S * factor)
    media = DefinedGammaZ0(freq, z0=75, gamma=gamma)
    step = media.shunt_capacitor(0) if near == 0 else media.impedance_mismatch(75, 75 * (1 + near) / (1 - near))
    beyond = media.impedance_mismatch(75 * (1 + near) / (1 - near), 75)
    beyond.z0, step.z0 = 75, 75
    return freq.f, (step ** media.line(length_m, "m") ** media.load(far)).s[:, 0, 0]


def of(freq_hz, seen, has_phase=True):
    """A sweep as readings."""
    return Readings(freq_hz, np.abs(seen), seen if has_phase else None, "")
