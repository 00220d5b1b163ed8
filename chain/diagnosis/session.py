"""A session of known terminations at a set-up, and trials of all that is not known of it, shared by every kind of fault.

One trial is one chain, calibrated once and read through a session: open, short and loads screwed on in turn. The joint in the
antenna's place is made again for every reading, the one at the plane for every re-seating.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chain.arrays import Complex, Real
from chain.assembly.cascade import Chain, build
from chain.reflection import magnitude_from_return_loss
from chain.rf.elements import Element
from chain.rf.twoport import Maps, through
from chain.setups import Setup
from chain.uncertainty.calibration import Standards, drawn_reflections
from chain.uncertainty.measurement import Measurement, error_terms, measurement_of
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import RoughPhases, unit_reflections

LOAD50_OHM = 50.0
RESIDUALS = 3
"""Directivity, tracking and source match of a calibration that no longer holds."""
SESSIONS = 9001
"""Sets the streams of random numbers here apart from those of `chain.uncertainty.measurement`."""


@dataclass(frozen=True)
class Session:
    """A set-up with its known terminations: (name, seating) in the order they are read, and how good the loads are."""

    setup: Setup
    measurement: Measurement
    ends: tuple[tuple[str, int], ...]
    load_db: float
    load50_db: float


@dataclass(frozen=True)
class Drawn:
    """A block of trials of everything that the kinds of fault share: elements by name, and what lies ahead of the plane."""

    seed: int
    block: int
    count: int
    elements: dict[tuple[str, int], Complex]
    residual: Complex | None
    box: Maps | None
    terms: Maps | None
    turn: Complex
    drift: Complex
    sizes: Real
    """Uniform numbers of 0 to 1 for the size of a fault, evenly spread, shape (count, 1)."""
    matings: tuple[tuple[Complex | float, Complex | float], ...]
    """For each reading: the joint in the antenna's place, and the one at the plane as it was made for that seating."""
    three: tuple[Complex, Complex, Complex]
    """Reflections of open, short and load in the antenna's impedance."""
    fifties: tuple[Complex, Complex]
    """Reflections in it of the 50-ohm load, and of the one that is taken for the other."""
    turns: tuple[Complex, ...]
    """Phases of what a fault reflects, one for each making of a connector."""
    radii: tuple[Real, ...]
    """Square roots of uniform numbers, which with a phase make a point in a disc."""


def session(setup: Setup, freq_hz: Real, ends: Sequence[tuple[str, int]], load_db: float, load50_db: float) -> Session:
    """A set-up ready to be read with known terminations."""
    measurement = measurement_of(setup, build(setup, freq_hz))
    return Session(setup, measurement, tuple(ends), load_db, load50_db)


def stream(run: tuple[int, int], *keys: int) -> np.random.Generator:
    """Source of random numbers for one unknown of one block (Philox, keyed)."""
    return RoughPhases(np.random.Philox(np.random.SeedSequence([run[0], SESSIONS, run[1], *keys])))


def key_of(name: str) -> int:
    """A number for a stream, of its own for each name."""
    # The whole name: items are often distinguished by its beginning, and a shared stream would give them equal errors.
    return int.from_bytes(name.encode("utf-8"), "little")


def draw_block(of: Session, block: int, count: int, seed: int) -> Drawn:
    """Draw all that the kinds of fault share."""
    measurement, run = of.measurement, (seed, block)
    shape = (count, measurement.freq_hz.size)
    # Where nothing is read at radio frequency, no element has anything to show.
    groups = groups_in_view(of.setup, build(of.setup, measurement.freq_hz, fit=False)) if of.ends else ()
    elements = {
        (name, place): draw(element, stream(run, 1, key_of(name), place), count)
        for name, group in groups
        for place, element in enumerate(group)
    }
    box = terms = None
    if measurement.standards is not None:
        before = [draw(element, stream(run, 2, place), count) for place, element in enumerate(measurement.before)]
        box = through(before, shape)
        terms = error_terms(measurement, box, stream(run, 3), (seed, range(block, block + 1), 0), count)
    joints = [
        # The end is mated anew for every reading; the joint at the plane stays as it is through all readings of one seating.
        (_mating(measurement, stream(run, 30, n), count), _mating(measurement, stream(run, 31, seating), count))
        for n, (_, seating) in enumerate(of.ends)
    ]
    return Drawn(
        seed,
        block,
        count,
        elements,
        draw(measurement.after[0], stream(run, 4), count) if measurement.residuals else None,
        box,
        terms,
        np.exp(2j * measurement.turn_rad * stream(run, 5).uniform(-1, 1, (count, 1))),
        measurement.drift * unit_reflections(stream(run, 6), count, measurement.drift_kind),
        _spread(stream(run, 7), count),
        tuple(joints),
        _known(of, of.measurement.far_ohm, of.load_db, stream(run, 8), count),
        (_fifty(of, stream(run, 9), count), _fifty(of, stream(run, 10), count)),
        tuple(unit_reflections(stream(run, 11, n), count, "ring") for n in range(max(RESIDUALS, len(of.ends)))),
        tuple(np.sqrt(stream(run, 12, n).random((count, 1))) for n in range(RESIDUALS)),
    )


def _spread(rng: np.random.Generator, count: int) -> Real:
    """Uniform numbers of 0 to 1, one in each of as many equal parts, in random order."""
    # Stratified: the mean over sizes then scatters far less than with independent ones.
    return np.asarray((rng.permutation(count) + rng.random(count))[:, None] / count)


def _mating(measurement: Measurement, rng: np.random.Generator, count: int) -> Complex | float:
    return measurement.mating * unit_reflections(rng, count, measurement.mating_kind) if measurement.mating else 0.0


def _known(
    of: Session, ohm: float, load_db: float, rng: np.random.Generator, count: int
) -> tuple[Complex, Complex, Complex]:
    """Open, short and load as they truly are, in the load's own impedance."""
    radius = float(magnitude_from_return_loss(load_db))
    return drawn_reflections(
        replace(Standards.of(of.setup.calibration, ohm), load_radius=radius), of.measurement.freq_hz, rng, count
    )


def _fifty(of: Session, rng: np.random.Generator, count: int) -> Complex:
    """A 50-ohm load in the antenna's impedance."""
    own = _known(of, LOAD50_OHM, of.load50_db, rng, count)[2]
    # Its own error is stated in 50 ohm; an ideal step refers it to the antenna's impedance.
    step = (LOAD50_OHM - of.measurement.far_ohm) / (LOAD50_OHM + of.measurement.far_ohm)
    return np.asarray((own + step) / (1 + step * own))


def groups_in_view(setup: Setup, chain: Chain) -> tuple[tuple[str, tuple[Element, ...]], ...]:
    """Items and joints between the calibration plane and the far end, with their elements."""
    plane = setup.calibration.plane
    names = [name for name, _ in chain.groups]
    return chain.groups if plane == "near" else chain.groups[names.index(plane) + 1 :]
