"""Coverage intervals over a sweep: blocks of frequencies drawn and inverted one after another, in flat memory."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real, median
from chain.results import COVERAGE, SEED
from chain.rf.twoport import Maps, compose, shifted
from chain.uncertainty.measurement import Measurement, nominal_maps, simulate, undoing
from chain.uncertainty.one_sided_tests import Ends, Terms, invert
from chain.uncertainty.parallel import go_on, in_order
from chain.uncertainty.streams import BATCH, stream
from library.frozen import dataclass

Made = TypeVar("Made")
Floats = NDArray[np.float32]
Progress = Callable[[float], None]

BLOCK, MORE, FEW = 256_000, 1.1, 16
"""Drawn measurements times frequencies held at a time: what stays in the cache, whatever the number of threads; so many times
as much where there are few blocks, of which one more would be much."""
TOGETHER = 100_000
"""Drawn measurements times frequencies made at a time: enough that each step is worth its call, and no more than is at hand."""
MOST_BATCHES = 32
"""Batches made at a time, so that those of one frequency are shared among threads too."""
LONG_SWEEP, VERY_LONG_SWEEP = 50, 1000
MOST_KEPT = 60_000_000
"""Bytes of drawn terms that are kept for a second question."""
PHASES = np.exp(2j * np.pi * (np.arange(72) + 0.5) / 72)[:, None]
ROUNDED = "rounding"
MOST_DRAWS = 1_024_000
MOST_DRAWN_POINTS = 20_000_000
"""Trials times frequencies that a second digit may cost: about ten seconds."""
SPARE = 1.2


@dataclass(frozen=True)
class Observation:
    """What was observed at each frequency: the size of a reading, or that of a recovered reflection with its phase.

    `rounding` is half a step of the reading's last digit, as a magnitude; for a complex reading, of either part.
    """

    size: Real
    phase_rad: Real | None = None
    rounding: Real | None = None

    def at(self, chosen: slice) -> Observation:
        """The same at some of its frequencies."""
        return Observation(*(None if each is None else each[chosen] for each in vars(self).values()))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Intervals:
    """Intervals of the true magnitude over frequency, with the trials they were made from."""

    ends: Ends
    coverage: float
    seed: int
    draws: int


@dataclass(frozen=True)
class SweepTest:
    """Outcome over frequency and for groups of frequencies.

    `edge` is the statistic above which a point makes the sweep fail; `chance` that an antenna at the limit everywhere shows a
    worst point this bad or worse, at the phase that makes it likeliest; `group_chance` the same of each group by itself.
    """

    edge: Real
    chance: float
    group_chance: tuple[float, ...]
    draws: int


class Kept:
    """Terms drawn once and asked for again with the same measurement, seed and observation; not those of a long sweep."""

    def __init__(self) -> None:
        self._terms: dict[tuple[int, int, int], Terms] = {}
        self._room = MOST_KEPT

    def put(self, chosen: slice, terms: Terms) -> None:
        """Keep the terms of some frequencies, as long as there is room."""
        size = sum(each.nbytes for each in vars(terms).values())
        if size <= self._room:
            self._room -= size
            self._terms[chosen.start, chosen.stop, terms.square.shape[1]] = terms

    def take(self, chosen: slice, draws: int) -> Terms | None:
        """Terms kept of some frequencies and so many draws, handed out once."""
        # Room for the next question, which may be as large.
        return self._terms.pop((chosen.start, chosen.stop, draws), None)


def draw_count(points: int) -> int:
    """Trials that keep the risk of either side where it is stated, for so many frequencies: the fewer, the more of them."""
    if points == 1:
        return 64_000
    if points < LONG_SWEEP:
        return 16_000
    return 8_000 if points <= VERY_LONG_SWEEP else 4_000


def intervals(
    measurement: Measurement,
    seen: Observation,
    limit: float | None = None,
    strict_share: Real | None = None,
    draws: int | None = None,
    seed: int = SEED,
    progress: Progress | None = None,
    kept: Kept | None = None,
) -> Intervals:
    """Intervals of the true magnitude behind what was observed at each frequency of a measurement."""
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> Ends:
        here = seen.at(chosen)
        terms = drawn_terms(measurement, chosen, drawn, seed, here)
        if kept is not None:
            kept.put(chosen, terms)
        rounding = rounded(here, drawn, seed, chosen.start)
        strict = None if strict_share is None else strict_share[chosen]
        return invert(terms, here.size, here.phase_rad, COVERAGE, limit, rounding, strict)

    parts = list(blocks(run, measurement.freq_hz.size, drawn, progress))
    return Intervals(Ends.joined(parts), COVERAGE, seed, drawn)


def whole_batches(draws: int) -> int:
    """Trials rounded up to whole batches."""
    return max(1, -(-draws // BATCH)) * BATCH


def draws_remark(asked: int | None) -> tuple[str, ...]:
    """What to say of a number of draws that is none of whole batches."""
    drawn = 0 if asked is None else whole_batches(asked)
    return (f"{asked} draws: rounded up to {drawn}, whole thousands",) if asked is not None and drawn != asked else ()


def blocks(run: Callable[[slice], Made], count: int, draws: int, progress: Progress | None = None) -> Iterator[Made]:
    """Results for blocks of frequencies in order, made on several threads; the blocks do not depend on how many."""
    # By the number of trials alone: blocks that went with the threads would let the machine decide the last digit.
    most = max(1, BLOCK // draws)
    if count < FEW * most:
        most = int(MORE * most)
    # Even blocks, of which the last is no small one that the other threads wait for.
    edges = np.linspace(0, count, -(-count // most) + 1).round().astype(int).tolist()
    chosen = [slice(*each) for each in itertools.pairwise(edges)]
    for index, made in enumerate(in_order(run, chosen)):
        if progress is not None:
            progress((index + 1) / len(chosen))
        yield made


def drawn_terms(
    measurement: Measurement,
    chosen: slice | NDArray[np.intp],
    draws: int,
    seed: int,
    seen: Observation | None = None,
) -> Terms:
    """Terms of drawn measurements at some of the frequencies; undone by the nominal map for a reading with a phase."""
    here = measurement.at(chosen)
    places = np.arange(chosen.start, chosen.stop) if isinstance(chosen, slice) else chosen
    recovered = seen is not None and seen.phase_rad is not None
    terms = Terms.empty(places.size, draws)
    shares = []
    # Even parts, each as much as a core has at hand.
    for rows in np.array_split(np.arange(places.size), -(-places.size * BATCH // TOGETHER)):
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        some = here if rows.size == places.size else here.at(part)
        # With a phase the statistic is the recovered magnitude: what is known of the mismatch is taken out before the test.
        undo = undoing(some) if recovered and some.after else None
        together = max(1, min(TOGETHER // (BATCH * rows.size), MOST_BATCHES))
        shares += [
            (part, some, undo, range(batch, min(batch + together, draws // BATCH)))
            for batch in range(0, draws // BATCH, together)
        ]

    def made(share: tuple[slice, Measurement, Maps | None, range]) -> None:
        go_on()
        part, some, undo, batches = share
        first = places[part].tolist()
        maps = simulate(some, batches.start, seed, first, batches=len(batches), single=True)
        if recovered:
            assert seen is not None
            assert isinstance(chosen, slice)
            maps = _with_rounding(maps, seen.at(part), batches, seed, first[0])
        if undo is not None:
            maps = compose(undo, maps)
        terms.put(batches.start * BATCH, maps, part)

    # Where blocks of frequencies are not what the threads share, they share the trials.
    alone = places.size == measurement.freq_hz.size
    for _ in in_order(made, shares) if alone else map(made, shares):
        pass
    return terms


def _with_rounding(maps: Maps, seen: Observation | None, batches: range, seed: int, first: int) -> Maps:
    """Complex readings with what their digits leave open, rectangular on either part."""
    if seen is None or seen.rounding is None or not seen.rounding.any():
        return maps
    offset = np.empty(maps.p.shape, dtype=complex)
    for place, batch in enumerate(batches):
        rows = slice(place * BATCH, (place + 1) * BATCH)
        for column, half in enumerate(seen.rounding):
            # Even numbers for complex readings, odd ones for magnitudes.
            rng = stream(seed, ROUNDED, batch, 2 * (first + column))
            offset.real[rows, column], offset.imag[rows, column] = rng.uniform(-half, half, (2, BATCH))
    return shifted(maps, offset)


def rounded(seen: Observation, draws: int, seed: int, first: int) -> Floats | None:
    """What the digits of a magnitude add to it, rectangular, shape (frequencies, trials); None where they add nothing.

    Those of a complex reading are in its terms already.
    """
    if seen.rounding is None or seen.phase_rad is not None or not seen.rounding.any():
        return None
    out = np.empty((seen.rounding.size, draws), dtype=np.float32)
    for column, half in enumerate(seen.rounding):
        rng = stream(seed, ROUNDED, 0, 2 * (first + column) + 1)
        np.multiply(rng.random(draws, dtype=np.float32) * 2 - 1, np.float32(half), out=out[column])
    return out


def of_magnitude(measurement: Measurement, magnitude: float, has_phase: bool) -> Observation:
    """What would be observed of a true magnitude with every unknown at zero: the median over the antenna's phase."""
    count = measurement.freq_hz.size
    if has_phase:
        # The phase zero stands for all, since `_widest` turns it by quarters.
        return Observation(np.full(count, magnitude), np.zeros(count))
    # Of unknown phase: as many antennas of that size read more as read less.
    known = nominal_maps(measurement)
    return Observation(median(np.abs(known.reading(magnitude * PHASES))))


