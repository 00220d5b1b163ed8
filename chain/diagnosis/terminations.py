"""Known terminations as they were read: open, short and loads in the antenna's place, each reading with the span its digits leave.

A reading typed as 1.73 stands for anything from 1.725 to 1.735; from VSWR 20 on it says no more than that the screen is off
its scale, which may end at 10. A sweep counts by the mean of its magnitude over a few frequencies, reported as it would be
typed. The second reading of an end was taken after its connectors were re-seated.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from math import inf
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.errors import RangeError, UnitError, quoted
from chain.reflection import OFF_SCALE_VSWR, magnitude_from_return_loss, magnitude_from_vswr, vswr
from chain.results import Named, counted, span_words
from chain.sweeps.reading_words import COMMA, figure_read, placed_figure, point_for_comma
from chain.sweeps.readings import Readings
from library.frozen import dataclass

ENDS = ("open", "short", "load", "load50")
"""Names of the known terminations: `load` is in the antenna's own impedance, `load50` in 50 ohm."""
SCALE_ENDS_VSWR = 10.0
"""From here on an end may show as off the scale: many screens go no further; practice."""
POINTS = 5
"""Frequencies that a sweep is read at."""
SWEPT_DIGITS = 2
NUMBER = r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
DECIBELS = re.compile(rf"[+-]?(?:{NUMBER})\s*dB", re.IGNORECASE)
"""A return loss without its word: nothing else of a known end is read in dB."""
BEYOND = re.compile(rf"(?:vswr\b)?\s*(?:>=?|\u2265)\s*({NUMBER})(?:\s*:\s*1)?", re.IGNORECASE)
"""What a screen shows at the end of its scale, such as >10."""
NONE_SHOWN = re.compile(r"(vswr\b)?\s*(inf|infinity|infinite|∞)", re.IGNORECASE)


@dataclass(frozen=True)
class TerminationReading:
    """One end as read: magnitude of the reflection, and the span (`low` to `high`) that its digits leave [-]."""

    end: str
    seating: int
    """0 for the first making of the connectors, 1 after they were re-seated, and so on."""
    magnitude: float
    low: float
    high: float
    told: str


@dataclass(frozen=True, repr=False)
class KnownTerminations(Named):
    """Readings of known terminations at one frequency, or by their means over several."""

    freq_hz: Real
    readings: tuple[TerminationReading, ...]

    def headline(self) -> str:
        """Which ends were read, and where."""
        read = ", ".join(f"{each.end} {each.told}" for each in self.readings)
        return f"{counted(len(self.readings), 'reading')} at {span_words(self.freq_hz)}: {read}"

    @property
    def seatings(self) -> int:
        """How many times the connectors were made."""
        return 1 + max((each.seating for each in self.readings), default=0)


def typed_span(text: str) -> tuple[float, float, float, str]:
    """Reading of one end as typed: `1.73`, `VSWR 1.73`, `11.4 dB`, `RL -11.4 dB` or `inf`.

    Source: Half a step of the last digit either way; from VSWR 20 on off a scale that ends at 10 or beyond (practice).
    """
    words = COMMA.sub(point_for_comma, text.strip())
    beyond = BEYOND.fullmatch(words)
    if beyond and float(beyond[1]) < SCALE_ENDS_VSWR:
        raise UnitError(f"{quoted(text)} leaves too much open", "sweep where the screen shows a figure, or write 'inf'")
    if beyond:
        return _off_scale(1.0)
    if NONE_SHOWN.fullmatch(words):
        return _off_scale(1.0)
    try:
        found = figure_read(f"RL {words.lstrip('+-')}" if DECIBELS.fullmatch(words) else words)
    except UnitError as error:
        if not error.message.endswith("is no reading"):
            raise
        raise UnitError(error.message, "write it as in '1.73', 'RL 11.4 dB' or 'inf', or name a sweep") from None
    if found.kind == "ohm":
        raise UnitError(f"{quoted(text)} is an impedance", "write what it reflects, as in '1.73' or 'RL 11.4 dB'")
    half = found.half_step
    value = abs(found.value)
    if found.kind == "complex":
        # Half a step of either part, where both pull one way.
        ends = max(value - half * 2**0.5, 0.0), min(value + half * 2**0.5, 1.0)
        size, low, high, told = value, *ends, f"reflection {ends[0]:.4g} to {ends[1]:.4g}"
    elif found.kind == "return_loss":
        ends = max(value - half, 0.0), value + half
        size, low, high = map(float, magnitude_from_return_loss(np.array([value, *ends[::-1]])))
        told = f"return loss {ends[0]:.6g} to {ends[1]:.6g} dB"
    else:
        ends = max(value - half, 1.0), value + half
        size, low, high = map(float, magnitude_from_vswr(np.array([value, *ends])))
        told = f"VSWR {ends[0]:.6g} to {ends[1]:.6g}"
    return _off_scale(size) if vswr(size) >= OFF_SCALE_VSWR else (size, low, high, told)


def _off_scale(size: float) -> tuple[float, float, float, str]:
    low = float(magnitude_from_vswr(SCALE_ENDS_VSWR))
    return size, low, inf, f"off the scale (VSWR {SCALE_ENDS_VSWR:g} or more)"


