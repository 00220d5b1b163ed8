"""Readings as they happen: drawn chains, calibration at any plane, drift, flexed leads, re-mated joints and noise.

Everything between the antenna's reflection G and the reading is a bilinear map, so a trial of the whole measurement is
three complex numbers per frequency: reading = (p G + q)/(r G + 1). The same three with every unknown at zero undo it.
Trials come in batches of fixed size with a random stream of their own for each unknown, so the answer depends on the
seed alone and not on how the work is divided.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.assembly.cascade import Chain, in_view
from chain.reflection import magnitude_from_return_loss
from chain.rf import twoport
from chain.rf.elements import Element, aligned, at_frequencies
from chain.rf.twoport import Maps, compose, inverse, shifted, through
from chain.setups import Setup
from chain.uncertainty.calibration import (
    RESIDUALS,
    Standards,
    assumed_reflections,
    drawn_reflections,
    residual_box,
    solve,
)
from chain.uncertainty.sampled_maps import constant, drawn_through
from chain.uncertainty.sampling import draw, wave
from chain.uncertainty.streams import (
    BATCH,
    STREAMS,
    RandomSource,
    RowSource,
    complex_normals,
    halved,
    source,
    unit_reflections,
)
from library.frozen import dataclass

MOST_KEPT_NORMALS = 50_000
CUT = 3.0
"""Normal unknowns are cut at this many standard deviations on each axis."""


@dataclass(frozen=True)
class Measurement:
    """A measurement: elements before and after the plane, references aligned, and every unknown that is not an element's.

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
    alike: tuple[frozenset[str], ...] = ()
    """Of each element the figures that are the same at every frequency; of a cut-out those of the whole, so that both are one."""
    noise_places: NDArray[np.intp] | None = None
    """Where each frequency stands in its own sweep, where several sweeps are drawn as one."""

    @property
    def residuals(self) -> int:
        """How many of the elements after the plane are the analyzer's own errors: the joint at its port lies behind them."""
        return int(self.standards is None and bool(self.after) and self.after[0].id == RESIDUALS)

    @property
    def turn_rad(self) -> Real:
        """Largest change of phase of the lead before the plane, one way, over frequency (phase of a delay: 2 pi f t)."""
        return np.asarray(self.flex_rad + 2 * np.pi * self.freq_hz * self.flex_delay_s)

    def at(self, chosen: slice | NDArray[np.intp]) -> Measurement:
        """The same measurement at some of its frequencies."""
        return replace(
            self,
            freq_hz=self.freq_hz[chosen],
            before=tuple(at_frequencies(element, chosen) for element in self.before),
            after=tuple(at_frequencies(element, chosen) for element in self.after),
            swap=None if self.swap is None else at_frequencies(self.swap, chosen),
            noise_factor=self.noise_factor[chosen] if isinstance(self.noise_factor, np.ndarray) else self.noise_factor,
            alike=self.alike or tuple(map(constant, (*self.before, *self.after))),
            noise_places=None if self.noise_places is None else self.noise_places[chosen],
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
        # The plane's standards define the reference: in front of it all is seen in theirs, whatever the analyzer's is.
        before = aligned(chain.elements[:count], near.impedance_ohm, ohm, chain.freq_hz)
        standards = Standards.of(plane, ohm)
    return Measurement(
        chain.freq_hz,
        ohm,
        chain.far_ohm,
        before,
        aligned(after, ohm, chain.far_ohm, chain.freq_hz),
        # Trace noise is stated at full reflection, where n dB is that share of the reading; a receiver's noise does not shrink with it.
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
    """The adapter that stood at the plane while the standards were read, as an element, if one is named."""
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
    """The map with every unknown at zero (a calibration without errors shows what lies after its plane)."""
    return through([element.nominal()[None] for element in measurement.after], (1, measurement.freq_hz.size))


@dataclass(frozen=True)
class _Run:
    """Which trials are made: of a seed some batches, from a frequency on; `repeat` reads the same chains once more."""

    seed: int
    batches: range
    first: int | Sequence[int] = 0
    repeat: int = 0
    single: bool = False
    each: int = BATCH
    """Trials of a batch."""

    @property
    def count(self) -> int:
        """How many trials."""
        return self.each * len(self.batches)

    def rows(self, what: str, repeat: int = 0) -> RandomSource:
        """Numbers of one unknown, in a row."""
        return RowSource(self.source(STREAMS[what], repeat), self.single)

    def source(self, key: int, repeat: int = 0) -> RandomSource:
        """Numbers of one key."""
        return source(self.seed, key, self.batches, repeat, self.each)


def simulate(
    measurement: Measurement,
    batch: int,
    seed: int,
    first_frequency: int | Sequence[int] = 0,
    repeat: int = 0,
    batches: int = 1,
    single: bool = False,
) -> Maps:
    """One batch of drawn measurements; or several, one after the other, each what it is alone.

    `first_frequency` is the place of the first in the sweep that they were cut out of, or the places of all of them.
    `single` is half the precision, which is plenty for quantiles of trials.
    """
    run = _Run(seed, range(batch, batch + batches), first_frequency, repeat, single)
    noise = _noise(measurement, run, 0)
    drift = _unit(run, "drift", measurement.drift_kind, repeat) * measurement.drift if measurement.drift else 0.0
    offset = noise + drift
    if measurement.standards is None:
        made = _as_it_stands(measurement, run)
        # Noise and drift add to the reading itself: no joint and no residual lies between them and the screen.
        made = shifted(made, np.asarray(offset)) if measurement.noise or measurement.drift else made
    else:
        made = _calibrated(measurement, offset, run)
    shape = (measurement.freq_hz.size, run.count)
    return Maps(*(np.broadcast_to(value, shape).T for value in (made.p, made.q, made.r)))


def undoing(measurement: Measurement) -> Maps:
    """The map that takes a reading back with every unknown at zero, in half the precision, as trials are drawn."""
    found = inverse(nominal_maps(measurement))
    return Maps(*(halved(each, True) for each in (found.p, found.q, found.r)))


def recovering(measurement: Measurement, batch: int, seed: int, first_frequency: int = 0) -> Maps:
    """What each trial of a batch makes of a true reflection once it is read and taken back."""
    return compose(undoing(measurement), simulate(measurement, batch, seed, first_frequency, single=True))


def _unit(run: _Run, what: str, kind: str, repeat: int = 0) -> Complex:
    return unit_reflections(run.rows(what, repeat), run.count, kind)


def _as_it_stands(measurement: Measurement, run: _Run) -> Maps:
    """Drawn elements behind the analyzer's own residual errors and the joint at its port."""
    elements: list[Element | Complex] = list(measurement.after)
    keys = list(range(len(elements)))
    if measurement.mating:
        remade = _remade(measurement.mating * _unit(run, "near mating", measurement.mating_kind, run.repeat))
        # At the analyzer's socket: behind what calibration left of the analyzer, and ahead of everything that is screwed on.
        elements.insert(measurement.residuals, remade)
        keys.insert(measurement.residuals, -1)
    return _drawn(elements, keys, measurement, run)


def _drawn(elements: Sequence[Element | Complex], keys: Sequence[int], measurement: Measurement, run: _Run) -> Maps:
    def numbers(place: int) -> RandomSource:
        return run.source(STREAMS["elements"] + keys[place])

    alike = [measurement.alike[key] if measurement.alike and key >= 0 else None for key in keys]
    return drawn_through(elements, numbers, run.count, measurement.freq_hz.size, run.single, alike)


def _remade(reflection: Complex) -> Complex:
    """A joint opened and closed again: a small lossless junction, as a two-port."""
    s = twoport.empty(reflection.shape)
    s[..., 0, 0], s[..., 1, 1] = reflection, -np.conj(reflection)
    # Real: a joint made again is where it was, so its way through gains no length.
    s[..., 0, 1] = s[..., 1, 0] = np.sqrt(1 - np.abs(reflection) ** 2)
    return s


_kept_normals = lru_cache(maxsize=16)(complex_normals)
"""Those of a few frequencies, which many sweeps drawn as several ask for one after the other."""


def _noise(measurement: Measurement, run: _Run, which: int) -> Complex | float:
    """Noise of the antenna's reading (0) or of a standard's, shape (frequencies, trials)."""
    if not measurement.noise:
        return 0.0
    count = measurement.freq_hz.size
    columns: Sequence[int] = range(run.first, run.first + count) if isinstance(run.first, int) else run.first
    again = None
    if measurement.noise_places is not None:
        distinct, again = np.unique(measurement.noise_places, return_inverse=True)
        columns = distinct.tolist()
    few = again is not None and len(columns) * run.count <= MOST_KEPT_NORMALS
    normals = _kept_normals if few else complex_normals
    drawn = normals(run.seed, run.batches, which, tuple(columns), run.repeat if which == 0 else 0, run.each)
    factor = measurement.noise_factor if which == 0 else 1.0
    size = halved(np.atleast_1d(measurement.noise * factor)[:, None], run.single)
    if again is None:
        return np.asarray(drawn * size)
    # What is the same in every sweep is made once.
    return np.asarray((drawn * size)[again] if size.size == 1 else drawn[again] * size)


def _calibrated(measurement: Measurement, offset: Complex | float, run: _Run) -> Maps:
    """Apply the error terms of a drawn calibration to the antenna's reading."""
    own = len(measurement.before)
    box = _drawn(measurement.before, range(own), measurement, run)
    mating = run.rows("plane mating")
    solved = _error_terms(measurement, box, mating, run)
    elements: list[Element | Complex] = list(measurement.after)
    keys = list(range(own, own + len(elements)))
    if measurement.mating:
        # The antenna is screwed on after the load: its joint is the next making in the standards' own stream.
        again = run.rows("plane mating", run.repeat) if run.repeat else mating
        elements.insert(0, _remade(measurement.mating * unit_reflections(again, run.count, measurement.mating_kind)))
        keys.insert(0, -1)
    seen = _drawn(elements, keys, measurement, run)
    # The lead moves what comes back through it; noise and drift arise behind it, in the receiver.
    total = shifted(_flexed(compose(box, seen), measurement.turn_rad[:, None], run), np.asarray(offset))
    # Error terms were solved with the lead as it lay, and undo it so; what has moved since stays in the corrected reading.
    return compose(inverse(solved), total)


def error_terms(
    measurement: Measurement, box: Maps, mating: np.random.Generator, run: tuple[int, range, int], count: int = BATCH
) -> Maps:
    """Read three standards through drawn chains, shape (trials, frequencies), and solve for the error terms of the calibration."""
    seed, batches, first = run
    turned = Maps(box.p.T, box.q.T, box.r.T)
    solved = _error_terms(
        measurement, turned, RowSource(mating), _Run(seed, batches, first, each=count // len(batches))
    )
    return Maps(solved.p.T, solved.q.T, solved.r.T)


def _error_terms(measurement: Measurement, box: Maps, mating: RandomSource, run: _Run) -> Maps:
    standards = measurement.standards
    assert standards is not None
    freq_hz, shape, again = measurement.freq_hz[:, None], box.p.shape, None
    if measurement.noise_places is not None:
        # The same standards for all the sweeps that are drawn as one.
        freq_hz, again = np.unique(freq_hz, return_inverse=True)
        freq_hz, again = freq_hz[:, None], again.ravel()
    true = drawn_reflections(standards, freq_hz, run.rows("standards"), run.count)
    adapter = nominal = None
    if measurement.swap is not None:
        upright = np.swapaxes(draw(measurement.swap, run.source(STREAMS["swap"]), run.count), 0, 1)
        adapter, nominal = through([upright], shape), through([measurement.swap.nominal()[:, None]], shape)
    raw = []
    for index, reflection in enumerate(true):
        at_plane = halved(reflection, run.single)
        if adapter is not None and nominal is not None:
            # The calibration takes the adapter's stated line out, and not the adapter as it is.
            at_plane = halved(nominal.recovered(adapter.reading(reflection)), run.single)
        if measurement.mating:
            joint = measurement.mating * unit_reflections(mating, run.count, measurement.mating_kind)
            # A lossless junction in front of what is seen.
            at_plane = (joint + at_plane) / (1 + np.conj(joint) * at_plane)
        if again is not None and len(at_plane) > 1:
            at_plane = at_plane[again]
        raw.append(box.reading(at_plane) + _noise(measurement, run, index + 1))
    assumed = assumed_reflections(standards, measurement.freq_hz[:, None])
    return solve(raw, [halved(each, run.single) for each in assumed])


def _flexed(reading: Maps, turn_rad: Real, run: _Run) -> Maps:
    """Readings after the lead at the analyzer was moved: turned by a small angle either way, rectangular.

    The turn takes the reflections of the pad and the adapters with it, which the calibration had taken out as they stood;
    a turn of the antenna's reflection alone would leave its magnitude as it is.
    """
    if not turn_rad.any():
        return reading
    # Twice: there and back.
    angle = 2 * turn_rad * run.rows("flex", run.repeat).uniform(-1, 1, (run.count, 1))
    turn = wave(np.zeros((1, 1)), halved(angle, run.single))
    return Maps(reading.p * turn, reading.q * turn, reading.r)
