"""Quantities as people write them: a strict parser with one table of units per kind, and the way back.

Values come in the base unit of the kind: m, Hz, ohm, H, F, V, deg, dB; temperature in degrees Celsius, power in dBm, a
percentage as a fraction, a return loss in positive dB, a VSWR as a ratio.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from numbers import Real
from types import MappingProxyType
from typing import Any, NamedTuple

from chain.errors import UnitError, quoted
from library.frozen import dataclass


def is_number(value: Any, kind: type = Real) -> bool:
    """Whether a value is a number of a kind: truth values count as whole numbers for Python, durations for numpy."""
    duration = getattr(getattr(value, "dtype", None), "kind", "") == "m"
    return isinstance(value, kind) and not isinstance(value, bool) and not duration


@dataclass(frozen=True)
class QuantityKind:
    """A kind of quantity: its name in a sentence, its units as factors to the base unit (the first listed), its span."""

    noun: str
    units: Mapping[str, float]
    example: str
    low: float
    high: float
    above_zero: bool = False
    any_case: bool = False
    """Whether a unit is known in other letters too (`mhz`): only where m and M cannot both be meant."""

    def spelled(self) -> str:
        """Units of the kind in words, such as `Hz, kHz, MHz or GHz`."""
        *most, last = self.units
        return f"{', '.join(most)} or {last}" if most else last


KINDS: Mapping[str, QuantityKind] = MappingProxyType(
    {
        "length": QuantityKind(
            "a length", {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "in": 0.0254, "ft": 0.3048}, "0.6 m", 0.0, 1e4
        ),
        "frequency": QuantityKind(
            "a frequency",
            {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9},
            "174 MHz",
            0.0,
            1e12,
            above_zero=True,
            any_case=True,
        ),
        "loss": QuantityKind("a loss", {"dB": 1.0}, "0.2 dB", 0.0, 200.0, any_case=True),
        "reading_error": QuantityKind("an error of a reading", {"dB": 1.0}, "0.1 dB", 0.0, 20.0, any_case=True),
        "loss_tolerance": QuantityKind("a tolerance of loss", {"dB": 1.0}, "0.2 dB", 0.0, 20.0),
        "impedance": QuantityKind("an impedance", {"ohm": 1.0, "kohm": 1e3}, "75 ohm", 1e-3, 1e6, any_case=True),
        "inductance": QuantityKind(
            "an inductance", {"H": 1.0, "mH": 1e-3, "uH": 1e-6, "nH": 1e-9, "pH": 1e-12}, "2 nH", 0.0, 1.0
        ),
        "capacitance": QuantityKind(
            "a capacitance",
            {"F": 1.0, "mF": 1e-3, "uF": 1e-6, "nF": 1e-9, "pF": 1e-12, "fF": 1e-15},
            "0.1 pF",
            0.0,
            1.0,
        ),
        "voltage": QuantityKind("a voltage", {"V": 1.0, "mV": 1e-3, "kV": 1e3}, "12 V", -1e4, 1e4),
        "power": QuantityKind("a power", {"dBm": 1.0, "W": 1.0, "mW": 1e-3}, "20 dBm", -200.0, 100.0),
        "angle": QuantityKind("an angle", {"deg": 1.0, "°": 1.0}, "3 deg", 0.0, 360.0),
        "temperature": QuantityKind("a temperature", {"°C": 1.0, "C": 1.0, "K": 1.0}, "20 °C", -100.0, 300.0),
        # As in part files: the whole of a figure is no tolerance of it, and a resistor of no ohms no resistor.
        "percent": QuantityKind("a percentage", {"%": 1e-2}, "1 %", 0.0, 0.999),
        "return_loss": QuantityKind("a return loss or VSWR", {"dB": 1.0}, "26 dB", 0.0, 200.0, any_case=True),
        "vswr": QuantityKind("a VSWR or return loss", {"dB": 1.0}, "VSWR 2.0", 1.0, 1e6, any_case=True),
    }
)
ZERO_CELSIUS_K = 273.15
FACTOR_POWER = {"W": 30.0, "mW": 0.0}
REFLECTIONS = ("return_loss", "vswr")

UNIT_WORDS = {
    "meter": "m",
    "metre": "m",
    "centimeter": "cm",
    "centimetre": "cm",
    "millimeter": "mm",
    "millimetre": "mm",
    "foot": "ft",
    "feet": "ft",
    "inch": "in",
    "inche": "in",
    '"': "in",
    "'": "ft",
    "hertz": "Hz",
    "megahertz": "MHz",
    "gigahertz": "GHz",
    "volt": "V",
    "watt": "W",
    "milliwatt": "mW",
    "dbm": "dBm",
    "degree": "deg",
    "percent": "%",
    "ohm": "ohm",
}
"""Units in words, without the s of several."""

SPELLINGS = str.maketrans(
    {
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2212": "-",
        "\u00b5": "u",
        "\u03bc": "u",
        "\u2103": "°C",
        "\u03a9": "ohm",
        "\u2126": "ohm",
    }
)
NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
# After "inf" or "nan" may come a unit or nothing, but no other word.
NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\b", re.IGNORECASE)


class Tolerance(NamedTuple):
    """Half-width of a tolerance: `value` in the base unit, or as a fraction of the figure where `relative`."""

    value: float
    relative: bool


def parse_quantity(text: str, kind: str) -> float:
    """Value of a quantity written as a number with its unit.

    Source: SI prefixes; 1 in = 25.4 mm, 1 ft = 0.3048 m (exact); return loss -20 log10((S - 1)/(S + 1)).
    """
    rule = KINDS[kind]
    words = text.translate(SPELLINGS).strip()
    value = _reflection(words, kind) if kind in REFLECTIONS else _value(words, rule)
    if not math.isfinite(value):
        raise UnitError(f"{quoted(text)} is not finite", f"write it as in {rule.example!r}")
    return _within(value, rule, text)


def _within(value: float, rule: QuantityKind, text: str) -> float:
    if value < 0 <= rule.low:
        positive = (
            "a return loss is given positive" if rule.noun.startswith("a return") else f"{rule.noun} is not negative"
        )
        raise UnitError(f"{quoted(text)} is below zero: {positive}", f"write {quoted(text.strip().lstrip('-−'))}")
    if value < rule.low or value > rule.high or (rule.above_zero and value <= 0):
        unit, factor = next(iter(rule.units.items()))
        span = f"{rule.low / factor:g} to {rule.high / factor:g}" + (
            "" if rule.noun.startswith("a VSWR") else f" {unit}"
        )
        raise UnitError(f"{quoted(text)} is out of range for {rule.noun}", f"it must lie within {span}")
    return value


def _value(words: str, rule: QuantityKind) -> float:
    """Number and unit of a text, in the base unit."""
    number, unit = _split(words, rule)
    unit = unit if unit in rule.units else _in_other_case(unit, rule) or unit
    if unit not in rule.units:
        raise _unit_defect(words, unit, number, rule)
    figure = float(number)
    if unit in FACTOR_POWER:
        if figure <= 0:
            raise UnitError(f"{quoted(words)} is no power", "a power in W or mW is above zero")
        return 10 * math.log10(figure) + FACTOR_POWER[unit] if math.isfinite(figure) else figure
    if unit == "K":
        return figure - ZERO_CELSIUS_K
    if not figure or not math.isfinite(figure):
        return figure
    # Decimal, so that 5 uH is the float 5e-6 and not a neighbour of it.
    return float(Decimal(number) * Decimal(repr(rule.units[unit])))


def _in_other_case(unit: str, rule: QuantityKind) -> str | None:
    """Unit of the kind that is meant by a word (`feet`, `volts`) or by other letters (`mhz`, `DB`), where only one can be."""
    plain = unit.casefold()
    word = UNIT_WORDS.get(plain) or UNIT_WORDS.get(plain.removesuffix("s"))
    if word in rule.units:
        return word
    near = [known for known in rule.units if known.casefold() == plain]
    return near[0] if rule.any_case and len(near) == 1 else None


def _split(words: str, rule: QuantityKind) -> tuple[str, str]:
    """Number and unit as text."""
    found = NUMBER.match(words)
    if NOT_FINITE.match(words):
        raise UnitError(f"{quoted(words)} is not a finite number", f"write it as in {rule.example!r}")
    comma = re.match(r"([+-]?[0-9]*),([0-9]+)(.*)", words)
    if comma:
        whole, part, rest = comma.groups()
        plainly = f" (or {quoted(whole + part + rest)} for thousands)" if len(part) == 3 else ""
        if not rest.strip():  # A figure alone would be asked for its unit next.
            is_ratio = rule.noun.startswith(("a VSWR", "a return"))
            whole, rest = f"{'VSWR ' * is_ratio}{whole}", "" if is_ratio else f" {rule.example.split()[-1]}"
        raise UnitError(f"decimal comma in {quoted(words)}", f"write {quoted(whole + '.' + part + rest)}{plainly}")
    if not found:
        raise UnitError(f"{quoted(words)} is not {rule.noun}", f"write it as in {rule.example!r}")
    return found.group(), words[found.end() :].strip()


def _unit_defect(words: str, unit: str, number: str, rule: QuantityKind) -> UnitError:
    """Say what is wrong with a unit that is not in the kind's table."""
    if not unit and rule.noun.startswith("a VSWR"):
        return UnitError(f"{quoted(words)} has no unit", f"write 'VSWR {number}', or a return loss in dB")
    if not unit and rule.noun.startswith("a return"):
        return UnitError(f"{quoted(words)} has no unit", f"write '{number} dB' or 'VSWR {number}'")
    if not unit:
        example = rule.example.split()[-1]
        return UnitError(
            f"{quoted(words)} has no unit", f"write '{number} {example}' if that is meant ({rule.spelled()})"
        )
    others = [other.noun for name, other in KINDS.items() if unit in other.units and name not in REFLECTIONS]
    if others:
        return UnitError(f"{quoted(words)} is {others[0]}; {rule.noun} is needed", f"write it as in {rule.example!r}")
    near = [known for known in rule.units if known.casefold() == unit.casefold()]
    if near:
        return UnitError(f"{quoted(unit)} is no unit of {rule.noun[2:].strip()}", f"did you mean '{number} {near[0]}'?")
    if re.match(r"vswr|rl\b", words, re.IGNORECASE):
        return UnitError(f"{quoted(words)} is a reflection; {rule.noun} is needed", f"write it as in {rule.example!r}")
    return UnitError(f"{quoted(unit)} is no unit of {rule.noun.split(' ', 1)[1]}", f"use {rule.spelled()}")


