"""Readings of the analyzer as arrays: magnitude always, phase only where it was measured; and noise averaged along a sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from numbers import Real as RealNumber
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real, masked
from chain.errors import Defect, InputError, RangeError, UnitError, quoted
from chain.reflection import OFF_SCALE_VSWR, magnitude_from_return_loss, magnitude_from_vswr, vswr
from chain.results import ResultTable, network
from chain.sweeps.reading_words import Reading, parse_reading
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network


@dataclass(frozen=True, repr=False)
class Readings(ResultTable):
    """Readings over frequency, rising. `reflection` is None where only a magnitude was read: a phase is never made up."""

    freq_hz: Real
    magnitude: Real
    reflection: Complex | None
    interpretation: str
    """How the figures were understood, for people."""

    def headline(self) -> str:
        """How the figures were understood."""
        return self.interpretation

    def at(self, chosen: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Readings:
        """The same at some of their frequencies: whatever cuts or thins a sweep goes through here, with every array of it."""
        every = {name: getattr(self, name) for name in ARRAYS}
        arrays: dict[str, Any] = {name: value[chosen] for name, value in every.items() if value is not None}
        return replace(self, **arrays)

    def table(self) -> dict[str, Any]:
        """VSWR over frequency, and the complex reflection where a phase was read."""
        plain: dict[str, Any] = {"freq_hz": self.freq_hz, "vswr": vswr(self.magnitude)}
        return plain if self.reflection is None else {**plain, "reflection": self.reflection}

    def to_network(self, reference_ohm: float) -> Network:
        """The readings as a scikit-rf one-port in the reference they were taken in, which no file states for sure."""
        number = isinstance(reference_ohm, RealNumber) and not isinstance(reference_ohm, bool)
        if not number or not 0 < reference_ohm < np.inf:
            raise RangeError(f"reference_ohm is a number of ohms above zero, not {quoted(reference_ohm)}", "write 50.0")
        if self.reflection is None:
            raise RangeError(
                "the readings have no phase",
                "a Touchstone file or Network holds R and X: read a sweep with phase, or write .csv",
            )
        return network(self.freq_hz, self.reflection, [reference_ohm])

    warnings: tuple[str, ...] = ()
    """What the file makes doubtful, for people."""
    rounding: Real | None = None
    """Half a step of the last digit, over frequency: of the magnitude, or of either part of a complex reading; None where it
    is not worth a thought."""
    repeats: int = 1
    """How many sweeps of one state these readings are the average of."""
    channel_hz: tuple[float, ...] = ()
    """Middles of the channels that were named in place of a frequency [Hz]."""
    processed: str = ""
    """What was done to the sweep after it was measured, such as `time-gated`; empty: nothing. Nothing is proven from it."""
    in_db: bool = False
    """All was read in decibels, as a return loss or a reflection."""

    def __post_init__(self) -> None:
        for name, kind in ARRAYS.items():
            values = getattr(self, name)
            if values is not None or name in ("freq_hz", "magnitude"):
                self.__dict__[name] = self._looked_over(name, values, kind)
        freq, size, gamma = self.freq_hz, self.magnitude, self.reflection
        if freq.size and (freq[0] <= 0 or np.any(freq[1:] <= freq[:-1])):
            raise RangeError("Readings: freq_hz does not rise from above zero", "readings_of sorts by frequency")
        if np.any(size < 0):
            raise RangeError("Readings: a magnitude is never below zero", "readings_of takes VSWR and return loss")
        if gamma is not None and not np.allclose(np.abs(gamma), size, rtol=1e-6, atol=1e-9):
            raise RangeError(
                "Readings: magnitude is not that of reflection", "readings_of(freq_hz, reflection=...) makes both"
            )

    def _looked_over(self, name: str, values: Any, kind: str) -> Any:
        """One array as a view closed to writing: finite, one figure for each frequency."""
        known = isinstance(values, (np.ndarray, list, tuple)) and not masked(values)
        found = np.asarray(values) if known else np.empty(())
        if found.ndim != 1 or found.dtype.kind not in kind:
            what = f"Readings: {name} is no one-dimensional array of {'complex ' * (name == 'reflection')}numbers"
            raise RangeError(what, "readings_of(freq_hz, vswr=...) takes lists and other kinds of figures")
        if found.shape != np.shape(self.freq_hz):
            raise RangeError(
                f"Readings: {np.size(self.freq_hz)} of freq_hz and {found.size} of {name}",
                "give one for each frequency",
            )
        if not np.isfinite(found).all():
            raise RangeError(f"Readings: {name} holds what is not finite", "leave such points out")
        view = found.view()
        view.flags.writeable = False
        return view


ARRAYS = {"freq_hz": "iuf", "magnitude": "iuf", "reflection": "c", "rounding": "iuf"}
"""Arrays of readings, and the kinds of numbers that each holds."""


def averaged_sweeps(sweeps: Sequence[Readings]) -> Readings:
    """One sweep from several of the same state, averaged as complex values.

    Noise falls with the root of their number; what does not change from one to the next stays as it is.
    """
    first = sweeps[0]
    if len(sweeps) == 1:
        return first
    for number, each in enumerate(sweeps, 1):
        if each.reflection is None:
            raise RangeError(
                f"sweep {number} has no phase",
                "only sweeps with phase can be averaged: give one, or export them complex",
            )
        if each.freq_hz.shape != first.freq_hz.shape or not np.allclose(each.freq_hz, first.freq_hz, rtol=1e-6, atol=0):
            raise RangeError(
                f"sweep {number} has other frequencies than the first", "repeat it with the same start, stop and points"
            )
    mean: Complex = np.mean([each.reflection for each in sweeps if each.reflection is not None], axis=0)
    rounding = [each.rounding for each in sweeps if each.rounding is not None]
    return replace(
        first,
        magnitude=np.abs(mean),
        reflection=mean,
        interpretation=f"{first.interpretation}; mean of {len(sweeps)} sweeps",
        warnings=tuple(dict.fromkeys(text for each in sweeps for text in each.warnings)),
        rounding=np.max(rounding, axis=0) if rounding else None,
        processed=next((each.processed for each in sweeps if each.processed), ""),
        repeats=len(sweeps),
    )


def from_texts(readings: Sequence[Reading], reference_ohm: float | None = None) -> Readings:
    """Single readings as arrays, sorted by frequency; impedances become reflections in the reference.

    A figure counts plus or minus half its last digit, as a magnitude (of either part where there is a phase).

    Source: Definitions of VSWR and return loss; from which VSWR on a screen is off its scale is practice.
    """
    if not readings:
        raise RangeError("no reading was given", "write one such as 'VSWR 1.30 at 210 MHz'")
    ordered = [_reflected(each, reference_ohm) for each in sorted(readings, key=lambda each: each.freq_hz)]
    freq = np.array([each.freq_hz for each in ordered])
    named = tuple(each.freq_hz for each in ordered if each.by_channel)
    kinds = {each.kind for each in ordered}
    if "complex" in kinds and len(kinds) > 1:
        raise RangeError("readings with and without phase cannot be mixed", "recover them one kind at a time")
    if kinds == {"complex"}:
        reflection = np.array([complex(each.value) for each in ordered])
        how = "complex reflection"
        if any(each.kind == "ohm" for each in readings):
            how += f", impedances in {reference_ohm:g} ohm"
        steps = np.array([each.half_step for each in ordered])
        rounding = steps if steps.any() else None
        return Readings(freq, np.abs(reflection), reflection, how, (), rounding, channel_hz=named)
    sizes = np.array([_magnitude(each) for each in ordered])
    text = " and ".join({"vswr": "VSWR", "return_loss": "return loss"}[kind] for kind in sorted(kinds))
    rounding = np.array([_half_width(each) for each in ordered])
    if any(np.isinf(each.value) for each in ordered):
        text += f"; inf taken as a reflection of all, though a scale may end at VSWR {OFF_SCALE_VSWR:g}"
    return Readings(freq, sizes, None, text, (), rounding, channel_hz=named, in_db=kinds == {"return_loss"})


def _reflected(reading: Reading, reference_ohm: float | None) -> Reading:
    """An impedance as a reflection, half a step of its digits with it."""
    if reading.kind != "ohm":
        return reading
    if reference_ohm is None:
        raise RangeError(
            "an impedance was typed, and the reference of the plane is not known",
            "give the set-up the reading was taken with",
        )
    down = reading.value + reference_ohm
    # dG/dZ = 2 R/(Z + R)^2
    half_step = reading.half_step * 2 * reference_ohm / abs(down) ** 2
    return replace(reading, kind="complex", value=(reading.value - reference_ohm) / down, half_step=half_step)


def _magnitude(reading: Reading, steps: int = 0) -> float:
    """Size of the reflection that a figure stands for, so many half steps of its last digit further on."""
    value = float(reading.value.real) + steps * reading.half_step
    if reading.kind == "vswr":
        return float(magnitude_from_vswr(max(value, 1.0)))
    return float(magnitude_from_return_loss(max(value, 0.0)))


def _half_width(reading: Reading) -> float:
    """Half the span of reflection sizes that a figure is rounded from; what lies beyond the scale where it is infinite."""
    if np.isinf(reading.value):
        return 1 - float(magnitude_from_vswr(OFF_SCALE_VSWR))
    return abs(_magnitude(reading, 1) - _magnitude(reading, -1)) / 2


def typed_readings(
    *texts: str,
    reference_ohm: float | None = None,
    channels: Mapping[str, tuple[float, float]] | None = None,
    shows_db: bool = False,
) -> Readings:
    """Readings as they are typed, one text each.

    Parameters
    ----------
    texts : such as `VSWR 1.30 at 210 MHz`, `1.3 at 210 MHz`, `RL 17.7 dB at 210 MHz`, `0.1-0.2j at 210 MHz` (a reflection),
        `68-12j ohm at 210 MHz` or `R 68 X -12 at channel 40`.
    reference_ohm : impedance of the calibration plane, in which impedances become reflections [ohm].
    channels : edges of the channels that may be named instead of a frequency, by name [Hz].
    shows_db : the screen shows return loss, so that a bare number is asked back.

    Returns
    -------
    Readings, sorted by frequency.

    Raises
    ------
    UnitError : a text that is no reading.
    InputError : several such texts, each with what is wrong.
    RangeError : complex readings among others, an impedance without a reference, or no reading at all.

    Examples
    --------
    >>> from chain import typed_readings
    >>> found = typed_readings("VSWR 1.30 at 210 MHz", "VSWR 1.20 at 200 MHz")
    >>> found.freq_hz.tolist(), found.magnitude.round(4).tolist()
    ([200000000.0, 210000000.0], [0.0909, 0.1304])

    Source
    ------
    `chain.sweeps.reading_words.parse_reading`.
    """
    found, defects = [], []
    if any(not isinstance(text, str) for text in texts):
        raise RangeError("each reading is a text of its own", "write typed_readings('VSWR 1.30 at 210 MHz', ...)")
    for text in texts:
        try:
            found.append(parse_reading(text, channels or {}, shows_db))
        except UnitError as error:
            defects.append(error)
    if len(defects) > 1:
        raise InputError(Defect("", 0, 0, each.message, each.help) for each in defects)
    if defects:
        raise defects[0]
    return from_texts(found, reference_ohm)


SHARE = 1 / 3
"""Width of the window as a share of f/Q."""
LEFT = 0.0015
"""What the quadratic may leave of the swing of the reflection."""
FEWEST = 4
"""Points of a window from which a quadratic averages anything."""
ONE_IN_A_THOUSAND = 3.09


@dataclass(frozen=True)
class Averaged:
    """Reflections averaged along frequency: the noise left of each as a share of one reading's, and the error added."""

    reflection: Complex
    noise_factor: Real
    error: float
    accepted: bool
    """The residuals are no larger than the noise."""


