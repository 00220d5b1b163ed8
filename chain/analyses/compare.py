"""Two sweeps of one antenna, before and after: what changed in each channel, and whether the set-up repeats that well.

Chain, standards and calibration are the same for both, so their unknowns shift both alike. What differs from one reading
to the next is simulated: noise, drift, the joint made anew, the flexed lead, and the rounding of the file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from chain.analyses.recover import nominal_truth
from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.errors import RangeError
from chain.reflection import vswr
from chain.results import COVERAGE, ResultTable, plain_values
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.uncertainty.intervals import SEED
from chain.uncertainty.measurement import BATCH, Measurement, measurement_of, nominal_maps, simulate

__all__ = ["BandChange", "SweepComparison", "compare_sweeps"]


Figures = NDArray[np.float64] | NDArray[np.complex128]

CHUNKS = 2
BLOCK = 200
"""Frequencies simulated at a time, so that a long sweep fits into memory."""
SAME_FREQUENCY = 1e-6
MOST_BANDS = 8
LONGEST_DELAY_S = 10e-9
"""Delay of the antenna's reflection over the sweep, anywhere from none to this, as in the intervals of channels."""


@dataclass(frozen=True)
class BandChange:
    """A channel, or a stretch of the sweep, before and after.

    `change` is that of the largest reflection magnitude in the band, positive for worse; `moved` is the largest difference
    at any one frequency. Each is followed by what the set-up alone may show in that way.
    """

    channel: str
    low_hz: float
    high_hz: float
    before_vswr: float
    after_vswr: float
    before_reading_vswr: float
    after_reading_vswr: float
    change: float
    change_repeats: float
    moved: float
    moved_repeats: float
    verdict: str


@dataclass(frozen=True, repr=False)
class SweepComparison(ResultTable):
    """Answer of `compare_sweeps`. `of` is what `change` and `moved` are of: the `antenna`, or, without phase, the `screen`."""

    ROWS: ClassVar[str] = "bands"
    COLUMNS: ClassVar[tuple[str, ...]] = (
        "channel",
        "low_hz",
        "high_hz",
        "before_vswr",
        "after_vswr",
        "change",
        "change_repeats",
        "moved",
        "moved_repeats",
        "verdict",
    )
    title: str
    interpretation: str
    of: str
    bands: tuple[BandChange, ...]
    verdict: str
    coverage: float
    points: int
    draws: int
    seed: int
    warnings: tuple[str, ...]
    processed: str = ""
    """What was done to one of the sweeps after it was measured; then nothing is judged."""

    def headline(self) -> str:
        """Title and verdict."""
        return f"{self.title}, against an earlier sweep: {self.verdict}"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        return plain_values({**vars(self), "bands": [vars(each) for each in self.bands]})  # type: ignore[return-value]


