"""A set-up with its trials at hand, so that each further sweep through it is answered in a moment."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from chain.analyses.possible import impossible
from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.comparisons.bands import ChannelBand, bands_of
from chain.comparisons.differences import Difference, differences
from chain.comparisons.joint_trials import JointTrials, draw_jointly, recovered_magnitudes
from chain.errors import RangeError
from chain.records.record import MOST_POINTS, MOST_WITHOUT_PHASE
from chain.reflection import magnitude_from_vswr, mismatch_loss_db, vswr
from chain.results import IMPOSSIBLE
from chain.rf.twoport import Maps, compose, inverse, shifted
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.uncertainty.intervals import Observation, rounded
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps
from chain.uncertainty.one_sided_tests import Ends, Terms, invert
from chain.uncertainty.sampling import hidden_digits
from library.frozen import dataclass

SEED = 20260
DIGITS = 12
ONE_SIDED = 0.025
BATCHES = 4
PHASES = 12
TURN_S = 20e-9
AROUND = np.deg2rad([-15.0, 0.0, 15.0])
"""Phases tried about the one that was recovered: the worst counts."""
LEAST_SCALE = 1e-9


@dataclass(frozen=True)
class ChannelAnswer:
    """One channel of one sweep: VSWR at its worst point with its interval, mismatch loss, and what both repeat to."""

    band: ChannelBand
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
    half: Real | None
    """Half a step of the last digit of what was seen."""
    warnings: tuple[str, ...]

    @property
    def worst(self) -> ChannelAnswer:
        """The channel with the highest upper end, one that cannot be before all others."""
        return max(self.channels, key=lambda each: (each.verdict == IMPOSSIBLE, each.high, each.vswr))


@dataclass(frozen=True)
class ReadingPair:
    """Trials of two readings through one set-up at the frequencies of its sweeps."""

    setup: Setup
    trials: JointTrials
    bands: tuple[ChannelBand, ...]
    step: int
    points: int
    measurement: Measurement
    """The measurement at every point of the sweeps."""
    known: Maps
    """Its map with every unknown at zero."""
    nearest: NDArray[np.intp]
    """Frequency of the trials that stands for each point of the sweeps; -1 outside every channel."""

    def fits(self, readings: Readings) -> bool:
        """Whether a sweep has the frequencies that the trials were made for."""
        freq = readings.freq_hz
        return freq.size == self.points and bool(np.allclose(freq[:: self.step], self.trials.freq_hz, rtol=1e-6))

    def answer(self, readings: Readings) -> SweepAnswer:
        """Answer one sweep: pass by every point's upper end, fail by the sweep as a whole."""
        seen, half = self._seen(readings)
        drawn = np.arange(0, self.points, self.step)
        _, observed, phase = self._observed(readings, drawn)
        terms = self._terms(phase is not None, half)
        rounding = None if phase is not None else self._rounded(readings, drawn)
        # What stands between the frequencies of the trials counts by its worst: a narrow fault there is no pass.
        worst = self._worst(readings, drawn)
        size, highest, turned = self._observed(readings, worst)
        hidden = None if phase is not None else self._rounded(readings, worst)
        found = invert(terms, highest, turned, rounding=hidden, strict_share=self._strict)
        again, _, _ = differences(
            self.trials, ((0, seen), (1, seen)), self.bands, together=False, same_phase=True, halves=(half, half)
        )
        limit = self.setup.far.limit_vswr
        over = np.asarray(observed > (np.inf if limit is None else self._edge(phase, limit, terms, rounding)))
        refused = readings.freq_hz[impossible(self.measurement, readings)]
        channels = tuple(
            _marked(self._channel(band, size, found, repeat, None if readings.processed else over), refused)
            for band, repeat in zip(self.bands, again, strict=True)
        )
        words = [each.verdict for each in channels]
        overall = next((word for word in (IMPOSSIBLE, "fail", "not proven", "no limit") if word in words), "pass")
        return SweepAnswer(channels, overall, seen, half, readings.warnings)

    def _channel(
        self, band: ChannelBand, size: Real, found: Ends, repeat: Difference, over: NDArray[np.bool_] | None
    ) -> ChannelAnswer:
        """One channel; `over` holds the points above the sweep's edge, None of a processed sweep, which proves nothing."""
        here, limit = band.members, self.setup.far.limit_vswr
        assert found.strict_low is not None
        low = float(np.minimum(found.strict_low[here], found.low[here]).max())
        ends = float(vswr(low)), float(vswr(max(float(found.high[here].max()), low)))
        word = "no limit" if limit is None else "not proven"
        if limit is not None and over is not None:
            word = "pass" if ends[1] <= limit else "fail" if over[here].any() else word
            ends = (max(ends[0], limit) if word == "fail" else min(ends[0], limit)), ends[1]
        return ChannelAnswer(
            band,
            float(size[here].max()),
            float(vswr(size[here].max())),
            *ends,
            float(mismatch_loss_db(np.sqrt(min(float(np.mean(size[here] ** 2)), 1 - 1e-6)))),
            _half(repeat.worst_low, repeat.worst_high),
            _half(repeat.loss_low_db, repeat.loss_high_db),
            word,
        )

    def change(self, first: SweepAnswer, second: SweepAnswer) -> tuple[Difference, ...]:
        """Second less first, in every channel, together; without phase, of an antenna whose phase has stayed."""
        return differences(
            self.trials,
            ((0, first.seen), (1, second.seen)),
            self.bands,
            same_phase=True,
            # A sweep from a record has lost its digits: it has those of the other.
            halves=(
                second.half if first.half is None else first.half,
                first.half if second.half is None else second.half,
            ),
        )[0]

    def _seen(self, readings: Readings) -> tuple[Complex | Real, Real | None]:
        if not self.fits(readings):
            raise RangeError(
                f"the sweep has {readings.freq_hz.size} points from {readings.freq_hz[0] / 1e6:g} to "
                f"{readings.freq_hz[-1] / 1e6:g} MHz; the others have {self.points}",
                "keep start, stop and number of points as they are",
            )
        values = readings.magnitude if readings.reflection is None else readings.reflection
        half = readings.rounding
        return values[:: self.step], None if half is None or not half.any() else half[:: self.step]

    def _worst(self, readings: Readings, drawn: NDArray[np.intp]) -> NDArray[np.intp]:
        """The point of the highest reflection among those that each frequency of the trials stands for."""
        size = readings.magnitude
        if readings.reflection is not None:
            size = np.abs(self.known.recovered(readings.reflection)[0])
        found = drawn.copy()
        order = np.argsort(size)
        order = order[self.nearest[order] >= 0]
        # Of several that are put into one place the last, the highest, stays.
        found[self.nearest[order]] = order
        return found

    def _observed(self, readings: Readings, where: NDArray[np.intp]) -> tuple[Real, Real, Real | None]:
        """Nominal |G|, the statistic that is judged, and the recovered phase where one was read, at one point each."""
        if readings.reflection is not None:
            far = self.known.recovered(readings.reflection)[0][where]
            return np.minimum(np.abs(far), 1.0), np.abs(far), np.angle(far)
        observed = np.asarray(readings.magnitude[where], dtype=float)
        turns = np.exp(2j * np.pi * np.arange(PHASES) / PHASES)
        known = [recovered_magnitudes(self.trials.known, observed, complex(turn))[0][0] for turn in turns]
        return np.median(known, axis=0), observed, None

    @cached_property
    def _strict(self) -> Real:
        """Risk of each point's lower end where those of its channel are to hold together."""
        share = np.full(self.trials.freq_hz.shape, ONE_SIDED)
        for band in self.bands:
            share[band.members] = ONE_SIDED / max(self.step * (band.members.stop - band.members.start), 1)
        return share

    def _terms(self, has_phase: bool, half: Real | None = None) -> Terms:
        """Terms of the trials, with what the digits of a complex reading hide."""
        if not has_phase:
            return self._reading_terms
        if half is None:
            return self._recovered_terms
        digits = hidden_digits(np.random.default_rng([SEED, DIGITS]), self.trials.draws, half, True)
        shown = shifted(self.trials.readings[0], np.asarray(digits, dtype=complex))
        return Terms.of(compose(inverse(self.trials.known), shown))

    @cached_property
    def _recovered_terms(self) -> Terms:
        return Terms.of(compose(inverse(self.trials.known), self.trials.readings[0]))

    @cached_property
    def _reading_terms(self) -> Terms:
        return Terms.of(self.trials.readings[0])

    def _rounded(self, readings: Readings, where: NDArray[np.intp]) -> NDArray[np.float32] | None:
        """What the digits of a magnitude add to each trial of it; None where they add nothing worth a thought."""
        if readings.rounding is None:
            return None
        seen = Observation(readings.magnitude[where], None, readings.rounding[where])
        return rounded(seen, self.trials.readings[0].p.shape[0], SEED, 0)

    def _edge(self, phase: Real | None, limit_vswr: float, terms: Terms, rounding: NDArray[np.float32] | None) -> Real:
        """Statistic at each frequency above which a point makes the whole sweep fail.

        Source: max-T (Westfall and Young, 1993; memory) over drawn sweeps of an antenna at the limit everywhere, at the
        recovered phases, or at any standing and turning ones.
        """
        if phase is not None:
            return _edge_of(terms, [phase + turn for turn in AROUND], limit_vswr)
        return self._edge_at_any_phase if rounding is None else self._edge_of_magnitudes(rounding)

    @cached_property
    def _edge_at_any_phase(self) -> Real:
        return self._edge_of_magnitudes(None)

    def _edge_of_magnitudes(self, rounding: NDArray[np.float32] | None) -> Real:
        assert self.setup.far.limit_vswr is not None
        freq = self.trials.freq_hz
        still = [np.full(freq.shape, 2 * np.pi * number / PHASES) for number in range(PHASES)]
        courses = [*still, *(each - 2 * np.pi * TURN_S * freq for each in still)]
        return _edge_of(self._terms(False), courses, self.setup.far.limit_vswr, rounding)


