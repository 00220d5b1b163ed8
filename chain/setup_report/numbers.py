"""Figures as text, a match in the unit that the user thinks in, rounded so that what is printed stays true."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace

from chain.units import format_quantity
from library.frozen import dataclass


@dataclass(frozen=True)
class Units:
    """How a match is shown: return loss or VSWR in sentences, and in cells that or both."""

    in_db: bool = False
    both: bool = False
    chosen: bool = False
    """By the user, so that a stated limit does not change them."""


PLAIN = Units()
_UNITS: ContextVar[Units] = ContextVar("units", default=PLAIN)
LARGEST_DB = 60.0
"""A return loss above this is a perfect match to anybody."""


def units() -> Units:
    """The units in force."""
    return _UNITS.get()


@contextmanager
def in_units(wanted: Units) -> Iterator[None]:
    """Show every match in these units meanwhile."""
    token = _UNITS.set(wanted)
    try:
        yield
    finally:
        _UNITS.reset(token)


def follow_limit(in_db: bool) -> None:
    """Take the unit that a limit or a reading is stated in, unless the user has chosen one; for the rest of this command."""
    now = units()
    if now.both or not now.chosen:
        _UNITS.set(replace(now, in_db=in_db))


def head() -> str:
    """What stands over a column of matches."""
    if units().both:
        return "RL, dB\nVSWR" if units().in_db else "VSWR\nRL, dB"
    return "RL, dB" if units().in_db else "VSWR"


def figure(value: float | None) -> str:
    """A match, given as VSWR, as the bare figure of a cell."""
    return _in_both(lambda in_db: _loss(value) if in_db else vswr(value))


def span(low: float | None, high: float | None) -> str:
    """Interval of matches, given as VSWR, as a cell; its ends rounded outward."""
    if low is not None and math.isnan(low):
        return "none"
    return _in_both(lambda in_db: _loss_span(low, high) if in_db else _vswr_span(low, high))


def match(value: float | None) -> str:
    """A match, given as VSWR, in a sentence."""
    return f"{_loss(value)} dB return loss" if units().in_db else f"VSWR {vswr(value)}"


def match_in_short(value: float | None) -> str:
    """A match, given as VSWR, in a sentence that has little room."""
    return f"RL {_loss(value)} dB" if units().in_db else f"VSWR {vswr(value)}"


def figure_of(value: float | None) -> str:
    """A match, given as VSWR, in a sentence that has named the kind before."""
    return f"{_loss(value)} dB" if units().in_db else vswr(value)


def about_words(value: float | None) -> str:
    """A match in a sentence that has named the kind before, with `about`; of what is off the scale that it is above."""
    text = figure_of(value)
    return f"above {text[1:]}" if text.startswith(">") else f"about {text}"


def limit(value: float) -> str:
    """A stated limit, given as VSWR, with the digits that were stated."""
    return f"{_to_db(value):.3g} dB return loss" if units().in_db else f"VSWR {value:.4g}"


def short_limit(value: float) -> str:
    """A stated match, given as VSWR, without the name of its kind."""
    return limit(value).removesuffix(" return loss").removeprefix("VSWR ")


def between(low: float | None, high: float | None) -> str:
    """Interval of matches, given as VSWR, in a sentence."""
    return _loss_span(low, high, " dB") if units().in_db else _vswr_span(low, high)


def aim(value: float) -> str:
    """A reading to aim for, given as VSWR, as a cell; rounded to the safe side."""
    return _in_both(lambda in_db: _loss(value, 1) if in_db else lower(value))


def at_most(value: float) -> str:
    """A reading that must not be worse than this, given as VSWR, rounded to the safe side."""
    return f"{_loss(value, 1)} dB or more" if units().in_db else f"{lower(value)} or less"


def outside(value: float) -> str:
    """A bound that nothing passes, given as VSWR, in a sentence that has named the kind before; rounded outward."""
    return f"{_loss(value, -1)} dB" if units().in_db else vswr(_outward(value, up=True))


def part_limit(magnitude: float) -> str:
    """The most that a part may reflect, given as a magnitude, in a sentence; rounded outward."""
    ratio = math.inf if magnitude >= 1 else (1 + magnitude) / (1 - magnitude)
    return f"return loss {outside(ratio)} or more" if units().in_db else f"VSWR up to {outside(ratio)}"


def _in_both(text: Callable[[bool], str]) -> str:
    now = units()
    return f"{text(now.in_db)}\n{text(not now.in_db)}" if now.both else text(now.in_db)


def _to_db(value: float | None) -> float:
    if value is None or math.isinf(value):
        return 0.0
    return math.inf if value <= 1 else -20 * math.log10((value - 1) / (value + 1))


def _loss(value: float | None, way: int = 0) -> str:
    """Return loss of a VSWR, one decimal; rounded up or down where asked."""
    found = _to_db(value)
    if found > LARGEST_DB:
        return f">{LARGEST_DB:.0f}"
    tenths = 10 * found
    whole = math.ceil(tenths - 1e-6) if way > 0 else math.floor(tenths + 1e-6) if way < 0 else round(tenths)
    return f"{whole / 10:.1f}"


def _loss_span(low: float | None, high: float | None, unit: str = "") -> str:
    perfect, total = _to_db(low) > LARGEST_DB, high is None or math.isinf(high)
    if perfect and total:
        return "anything"
    if perfect or total:
        return f"{_loss(low, 1)}{unit} or less" if total else f"{_loss(high, -1)}{unit} or more"
    return f"{_loss(high, -1)} to {_loss(low, 1)}{unit}"


def _vswr_span(low: float | None, high: float | None) -> str:
    if high is not None and math.isfinite(high):
        return f"{lower(low)} to {vswr(_outward(high, up=True))}"
    return "anything" if low is not None and low < 1.005 else f"{lower(low)} or more"


def vswr(value: float | None) -> str:
    """VSWR as text, fewer decimals the larger it is."""
    if value is None or math.isinf(value):
        return ">1000"
    if value >= 1000:
        return ">1000"
    return f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 30 else f"{value:.0f}"


def lower(value: float | None) -> str:
    """VSWR as text, rounded down so that what is printed still proves what the figure does."""
    return vswr(_outward(value, up=False))


def _outward(value: float | None, up: bool) -> float | None:
    if value is None or math.isinf(value):
        return value
    scale = 100 if value < 10 else 10 if value < 30 else 1
    # What is a whole step but for rounding of the binary figure stays where it is.
    steps = value * scale
    whole = math.ceil(steps - 1e-6) if up else math.floor(steps + 1e-6)
    return whole / scale


def db(value: float, signed: bool = False) -> str:
    """Decibels as text, two decimals."""
    if math.isinf(value):
        return "inf"
    text = f"{value:+.2f}" if signed else f"{value:.2f}"
    return "0.00" if float(text) == 0 else text


def percent(share: float) -> str:
    """Share as a percentage."""
    text = f"{100 * share:.1f}"
    return f"{'0.0' if float(text) == 0 else text} %"


def frequency(freq_hz: float) -> str:
    """Frequency as text of at most six digits."""
    return format_quantity(float(f"{freq_hz:.6g}"), "frequency")
