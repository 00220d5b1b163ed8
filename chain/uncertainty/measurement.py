"""Readings as they happen: drawn chains, calibration at any plane, drift, flexed leads, re-mated joints and noise.

Everything between the antenna's reflection G and the reading is a bilinear map, so a draw of the whole measurement is
three complex numbers per frequency: reading = (p G + q)/(r G + 1). The same three with every unknown at zero undo it.
Draws come in chunks of fixed size with a random stream of their own for each unknown, so the answer depends on the
seed alone and not on how the work is divided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from chain.arrays import Complex, Real
from chain.assembly.cascade import Chain, in_view
from chain.reflection import magnitude_from_return_loss
from chain.rf import twoport
from chain.rf.bilinear import Maps, compose, identity, in_front, inverse, shifted, through
from chain.rf.elements import Element, at_frequencies
from chain.rf.references import aligned
from chain.setups import Setup
from chain.uncertainty.calibration import Standards, assumed_reflections, drawn_reflections, solve
from chain.uncertainty.element_bounds import RESIDUALS, residual_box
from chain.uncertainty.sampled_maps import drawn_through
from chain.uncertainty.sampling import draw, unit_draws

__all__ = ["BATCH", "Measurement", "error_terms", "measurement_of", "nominal_maps", "simulate", "stream"]


BATCH = 1000
STREAMS = {
    "noise": 1,
    "drift": 2,
    "near mating": 3,
    "plane mating": 4,
    "standards": 5,
    "flex": 6,
    "swap": 7,
    "rounding": 8,
    "pieces": 100,
}


@dataclass(frozen=True)
class Measurement:
    """One way of measuring: pieces before and after the plane, references aligned, and every unknown that is not a piece's.

    `noise` is the standard deviation of real and imaginary part of a raw reading; `drift`, `mating` are radii;
    `flex_rad` is the largest change of phase, one way, of the lead between the analyzer and the plane, `flex_delay_s` that of
    its delay; both move together.
    `standards` is None for a plane at the analyzer, whose residuals are then among `after`.
    """

    freq_hz: Real
    reading_ohm: float
    far_ohm: float
    before: tuple[Element, ...]
    after: tuple[Element, ...]
    noise: float = 0.0
    drift: float = 0.0
    mating: float = 0.0
    flex_rad: float = 0.0
    swap: Element | None = None
    standards: Standards | None = None
    flex_delay_s: float = 0.0
    noise_factor: float | Real = 1.0
    """What averaging leaves of the noise of the antenna's reading, not of the standards', over frequency or everywhere."""
    drift_kind: str = "disc"
    mating_kind: str = "disc"

    @property
    def residuals(self) -> int:
        """How many of the pieces after the plane are the analyzer's own errors: the joint at its port lies behind them."""
        return int(self.standards is None and bool(self.after) and self.after[0].id == RESIDUALS)

    @property
    def turn_rad(self) -> Real:
        """Largest change of phase of the lead before the plane, one way, over frequency.

        Source: Phase of a delay: 2 pi f t.
        """
        return np.asarray(self.flex_rad + 2 * np.pi * self.freq_hz * self.flex_delay_s)

    def at(self, chosen: slice) -> Measurement:
        """The same measurement at some of its frequencies."""
        return replace(
            self,
            freq_hz=self.freq_hz[chosen],
            before=tuple(at_frequencies(element, chosen) for element in self.before),
            after=tuple(at_frequencies(element, chosen) for element in self.after),
            swap=None if self.swap is None else at_frequencies(self.swap, chosen),
            noise_factor=self.noise_factor[chosen] if isinstance(self.noise_factor, np.ndarray) else self.noise_factor,
        )


def measurement_of(setup: Setup, chain: Chain) -> Measurement:
    """The measurement that a set-up describes.

    Source: A trace noise of n dB at full reflection is 10^(n/20) - 1; return losses are radii.
    """
    after, ohm = in_view(setup, chain)
    near, plane = setup.near, setup.calibration
    # What a near plane has in front of the chain is the residual errors; a far plane makes its own from standards.
    before: tuple[Element, ...] = ()
    standards = None
    if plane.plane == "near":
        box = residual_box(near, chain.freq_hz)
        after = after if box is None else (box, *after)
    else:
        count = len(chain.elements) - len(after)
        before = aligned(chain.elements[:count], near.impedance_ohm, ohm, chain.freq_hz)
        standards = Standards.of(plane, ohm)
    return Measurement(
        chain.freq_hz,
        ohm,
        chain.far_ohm,
        before,
        aligned(after, ohm, chain.far_ohm, chain.freq_hz),
        0.0 if near.trace_noise_db is None else 10 ** (near.trace_noise_db / 20) - 1,
        _radius(near.drift_db),
        _radius(near.repeatability_db),
        float(np.deg2rad(plane.flex_deg)),
        _swapped(setup, chain),
        standards,
        _flex_delay_s(setup),
        drift_kind=near.drift_kind,
        mating_kind=near.repeatability_kind,
    )


