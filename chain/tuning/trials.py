"""A sweep taken back to the antenna by every drawn measurement, whole sweeps at a time: what it may truly have been.

Each trial undoes the reading as it stands, so that errors that are common to the sweep stay common: a resonance is not
blurred by what shifts all its neighbours alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.errors import RangeError
from chain.rf.elements import Element, aligned
from chain.rf.parts import elements_of
from chain.rf.twoport import Maps, through
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.tuning.crossings import FEWEST, USUAL_Q, local_fit
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps, simulate
from chain.uncertainty.sampling import draw, hidden_digits
from chain.uncertainty.streams import BATCH

BATCHES = 4
MOST_POINTS = 301
FEED_STREAM, ROUNDING_STREAM = 900, 990


@dataclass(frozen=True)
class BenchSweep:
    """A set-up at the frequencies of a sweep, with what lies between the antenna's connector and its element."""

    setup: Setup
    measurement: Measurement
    feed: tuple[Element, ...]
    element_ohm: float
    narrowest_q: float
    kept: dict[tuple[int, int], tuple[NDArray[np.complex64], ...]] = field(
        default_factory=dict, repr=False, compare=False
    )
    """Drawn maps of the first reading, wanted once to undo it and once more to foretell the next."""

    @property
    def freq_hz(self) -> Real:
        """Frequencies of the readings."""
        return self.measurement.freq_hz

    def maps(self, batch: int | None, seed: int, repeat: int = 0) -> Maps:
        """Maps from the antenna's connector to the reading: a batch of trials, or the nominal one.

        With `repeat` the same chains are read again: noise, drift, the re-made joint and the flexed lead are new.
        """
        if batch is None:
            return nominal_maps(self.measurement)
        if repeat:
            return simulate(self.measurement, batch, seed, repeat=repeat)
        if (batch, seed) not in self.kept:
            made = simulate(self.measurement, batch, seed)
            # Half the memory, and what it rounds is far below what is drawn.
            self.kept[batch, seed] = tuple(each.astype(np.complex64) for each in (made.p, made.q, made.r))
        return Maps(*(each.astype(complex) for each in self.kept[batch, seed]))

    def feed_maps(self, batch: int | None = None, seed: int = 0) -> Maps:
        """Drawn maps from the element to the antenna's connector; the nominal one without a batch."""
        if batch is None:
            return through([element.nominal()[None] for element in self.feed], (1, self.freq_hz.size))
        # Numbers that no stream of the measurement has: those of elements begin at 100, those of noise at 1001.
        streams = [
            np.random.Generator(np.random.Philox(np.random.SeedSequence([seed, FEED_STREAM + index, batch])))
            for index in range(len(self.feed))
        ]
        drawn = [draw(element, rng, BATCH) for element, rng in zip(self.feed, streams, strict=True)]
        return through(drawn, (BATCH, self.freq_hz.size))


@dataclass(frozen=True)
class Antennas:
    """Reflections over the trials, smoothed: at the antenna's connector, at its element, and the slope of the latter [1/Hz]."""

    far: Complex
    element: Complex
    slope: Complex


def prepared(readings: Readings) -> Readings:
    """Readings as they are used: enough of them, and of a very long sweep every so many."""
    count = readings.freq_hz.size
    if count < FEWEST:
        raise RangeError(
            f"{count} reading{'' if count == 1 else 's'} cannot show where an antenna resonates",
            f"give a sweep of {FEWEST} points or more, reaching past the wanted channels on either side",
        )
    step = -(-count // MOST_POINTS)
    if step == 1:
        return readings
    # Left out and not averaged: a mean has other digits than those that were read.
    remark = f"of {count} readings every {_nth(step)} is used"
    return replace(readings.at(slice(0, None, step)), warnings=(*readings.warnings, remark))


def _nth(number: int) -> str:
    return f"{number}{ {2: 'nd', 3: 'rd'}.get(number, 'th') }"


def bench_of(setup: Setup, freq_hz: Real) -> BenchSweep:
    """The measurement of a set-up, and the elements of the antenna's own feed."""
    measurement = measurement_of(setup, build(setup, freq_hz))
    inner = [element for item in setup.antenna.feed for element in elements_of(item, freq_hz)]
    ohm = inner[-1].far_ohm if inner else setup.far.impedance_ohm
    feed = aligned(inner, setup.far.impedance_ohm, ohm, freq_hz)
    return BenchSweep(setup, measurement, feed, ohm, float(getattr(setup.far, "antenna_q", None) or USUAL_Q))


def antennas(bench: BenchSweep, readings: Readings, batch: int | None, seed: int) -> Antennas:
    """Undo a sweep by every map of a batch, or by the nominal map where no batch is named."""
    far, element = _undone(bench, readings, batch, seed)
    value, slope = local_fit(bench.freq_hz, bench.freq_hz, bench.narrowest_q)
    # Smoothed once it is undone: in the reading the lead turns faster than any antenna, and a fit would take that away.
    smooth = far @ value.T
    return Antennas(smooth, element @ value.T if bench.feed else smooth, element @ slope.T)


def _undone(bench: BenchSweep, readings: Readings, batch: int | None, seed: int) -> tuple[Complex, Complex]:
    """The antenna at its connector and at its element, of a complex sweep with all that its digits may hide."""
    assert readings.reflection is not None
    seen = readings.reflection + rounded(readings.rounding, batch, seed)
    far = bench.maps(batch, seed).recovered(seen)
    return far, bench.feed_maps(batch, seed).recovered(far) if bench.feed else far


def rounded(rounding: Real | None, batch: int | None, seed: int, which: int = 0) -> Complex | Real | float:
    """What the digits of a complex reading hide, in every trial; nothing without a batch."""
    if rounding is None or batch is None:
        return 0.0
    return hidden_digits(np.random.default_rng([seed, ROUNDING_STREAM, batch, which]), BATCH, rounding, True)


def screens(
    bench: BenchSweep, readings: Readings, chosen: NDArray[np.bool_], change: float, batch: int | None, seed: int
) -> tuple[Complex, Complex]:
    """What the antenna would be and what a second reading of it would show at chosen frequencies, its element made longer.

    The second is shown with as many digits as the first.

    Source: An element longer by a factor k behaves at f as it did at k f.
    """
    _, element = _undone(bench, readings, batch, seed)
    value, _ = local_fit(bench.freq_hz, bench.freq_hz[chosen] * (1 + change), bench.narrowest_q)
    moved = element @ value.T
    then = _at(bench.maps(batch, seed, repeat=1), chosen)
    far_then = _at(bench.feed_maps(batch, seed), chosen).reading(moved) if bench.feed else moved
    digits = None if readings.rounding is None else readings.rounding[chosen]
    return far_then, then.reading(far_then) + rounded(digits, batch, seed, 1)


def _at(maps: Maps, chosen: NDArray[np.bool_]) -> Maps:
    return Maps(maps.p[:, chosen], maps.q[:, chosen], maps.r[:, chosen])