def interval_of(
    measurement: Measurement,
    magnitude: float,
    has_phase: bool,
    draws: int | None = None,
    seed: int = SEED,
    rounding: float | None = None,
) -> tuple[Real, Real]:
    """Interval that the nominal reading of a true magnitude would give, at each frequency; it holds that magnitude.

    `rounding` is half a step of the reading's last digit, as a magnitude.
    """
    return intervals_of(measurement, [magnitude], has_phase, draws, seed, rounding=rounding)[0]


def intervals_of(
    measurement: Measurement,
    magnitudes: list[float],
    has_phase: bool,
    draws: int | None = None,
    seed: int = SEED,
    kept: Kept | None = None,
    rounding: float | None = None,
) -> list[tuple[Real, Real]]:
    """Intervals that the nominal readings of true magnitudes would give, all from the same trials."""
    half = None if rounding is None else np.full(measurement.freq_hz.size, rounding)
    wanted = [replace(of_magnitude(measurement, each, has_phase), rounding=half) for each in magnitudes]
    drawn = whole_batches(draws or draw_count(measurement.freq_hz.size))

    def run(chosen: slice) -> list[tuple[Real, Real]]:
        terms = None if kept is None else kept.take(chosen, drawn)
        if terms is None:
            terms = drawn_terms(measurement, chosen, drawn, seed, wanted[0].at(chosen))
        return [
            _widest(terms, here, true, rounded(here, drawn, seed, chosen.start))
            for here, true in zip((seen.at(chosen) for seen in wanted), magnitudes, strict=True)
        ]

    parts = list(blocks(run, measurement.freq_hz.size, drawn))
    return [
        (np.concatenate([part[each][0] for part in parts]), np.concatenate([part[each][1] for part in parts]))
        for each in range(len(magnitudes))
    ]


