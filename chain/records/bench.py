"""A set-up with its draws at hand, so that each further sweep through it is answered in a moment."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.comparisons.bands import Band, bands_of
from chain.comparisons.differences import Difference, differences
from chain.comparisons.joint_draws import JointDraws, draw_jointly, recovered_magnitudes
from chain.errors import RangeError
from chain.reflection import mismatch_loss_db, vswr
from chain.rf.bilinear import compose, inverse
from chain.setups import Setup
from chain.sweeps.readings import Readings

__all__ = ["Bench", "ChannelAnswer", "SweepAnswer", "bench_of"]

SEED = 20260
COVERAGE = 0.95
BATCHES = 2
MOST_POINTS = 201
PHASES = 16
AROUND = np.deg2rad([-15.0, 0.0, 15.0])
"""Phases tried about the one that was recovered: the worst counts."""


@dataclass(frozen=True)
class ChannelAnswer:
    """One channel of one sweep: VSWR at its worst point with its interval, mismatch loss, and what both repeat to."""

    band: Band
    reflection: float
    vswr: float
    low: float
    high: float
    loss_db: float
    reflection_repeat: float
    loss_repeat_db: float
    verdict: str


@dataclass(frozen=True)
class SweepAnswer:
    """A sweep answered. `seen` is the reading at the bench's own frequencies."""

    channels: tuple[ChannelAnswer, ...]
    verdict: str
    seen: Complex | Real
    warnings: tuple[str, ...]

    @property
    def worst(self) -> ChannelAnswer:
        """The channel with the highest upper end."""
        return max(self.channels, key=lambda each: (each.high, each.vswr))


@dataclass(frozen=True)
class Bench:
    """Draws of two readings through one set-up at the frequencies of its sweeps."""

    setup: Setup
    draws: JointDraws
    bands: tuple[Band, ...]
    step: int
    points: int

    def fits(self, readings: Readings) -> bool:
        """Tell whether a sweep has the frequencies that the draws were made for."""
        freq = readings.freq_hz
        return freq.size == self.points and bool(np.allclose(freq[:: self.step], self.draws.freq_hz, rtol=1e-6))

    def answer(self, readings: Readings) -> SweepAnswer:
        """Answer one sweep."""
        seen = self._seen(readings)
        size, low, high = self._intervals(seen)
        again, _, _ = differences(self.draws, ((0, seen), (1, seen)), self.bands, together=False)
        channels = []
        for band, repeat in zip(self.bands, again, strict=True):
            here = band.members
            limit = self.setup.far.limit_vswr
            ends = float(vswr(low[here].max())), float(vswr(high[here].max()))
            power = min(float(np.mean(size[here] ** 2)), 1 - 1e-6)
            channels.append(
                ChannelAnswer(
                    band,
                    float(size[here].max()),
                    float(vswr(size[here].max())),
                    *ends,
                    float(mismatch_loss_db(np.sqrt(power))),
                    _half(repeat.worst_low, repeat.worst_high),
                    _half(repeat.loss_low_db, repeat.loss_high_db),
                    "no limit" if limit is None else _judged(*ends, limit),
                )
            )
        words = [each.verdict for each in channels]
        overall = next((word for word in ("fail", "not proven", "no limit") if word in words), "pass")
        return SweepAnswer(tuple(channels), overall, seen, readings.warnings)

    def change(self, first: SweepAnswer, second: SweepAnswer) -> tuple[Difference, ...]:
        """Second less first, in every channel, together."""
        return differences(self.draws, ((0, first.seen), (1, second.seen)), self.bands)[0]

    def _seen(self, readings: Readings) -> Complex | Real:
        if not self.fits(readings):
            raise RangeError(
                f"the sweep has {readings.freq_hz.size} points from {readings.freq_hz[0] / 1e6:g} to "
                f"{readings.freq_hz[-1] / 1e6:g} MHz; the others have {self.points}",
                "keep start, stop and number of points as they are",
            )
        values = readings.magnitude if readings.reflection is None else readings.reflection
        return values[:: self.step]

    def _intervals(self, seen: Complex | Real) -> tuple[Real, Real, Real]:
        """Nominal |G| and the ends of its interval at each frequency, at the worst phase of the antenna.

        Source: Quantiles, over the drawn chains, of the magnitude that shows the reading.
        """
        tail = (1 - COVERAGE) / 2
        maps = self.draws.readings[0]
        if np.iscomplexobj(seen):
            far = self.draws.known.recovered(np.asarray(seen, dtype=complex))[0]
            maps, size = compose(inverse(self.draws.known), maps), np.abs(far)
            turns = [np.exp(1j * (np.angle(far) + turn)) for turn in AROUND]
            nominal = size
        else:
            size = np.asarray(seen, dtype=float)
            turns = [np.full(size.shape, np.exp(2j * np.pi * n / PHASES)) for n in range(PHASES)]
            nominal = np.median([recovered_magnitudes(self.draws.known, size, turn)[0][0] for turn in turns], axis=0)
        ends = []
        for turn in turns:
            least, most = recovered_magnitudes(maps, size, turn)
            ends.append((np.quantile(least, tail, axis=0), np.quantile(most, 1 - tail, axis=0)))
        low, high = np.min([each for each, _ in ends], axis=0), np.max([each for _, each in ends], axis=0)
        return np.minimum(nominal, 1.0), low, np.maximum(high, low)


def _half(low: float, high: float) -> float:
    """Standard uncertainty of one reading from the interval of the difference of two of the same antenna."""
    return max((high - low) / (2 * 1.96 * math.sqrt(2)), 1e-6)


def _judged(low: float, high: float, limit: float) -> str:
    if high <= limit:
        return "pass"
    return "fail" if low > limit else "not proven"


def bench_of(
    setup: Setup, readings: Readings, seed: int = SEED, progress: Callable[[float], None] | None = None
) -> Bench:
    """Draw for the frequencies of a sweep."""
    step = -(-readings.freq_hz.size // MOST_POINTS)
    freq = readings.freq_hz[::step]
    draws = draw_jointly(setup, freq, 2, BATCHES, seed, progress)
    return Bench(setup, draws, bands_of(setup, freq), step, readings.freq_hz.size)
