"""Known terminations as they were read: open, short and loads in the antenna's place, each reading with the span its digits leave.

A reading typed as 1.73 stands for anything from 1.725 to 1.735; from VSWR 20 on it says no more than that the screen is off
its scale, which may end at 10. A sweep counts by the mean of its magnitude over a few frequencies, reported as it would be
typed. The second reading of an end was taken after its connectors were re-seated.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import inf
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.errors import RangeError, UnitError, quoted
from chain.reflection import OFF_SCALE_VSWR, magnitude_from_return_loss, magnitude_from_vswr, vswr
from chain.sweeps.readings import Readings
from chain.units import COMMA, parse_quantity, point_for_comma

ENDS = ("open", "short", "load", "load50")
"""Names of the known terminations: `load` is in the antenna's own impedance, `load50` in 50 ohm."""
SCALE_ENDS_VSWR = 10.0
"""From here on an end may show as off the scale: many screens go no further; practice."""
POINTS = 5
"""Frequencies that a sweep is read at."""
SWEPT_DIGITS = 2
NUMBER = r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"
TYPED = re.compile(rf"(vswr\b|rl\b)?\s*([+-]?(?:{NUMBER}))\s*(:\s*1|dB)?", re.IGNORECASE)
BEYOND = re.compile(rf"(?:vswr\b)?\s*(?:>=?|\u2265)\s*({NUMBER})(?:\s*:\s*1)?", re.IGNORECASE)
"""What a screen shows at the end of its scale, such as >10."""
PLACED = re.compile(r".+\s(?:at|on|@)\s.+|.+[0-9]\s*[kMG]?Hz", re.IGNORECASE)
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


@dataclass(frozen=True)
class KnownTerminations:
    """Readings of known terminations at one frequency, or by their means over several."""

    freq_hz: Real
    readings: tuple[TerminationReading, ...]

    @property
    def seatings(self) -> int:
        """How many times the connectors were made."""
        return 1 + max((each.seating for each in self.readings), default=0)


def typed_span(text: str) -> tuple[float, float, float, str]:
    """Reading of one end as typed: `1.73`, `VSWR 1.73`, `11.4 dB`, `RL -11.4 dB` or `inf`.

    Source: Half a step of the last digit either way; from VSWR 20 on off a scale that ends at 10 or beyond (practice).
    """
    words = COMMA.sub(point_for_comma, text.strip())
    if PLACED.fullmatch(words):
        raise UnitError(
            f"{quoted(text)} names a frequency",
            "give the figure alone, and where all were read with --at, as in --at '600 MHz'",
        )
    beyond = BEYOND.fullmatch(words)
    if beyond and float(beyond[1]) < SCALE_ENDS_VSWR:
        raise UnitError(f"{quoted(text)} leaves too much open", "sweep where the screen shows a figure, or write 'inf'")
    if beyond:
        return _off_scale(1.0)
    if NONE_SHOWN.fullmatch(words):
        return _off_scale(1.0)
    found = TYPED.fullmatch(words)
    if not found:
        kind = "vswr" if re.match(r"vswr", words, re.IGNORECASE) or not re.search(r"db", words, re.IGNORECASE) else ""
        parse_quantity(words if not kind or words[:4].lower() == "vswr" else f"VSWR {words}", "vswr")
        raise UnitError(f"{quoted(text)} is no reading", "write it as in '1.73', '11.4 dB' or 'inf', or name a sweep")
    prefix, number, unit = (part or "" for part in found.groups())
    # The digits as typed, "1.70" and not 1.7: the last zero narrows the span.
    half = 0.5 * 10.0 ** int(Decimal(number).as_tuple().exponent)
    if unit.lower() == "db" or prefix.lower() == "rl":
        if prefix.lower() == "vswr" or unit.lower() != "db":
            remedy = "write it as in '1.73' or '11.4 dB'"
            raise UnitError(f"{quoted(text)} is neither a VSWR nor a return loss in dB", remedy)
        loss = abs(float(number))
        size, low, high = map(float, magnitude_from_return_loss(np.array([loss, loss + half, max(loss - half, 0.0)])))
        if vswr(size) >= OFF_SCALE_VSWR:
            return _off_scale(size)
        return size, low, high, f"return loss {max(loss - half, 0):.6g} to {loss + half:.6g} dB"
    ratio = parse_quantity(f"VSWR {number}", "vswr")
    if ratio >= OFF_SCALE_VSWR:
        return _off_scale(float(magnitude_from_vswr(ratio)))
    ends = max(ratio - half, 1.0), ratio + half
    size, low, high = map(float, magnitude_from_vswr(np.array([ratio, *ends])))
    return size, low, high, f"VSWR {ends[0]:.6g} to {ends[1]:.6g}"


def _off_scale(size: float) -> tuple[float, float, float, str]:
    low = float(magnitude_from_vswr(SCALE_ENDS_VSWR))
    return size, low, inf, f"off the scale (VSWR {SCALE_ENDS_VSWR:g} or more)"


def known_ends(
    given: Mapping[str, Sequence[str | Readings]],
    default_hz: float,
    at_hz: float | None = None,
    metered: bool = False,
) -> KnownTerminations:
    """Readings of known terminations, typed or swept, as the spans that a diagnosis starts from.

    Parameters
    ----------
    given : for each of `ENDS` its readings in the order they were taken, as typed or as a sweep.
    default_hz : frequency of what was typed, where no other is stated [Hz].
    at_hz : frequency of every reading, where it is stated [Hz].
    metered : an ohmmeter was read as well, and is enough to start with.

    Returns
    -------
    KnownTerminations. Sweeps alone count by their mean over five frequencies of the span they share.

    Raises
    ------
    UnitError : a typed reading that is none; `RangeError` : no reading, or sweeps that do not hold the frequency.

    Examples
    --------
    >>> found = known_ends({"open": ["1.73"], "load": ["1.05", "1.12"]}, 210e6)
    >>> [(each.end, each.seating, each.told) for each in found.readings]
    [('open', 0, 'VSWR 1.725 to 1.735'), ('load', 0, 'VSWR 1.045 to 1.055'), ('load', 1, 'VSWR 1.115 to 1.125')]

    Source
    ------
    Own convention.
    """
    _named(given)
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