def compare_sweeps(
    setup: Setup,
    before: Readings,
    after: Readings,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> SweepComparison:
    """Compare two sweeps taken with one set-up and one calibration.

    Parameters
    ----------
    setup : the set-up of both.
    before, after : the sweeps, in the plane's reference; compared where their frequencies are the same.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Comparison. Of an antenna that did not change, no more than 5 % of such comparisons show a change in any band.

    Raises
    ------
    RangeError : less than half of the frequencies are common.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain.files.setup_file import load_setup
    >>> from chain.sweeps.read import read_sweep
    >>> sweep = read_sweep("demo/boathouse.s1p")
    >>> compare_sweeps(load_setup("demo/boathouse.toml"), sweep, sweep).verdict
    'no change shown'

    Source
    ------
    Simulation of both readings of an unchanged antenna; one threshold for each band, widened by a common factor until
    the largest of all bands stays below it in the stated share of the draws.
    """
    first, second, remarks = _common(before, after)
    bands = _bands(setup, first.freq_hz)
    measurement = measurement_of(setup, build(setup, first.freq_hz))
    known = nominal_maps(measurement)
    sizes = [nominal_truth(known, each) for each in (first, second)]
    magnitudes = [size for size, _ in sizes]
    fars = [far for _, far in sizes]
    if fars[0] is not None and fars[1] is not None:
        seen: list[Real] | list[Complex] = [fars[0], fars[1]]
    else:
        seen = [first.magnitude, second.magnitude]
    members = [member for _, member in bands]
    processed = before.processed or after.processed
    repeated = bool(measurement.noise or measurement.drift or measurement.mating or measurement.turn_rad.any())
    stated = repeated and not processed
    repeats = _repeats(measurement, (first, second), fars, magnitudes, members, seed, progress)
    shown = [_statistics(seen[0][member], seen[1][member]) for member in members]
    out = [
        _band(band, (shown[index], repeats[index]), (first, second), magnitudes, stated)
        for index, band in enumerate(bands)
    ]
    return SweepComparison(
        setup.title,
        before.interpretation,
        "screen" if fars[0] is None else "antenna",
        tuple(out),
        _overall([each.verdict for each in out]),
        COVERAGE,
        first.freq_hz.size,
        CHUNKS * BATCH,
        seed,
        tuple(remarks),
        processed,
    )


Band = tuple[tuple[str, float, float], slice]


def _common(before: Readings, after: Readings) -> tuple[Readings, Readings, list[str]]:
    """Readings at the frequencies of both, alike with phase or without."""
    near = np.searchsorted(before.freq_hz, after.freq_hz * (1 - SAME_FREQUENCY))
    near = np.minimum(near, before.freq_hz.size - 1)
    same = np.abs(before.freq_hz[near] - after.freq_hz) <= SAME_FREQUENCY * after.freq_hz
    count = int(np.count_nonzero(same))
    if 2 * count < min(before.freq_hz.size, after.freq_hz.size) or not count:
        raise RangeError(
            f"the two sweeps have {count} frequencies in common, of {before.freq_hz.size} and {after.freq_hz.size}",
            "take both with the same start, stop and number of points",
        )
    remarks = [f"before: {each}" for each in before.warnings]
    if count < max(before.freq_hz.size, after.freq_hz.size):
        remarks.append(f"compared at the {count} frequencies that both sweeps have")
    phase = before.reflection is not None and after.reflection is not None
    if not phase and (before.reflection is not None or after.reflection is not None):
        remarks.append("one of the sweeps has no phase: magnitudes are compared")
    chosen = [_at(each, where, phase) for each, where in ((before, near[same]), (after, np.flatnonzero(same)))]
    return chosen[0], chosen[1], remarks


def _at(readings: Readings, where: NDArray[np.intp], phase: bool) -> Readings:
    reflection = readings.reflection[where] if phase and readings.reflection is not None else None
    rounding = None if readings.rounding is None else readings.rounding[where]
    return Readings(readings.freq_hz[where], readings.magnitude[where], reflection, "", (), rounding)


def _bands(setup: Setup, freq_hz: Real) -> list[Band]:
    """Channels that hold two readings and more; without any, even stretches of the sweep."""
    out: list[Band] = []
    for name, low, high in setup.sweep.channels:
        first, last = (int(each) for each in np.searchsorted(freq_hz, [low, high * (1 + 1e-12)]))
        if last - first > 1:
            out.append(((name, low, high), slice(first, last)))
    if out:
        return out
    count = max(1, min(MOST_BANDS, freq_hz.size // 2))
    edges = np.linspace(0, freq_hz.size, count + 1).astype(int)
    for first, last in pairwise(edges):
        low, high = float(freq_hz[first]), float(freq_hz[last - 1])
        name = f"{low / 1e6:.5g} MHz" if low == high else f"{low / 1e6:.5g} to {high / 1e6:.5g} MHz"
        out.append(((name, low, high), slice(int(first), int(last))))
    return out


def _statistics(first: Figures, second: Figures) -> tuple[Real, Real]:
    """Change of the largest magnitude, and largest difference at one frequency; over the last axis."""
    change = np.abs(second).max(axis=-1) - np.abs(first).max(axis=-1)
    return np.asarray(change), np.asarray(np.abs(second - first).max(axis=-1))


def _repeats(
    measurement: Measurement,
    both: tuple[Readings, Readings],
    fars: list[Complex | None],
    magnitudes: list[Real],
    members: list[slice],
    seed: int,
    progress: Callable[[float], None] | None,
) -> list[tuple[float, float]]:
    """For each band, what change and what difference an unchanged antenna may show."""
    changes, moves = [], []
    for batch in range(CHUNKS):
        parts = []
        for index, member in enumerate(members):
            parts.append(_simulated(measurement, both, fars, magnitudes, member, (batch, seed)))
            if progress is not None:
                progress((batch + (index + 1) / len(members)) / CHUNKS)
        changes.append([change for change, _ in parts])
        moves.append([moved for _, moved in parts])
    change, moved = np.abs(np.concatenate(changes, axis=1)), np.concatenate(moves, axis=1)
    own = [np.quantile(each, COVERAGE, axis=1) for each in (change, moved)]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = [np.nan_to_num(each / limit[:, None]) for each, limit in zip((change, moved), own, strict=True)]
    factor = max(1.0, float(np.quantile(np.max(np.concatenate(ratios), axis=0), COVERAGE)))
    return [(float(factor * first), float(factor * last)) for first, last in zip(*own, strict=True)]


def _simulated(
    measurement: Measurement,
    both: tuple[Readings, Readings],
    fars: list[Complex | None],
    magnitudes: list[Real],
    member: slice,
    run: tuple[int, int],
) -> tuple[Real, Real]:
    """Statistics of two drawn readings of one antenna in a band, shape (draws,)."""
    batch, seed = run
    largest, moved = [np.zeros(BATCH), np.zeros(BATCH)], np.zeros(BATCH)
    rng = np.random.default_rng([seed, batch])
    start, delay = rng.random((BATCH, 1)), rng.random((BATCH, 1)) * LONGEST_DELAY_S
    for first in range(member.start, member.stop, BLOCK):
        part = slice(first, min(first + BLOCK, member.stop))
        here = measurement.at(part)
        antenna: Complex
        if fars[0] is not None and fars[1] is not None:
            mean = (fars[0][part] + fars[1][part]) / 2
            antenna = mean / np.maximum(1.0, np.abs(mean))
        else:
            size = (magnitudes[0][part] + magnitudes[1][part]) / 2
            antenna = size * np.exp(2j * np.pi * (start - delay * here.freq_hz))
        pair = [
            _reading(
                here,
                antenna,
                fars[0] is not None,
                (batch, seed, first, which),
                None if one.rounding is None else one.rounding[part],
            )
            for which, one in enumerate(both)
        ]
        moved = np.maximum(moved, np.abs(pair[1] - pair[0]).max(axis=1))
        largest = [np.maximum(known, np.abs(each).max(axis=1)) for known, each in zip(largest, pair, strict=True)]
    return largest[1] - largest[0], moved


def _reading(
    here: Measurement, antenna: Complex, phase: bool, run: tuple[int, int, int, int], rounding: Real | None
) -> Figures:
    """One drawn reading with its digits, taken back nominally where it has a phase; shape (draws, frequencies)."""
    batch, seed, first, which = run
    shown = simulate(here, batch, seed, first, which).reading(antenna)
    rng = np.random.default_rng([seed, batch, first, which])
    if not phase:
        size = np.abs(shown)
        return size if rounding is None else np.asarray(size + rounding * rng.uniform(-1, 1, size.shape), dtype=float)
    if rounding is not None:
        shown = shown + rounding * (rng.uniform(-1, 1, shown.shape) + 1j * rng.uniform(-1, 1, shown.shape))
    return nominal_maps(here).recovered(shown)


def _band(
    band: Band,
    figures: tuple[tuple[Real, Real], tuple[float, float]],
    both: tuple[Readings, Readings],
    magnitudes: list[Real],
    stated: bool,
) -> BandChange:
    (name, low_hz, high_hz), member = band
    (change, moved), (change_repeats, moved_repeats) = figures
    if not stated:
        word = "not judged"
    elif abs(change) > change_repeats:
        word = "worse" if change > 0 else "better"
    else:
        word = "moved" if moved > moved_repeats else "no change shown"
    true = [float(vswr(each[member].max())) for each in magnitudes]
    read = [float(vswr(each.magnitude[member].max())) for each in both]
    return BandChange(
        name,
        low_hz,
        high_hz,
        true[0],
        true[1],
        read[0],
        read[1],
        float(change),
        change_repeats,
        float(moved),
        moved_repeats,
        word,
    )


def _overall(verdicts: list[str]) -> str:
    """One word for all bands; better in one and worse in another is a change."""
    if "not judged" in verdicts:
        return "not judged"
    found = {word for word in verdicts if word != "no change shown"}
    if not found:
        return "no change shown"
    return found.pop() if len(found) == 1 else "changed"
