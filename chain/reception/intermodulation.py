"""Third-order intermodulation of noise-like signals (OFDM) in an amplifier, and how interference adds.

Levels are in dBuV; what matters is differences, so any level across one resistance will do.
"""

from __future__ import annotations

import math

import numpy as np

from chain.arrays import Real

__all__ = ["combined_db", "products_dbuv"]

BIN_HZ = 0.5e6


def combined_db(*ratios_db: float | Real) -> Real:
    """Carrier to the sum of several disturbances, from the ratio to each [dB].

    Source: `-10 log10 sum 10^(-x/10)`: powers add.
    """
    total = sum(10 ** (-np.asarray(each) / 10) for each in ratios_db)
    with np.errstate(divide="ignore"):
        return np.asarray(-10 * np.log10(total))


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
    size = 1 << (3 * bins).bit_length()
    wave = np.fft.rfft(spectrum, size)
    # Products at f1 + f2 - f3: a convolution of two, correlated with the third; f stays within 3 spans of the first bin.
    found = np.fft.irfft(wave * wave * np.conj(wave), size)[:bins]
    inside = share > 0
    filled = share / np.where(inside, share.max(axis=1, keepdims=True), 1.0)
    products = 2 * (filled @ np.maximum(found, 0.0)) / 10 ** (2 * intercept_dbuv / 10)
    return 10 * np.log10(np.maximum(products, 1e-300)), float(10 * np.log10(power.sum()))


def _shares(low: Real, high: Real, bins: int) -> Real:
    """Share of each signal's power in each bin, its edges within bins counted."""
    edges = np.arange(bins)
    overlap = np.minimum(high[:, None], edges + 1) - np.maximum(low[:, None], edges)
    overlap = np.maximum(overlap, 0.0)
    return np.asarray(overlap / overlap.sum(axis=1, keepdims=True))