def _flex_delay_s(setup: Setup) -> float:
    """Delay by which a lead before the plane may change when it is moved [s]; none where no lead lies there."""
    ids = [item.id for item in setup.items]
    plane = setup.calibration
    before = setup.items[: ids.index(plane.plane) + 1] if plane.plane in ids else ()
    return plane.flex_deg_at_1ghz / 360 / 1e9 if any(item.part.kind == "coax" for item in before) else 0.0


def _radius(loss_db: float | None) -> float:
    return 0.0 if loss_db is None else float(magnitude_from_return_loss(loss_db))


def _swapped(setup: Setup, chain: Chain) -> Element | None:
    """The adapter that stood at the plane while the standards were read, as a piece, if one is named."""
    from chain.rf.parts import elements_of
    from chain.setups import Item
    from library.records import Adapter

    name = setup.calibration.swap_adapter
    if not name or setup.calibration.plane == "near":
        return None
    part = setup.library.part(name)
    assert isinstance(part, Adapter)
    item = Item("swap", part, part.near_connector, part.far_connector)
    return elements_of(item, chain.freq_hz)[0]


def nominal_maps(measurement: Measurement) -> Maps:
    """The map with every unknown at zero.

    Source: A calibration without errors shows what lies after its plane.
    """
    return through([element.nominal()[None] for element in measurement.after], (1, measurement.freq_hz.size))


def stream(seed: int, what: str, batch: int, which: int) -> np.random.Generator:
    """Random numbers of their own for one of `STREAMS`, a batch and a number within it."""
    return _stream(seed, STREAMS[what], batch, which + 1)


class _Joined:
    """Random numbers of several batches, one after the other: those of each stream are what they are alone."""

    def __init__(self, streams: Sequence[np.random.Generator]) -> None:
        self._streams = streams

    def random(self, shape: tuple[int, ...]) -> Real:
        """As of a generator; the first axis runs over the batches."""
        return np.concatenate([each.random((BATCH, *shape[1:])) for each in self._streams])

    def uniform(self, low: float, high: float, shape: tuple[int, ...]) -> Real:
        """As of a generator; the first axis runs over the batches."""
        return np.concatenate([each.uniform(low, high, (BATCH, *shape[1:])) for each in self._streams])


def _streams(seed: int, key: int, batches: range, repeat: int = 0) -> np.random.Generator:
    """Random numbers of their own for one key and some batches, as one generator."""
    if len(batches) == 1:
        return _stream(seed, key, batches.start, repeat)
    return cast("np.random.Generator", _Joined([_stream(seed, key, batch, repeat) for batch in batches]))


def _stream(seed: int, key: int, batch: int, repeat: int = 0) -> np.random.Generator:
    words = [seed, key, batch, repeat] if repeat else [seed, key, batch]
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(words)))


def simulate(
    measurement: Measurement, batch: int, seed: int, first_frequency: int = 0, repeat: int = 0, batches: int = 1
) -> Maps:
    """One batch of drawn measurements; or several, one after the other, each what it is alone."""
    count = BATCH * batches
    wanted = range(batch, batch + batches)
    shape = (count, measurement.freq_hz.size)
    elements = (*measurement.before, *measurement.after)
    own, hidden = len(measurement.before), len(measurement.before) + measurement.residuals

    def stream(index: int) -> np.random.Generator:
        return _streams(seed, STREAMS["pieces"] + index, wanted)

    box = drawn_through(elements[:own], stream, *shape)
    residuals = [draw(elements[index], stream(index), count) for index in range(own, hidden)]
    seen = drawn_through(elements[hidden:], lambda index: stream(hidden + index), *shape)
    drift = (
        measurement.drift * unit_draws(_streams(seed, STREAMS["drift"], wanted, repeat), count, measurement.drift_kind)
        if measurement.drift
        else 0.0
    )
    noise = _noise(measurement, seed, wanted, first_frequency, 0, shape, repeat)
    if measurement.standards is None:
        if measurement.mating:
            seen = _mated(seen, measurement, _streams(seed, STREAMS["near mating"], wanted, repeat), count)
        if residuals:
            seen = in_front(residuals[0], seen)
        return _full(shifted(seen, np.asarray(noise + drift)), shape)
    return _full(_calibrated(measurement, box, seen, (noise + drift, seed, wanted, first_frequency), repeat), shape)


