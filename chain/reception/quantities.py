"""Quantities of an installation beside those of a set-up: levels, fields, gains, radiated powers, ranges.

Values come as dBuV (across 75 ohm), dBuV/m, dBi, dB, W, m and degrees Celsius.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from chain.errors import UnitError, quoted
from chain.files.tables import named, wrong
from chain.reception.formulas import DBUV_OF_DBM
from chain.units import NUMBER, parse_quantity

SIGNS = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2212": "-", "\u00b5": "u", "\u03bc": "u", "\u2103": "°C"})
DIPOLE_DB = 10 * math.log10(1.64)


def _shift(by: float) -> Callable[[float], float]:
    return lambda value: value + by


def _scale(by: float) -> Callable[[float], float]:
    return lambda value: value * by


def _volts(by_uv: float) -> Callable[[float], float]:
    return lambda value: 20 * math.log10(value * by_uv) if value > 0 else -math.inf


@dataclass(frozen=True)
class ReceptionKind:
    """A kind of quantity: its name in a sentence, what each unit does to a number, its span in the first unit."""

    noun: str
    units: Mapping[str, Callable[[float], float]]
    example: str
    low: float
    high: float
    beyond: str = ""
    """What to state in place of a value below the span."""

    def pattern(self) -> str:
        """Regular expression of a text of this kind."""
        units = "|".join(re.escape(unit).replace("u", "[uµμ]") for unit in self.units)
        return rf"[+\u2212-]?{NUMBER.pattern.removeprefix('[+-]?')}\s*({units})"


LEVEL = ReceptionKind(
    "a level",
    {"dBuV": _shift(0.0), "dBm": _shift(DBUV_OF_DBM), "dBmV": _shift(60.0)},
    "52 dBuV",
    -60.0,
    140.0,
)
FIELD = ReceptionKind(
    "a field strength",
    {
        "dBuV/m": _shift(0.0),
        "dBmV/m": _shift(60.0),
        "uV/m": _volts(1.0),
        "mV/m": _volts(1e3),
        "V/m": _volts(1e6),
    },
    "60 dBuV/m",
    -40.0,
    160.0,
)
GAIN = ReceptionKind("a gain", {"dB": _shift(0.0)}, "15 dB", 0.0, 60.0)
AMPLIFIER_GAIN = replace(GAIN, beyond="; without its feed: keep its gain, and leave out supply at its injector")
ANTENNA_GAIN = ReceptionKind(
    "the gain of an antenna", {"dBi": _shift(0.0), "dBd": _shift(DIPOLE_DB)}, "12 dBi", -30.0, 40.0
)
NEED = ReceptionKind("a carrier-to-noise ratio", {"dB": _shift(0.0)}, "22 dB", -10.0, 60.0)
SPREAD = ReceptionKind("a spread", {"dB": _shift(0.0)}, "5.5 dB", 0.0, 30.0)
POWER = ReceptionKind(
    "a radiated power",
    {"W": _scale(1.0), "kW": _scale(1e3), "MW": _scale(1e6), "mW": _scale(1e-3)},
    "100 kW",
    1e-3,
    1e8,
)
DISTANCE = ReceptionKind("a distance", {"m": _scale(1.0), "km": _scale(1e3)}, "30 km", 1.0, 1e6)


def parse_reception(text: str, kind: ReceptionKind) -> float:
    """Value of a quantity in the first unit of its kind.

    Source: dBuV across 75 ohm = dBm + 108.751 = dBmV + 60; dBd = dBi - 2.15 (1.64).
    """
    words = text.translate(SIGNS).strip()
    found = NUMBER.match(words)
    if re.match(r"[+-]?[0-9]*,[0-9]", words):
        raise UnitError(f"decimal comma in {quoted(text)}", f"write {quoted(words.replace(',', '.', 1))}")
    if not found:
        raise UnitError(f"{quoted(text)} is not {kind.noun}", f"write it as in {quoted(kind.example)}")
    number, unit = found.group(), words[found.end() :].strip()
    if not unit:
        first = next(iter(kind.units))
        raise UnitError(f"{quoted(text)} has no unit", f"write '{number} {first}' if that is meant")
    if unit not in kind.units:
        near = [known for known in kind.units if known.casefold() == unit.casefold()]
        noun = kind.noun.removeprefix("a ").removeprefix("the ")
        raise UnitError(
            f"{quoted(unit)} is no unit of {noun}",
            f"did you mean '{number} {near[0]}'?" if near else f"use {' or '.join(kind.units)}",
        )
    value = kind.units[unit](float(number))
    if not kind.low <= value <= kind.high:
        raise UnitError(
            f"{quoted(text)} is out of range for {kind.noun}",
            f"it must lie within {kind.low:g} to {kind.high:g} {next(iter(kind.units))}"
            f"{kind.beyond if value < kind.low else ''}",
        )
    return value


def _text(value: object, noun: str, example: str) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise wrong(f"{noun} is needed here, not {named(value)}", f'write it as in "{example}"')
    raise wrong(f"{quoted(value)} has no unit", f'write it in quotes with its unit, as in "{example}"')


def text_reader(kind: ReceptionKind) -> Callable[[object], float]:
    """Give the reader of a kind, for the models of a file."""

    def read(value: object) -> float:
        return _reported(lambda: parse_reception(_text(value, kind.noun, kind.example), kind))

    return read


def _reported(call: Callable[[], float]) -> float:
    try:
        return call()
    except UnitError as error:
        raise wrong(error.message, error.help) from None


def read_gain_table(value: object) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Gain of an antenna: one figure, or rising pairs of frequency and gain [Hz, dBi]."""
    read = text_reader(ANTENNA_GAIN)
    if not isinstance(value, list):
        return (0.0,), (read(value),)
    if not value or not all(isinstance(row, list) and len(row) == 2 for row in value):
        raise wrong("a table of gains is made of pairs", 'write [["470 MHz", "10 dBi"], ["690 MHz", "13 dBi"]]')
    freq = tuple(_reported(lambda row=row: parse_quantity(str(row[0]), "frequency")) for row in value)  # type: ignore[misc]
    if list(freq) != sorted(set(freq)):
        raise wrong("the frequencies of this table do not rise", "put the lowest frequency first, each once")
    return freq, tuple(read(row[1]) for row in value)


