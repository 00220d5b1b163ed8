"""Constants and closed forms that facts, files and elements share, and values of parts: plain arithmetic, without numpy."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from typing import Any

from library.errors import LibraryError
from library.records import Coax, Limit, Part

LIGHT_M_PER_S = 299_792_458.0
"""Speed of light (exact, SI)."""
NEPER_PER_DB = math.log(10) / 20


def minimum_loss_ohm(high_ohm: float, low_ohm: float) -> tuple[float, float]:
    """Resistors of the minimum-loss pad: the series arm at the higher side, the shunt arm across the lower [ohm].

    Source: Rs = Z1 sqrt(1 - Z2/Z1), Rp = Z2/sqrt(1 - Z2/Z1); both ends matched.
    """
    if high_ohm <= low_ohm:
        raise ValueError("the higher impedance comes first")
    root = math.sqrt(1 - low_ohm / high_ohm)
    return high_ohm * root, low_ohm / root


def minimum_loss_db(high_ohm: float, low_ohm: float) -> float:
    """Least loss of a resistive pad that matches both ends [dB].

    Source: 10 log10 (sqrt r + sqrt(r - 1))^2, r the ratio of the impedances.
    """
    ratio = high_ohm / low_ohm
    return 20 * math.log10(math.sqrt(ratio) + math.sqrt(ratio - 1))


def ladder_abcd(arms: Iterable[tuple[str, Any]]) -> tuple[Any, Any, Any, Any]:
    """Chain matrix of a ladder of `series` and `shunt` impedances, near to far [-, ohm, S, -].

    Source: Product of the arms' own chain matrices, (1 Z; 0 1) and (1 0; 1/Z 1).
    """
    a, b, c, d = 1.0, 0.0, 0.0, 1.0
    for place, ohm in arms:
        if place == "series":
            b, d = b + a * ohm, d + c * ohm
        else:
            a, c = a + b / ohm, c + d / ohm
    return a, b, c, d


def attenuation_db_per_100m(coax: Coax, freq_hz: float) -> float:
    """Attenuation of a cable, matched in its own impedance, at its stated temperature [dB per 100 m].

    Source: flat + per_sqrt_mhz sqrt(f) + per_mhz f; points are joined by straight lines in log loss over log
    frequency.
    """
    low, high = span_hz(coax)
    if not low * (1 - 1e-9) <= freq_hz <= high * (1 + 1e-9):
        raise LibraryError(
            f"{coax.id}: its loss is known from {low / 1e6:g} to {high / 1e6:g} MHz, not at {freq_hz / 1e6:g} MHz"
        )
    if coax.points_hz:
        logs = [math.log(each) for each in coax.points_hz], [math.log(each) for each in coax.points_db_per_100m]
        return math.exp(_between(math.log(freq_hz), *logs))
    mhz = freq_hz / 1e6
    return coax.flat_db_per_100m + coax.per_sqrt_mhz_db_per_100m * math.sqrt(mhz) + coax.per_mhz_db_per_100m * mhz


def limit_return_loss_db(limit: Limit, freq_hz: float) -> float:
    """Least return loss that a limit demands at a frequency [dB]. Source: Linear in dB between points, the end values outside them."""
    return _between(freq_hz, limit.freq_hz, limit.return_loss_db)


def _between(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    right = bisect_right(xs, x)
    share = (x - xs[right - 1]) / (xs[right] - xs[right - 1])
    return ys[right - 1] + share * (ys[right] - ys[right - 1])


def span_hz(part: Part) -> tuple[float, float]:
    """Span of frequencies that a part is described for [Hz]."""
    if isinstance(part, Coax):
        if part.points_hz:
            return part.points_hz[0], part.points_hz[-1]
        return part.valid_from_hz, part.valid_to_hz
    return getattr(part, "min_hz", 0.0), getattr(part, "max_hz", math.inf)