def known_ends(
    given: Mapping[str, Sequence[str | Readings]],
    default_hz: float,
    at_hz: float | None = None,
    metered: bool = False,
    channels: Mapping[str, tuple[float, float]] | None = None,
) -> KnownTerminations:
    """Readings of known terminations, typed or swept, as the spans that a diagnosis starts from.

    Parameters
    ----------
    given : for each of `ENDS` its readings in the order they were taken, as typed (with or without a frequency) or as a sweep.
    default_hz : frequency of what was typed, where no other is stated [Hz].
    at_hz : frequency of every reading, where it is stated [Hz].
    metered : an ohmmeter was read as well, and is enough to start with.
    channels : edges of the channels that may be named instead of a frequency, by name [Hz].

    Returns
    -------
    KnownTerminations. Sweeps alone count by their mean over five frequencies of the span they share.

    Raises
    ------
    UnitError : a typed reading that is none; `RangeError` : no reading, readings of several frequencies, or sweeps that do
        not hold the frequency.

    Examples
    --------
    >>> from chain import known_ends
    >>> found = known_ends({"open": ["1.73"], "load": ["1.05", "1.12"]}, 210e6)
    >>> [(each.end, each.seating, each.told) for each in found.readings]
    [('open', 0, 'VSWR 1.725 to 1.735'), ('load', 0, 'VSWR 1.045 to 1.055'), ('load', 1, 'VSWR 1.115 to 1.125')]

    Source
    ------
    Own convention.
    """
    _named(given)
    given, at_hz = _without_place(given, at_hz, channels or {})
    every = [(end, seating, value) for end in ENDS for seating, value in enumerate(given.get(end, ()))]
    if not every and not metered:
        raise RangeError(
            "nothing was read",
            "give --open 1.73 --load 1.05 or the like, or --ohms 86.6; `chain card` states what to expect",
        )
    sweeps = [value for _, _, value in every if isinstance(value, Readings)]
    freq = _frequencies(
        sweeps, 0 < len(sweeps) == len(every), default_hz if at_hz is None else at_hz, at_hz is not None
    )
    readings = [_reading(end, seating, value, freq) for end, seating, value in every]
    return KnownTerminations(freq, tuple(readings))


def _named(given: Any) -> None:
    """See that the ends are known ones, and their readings texts or sweeps."""
    if not isinstance(given, Mapping):
        raise RangeError(
            f"readings by end are needed, not {quoted(given)}", "write {'open': ['1.73'], 'load': ['1.05']}"
        )
    for end, values in given.items():
        if end not in ENDS:
            raise RangeError(f"no end is called {quoted(end)}", f"it is one of {', '.join(ENDS)}")
        if isinstance(values, str) or any(not isinstance(each, (str, Readings)) for each in values):
            what = f"{end}: a list of texts or sweeps is needed, not {quoted(values)}"
            raise RangeError(what, f"write {{'{end}': ['1.73']}}, digits as the screen shows them")


def _without_place(
    given: Mapping[str, Sequence[str | Readings]], at_hz: float | None, channels: Mapping[str, tuple[float, float]]
) -> tuple[Mapping[str, Sequence[str | Readings]], float | None]:
    """Readings without the frequency that they name, which is one for all, and that frequency."""
    bare: dict[str, list[str | Readings]] = {}
    for end, values in given.items():
        for value in values:
            figure, freq_hz = value, at_hz
            if isinstance(value, str):
                try:
                    figure, freq_hz = placed_figure(value, channels)
                except UnitError as error:
                    raise UnitError(f"--{end}: {error.message}", error.help) from error
            if freq_hz is not None and at_hz is not None and freq_hz != at_hz:
                what = f"--{end}: {quoted(value)} is of another frequency than {at_hz / 1e6:g} MHz"
                raise RangeError(what, "read all ends at one frequency, or sweep them")
            at_hz = at_hz if freq_hz is None else freq_hz
            bare.setdefault(end, []).append(figure)
    return bare, at_hz


def _frequencies(sweeps: Sequence[Readings], all_swept: bool, at_hz: float, stated: bool) -> Real:
    """Where the readings are compared: at one frequency, or at several of the span that the sweeps share."""
    low = max((float(each.freq_hz[0]) for each in sweeps), default=at_hz)
    high = min((float(each.freq_hz[-1]) for each in sweeps), default=at_hz)
    if all_swept and not stated:
        if low > high:
            raise RangeError("the sweeps share no frequency", "sweep every end over the same span")
        return np.linspace(low, high, POINTS if high > low else 1)
    if not low <= at_hz <= high:
        raise RangeError(
            f"the sweeps share {low / 1e6:g} to {high / 1e6:g} MHz, without {at_hz / 1e6:g} MHz",
            "name a frequency they hold with --at, such as --at '210 MHz'",
        )
    return np.array([at_hz])


def _reading(end: str, seating: int, value: str | Readings, freq_hz: Real) -> TerminationReading:
    if isinstance(value, str):
        try:
            return TerminationReading(end, seating, *typed_span(value))
        except UnitError as error:
            raise UnitError(f"--{end}: {error.message}", error.help) from error
    # Magnitudes are averaged, as trials are: the phase turns over the sweep and would average them away.
    mean = float(np.mean(np.interp(freq_hz, value.freq_hz, value.magnitude)))
    shown = "inf" if mean >= 1 else f"{float(vswr(mean)):.{SWEPT_DIGITS}f}"
    _, low, high, words = typed_span(shown)
    where = (
        f"{freq_hz[0] / 1e6:g} MHz" if freq_hz.size == 1 else f"{freq_hz[0] / 1e6:g} to {freq_hz[-1] / 1e6:g} MHz, mean"
    )
    return TerminationReading(end, seating, mean, low, high, f"{words} (sweep, {where})")