def averaged(freq_hz: Real, reflection: Complex, noise: Real, antenna_q: float) -> Averaged:
    """Average complex reflections of an antenna; `noise` is the standard deviation of either part at each frequency.

    How much to average is never taken from the data: no interval that adapts to an unknown smoothness stays honest. A local
    quadratic over a third of f/Q follows any resonance no narrower than the set-up states; what it leaves is counted, and a
    sweep whose residuals are larger than its noise is not averaged at all.

    Source: Local polynomial regression; residuals against a chi-square quantile by Wilson and Hilferty's cube root.
    """
    smooth, factor = reflection.copy(), np.ones(freq_hz.shape)
    room = np.zeros(freq_hz.shape)
    for at, freq in enumerate(freq_hz):
        half = SHARE * freq / antenna_q / 2
        first, last = np.searchsorted(freq_hz, [freq - half, freq + half * (1 + 1e-9)])
        if last - first < FEWEST:
            continue
        away = (freq_hz[first:last] - freq) / half
        weights = np.linalg.pinv(np.vander(away, 3, increasing=True))[0]
        smooth[at] = weights @ reflection[first:last]
        square = float(weights @ weights)
        factor[at] = np.sqrt(square)
        room[at] = 1 - 2 * weights[at - first] + square
    swing = float(np.abs(reflection - reflection.mean()).max() * 2) if reflection.size else 0.0
    return Averaged(smooth, factor, LEFT * swing, _within_noise(reflection - smooth, noise, room))


def _within_noise(residual: Complex, noise: Real, room: Real) -> bool:
    used = (room > 0) & (noise > 0)
    if not used.any():
        return False
    degrees = 2 * float(room[used].sum())
    total = float((np.abs(residual[used]) ** 2 / noise[used] ** 2).sum())
    spread = 2 / (9 * degrees)
    return bool(total <= degrees * (1 - spread + ONE_IN_A_THOUSAND * np.sqrt(spread)) ** 3)
