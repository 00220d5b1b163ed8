"""Sweeps of a part that is to be learnt: read together, on one grid, each as often as it was repeated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.errors import Defect, InputError, plain
from chain.results import Named, counted, span_words
from chain.sweeps import touchstone
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import Readings
from chain.sweeps.text import lines_of
from chain.sweeps.touchstone_lines import looks_like_touchstone
from library.frozen import dataclass

FEWEST_POINTS = 5
MOST_GAIN = 1.05
"""Largest singular value of a measured two-port: tracking and noise lift it a little above 1, more is not passive."""
MOST_ONE_WAY = 0.1
"""Largest |S21 - S12| of a passive part that was measured with care."""


@dataclass(frozen=True, repr=False)
class Sweeps(Named):
    """What was measured: by name (`open`, `short`, `load`, or `through`) shape (repeats, frequencies[, 2, 2]) each.

    `reference_ohm` is of the analyzer's ports. Without a phase the traces are magnitudes.
    """

    freq_hz: Real
    traces: Mapping[str, NDArray[np.complex128]]
    reference_ohm: tuple[float, ...]
    has_phase: bool = True
    files: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    def headline(self) -> str:
        """What was swept, how often and over which span."""
        phase = "with phase" if self.has_phase else "magnitudes only"
        counts = f"{counted(self.freq_hz.size, 'point')}, {span_words(self.freq_hz)}"
        return f"{', '.join(self.traces)}, {counted(self.repeats, 'sweep')} each: {counts}, {phase}"

    @property
    def repeats(self) -> int:
        """How many times the part was measured."""
        return len(next(iter(self.traces.values())))


def one_port_sweeps(paths: Mapping[str, Sequence[str]], reference_ohm: float | None = None) -> Sweeps:
    """Read the sweeps of several ends, each end as many times as the others.

    Parameters
    ----------
    paths : files of each end, in the order in which they were measured.
    reference_ohm : impedance that the analyzer was calibrated in; that of the files' headers if left out [ohm].

    Returns
    -------
    Sweeps.

    Raises
    ------
    InputError : a file is at fault, or the files do not go together; every defect with its file.

    Examples
    --------
    >>> from chain import one_port_sweeps
    >>> found = one_port_sweeps({"open": ["demo/lead-open.s1p"], "short": ["demo/lead-short.s1p"]})
    >>> found.repeats, found.reference_ohm
    (1, (50.0,))

    Source
    ------
    `chain.sweeps.read`, `chain.sweeps.touchstone`.
    """
    defects: list[Defect] = []
    read: dict[str, list[tuple[str, Readings]]] = {end: [] for end in paths}
    for end, names in paths.items():
        for name in names:
            try:
                read[end].append((name, _sweep(name, reference_ohm)))
            except InputError as error:
                defects += error.defects
    # What could not be read would make the comparisons below say untrue things of the others.
    if defects:
        raise InputError(defects)
    every = [each for end in read.values() for each in end]
    defects += [*_counts(paths), *_grids([(name, sweep.freq_hz) for name, sweep in every]), *_phases(every)]
    defects += _copies(
        [(name, sweep.magnitude if sweep.reflection is None else sweep.reflection) for name, sweep in every]
    )
    if defects:
        raise InputError(defects)
    ohm, assumed = _reference([name for name, _ in every], reference_ohm)
    has_phase = every[0][1].reflection is not None
    traces = {
        end: np.stack(
            # One type for both, so that magnitudes go through the same fits.
            [np.asarray(each.reflection if has_phase else each.magnitude, dtype=complex) for _, each in group]
        )
        for end, group in read.items()
    }
    warnings = tuple(dict.fromkeys(f"{plain(name)}: {text}" for name, each in every for text in each.warnings))
    return Sweeps(every[0][1].freq_hz, traces, (ohm,), has_phase, tuple(name for name, _ in every), assumed, warnings)


def _sweep(name: str, reference_ohm: float | None) -> Readings:
    """One sweep; only tables of R and X need to be given the reference, a Touchstone file has its own."""
    own = None if looks_like_touchstone(lines_of(name)) else reference_ohm
    return read_sweep(name, plane_ohm=own)


def _counts(paths: Mapping[str, Sequence[str]]) -> list[Defect]:
    counts = {end: len(names) for end, names in paths.items()}
    if len(set(counts.values())) == 1:
        return []
    reported = ", ".join(f"{count} of the {end}" for end, count in counts.items())
    first = next(name for names in paths.values() for name in names)
    return [Defect(first, 0, 0, f"is one of unequal numbers of sweeps: {reported}", "give each end equally often")]


def _grids(sweeps: Sequence[tuple[str, Real]]) -> list[Defect]:
    first, grid = sweeps[0]
    defects = []
    for name, freq_hz in sweeps[1:]:
        # Exports round a frequency to about so many digits.
        if freq_hz.shape != grid.shape or not np.allclose(freq_hz, grid, rtol=1e-6, atol=0):
            text = f"{_grid_words(freq_hz)}, but {plain(first)} {_grid_words(grid)}"
            defects.append(
                Defect(name, 0, 0, text, "sweep every time over the same span with the same number of points")
            )
    if not defects and grid.size < FEWEST_POINTS:
        text = f"{_grid_words(grid)}: too few to learn from"
        defects.append(Defect(first, 0, 0, text, f"sweep with {FEWEST_POINTS} points or more"))
    return defects


def _copies(sweeps: Sequence[tuple[str, Real | Complex]]) -> list[Defect]:
    """Sweeps equal to the last digit: no two measurements are, and copies would pass for repeats without any scatter."""
    defects = []
    for index, (name, values) in enumerate(sweeps):
        first = next((other for other, known in sweeps[:index] if np.array_equal(known, values)), None)
        if first is not None:
            text = "is given twice" if name == first else f"is the same sweep as {plain(first)}, to the last digit"
            defects.append(Defect(name, 0, 0, text, "give each measurement once; a repeat is swept again"))
    return defects


def _grid_words(freq_hz: Real) -> str:
    return f"has {freq_hz.size} points from {freq_hz[0] / 1e6:g} to {freq_hz[-1] / 1e6:g} MHz"


def _phases(every: Sequence[tuple[str, Readings]]) -> list[Defect]:
    bare = [name for name, each in every if each.reflection is None]
    if not bare or len(bare) == len(every):
        return []
    remedy = "export every sweep with its phase (.s1p), or every one without"
    return [Defect(name, 0, 0, "has no phase, while other sweeps have one", remedy) for name in bare]


def _reference(names: Sequence[str], stated: float | None) -> tuple[float, tuple[str, ...]]:
    """Impedance the sweeps are in: stated, or the one that all headers agree on."""
    if stated is not None:
        return stated, ()
    found: dict[float, str] = {}
    for name in names:
        lines = lines_of(name)
        if looks_like_touchstone(lines):
            found.setdefault(touchstone.parse(lines, name).reference_ohm[0], name)
    if len(found) == 1:
        ohm = next(iter(found))
        return ohm, (f"reference {ohm:g} ohm (the sweeps' own header)",)
    text = "does not say which impedance the analyzer was calibrated in"
    if found:
        text = "is in another impedance than the other sweeps: " + " and ".join(f"{ohm:g} ohm" for ohm in found)
    raise InputError([Defect(names[-1], 0, 0, text, "state it: --reference '50 ohm'")])


def two_port_sweeps(
    paths: Sequence[str], reference_ohm: tuple[float, float] | None = None, ports: tuple[str, str] | None = None
) -> Sweeps:
    """Read two-port sweeps of one part.

    Parameters
    ----------
    paths : Touchstone files, one for each time that the part was measured.
    reference_ohm : impedances that both ports were calibrated in; those of the header if left out [ohm].
    ports : of files with more than two ports, the numbers of the near one and the far one; the others count as ended
        in the file's reference.

    Returns
    -------
    Sweeps with the trace `through`.

    Raises
    ------
    InputError : a file is at fault, is not of a passive part, or differs from the others in its grid.

    Examples
    --------
    >>> from chain import two_port_sweeps
    >>> found = two_port_sweeps(["demo/pad.s2p"])
    >>> found.traces["through"].shape
    (1, 67, 2, 2)

    Source
    ------
    `chain.sweeps.touchstone`. Passive: no singular value above 1; reciprocal: S21 = S12.
    """
    defects: list[Defect] = []
    read, notes = [], list[str]()
    for name in paths:
        try:
            found = touchstone.read_two_port(name, ports, "--ports {} {}")
            defects += _not_passive(name, found.freq_hz, found.s)
            header = found.reference_ohm
            notes += [f"{plain(name)}: {each}" for each in found.notes]
            read.append((name, found.freq_hz, found.s, reference_ohm or (header[0], header[1])))
        except InputError as error:
            defects += error.defects
    if not defects:
        defects = _grids([(name, freq_hz) for name, freq_hz, _, _ in read])
        defects += _copies([(name, s) for name, _, s, _ in read])
    if not defects and len({ohm for *_, ohm in read}) > 1:
        text = "is in another impedance than the other sweeps"
        defects = [Defect(read[-1][0], 0, 0, text, "state it: --reference '50 ohm'")]
    if defects:
        raise InputError(defects)
    ohm = read[0][3]
    words = " and ".join(f"{each:g} ohm" for each in dict.fromkeys(ohm))
    assumed = (*notes, *(() if reference_ohm else (f"reference {words} (the sweeps' own header)",)))
    whole = Sweeps(read[0][1], {"through": np.stack([s for _, _, s, _ in read])}, ohm)
    return replace(whole, files=tuple(paths), assumed=assumed)


def _not_passive(name: str, freq_hz: Real, s: Complex) -> list[Defect]:
    # The largest singular value: the most that waves at both ports together could be given back with.
    gain = np.linalg.norm(s, 2, axis=(-2, -1))
    worst = int(np.argmax(gain))
    if gain[worst] > MOST_GAIN:
        text = f"gives out {gain[worst]:.3g} times the wave put in at {freq_hz[worst] / 1e6:g} MHz"
        return [Defect(name, 0, 0, text, "no passive part does: repeat the calibration, or check the file's format")]
    # Reciprocity: of resistors, lines and connectors nothing passes one way better than the other.
    apart = np.abs(s[:, 1, 0] - s[:, 0, 1])
    worst = int(np.argmax(apart))
    if apart[worst] > MOST_ONE_WAY:
        text = f"passes unlike waves each way: S21 and S12 differ by {apart[worst]:.2g} at {freq_hz[worst] / 1e6:g} MHz"
        return [Defect(name, 0, 0, text, "no pad, adapter or lead does: repeat the calibration")]
    return []