def _edge_of(terms: Terms, courses: list[Real], limit_vswr: float, rounding: NDArray[np.float32] | None = None) -> Real:
    edges = []
    for course in courses:
        shown = terms.shown(float(magnitude_from_vswr(limit_vswr)), course)
        if rounding is not None:
            shown -= rounding
        middle, upper = (np.asarray(each) for each in np.quantile(shown, [0.5, 1 - ONE_SIDED], axis=1))
        scale = np.maximum(upper - middle, LEAST_SCALE)
        largest = ((shown - middle[:, None]) / scale[:, None]).max(axis=0)
        edges.append(middle + float(np.quantile(largest, 1 - ONE_SIDED)) * scale)
    return np.asarray(np.max(edges, axis=0))


def _marked(channel: ChannelAnswer, refused_hz: Real) -> ChannelAnswer:
    """The same channel, impossible where one of its readings is."""
    band = channel.band
    held = (refused_hz >= band.low_hz) & (refused_hz <= band.high_hz * (1 + 1e-12))
    return replace(channel, verdict=IMPOSSIBLE) if held.any() else channel


def _half(low: float, high: float) -> float:
    """Standard uncertainty of one reading from the interval of the difference of two of the same antenna."""
    return max((high - low) / (2 * 1.96 * math.sqrt(2)), 1e-6)


