"""What sweeps of a part must show before anything is learnt from them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from chain.arrays import Complex
from chain.characterize.lead import LeadFit, along_line
from chain.errors import RangeError

LEAST_ECHO = 1.5
"""Least echo over what the step of impedance reflects, where no phase distinguishes them."""
LEAST_THROUGH = 1e-4
LEAST_BACK = 1e-3


def enough(has_phase: bool, length_m: float | None, velocity_factor: float | None, ohm: float | None) -> None:
    """See that what the sweeps of a lead do not resolve is stated."""
    if length_m is None and velocity_factor is None:
        raise RangeError("a lead's length or its velocity factor is needed", "measure the lead: --length '0.6 m'")
    if not has_phase:
        stated = {"--length": length_m, "--velocity-factor": velocity_factor, "--impedance": ohm}
        missing = [name for name, value in stated.items() if value is None]
        if missing:
            raise RangeError(
                "these sweeps have no phase, and give only the lead's loss",
                f"state {' and '.join(missing)} too, or export the sweeps with their phase (.s1p)",
            )


def coming_back(traces: Mapping[str, Complex]) -> None:
    """See that something comes back from either end of a lead."""
    least = min(float(np.abs(trace).min()) for trace in traces.values())
    if least < LEAST_BACK:
        raise RangeError(
            f"almost nothing comes back from an end of this lead (|S11| {least:.1g})",
            "look whether it is open or shorted at its far end, and unbroken",
        )


def believable(fit: LeadFit) -> None:
    """See that the sweeps can be those of a lead."""
    step = abs(fit.start_ohm - fit.reference_ohm) / (fit.start_ohm + fit.reference_ohm)
    if not fit.has_phase and float(np.abs(fit.wave).min()) < LEAST_ECHO * step:
        raise RangeError(
            f"so little comes back from the end of the lead that the step from {fit.reference_ohm:g} to "
            f"{fit.start_ohm:g} ohm hides it",
            "sweep with phase (.s1p), calibrate in the lead's own impedance, or measure a shorter length",
        )
    if along_line(fit.freq_hz, fit.phase) <= 0:
        raise RangeError(
            "the sweeps show no delay, and every lead has one",
            "look whether open and short were at the far end of the lead, and the calibration at its near end",
        )


def passing(s: Complex) -> None:
    """See that a two-port lets something through."""
    least = float(np.abs(s[:, [1, 0], [0, 1]]).min())
    if least < LEAST_THROUGH:
        raise RangeError(
            f"this part lets almost nothing through (|S21| {least:.1g})",
            "look whether it is joined at both ends, and unbroken",
        )