def _mated(inner: Maps, measurement: Measurement, rng: np.random.Generator, count: int) -> Maps:
    """A joint opened and closed again: a small lossless junction in front."""
    reflection = measurement.mating * unit_draws(rng, count, measurement.mating_kind)
    s = twoport.empty(reflection.shape)
    s[..., 0, 0], s[..., 1, 1] = reflection, -np.conj(reflection)
    s[..., 0, 1] = s[..., 1, 0] = np.sqrt(1 - np.abs(reflection) ** 2)
    return in_front(s, inner)


def _full(maps: Maps, shape: tuple[int, int]) -> Maps:
    return Maps(*(np.broadcast_to(value, shape) for value in (maps.p, maps.q, maps.r)))


def _noise(
    measurement: Measurement, seed: int, batches: range, first: int, which: int, shape: tuple[int, int], repeat: int = 0
) -> Complex | float:
    if not measurement.noise:
        return 0.0
    rows = shape[0] // len(batches)
    pairs = np.empty((len(batches), shape[1], 2, rows))
    for batch, columns in zip(batches, pairs, strict=True):
        for column, pair in enumerate(columns):
            # Numbers of their own for each frequency and reading, so that blocks of frequencies
            # draw what the whole sweep would; from 1001 on, beyond those of the pieces.
            rng = _stream(seed, STREAMS["noise"] + 10 * (which + 4 * (first + column) + 100), batch, repeat)
            rng.standard_normal(out=pair)
    out = np.empty((len(batches), rows, shape[1]), dtype=complex)
    size = measurement.noise * measurement.noise_factor if which == 0 else measurement.noise
    np.multiply(pairs[:, :, 0].swapaxes(1, 2), size, out=out.real)
    np.multiply(pairs[:, :, 1].swapaxes(1, 2), size, out=out.imag)
    return out.reshape(shape)


def _calibrated(
    measurement: Measurement, box: Maps, seen: Maps, run: tuple[Complex | float, int, range, int], repeat: int
) -> Maps:
    """Apply the error terms of a drawn calibration to the antenna's reading."""
    offset, seed, batches, first = run
    count = BATCH * len(batches)
    mating = _streams(seed, STREAMS["plane mating"], batches)
    solved = error_terms(measurement, box, mating, (seed, batches, first), count)
    if measurement.mating:
        # The antenna is screwed on after the load: its joint is the next making in the standards' own stream.
        again = _streams(seed, STREAMS["plane mating"], batches, repeat) if repeat else mating
        seen = _mated(seen, measurement, again, count)
    # The lead moves what comes back through it; noise and drift arise behind it, in the receiver.
    flexed = _flexed(compose(box, seen), measurement.turn_rad, _streams(seed, STREAMS["flex"], batches, repeat), count)
    total = shifted(flexed, np.asarray(offset))
    return compose(inverse(solved), total)


def error_terms(
    measurement: Measurement, box: Maps, mating: np.random.Generator, run: tuple[int, range, int], count: int = BATCH
) -> Maps:
    """Read three standards through a drawn chain and solve for the error terms of the calibration."""
    seed, batches, first = run
    standards = measurement.standards
    assert standards is not None
    shape = (count, measurement.freq_hz.size)
    true = drawn_reflections(standards, measurement.freq_hz, _streams(seed, STREAMS["standards"], batches), count)
    adapter = None
    if measurement.swap is not None:
        adapter = through([draw(measurement.swap, _streams(seed, STREAMS["swap"], batches), count)], shape)
    raw = []
    for index, reflection in enumerate(true):
        at_plane = reflection
        if adapter is not None:
            nominal = through([measurement.swap.nominal()[None]], shape)  # type: ignore[union-attr]
            # The calibration takes the adapter's stated line out, and not the adapter as it is.
            at_plane = nominal.recovered(adapter.reading(reflection))
        if measurement.mating:
            at_plane = _mated(identity((1, 1)), measurement, mating, count).reading(at_plane)
        raw.append(box.reading(at_plane) + _noise(measurement, seed, batches, first, index + 1, shape))
    return solve(raw, assumed_reflections(standards, measurement.freq_hz))


def _flexed(reading: Maps, turn_rad: Real, rng: np.random.Generator, count: int) -> Maps:
    """Readings after the lead at the analyzer was moved: turned by a small angle either way, rectangular.

    The turn takes the reflections of the pad and the adapters with it, which the calibration had taken out as they stood;
    a turn of the antenna's reflection alone would leave its magnitude as it is.
    """
    if not turn_rad.any():
        return reading
    # Twice: there and back.
    turn = np.exp(-2j * turn_rad * rng.uniform(-1, 1, (count, 1)))
    return Maps(reading.p * turn, reading.q * turn, reading.r)