def bench_of(
    setup: Setup, readings: Readings, seed: int = SEED, progress: Callable[[float], None] | None = None
) -> ReadingPair:
    """Draw for the frequencies of a sweep."""
    most, batches = (MOST_WITHOUT_PHASE, BATCHES // 2) if readings.reflection is None else (MOST_POINTS, BATCHES)
    step = -(-readings.freq_hz.size // most)
    freq = readings.freq_hz[::step]
    trials = draw_jointly(setup, freq, 2, batches, seed, progress)
    bands = bands_of(setup, freq)
    measurement = measurement_of(setup, build(setup, readings.freq_hz))
    nearest = _nearest(bands, readings.freq_hz, step, freq.size)
    return ReadingPair(
        setup, trials, bands, step, readings.freq_hz.size, measurement, nominal_maps(measurement), nearest
    )


def _nearest(bands: Sequence[ChannelBand], freq_hz: Real, step: int, drawn: int) -> NDArray[np.intp]:
    """Which of the drawn frequencies stands for each point; one of its own channel, none outside all of them."""
    nearest = np.minimum(np.rint(np.arange(freq_hz.size) / step).astype(np.intp), drawn - 1)
    if not bands[0].is_channel:
        return nearest
    found = np.full(freq_hz.size, -1, dtype=np.intp)
    for band in bands:
        here = (freq_hz >= band.low_hz) & (freq_hz <= band.high_hz * (1 + 1e-12))
        found[here] = np.clip(nearest[here], band.members.start, band.members.stop - 1)
    return found
