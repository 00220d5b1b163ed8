"""Constants and closed forms that facts, files and elements share; plain arithmetic, for figures and for arrays alike."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

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
