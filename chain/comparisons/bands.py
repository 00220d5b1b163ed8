"""What a channel comes to: the reflection at its worst point, and the share of its power that is reflected, in every trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chain.arrays import Complex, Real
from chain.comparisons.joint_trials import BEYOND, JointTrials, recovered_magnitudes, recovered_reflections, with_digits
from chain.reflection import mismatch_loss_db
from chain.setups import Setup

MOST_BANDS = 8
MOST_REFLECTED = 1 - 1e-6
"""Share of a channel's power that may be reflected: a loss of 60 dB stands for all of it."""
CONTENDER = 4.0
"""Points within so many standard deviations of noise of the worst one may be the worst in truth."""


@dataclass(frozen=True)
class ChannelBand:
    """A channel of the set-up, or an even stretch of the sweep, and the frequencies that lie in it."""

    name: str
    low_hz: float
    high_hz: float
    members: slice
    is_channel: bool


@dataclass(frozen=True)
class BandValues:
    """One reading in one band: nominal figures, and the same of every trial, shape (trials,).

    `worst` is the largest |G|, in trials up to `BEYOND`, `loss_db` the mismatch loss of the band as a whole. `lift` is how far
    the noise of single points may have lifted the worst one beyond what the trials account for.
    """

    worst: float
    loss_db: float
    worst_trials: Real
    loss_trials: Real
    lift: float = 0.0


def bands_of(setup: Setup, freq_hz: Real) -> tuple[ChannelBand, ...]:
    """Channels that hold at least one reading; without any, even stretches of the sweep."""
    out = []
    for name, low, high in setup.sweep.channels:
        # Both edges of a channel belong to it.
        first, last = (int(each) for each in np.searchsorted(freq_hz, [low, high * (1 + 1e-12)]))
        if last > first:
            out.append(ChannelBand(name, low, high, slice(first, last), True))
    if out:
        return tuple(out)
    count = max(1, min(MOST_BANDS, freq_hz.size))
    edges = np.linspace(0, freq_hz.size, count + 1).astype(int)
    for first, last in pairwise(edges):
        low, high = float(freq_hz[first]), float(freq_hz[last - 1])
        name = f"{low / 1e6:.5g} MHz" if low == high else f"{low / 1e6:.5g}-{high / 1e6:.5g} MHz"
        out.append(ChannelBand(name, low, high, slice(int(first), int(last)), False))
    return tuple(out)


def values_with_phase(
    trials: JointTrials, which: int, reading: Complex, bands: Sequence[ChannelBand], half: Real | None = None
) -> tuple[BandValues, ...]:
    """Figures of a complex reading in each band.

    Squares are drawn, whose errors are nearly linear: what both readings share then cancels in their difference. The worst
    point's square is too large by what picking the largest of noisy points adds in the trials; that is taken off once.
    """
    far, nominal = recovered_reflections(trials, which, reading, half)
    power, known = (far.real**2 + far.imag**2).astype(float), np.abs(nominal)
    out = []
    for band in bands:
        here = band.members
        worst, top = power[:, here].max(axis=1), float(known[here].max())
        worst = np.sqrt(np.maximum(worst - (worst.mean() - top**2), 0))
        out.append(
            BandValues(
                top,
                _loss_db(float(np.mean(known[here] ** 2))),
                worst,
                # The mean of |G|^2 and not of decibels: what a channel loses is power.
                np.asarray(mismatch_loss_db(np.sqrt(np.minimum(power[:, here].mean(axis=1), MOST_REFLECTED)))),
                _lift(np.sqrt(power[:, here]), known[here]),
            )
        )
    return tuple(out)


def _lift(size: Real, known: Real) -> float:
    """How much the noise of single points lifts the largest of those that may be the worst."""
    error = size - known
    # What all points share is the chain's own error, which the trials carry; the rest is noise of single points.
    common = error.mean(axis=1, keepdims=True)
    noise = float((error - common).std())
    # A point far below the worst cannot be lifted to it, and would only add to the number that noise picks from.
    contenders = known >= known.max() - CONTENDER * noise
    error = error[:, contenders]
    return float(np.mean(error.max(axis=1) - error.mean(axis=1)))


def _loss_db(reflected: float) -> float:
    return float(mismatch_loss_db(np.sqrt(min(reflected, MOST_REFLECTED))))


def values_without_phase(
    trials: JointTrials, which: int, size: Real, turn: complex, bands: Sequence[ChannelBand], half: Real | None = None
) -> tuple[tuple[BandValues, BandValues], ...]:
    """Figures of a reading without phase for one phase of the antenna: from the smallest and from the largest |G| that fit."""
    ends = recovered_magnitudes(
        trials.readings[which], np.asarray(with_digits(trials, which, size, half), dtype=float), turn, BEYOND
    )
    known = recovered_magnitudes(trials.known, size, turn)
    return tuple(
        (
            _plain(known[0][0, band.members], ends[0][:, band.members]),
            _plain(known[1][0, band.members], ends[1][:, band.members]),
        )
        for band in bands
    )


def _plain(known: Real, size: Real) -> BandValues:
    power = np.minimum((size**2).mean(axis=1), MOST_REFLECTED)
    return BandValues(
        float(known.max()),
        _loss_db(float(np.mean(known**2))),
        size.max(axis=1),
        np.asarray(mismatch_loss_db(np.sqrt(power))),
    )
