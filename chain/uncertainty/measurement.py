"""Readings as they happen: drawn chains, calibration at any plane, drift, flexed leads, re-mated joints and noise.

Everything between the antenna's reflection G and the reading is a bilinear map, so a draw of the whole measurement is
three complex numbers per frequency: reading = (p G + q)/(r G + 1). The same three with every unknown at zero undo it.
Draws come in chunks of fixed size with a random stream of their own for each unknown, so the answer depends on the
seed alone and not on how the work is divided.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chain.assembly.cascade import Chain, in_view
from chain.reflection import magnitude_from_return_loss
from chain.rf import twoport
from chain.rf.bilinear import Maps, compose, identity, in_front, inverse, shifted, through
from chain.rf.elements import Stage, at_frequencies
from chain.rf.references import aligned
from chain.setups import Setup
from chain.uncertainty.calibration import Standards, assumed_reflections, drawn_reflections, solve
from chain.uncertainty.element_bounds import RESIDUALS, residual_box
from chain.uncertainty.sampled_maps import drawn_through
from chain.uncertainty.sampling import draw, unit_draws

__all__ = ["CHUNK", "Measurement", "error_terms", "measurement", "nominal_maps", "simulate"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

CHUNK = 1000
STREAMS = {
    "noise": 1,
    "drift": 2,
    "near mating": 3,
    "plane mating": 4,
    "standards": 5,
    "flex": 6,
    "swap": 7,
    "pieces": 100,
}


@dataclass(frozen=True)
class Measurement:
    """One way of measuring: pieces before and after the plane, references aligned, and every unknown that is not a piece's.

    `noise` is the standard deviation of real and imaginary part of a raw reading; `drift`, `mating` are radii of discs;
    `flex_rad` is the largest change of phase, one way, of the lead between the analyzer and the plane.
    `standards` is None for a plane at the analyzer, whose residuals are then among `after`.
    """

    freq_hz: Real
    reading_ohm: float
    far_ohm: float
    before: tuple[Stage, ...]
    after: tuple[Stage, ...]
    noise: float = 0.0
    drift: float = 0.0
    mating: float = 0.0
    flex_rad: float = 0.0
    swap: Stage | None = None
    standards: Standards | None = None

    @property
    def residuals(self) -> int:
        """How many of the pieces after the plane are the analyzer's own errors: the joint at its port lies behind them."""
        return int(self.standards is None and bool(self.after) and self.after[0].id == RESIDUALS)

    def at(self, chosen: slice) -> Measurement:
        """The same measurement at some of its frequencies."""
        return replace(
            self,
            freq_hz=self.freq_hz[chosen],
            before=tuple(at_frequencies(piece, chosen) for piece in self.before),
            after=tuple(at_frequencies(piece, chosen) for piece in self.after),
            swap=None if self.swap is None else at_frequencies(self.swap, chosen),
        )


def measurement(setup: Setup, chain: Chain) -> Measurement:
    """The measurement that a set-up describes.

    Source: A trace noise of n dB at full reflection is 10^(n/20) - 1; return losses are radii.
    """
    after, ohm = in_view(setup, chain)
    near, plane = setup.near, setup.calibration
    before: tuple[Stage, ...] = ()
    standards = None
    if plane.plane == "near":
        box = residual_box(near, chain.freq_hz)
        after = after if box is None else (box, *after)
    else:
        count = len(chain.pieces) - len(after)
        before = aligned(chain.pieces[:count], near.impedance_ohm, ohm, chain.freq_hz)
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
    )


def _radius(loss_db: float | None) -> float:
    return 0.0 if loss_db is None else float(magnitude_from_return_loss(loss_db))


def _swapped(setup: Setup, chain: Chain) -> Stage | None:
    """The adapter that stood at the plane while the standards were read, as a piece, if one is named."""
    from chain.rf.parts import stages_of
    from chain.setups import Item
    from library.records import Adapter

    name = setup.calibration.swap_adapter
    if not name or setup.calibration.plane == "near":
        return None
    part = setup.library.part(name)
    assert isinstance(part, Adapter)
    item = Item("swap", part, part.near_connector, part.far_connector)
    return stages_of(item, chain.freq_hz)[0]


def nominal_maps(way: Measurement) -> Maps:
    """The map with every unknown at zero.

    Source: A calibration without errors shows what lies after its plane.
    """
    return through([piece.nominal()[None] for piece in way.after], (1, way.freq_hz.size))


def _stream(seed: int, key: int, chunk: int, repeat: int = 0) -> np.random.Generator:
    words = [seed, key, chunk, repeat] if repeat else [seed, key, chunk]
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(words)))


