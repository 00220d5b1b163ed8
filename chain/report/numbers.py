"""Figures as text: VSWR, decibels, shares and frequencies, rounded so that what is printed stays true."""

from __future__ import annotations

import math

from chain.units import format_quantity

__all__ = ["db", "frequency", "lower", "percent", "span", "vswr"]


def vswr(value: float | None) -> str:
    """VSWR as text, fewer decimals the larger it is.

    Parameters
    ----------
    value : VSWR; infinity or None for a full reflection [-].

    Returns
    -------
    str.

    Examples
    --------
    >>> vswr(1.7321), vswr(61.2), vswr(float("inf"))
    ('1.73', '61', 'inf')

    Source
    ------
    Own convention.
    """
    if value is None or math.isinf(value):
        return "inf"
    if value >= 1000:
        return ">1000"
    return f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 30 else f"{value:.0f}"


def span(low: float | None, high: float | None) -> str:
    """Interval of VSWRs as text, its ends rounded outward.

    Parameters
    ----------
    low, high : ends; infinity or None for a full reflection, NaN where there is no interval [-].

    Returns
    -------
    str.

    Examples
    --------
    >>> span(1.009, 2.341), span(4.0, float("inf"))
    ('1.00 to 2.35', '4.00 to inf')

    Source
    ------
    Own convention.
    """
    if low is not None and math.isnan(low):
        return "none"
    return f"{lower(low)} to {vswr(_outward(high, up=True))}"


def lower(value: float | None) -> str:
    """VSWR as text, rounded down so that what is printed still proves what the figure does.

    Parameters
    ----------
    value : VSWR; infinity or None for a full reflection [-].

    Returns
    -------
    str.

    Examples
    --------
    >>> lower(1.0489)
    '1.04'

    Source
    ------
    Own convention.
    """
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
    """Decibels as text, two decimals.

    Parameters
    ----------
    value : [dB].
    signed : put a sign before a positive figure too.

    Returns
    -------
    str without the unit.

    Examples
    --------
    >>> db(5.7195), db(-0.001), db(float("inf"))
    ('5.72', '0.00', 'inf')

    Source
    ------
    Own convention.
    """
    if math.isinf(value):
        return "inf"
    text = f"{value:+.2f}" if signed else f"{value:.2f}"
    return "0.00" if float(text) == 0 else text


def percent(share: float) -> str:
    """Share as a percentage.

    Parameters
    ----------
    share : 0 to 1 [-].

    Returns
    -------
    str with its sign.

    Examples
    --------
    >>> percent(0.26795)
    '26.8 %'

    Source
    ------
    Own convention.
    """
    text = f"{100 * share:.1f}"
    return f"{'0.0' if float(text) == 0 else text} %"


def frequency(freq_hz: float) -> str:
    """Frequency as text of at most six digits.

    Parameters
    ----------
    freq_hz : [Hz].

    Returns
    -------
    str with its unit.

    Examples
    --------
    >>> frequency(174e6), frequency(858.0000001e6)
    ('174 MHz', '858 MHz')

    Source
    ------
    `chain.units.format_quantity`.
    """
    return format_quantity(float(f"{freq_hz:.6g}"), "frequency")
