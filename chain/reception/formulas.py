"""Formulas of reception: from a field to a level, the noise that comes with it, and the products of amplifiers.

Levels are in dBuV across 75 ohm unless a name says otherwise; noise is available noise, referred to kT0 B with T0 = 290 K.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from chain.arrays import Real
from library.formulas import LIGHT_M_PER_S
from library.reception import noise_class

T0_K = 290.0
BOLTZMANN = 1.380649e-23
OHM = 75.0
DBUV_OF_DBM = 10 * math.log10(OHM * 1e-3) + 120
"""What is added to dBm to give dBuV across 75 ohm: 108.751."""

SPACE_OHM = 376.730313668
TO_TERMINALS_DB = 10 * math.log10(OHM * LIGHT_M_PER_S**2 / (SPACE_OHM * 4 * math.pi)) - 120
"""Level across a matched 75 ohm less field, isotropic antenna, f in MHz: 31.535 dB.

Source: available power `E^2/Z0 lambda^2/(4 pi) G`, and `U^2 = 75 P`.
"""
ERP_AT_1_KM_DB = 20 * math.log10(math.sqrt(30 * 1.64 * 1000) / 1000) + 120
"""Free-space field of 1 kW e.r.p. at 1 km: 106.92 dBuV/m.

Source: `e = sqrt(30 p)/d` (Rec. ITU-R P.525-2, annex 1), p = 1.64 e.r.p.
"""


def level_dbuv(field: Real | float, gain_dbi: Real | float, freq_hz: Real | float) -> Real:
    """Level at the terminals of an antenna in a field, antenna and load matched [dBuV]. Source: `U = E + G - 20 log f_MHz + 31.535`."""
    return np.asarray(field + np.asarray(gain_dbi) - 20 * np.log10(np.asarray(freq_hz) / 1e6) + TO_TERMINALS_DB)


def field_dbuv_per_m(erp_w: float, distance_m: float, clutter_db: float = 0.0) -> float:
    """Field of a transmitter in free space, less a stated clutter loss: an upper limit [dBuV/m].

    Source: Rec. ITU-R P.525-2: `106.92 + 10 log P_kW - 20 log d_km`.
    """
    # Free space and no ground wave: what stands in the way only takes away, so this is never too low for a clear path.
    return ERP_AT_1_KM_DB + 10 * math.log10(erp_w / 1e3) - 20 * math.log10(distance_m / 1e3) - clutter_db


def noise_dbuv(bandwidth_hz: Real | float, temperature_k: Real | float = T0_K) -> Real:
    """Available thermal noise in a bandwidth, as a level across 75 ohm [dBuV]."""
    watts = BOLTZMANN * np.asarray(temperature_k) * np.asarray(bandwidth_hz)
    return np.asarray(10 * np.log10(watts * 1e3) + DBUV_OF_DBM)


def antenna_noise_k(noise: str, otherwise_k: float, freq_hz: Real) -> Real:
    """Noise temperature of an antenna in its surroundings [K].

    Source: Rec. ITU-R P.372 form `Fa = c - d log f_MHz`, within its span and never below 290 K; outside it 290 K.
    """
    if not noise:
        return np.full(np.shape(freq_hz), otherwise_k)
    row = noise_class(noise)
    above_db = row.c_db - row.d_db * np.log10(np.asarray(freq_hz) / 1e6)
    # Where the recommendation says nothing the air counts as warm as everything else, and it is never taken for colder.
    inside = (freq_hz >= row.min_hz) & (freq_hz <= row.max_hz)
    return np.where(inside, T0_K * 10 ** (np.maximum(above_db, 0.0) / 10), T0_K)


def mismatch_limits_db(first: float, second: float, loss_db: float) -> tuple[float, float]:
    """Least and greatest loss beyond the attenuation between two reflections, over all phases [dB].

    Source: `-10 log((1-r1^2)(1-r2^2)) + 20 log(1 -/+ p)`, `p = r1 r2 10^(-A/10)`.
    """
    lost = -10 * math.log10((1 - first**2) * (1 - second**2))
    # There and back: one-way decibels of power are those of the wave both ways.
    echo = first * second * 10 ** (-loss_db / 10)
    return lost + 20 * math.log10(1 - echo), lost + 20 * math.log10(1 + echo)


def pad_correction_db(meter: str) -> float:
    """What turns the dBuV that a meter shows into the level across 75 ohm, source of 75 ohm [dB].

    `75`: none; `50-pad`: a 50-ohm meter behind the minimum-loss pad; `50`: a 50-ohm meter without one.

    Source: powers: dBuV(75) = dBuV(50) + 10 log 1.5 + loss; the pad's loss 10 log(2 + sqrt 3), the bare step's
    -10 log(1 - 0.04).
    """
    ratio = 10 * math.log10(1.5)
    return {
        "75": 0.0,
        "50-pad": ratio + 10 * math.log10(2 + math.sqrt(3)),
        "50": ratio - 10 * math.log10(1 - 0.2**2),
    }[meter]


def most_wave(loss_db: Sequence[tuple[str, str, float]]) -> np.float32:
    """By what the waves between a splitter's ports can be multiplied until one of them gives out all that goes in.

    Source: Conservation of power, into matched ports: the sum over i of |S_ij|^2 is 1 at most.
    """
    out = dict.fromkeys((port for *ends, _ in loss_db for port in ends), 0.0)
    for first, second, each_db in loss_db:
        out[first] += 10 ** (-each_db / 10)
        out[second] += 10 ** (-each_db / 10)
    return np.float32(max(out.values()) ** -0.5)


BIN_HZ = 0.5e6


def combined_db(*ratios_db: float | Real) -> Real:
    """Carrier to the sum of several disturbances, from the ratio to each [dB]: `-10 log10 sum 10^(-x/10)`: powers add."""
    total = sum(10 ** (-np.asarray(each) / 10) for each in ratios_db)
    with np.errstate(divide="ignore"):
        return np.asarray(-10 * np.log10(total))


CROSS_LESS_DB = 12.0
"""By how much cross-modulation lies nearer than the products of two tones of the same level."""


def cross_modulation_db(level_dbuv: Real, max_output_dbuv: float, intermodulation_db: float) -> Real:
    """Carrier to the modulation that all other carriers at an amplifier's output put on it [dB]; for AM television.

    Amplifiers behind one another add as voltages.

    Source: `CM = 48 + 2 (Umax - U) - 10 log(N - 1)`, Umax at 60 dB (examination for installers); unequal levels as powers.
    """
    # Twice the decibels: relative cross-modulation goes with the square of the disturbing carrier's power, whatever the disturbed one's.
    others = 10 ** (2 * (np.asarray(level_dbuv, dtype=float) - max_output_dbuv) / 10)
    # A carrier does not modulate itself.
    total = np.maximum(others.sum() - others, 1e-30)
    return np.asarray(intermodulation_db - CROSS_LESS_DB - 10 * np.log10(total))


def products_dbuv(level_dbuv: Real, low_hz: Real, high_hz: Real, intercept_dbuv: float) -> tuple[Real, float]:
    """Third-order products that fall into each of several signals, and the total of the signals [dBuV].

    Each signal is flat between its edges. The products' spectrum is that of Gaussian noise through a cubic: the threefold
    convolution of the signals' own.

    Source: density `2/OIP3^2` times the integral of S(f1) S(f2) S(f1+f2-f): the part of |a|^2 a that is not along a.
    """
    power = 10 ** (np.asarray(level_dbuv, dtype=float) / 10)
    first = math.floor(float(low_hz.min()) / BIN_HZ)
    bins = math.ceil(float(high_hz.max()) / BIN_HZ) - first + 1
    share = _shares(low_hz / BIN_HZ - first, high_hz / BIN_HZ - first, bins)
    spectrum = power @ share
    # Room for three spans, so that the circular convolution of the transform does not fold one end onto the other.
    size = 1 << (3 * bins).bit_length()
    wave = np.fft.rfft(spectrum, size)
    # Products at f1 + f2 - f3: a convolution of two, correlated with the third; f stays within 3 spans of the first bin.
    found = np.fft.irfft(wave * wave * np.conj(wave), size)[:bins]
    inside = share > 0
    filled = share / np.where(inside, share.max(axis=1, keepdims=True), 1.0)
    # A product counts as far as the signal fills its bin: what falls beside its edges does no harm.
    products = 2 * (filled @ np.maximum(found, 0.0)) / 10 ** (2 * intercept_dbuv / 10)
    return 10 * np.log10(np.maximum(products, 1e-300)), float(10 * np.log10(power.sum()))


def _shares(low: Real, high: Real, bins: int) -> Real:
    """Share of each signal's power in each bin, its edges within bins counted."""
    edges = np.arange(bins)
    overlap = np.minimum(high[:, None], edges + 1) - np.maximum(low[:, None], edges)
    overlap = np.maximum(overlap, 0.0)
    return np.asarray(overlap / overlap.sum(axis=1, keepdims=True))
