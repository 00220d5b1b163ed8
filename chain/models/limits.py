"""Reflection limits of whole parts, as radii over frequency."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from library.records import Limit

__all__ = ["end_radius", "limit_radius"]

Real = NDArray[np.float64]


def limit_radius(limit: Limit | None, freq_hz: Real) -> Real | None:
    """Largest reflection magnitude that a limit allows, over frequency; None where nothing is limited.

    Parameters
    ----------
    limit : least return loss at one or more frequencies, or None.
    freq_hz : shape (frequencies,) [Hz].

    Returns
    -------
    shape (frequencies,) reflection magnitude [-], or None.

    Examples
    --------
    >>> float(limit_radius(Limit((0.0,), (20.0,)), np.array([1e8]))[0])
    0.1

    Source
    ------
    10^(-RL/20); linear in dB between the points of a table.
    """
    if limit is None:
        return None
    loss_db = np.interp(freq_hz, limit.freq_hz, limit.return_loss_db)
    return np.asarray(10 ** (-loss_db / 20))


def end_radius(whole: Real | None, loss_np: Real) -> Real | None:
    """Radius of each of two equal junctions at the ends of a lead, so that the whole lead keeps its limit.

    Parameters
    ----------
    whole : limit of the whole lead as a reflection magnitude, or None [-].
    loss_np : one-way loss of the lead [Np].

    Returns
    -------
    shape (frequencies,) reflection magnitude [-], or None.

    Examples
    --------
    >>> float(end_radius(np.array([0.1]), np.array([0.0]))[0])
    0.05

    Source
    ------
    |r1| + |r2| e^(-2 a l) <= L with |r1| = |r2|.
    """
    return None if whole is None else np.asarray(whole / (1 + np.exp(-2 * loss_np)))