def read_window(value: object) -> tuple[float | None, float | None]:
    """Level window: `45 to 74 dBuV`, `from 45 dBuV`, `up to 74 dBuV`, or `none`."""
    example = 'write it as in "45 to 74 dBuV", "up to 74 dBuV" or "none"'
    if not isinstance(value, str):
        raise wrong(f"a level window is needed here, not {named(value)}", example)
    words = value.translate(SIGNS).strip()
    if words.casefold() == "none":
        return None, None
    read = text_reader(LEVEL)
    for start, low in (("up to ", False), ("from ", True)):
        if words.casefold().startswith(start):
            level = read(words[len(start) :])
            return (level, None) if low else (None, level)
    first, to, last = words.partition(" to ")
    if not to:
        raise wrong(f"{quoted(value)} is no level window", example)
    high = read(last)
    unit = last.strip().lstrip("+-0123456789. ")
    low_level = read(first if not re.fullmatch(NUMBER, first.strip()) else f"{first} {unit}")
    if low_level >= high:
        raise wrong(f"{quoted(value)} runs backwards", "put the lower level first")
    return low_level, high


def read_output(value: object) -> tuple[float, float]:
    """Greatest output of an amplifier and the intermodulation distance it is for: `103 dBuV at 60 dB` [dBuV, dB]."""
    example = 'write it as in "103 dBuV at 60 dB"; the distance belongs to it'
    if not isinstance(value, str):
        raise wrong(f"an output level is needed here, not {named(value)}", example)
    level, at, distance = value.translate(SIGNS).partition(" at ")
    if not at:
        raise wrong(f"{quoted(value)} does not say at which intermodulation distance", example)
    return text_reader(LEVEL)(level), text_reader(GAIN)(distance.split(",")[0])


def read_temperatures(value: object) -> tuple[float, float]:
    """One temperature, or a span: `-10 to 50 °C` [degrees Celsius]."""
    if not isinstance(value, str):
        raise wrong(f"a temperature is needed here, not {named(value)}", 'write it as in "20 °C" or "-10 to 50 °C"')
    first, to, last = value.translate(SIGNS).partition(" to ")
    high = _reported(lambda: parse_quantity(last or first, "temperature"))
    if not to:
        return high, high
    unit = last.strip().lstrip("+-0123456789. ")
    text = f"{first} {unit}" if re.fullmatch(NUMBER, first.strip()) else first
    low = _reported(lambda: parse_quantity(text, "temperature"))
    if low > high:
        raise wrong(f"{quoted(value)} runs backwards", "put the colder one first")
    return low, high


def parse_level_at(text: str) -> tuple[float, str]:
    """Level and where it was measured: `52 dBuV at antenna`, `49 dBuV at hall` [dBuV]."""
    level, at, place = text.partition(" at ")
    if not at or not place.strip():
        raise UnitError(
            f"{quoted(text)} does not say where it was measured", 'write it as in "52 dBuV at antenna", or at an outlet'
        )
    return parse_reception(level, LEVEL), place.strip()
