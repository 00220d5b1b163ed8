"""A two-port from open, short and load read through it: scikit-rf's one-port calibration gives it as an error box."""

from __future__ import annotations

import warnings
from collections.abc import Mapping

import numpy as np

from chain.arrays import Complex, Real
from chain.characterize.lead import unwrapped
from chain.errors import RangeError
from chain.uncertainty.calibration import solve

__all__ = ["box_of_ends", "boxes_near", "with_root"]


ENDS = {"open": 1.0, "short": -1.0, "load": 0.0}
LEAST_APART = 1e-3
"""Least difference of two readings of unlike ends: what lies between lets almost nothing through."""


def box_of_ends(freq_hz: Real, traces: Mapping[str, Complex], seconds: float | None = None) -> Complex:
    """Two-port between the analyzer and three ends that are taken as ideal.

    Source: scikit-rf `OnePort`. Everything carries one and the same label of impedance, so that nothing is
    renormalised: the reflections of the ideal ends are those in the load's impedance, whatever it is.
    """
    from skrf.calibration import OnePort
    from skrf.frequency import Frequency
    from skrf.network import Network

    _apart(traces)
    grid = Frequency.from_f(freq_hz, unit="hz")
    measured = [Network(frequency=grid, s=np.asarray(traces[end]).reshape(-1, 1, 1), z0=50, name=end) for end in ENDS]
    ideals = [
        Network(frequency=grid, s=np.full((freq_hz.size, 1, 1), value, dtype=complex), z0=50, name=end)
        for end, value in ENDS.items()
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        calibration = OnePort(measured=measured, ideals=ideals)
        calibration.run()
        box = np.array(calibration.error_ntwk.s)
    return with_root(freq_hz, box, box[:, 1, 0] * box[:, 0, 1], seconds)


def _apart(traces: Mapping[str, Complex]) -> None:
    names = list(ENDS)
    for first, second in ((0, 1), (0, 2), (1, 2)):
        gap = float(np.abs(traces[names[first]] - traces[names[second]]).min())
        if gap < LEAST_APART:
            raise RangeError(
                f"{names[first]} and {names[second]} read alike (they differ by {gap:.1g} at least)",
                "check that the ends were changed, and that the part lets anything through",
            )


def with_root(freq_hz: Real, box: Complex, product: Complex, seconds: float | None) -> Complex:
    """The two-port with the root of S21 S12 that is continuous and has the right sign.

    Source: A product alone leaves the sign open: half its phase, carried back to zero frequency or held against the
    length.
    """
    phase = unwrapped(freq_hz, product, None if seconds is None else 2 * seconds, "this part")
    out = box.copy()
    out[:, 0, 1] = out[:, 1, 0] = np.sqrt(np.abs(product)) * np.exp(0.5j * phase)
    return out


def boxes_near(traces: Mapping[str, Complex], nominal: Complex) -> Complex:
    """Two-ports from many sweeps at once that depart a little from a known one.

    Source: raw = (p G + q)/(r G + 1): S11 = q, S22 = -r, S21 S12 = p - q r.
    """
    maps = solve([traces[end] for end in ENDS], [np.full(1, value, dtype=complex) for value in ENDS.values()])
    root = nominal[:, 1, 0]
    out = np.empty((*maps.p.shape, 2, 2), dtype=complex)
    out[..., 0, 0], out[..., 1, 1] = maps.q, -maps.r
    out[..., 0, 1] = out[..., 1, 0] = root * np.sqrt((maps.p - maps.q * maps.r) / root**2)
    return out
