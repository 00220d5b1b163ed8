"""What an antenna would read after a change of length, and the change that readings can distinguish from their own noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.reflection import vswr
from chain.results import COVERAGE
from chain.sweeps.readings import Readings
from chain.tuning.crossings import TAIL, Estimate, ends, lowest, reading_fit
from chain.tuning.records import Band, Prediction, TrialChange, Wanted
from chain.tuning.spans import Valley, inside
from chain.tuning.trials import BATCHES, BenchSweep, screens
from chain.uncertainty.measurement import nominal_maps
from chain.uncertainty.sampling import hidden_digits
from chain.uncertainty.streams import BATCH

TRIAL_CHANGES = (0.02, 0.03, 0.04, 0.05, 0.07, 0.10)
"""Changes that are tried, the smallest that shows first."""
LEAST_SEEN = 0.16
"""Share of the matched antennas that are recovered smaller than what is taken for the least."""
TINY = 1e-12
HALVINGS = 10
"""To a thousandth of the worst reflection."""
LONGEST_DELAY_S = 10e-9
"""Delay of an antenna whose phase was not read, from none to this, as in the intervals."""


def predicted(
    bench: BenchSweep, readings: Readings, wanted: Wanted, share: float, worst_now: Complex, seed: int
) -> Prediction | None:
    """Antenna and screen over the wanted span after a change; None where the sweep foretells nothing of it.

    `worst_now` are the reflections of the trials over the wanted span today, for the share of them that gain.
    """
    freq = readings.freq_hz
    chosen = inside(freq, wanted)
    seen = (freq * (1 + share) >= freq[0]) & (freq * (1 + share) <= freq[-1])
    kept, at = seen[chosen], freq[chosen & seen]
    if not at.size:
        return None
    far0, screen0 = (rows[0] for rows in screens(bench, readings, chosen & seen, share, None, seed))
    drawn = [screens(bench, readings, chosen & seen, share, batch, seed) for batch in range(BATCHES)]
    far, screen = (np.concatenate(rows) for rows in zip(*drawn, strict=True))
    true = _vswr_ends(far0, far)
    shown = _vswr_ends(screen0, screen)
    then, now = np.abs(far).max(axis=1), np.abs(worst_now[:, kept]).max(axis=1)
    return Prediction(
        share,
        at,
        far0,
        vswr(far0),
        *true,
        vswr(screen0),
        *shown,
        worst_of(at, far0, far),
        float(np.mean(then < now)),
        bool(kept.all()),
    )


def magnitude_ends(nominal: Complex, drawn: Complex) -> tuple[Real, Real]:
    """Ends of the interval of the magnitude at each frequency: the sizes that the one recovered does not contradict.

    A size is left out where an antenna that small (or large) would hardly be recovered as large (or small) as this one. The
    quantiles of the drawn sizes are no such interval: near a match all trials are too large, and those of a match too.

    Source: Two one-sided tests of the size g: |g u - e| against the recovered |v|, e the trials about it, u its direction;
    e as good as round, so that -e serves for e.
    """
    size = np.abs(nominal)
    error = drawn - nominal
    away = np.abs(error)
    count = drawn.shape[0]
    tail = int(TAIL * (count - 1))
    # A recovered size smaller than most matches give is taken for one that they do give: no interval is empty.
    held = np.maximum(size, np.partition(away, int(LEAST_SEEN * count), axis=0)[int(LEAST_SEEN * count)])
    along = (error * np.exp(-1j * np.angle(nominal))).real
    # Roots of |g u - e| = |v|: g = a +- sqrt(a^2 + |v|^2 - |e|^2), a the part of e along u.
    root = along**2 + held**2 - away**2
    largest = np.sort(np.where(root < 0, 0.0, along + np.sqrt(np.maximum(root, 0.0))), axis=0)
    # A match that comes out as large as this often enough is not contradicted.
    low = np.where(np.mean(away >= held, axis=0) >= TAIL, 0.0, np.maximum(largest[tail], 0.0))
    return np.minimum(low, size), np.maximum(largest[count - 1 - tail], size)


def worst_of(freq_hz: Real, nominal: Complex, drawn: Complex) -> Band:
    """Worst VSWR over frequencies, with the interval of the worst anywhere among them.

    Errors make the worst of a trial larger than that of the antenna, so that a lower quantile of the trials would leave out most
    antennas that match well.

    Source: Lower end: the least t for which the recovered antenna with no reflection above t, trials e added, shows a worst as large
    as the one recovered in 2.5 %; at t = 0 these are the trials of a match.
    """
    error, size = drawn - nominal, np.abs(nominal)
    seen, at = float(size.max()), int(size.argmax())
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        held = nominal * np.minimum(1.0, middle * seen / np.maximum(size, TINY))
        common = np.mean(np.abs(held + error).max(axis=1) >= seen) >= TAIL
        low, high = (low, middle) if common else (middle, high)
    most = max(float(ends(np.abs(drawn).max(axis=1))[1]), seen)
    # A match that shows this often enough is not contradicted.
    least = low * seen if high > 2.0**-HALVINGS else 0.0
    return Band(Estimate(*(float(vswr(end)) for end in (seen, least, most))), float(freq_hz[at]))


def _vswr_ends(nominal: Complex, drawn: Complex) -> tuple[Real, Real]:
    """Ends of the interval at each frequency, as VSWR."""
    low, high = magnitude_ends(nominal, drawn)
    return vswr(low), vswr(high)


def trial_change(
    bench: BenchSweep,
    readings: Readings,
    dip_hz: float,
    direction: str,
    wanted: Wanted,
    seed: int,
    own: Valley | None = None,
) -> TrialChange | None:
    """The smallest change worth trying: the dip moves further than two readings of one antenna differ.

    Shorter only where the element is taken for too long: what is made longer by tape or foil can be undone, a cut cannot.
    None where not even the largest change shows, or where the smallest that does would go far past the middle.
    """
    tellable = repeats(bench, readings, seed, own=own).dip_hz
    toward = -1.0 if direction == "too long" else 1.0
    needed = abs(dip_hz / wanted.aim_hz - 1)
    shares = [each for each in TRIAL_CHANGES if _moved(dip_hz, toward * each) > tellable]
    if not shares:
        return None
    least = shares[0]
    # Nothing is gained by passing the wanted frequency, where a smaller change already shows.
    if needed < least / 2:
        return None
    if needed < least and _moved(dip_hz, toward * needed) > tellable:
        least = round(needed, 3)
    share, length_m = toward * least, bench.setup.antenna.length_m
    return TrialChange(share, dip_hz, dip_hz / (1 + share), tellable, length_m and share * length_m)


def _moved(dip_hz: float, share: float) -> float:
    return abs(dip_hz / (1 + share) - dip_hz)


@dataclass(frozen=True)
class Repeats:
    """How far two readings of one antenna differ, at most in a stated share of pairs.

    `dip_hz`: place of the least reflection; `level`: mean magnitude over the sweep; `most`: largest difference anywhere in it.
    """

    dip_hz: float
    level: float
    most: float


def repeats(
    bench: BenchSweep, readings: Readings, seed: int, share: float = COVERAGE, own: Valley | None = None
) -> Repeats:
    """Differences of two readings of one antenna through the same drawn chains.

    Without a phase the antenna is taken at a phase of its own in each trial, turning by a delay up to the longest. Of several
    dips `own` is the one whose place counts.
    """
    freq = readings.freq_hz
    if readings.reflection is None:
        rng = np.random.default_rng([seed, 7])
        start, delay = rng.random((2, BATCH, 1))
        seen: Complex = readings.magnitude * np.exp(2j * np.pi * (start - freq * delay * LONGEST_DELAY_S))
    else:
        seen = readings.reflection
    far = bench.maps(0, seed).recovered(seen)
    smooth = reading_fit(freq, bench.narrowest_q)
    one, two = (_shown(bench, readings, far, repeat, seed) @ smooth.T for repeat in (1, 2))
    part = slice(None) if own is None else slice(own.first, max(own.last + 1, own.first + 3))
    minima = [np.clip(lowest(freq[part], each[:, part]), freq[part][0], freq[part][-1]) for each in (one, two)]
    apart = np.abs(minima[0] - minima[1]), np.abs(np.mean(one - two, axis=1)), np.abs(one - two).max(axis=1)
    dip_hz, level, most = (float(np.quantile(each, share)) for each in apart)
    # No dip is placed more closely than half a step of the sweep.
    return Repeats(max(dip_hz, float(np.median(np.diff(freq))) / 2), level, most)


def _shown(bench: BenchSweep, readings: Readings, far: Complex, repeat: int, seed: int) -> Real:
    """Magnitude that a further reading of drawn antennas shows, with the digits of the first, each point's by itself."""
    shown = bench.maps(0, seed, repeat).reading(far)
    phase, half = readings.reflection is not None, readings.rounding
    shown = shown if phase else np.abs(shown)
    if half is not None:
        shown = shown + hidden_digits(np.random.default_rng([seed, repeat, 17]), BATCH, half, phase, together=False)
    return np.abs(shown)


def nominal_reading(bench: BenchSweep, far: Complex) -> Complex:
    """What the screen shows of an antenna with every unknown at zero."""
    return np.asarray(nominal_maps(bench.measurement).reading(far)[0])
