"""Reflection limits of whole parts, as radii over frequency."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from library.records import Limit

__all__ = ["end_radius", "impedance_room_ohm", "limit_radius"]


def limit_radius(limit: Limit | None, freq_hz: Real) -> Real | None:
    """Largest reflection magnitude that a limit allows, over frequency; None where nothing is limited.

    Source: 10^(-RL/20); linear in dB between the points of a table.
    """
    if limit is None:
        return None
    loss_db = np.interp(freq_hz, limit.freq_hz, limit.return_loss_db)
    return np.asarray(10 ** (-loss_db / 20))


def end_radius(whole: Real | None, loss_np: Real) -> Real | None:
    """Radius of each of two equal junctions at the ends of a lead, so that the whole lead keeps its limit.

    Source: |r1| + |r2| e^(-2 a l) <= L with |r1| = |r2|.
    """
    return None if whole is None else np.asarray(whole / (1 + np.exp(-2 * loss_np)))


def impedance_room_ohm(radius: Real | None, reference_ohm: float) -> float:
    """Largest departure of a lead's impedance that its reflection limit leaves room for [ohm].

    Source: r = d/(2 Z + d) for an impedance off by d, solved for the smaller d: 2 Z r/(1 + r).
    """
    if radius is None:
        return float(np.inf)
    least = float(radius.min())
    return 2 * reference_ohm * least / (1 + least)
