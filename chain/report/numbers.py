"""Figures as text: VSWR, decibels, shares and frequencies, rounded so that what is printed stays true."""

from __future__ import annotations

import math

from chain.units import format_quantity

__all__ = ["db", "frequency", "lower", "percent", "span", "vswr"]


def vswr(value: float | None) -> str:
    """VSWR as text, fewer decimals the larger it is."""
    if value is None or math.isinf(value):
        return "inf"
    if value >= 1000:
        return ">1000"
    return f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 30 else f"{value:.0f}"


def span(low: float | None, high: float | None) -> str:
    """Interval of VSWRs as text, its ends rounded outward."""
    if low is not None and math.isnan(low):
        return "none"
    return f"{lower(low)} to {vswr(_outward(high, up=True))}"


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