def _reflection(words: str, kind: str) -> float:
    """Return loss or VSWR, whichever of the two the text gives."""
    ratio = RATIO.match(words)
    rule = KINDS[kind]
    if ratio:
        value = ratio_of(ratio.group(1), words, rule)
        return value if kind == "vswr" else _return_loss_db(value, words)
    loss = LOSS.fullmatch(words)
    if loss:
        # On a screen a return loss may carry the sign of S11, and its unit stands beside the scale.
        words = loss[1].lstrip("-+ ")
        words = f"{words} dB" if NUMBER.fullmatch(words) else words
    loss_db = _value(words, rule)
    if kind == "return_loss":
        return loss_db
    if loss_db <= 0:
        remedy = f"write {quoted(words.lstrip('-'))}" if loss_db < 0 else f"write it as in {rule.example!r}"
        raise UnitError(f"{quoted(words)} is no limit: a return loss is above zero", remedy)
    magnitude = 10 ** (-loss_db / 20)
    return (1 + magnitude) / (1 - magnitude) if magnitude < 1 else math.inf


def is_return_loss(text: object) -> bool:
    """Whether a reflection is written as a return loss and not as a VSWR."""
    return isinstance(text, str) and not RATIO.match(text.strip())


def ratio_of(number: str, words: str, rule: QuantityKind) -> float:
    """VSWR of a figure without its word."""
    figure, unit = _split(number, rule)
    if unit not in ("", ":1", ": 1"):
        raise UnitError(f"{quoted(words)}: a VSWR has no unit", f"write 'VSWR {figure}'")
    if float(figure) < 1:
        raise UnitError(f"{quoted(words)}: a VSWR is never below 1", "write it as in 'VSWR 1.5'")
    return float(figure)