def _widest(terms: Terms, here: Observation, magnitude: float, rounding: Floats | None = None) -> tuple[Real, Real]:
    """Errors of standards weigh differently on reflections a quarter turn apart: the widest interval counts."""
    if here.phase_rad is None:
        ends = invert(terms, here.size, None, COVERAGE, None, rounding, errors=False)
        low, high = ends.low, ends.high
    else:
        # All four at once: what a call costs is hardly its size, where few places are asked about.
        turned = np.concatenate([here.phase_rad + turn * np.pi / 2 for turn in range(4)])
        ends = invert(terms, here.size, turned, COVERAGE, errors=False)
        every = ends.low.reshape(4, -1), ends.high.reshape(4, -1)
        widest = (every[1] - every[0]).argmax(axis=0), np.arange(here.size.size)
        low, high = every[0][widest], every[1][widest]
    # Trials may leave the true magnitude just outside, and an interval of its own reading holds it.
    return np.minimum(low, magnitude), np.maximum(high, magnitude)


def recovered_observation(known: Maps, reflection: Complex, rounding: Real | None = None) -> Observation:
    """What complex readings recover with the nominal map."""
    far = known.recovered(reflection)[0]
    return Observation(np.abs(far), np.angle(far), rounding)


@dataclass(frozen=True)
class Accuracy:
    """How many draws an interval takes and how well its ends are then known, as reflection magnitudes."""

    draws: int
    digits: int
    """Significant digits wanted of the uncertainty, a quarter of the interval's width."""
    end_tolerance: float
    """Half a unit of the last of them: how far off an end may be by the trials alone."""
    end_error: float
    """By how much another seed moves the ends: twice the standard deviation of the difference of two seeds."""
    settled: bool
    """Every end keeps its tolerance; otherwise the most trials were reached."""


def tolerance(low: float, high: float, digits: int) -> float:
    """Numerical tolerance of an interval's ends.

    Source: JCGM 101:2008, 7.9.2 (memory): u = c 10^l with c of the wanted digits, tolerance 10^l / 2.
    """
    # Ends at 95 % stand two standard uncertainties either side.
    spread = max((high - low) / 4, 1e-6)
    leading = int(np.floor(np.log10(spread) + 1e-12))
    return float(0.5 * 10.0 ** (leading - digits + 1))


def settled_intervals(
    make: Callable[[int | None], Intervals], draws: int | None = None, digits: int = 1
) -> tuple[Intervals, Accuracy | None]:
    """Intervals by a given number of trials; or by the usual one, or as many as a second digit needs, and how well known they are."""
    found = make(draws)
    if draws is not None:
        return found, None
    known, short = _judged(found, digits)
    most = min(MOST_DRAWS, MOST_DRAWN_POINTS // found.ends.low.size)
    if digits == 1 or known.settled or found.draws >= most:
        return found, known
    # The error of an order statistic falls with the root of the number of trials.
    found = make(min(most, int(np.ceil(SPARE * short**2 * found.draws))))
    return found, _judged(found, digits)[0]


def _judged(found: Intervals, digits: int) -> tuple[Accuracy, float]:
    """Accuracy of the ends, and by how many times the least settled of them misses its tolerance."""
    ends = found.ends
    wanted = np.array([tolerance(low, high, digits) for low, high in zip(ends.low, ends.high, strict=True)])
    # The end that is known worse decides: digits are given for both alike.
    error = np.maximum(ends.low_error, ends.high_error)
    short = float((error / wanted).max())
    return Accuracy(found.draws, digits, float(wanted.max()), float(error.max()), short <= 1), short