def simulate(way: Measurement, chunk: int, seed: int, first_frequency: int = 0, repeat: int = 0) -> Maps:
    """One chunk of drawn measurements."""
    count = CHUNK
    shape = (count, way.freq_hz.size)
    pieces = (*way.before, *way.after)
    own, hidden = len(way.before), len(way.before) + way.residuals

    def stream(index: int) -> np.random.Generator:
        return _stream(seed, STREAMS["pieces"] + index, chunk)

    box = drawn_through(pieces[:own], stream, *shape)
    residuals = [draw(pieces[index], stream(index), count) for index in range(own, hidden)]
    seen = drawn_through(pieces[hidden:], lambda index: stream(hidden + index), *shape)
    drift = way.drift * unit_draws(_stream(seed, STREAMS["drift"], chunk, repeat), count, "disc") if way.drift else 0.0
    noise = _noise(way, seed, chunk, first_frequency, 0, shape, repeat)
    if way.standards is None:
        if way.mating:
            seen = _mated(seen, way.mating, _stream(seed, STREAMS["near mating"], chunk, repeat), count)
        if residuals:
            seen = in_front(residuals[0], seen)
        return _full(shifted(seen, np.asarray(noise + drift)), shape)
    return _full(_calibrated(way, box, seen, (noise + drift, seed, chunk, first_frequency), repeat), shape)


def _mated(inner: Maps, radius: float, rng: np.random.Generator, count: int) -> Maps:
    """A joint opened and closed again: a small lossless junction in front."""
    reflection = radius * unit_draws(rng, count, "disc")
    s = twoport.empty(reflection.shape)
    s[..., 0, 0], s[..., 1, 1] = reflection, -np.conj(reflection)
    s[..., 0, 1] = s[..., 1, 0] = np.sqrt(1 - np.abs(reflection) ** 2)
    return in_front(s, inner)


def _full(maps: Maps, shape: tuple[int, int]) -> Maps:
    return Maps(*(np.broadcast_to(value, shape) for value in (maps.p, maps.q, maps.r)))


def _noise(
    way: Measurement, seed: int, chunk: int, first: int, which: int, shape: tuple[int, int], repeat: int = 0
) -> Complex | float:
    if not way.noise:
        return 0.0
    pairs = np.empty((shape[1], 2, shape[0]))
    for column, pair in enumerate(pairs):
        rng = _stream(seed, STREAMS["noise"] + 10 * (which + 4 * (first + column) + 100), chunk, repeat)
        rng.standard_normal(out=pair)
    out = np.empty(shape, dtype=complex)
    np.multiply(pairs[:, 0].T, way.noise, out=out.real)
    np.multiply(pairs[:, 1].T, way.noise, out=out.imag)
    return out


def _calibrated(
    way: Measurement, box: Maps, seen: Maps, run: tuple[Complex | float, int, int, int], repeat: int
) -> Maps:
    """Apply the error terms of a drawn calibration to the antenna's reading."""
    offset, seed, chunk, first = run
    mating = _stream(seed, STREAMS["plane mating"], chunk)
    solved = error_terms(way, box, mating, (seed, chunk, first))
    if way.mating:
        again = _stream(seed, STREAMS["plane mating"], chunk, repeat) if repeat else mating
        seen = _mated(seen, way.mating, again, CHUNK)
    flexed = _flexed(compose(box, seen), way.flex_rad, _stream(seed, STREAMS["flex"], chunk, repeat))
    total = shifted(flexed, np.asarray(offset))
    return compose(inverse(solved), total)


def error_terms(
    way: Measurement, box: Maps, mating: np.random.Generator, run: tuple[int, int, int], count: int = CHUNK
) -> Maps:
    """Read three standards through a drawn chain and solve for the error terms of the calibration."""
    seed, chunk, first = run
    standards = way.standards
    assert standards is not None
    shape = (count, way.freq_hz.size)
    true = drawn_reflections(standards, way.freq_hz, _stream(seed, STREAMS["standards"], chunk), count)
    adapter = None
    if way.swap is not None:
        adapter = through([draw(way.swap, _stream(seed, STREAMS["swap"], chunk), count)], shape)
    raw = []
    for index, reflection in enumerate(true):
        at_plane = reflection
        if adapter is not None:
            nominal = through([way.swap.nominal()[None]], shape)  # type: ignore[union-attr]
            at_plane = nominal.recovered(adapter.reading(reflection))
        if way.mating:
            at_plane = _mated(identity((1, 1)), way.mating, mating, count).reading(at_plane)
        raw.append(box.reading(at_plane) + _noise(way, seed, chunk, first, index + 1, shape))
    return solve(raw, assumed_reflections(standards, way.freq_hz))


def _flexed(reading: Maps, flex_rad: float, rng: np.random.Generator) -> Maps:
    """Readings after the lead at the analyzer was moved: turned by a small angle either way, rectangular.

    The turn takes the reflections of the pad and the adapters with it, which the calibration had taken out as they stood;
    a turn of the antenna's reflection alone would leave its magnitude as it is.
    """
    if not flex_rad:
        return reading
    turn = np.exp(-2j * rng.uniform(-flex_rad, flex_rad, (CHUNK, 1)))
    return Maps(reading.p * turn, reading.q * turn, reading.r)