def _return_loss_db(ratio: float, words: str) -> float:
    if ratio == 1:
        raise UnitError(f"{quoted(words)} means no reflection at all", "say ideal = true on the item instead")
    return -20 * math.log10((ratio - 1) / (ratio + 1)) if math.isfinite(ratio) else ratio


def parse_tolerance(text: str, kind: str) -> Tolerance:
    """Half-width of a tolerance, in the kind's own unit or in percent."""
    words = text.translate(SPELLINGS).strip()
    if words.endswith("%"):
        return Tolerance(parse_quantity(words, "percent"), True)
    # An impedance is never zero, but its tolerance may be.
    if kind == "impedance" and re.fullmatch(r"0+(\.0*)?\s*k?ohm", words):
        return Tolerance(0.0, False)
    return Tolerance(parse_quantity(text, kind), False)


def format_quantity(value: float, kind: str) -> str:
    """Text of a value for people, in the unit of the kind that reads best; `parse_quantity` reads it back."""
    if kind == "vswr":
        return f"VSWR {value:.12g}"
    unit, factor = _readable(value, kind)
    return f"{value / factor:.12g} {unit}"


def _readable(value: float, kind: str) -> tuple[str, float]:
    units = KINDS[kind].units
    if kind in ("power", "temperature"):
        return next(iter(units.items()))
    metric = sorted(((f, u) for u, f in units.items() if u not in ("in", "ft", "cm")), reverse=True)
    size = abs(value)
    limit = 0.1 if kind == "length" else 1.0
    for factor, unit in metric:
        if size >= factor * (limit if factor == 1.0 else 1.0) * (1 - 1e-12):
            return unit, factor
    return (metric[-1][1], metric[-1][0]) if size else next(iter(units.items()))


RATIO = re.compile(
    rf"(?:v?swr(?:\b\s*(?:[:=]|of\b|is\b)?|(?=[0-9]))|(?={NUMBER.pattern}\s*:\s*1$))\s*(.*)", re.IGNORECASE
)
LOSS = re.compile(
    r"(?:rl|return loss|\|?\s*s(?:11|22)\s*\|?)(?:(?<=\|)|\b|(?<=rl)(?=[0-9]))\s*(?:[:=]|of\b|is\b)?\s*(.*)",
    re.IGNORECASE,
)
