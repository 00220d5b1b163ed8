"""A pad, an adapter or a lead as a part of the library, from the intervals of what its two-port shows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.characterize.intervals import Interval
from chain.characterize.lead import misfit_db
from chain.characterize.part_making import (
    About,
    MeasuredFit,
    PartEnds,
    band_limit,
    coefficients,
    curve,
    figure,
    line_loss,
    odd_velocity,
    pad_loss,
    rounded,
    whole,
    wider,
)
from chain.characterize.records import Figure, Learnt
from chain.characterize.two_port import BoxFit, windows
from chain.errors import RangeError
from library.formulas import LIGHT_M_PER_S

MOST_UNCERTAIN_DB = 20.0
"""Largest tolerance of a loss that a part file takes."""
MUCH = 0.15
"""Reflection above which a part is hardly what it is stated to be (VSWR 1.35)."""


def two_port_part(
    measured: MeasuredFit,
    about: About,
    fit: BoxFit,
    ends: PartEnds,
    kind: str,
    length: tuple[float | None, float],
    noise_db: Real,
    method: str,
) -> Learnt:
    """The part that a two-port makes; `length` with its tolerance [m]."""
    # What the fit leaves is of the mean sweep, whose noise is that much smaller; ripple above it is real.
    noise_db = noise_db / np.sqrt(measured.sweeps.repeats)
    ripple = misfit_db(fit.columns(fit.at_hz), fit.columns(fit.freq_hz), fit.rest_db(), noise_db)
    loss = measured.found["loss_db"].widened(2 * ripple)
    row, figures = ROWS[kind](measured, fit, ends, loss, length)
    spans = windows(fit.freq_hz)
    bands = [(float(fit.freq_hz[span.start]), float(fit.freq_hz[span.stop - 1])) for span in spans]
    near, far = (measured.found[f"{end}_reflection"] for end in ("near", "far"))
    if kind == "pad":
        row |= {"near_reflection": band_limit(bands, [near]), "far_reflection": band_limit(bands, [far])}
        kinds = {str(row[f"{end}_reflection"].pop("magnitude_kind", "disc")) for end in ("near", "far")}
        # One shape serves both ends of a pad; the rim of the disc is the one that understates neither.
        for end in ("near", "far") if "ring" in kinds and fit.pairs == 1 else ():
            row[f"{end}_reflection"]["magnitude_kind"] = "ring"
    elif kind == "adapter":
        row["reflection"] = band_limit(bands, [near, far])
    else:
        limit = band_limit(bands, [near, far])
        limit.pop("magnitude_kind", None)
        row |= {"lead_reflection": limit, "lead_evidence": "measured"}
    # Of a pair only the outer ends are seen; what the inner ones reflect was stated.
    seen = (("near", near), ("far", far))[: 2 if fit.pairs == 1 else 1]
    figures += [_worst(name, interval) for name, interval in seen]
    return whole(
        replace(measured, warnings=(*measured.warnings, *_reflecting(ends, near, far), *_odd(figures, length[0]))),
        about,
        kind,
        method,
        loss,
        row,
        at_hz=fit.at_hz,
        figures=tuple(figures),
        near_ohm=ends.near_ohm,
        far_ohm=ends.far_ohm,
        length_m=length[0],
        s=fit.s if fit.pairs == 1 else None,
        reflection_error=float(max(near.half.max(), far.half.max())) if fit.pairs == 1 else None,
    )


def _reflecting(ends: PartEnds, near: Interval, far: Interval) -> tuple[str, ...]:
    """A warning where an end reflects as no good part of that impedance does."""
    worst = {"near": float(near.value.max()), "far": float(far.value.max())}
    bad = [end for end, size in worst.items() if size > MUCH]
    ohms = {"near": ends.near_ohm, "far": ends.far_ohm}
    return tuple(
        f"the {end} end reflects {worst[end]:.2g} in {ohms[end]:g} ohm: was the part the other way round, or its impedance or "
        "that of the sweeps another?"
        for end in bad
    )


def _odd(figures: list[Figure], length_m: float | None) -> tuple[str, ...]:
    return tuple(
        text for each in figures if each.name == "velocity_factor" for text in odd_velocity(each.value, length_m, None)
    )


def _worst(end: str, interval: Interval) -> Figure:
    at = int(np.argmax(interval.high))
    low, high = max(float(interval.low[at]), 0.0), float(interval.high[at])
    return Figure(f"{end}_reflection", float(interval.value[at]), low, high, f"largest reflection of the {end} end")


def _pad_row(
    measured: MeasuredFit, fit: BoxFit, ends: PartEnds, loss: Interval, length: tuple[float | None, float]
) -> tuple[dict[str, Any], list[Figure]]:
    middle, half = pad_loss(loss)
    if half > MOST_UNCERTAIN_DB:
        what = f"these sweeps give the loss to within {half:.0f} dB only"
        raise RangeError(what, "calibrate again, tighten the joints, and repeat them")
    row = {**_ends(fit, ends), "loss_db": middle, "loss_tolerance_db": half}
    if ends.resistor_power_w is not None:
        row["resistor_power_w"] = ends.resistor_power_w
    return row, []


def _ends(fit: BoxFit, ends: PartEnds) -> dict[str, Any]:
    return {
        "near": ends.near,
        "far": ends.far,
        "near_ohm": ends.near_ohm,
        "far_ohm": ends.far_ohm,
        "max_mhz": rounded(float(fit.at_hz[-1]) / 1e6, 9),
        "dc": ends.dc,
    }


def _adapter_row(
    measured: MeasuredFit, fit: BoxFit, ends: PartEnds, loss: Interval, length: tuple[float | None, float]
) -> tuple[dict[str, Any], list[Figure]]:
    if ends.near_ohm != ends.far_ohm:
        raise RangeError(
            f"an adapter is one line, and this part's ends are of {ends.near_ohm:g} and {ends.far_ohm:g} ohm",
            "learn it as a pad (--kind pad), or state one impedance for both ends",
        )
    # An adapter is too short for its dielectric to be distinguished from its conductors; the root stands for both.
    parts, percent = line_loss(fit.at_hz, loss, False)
    electrical = measured.found["delay_s"].scaled(LIGHT_M_PER_S * 1e3)
    row = {
        **_ends(fit, ends),
        "impedance_ohm": ends.near_ohm,
        "electrical_length_mm": max(rounded(float(electrical.value), 4), 0.0),
        "length_tolerance_mm": wider(float(electrical.half), 2),
        "loss_at_1ghz_db": rounded(float(parts[0]) * np.sqrt(1e3), 4),
        "loss_tolerance_percent": percent,
    }
    return row, [figure("electrical_length_mm", electrical, "electrical length in mm")]


def _lead_row(
    measured: MeasuredFit, fit: BoxFit, ends: PartEnds, loss: Interval, length: tuple[float | None, float]
) -> tuple[dict[str, Any], list[Figure]]:
    length_m, tolerance_m = length
    if length_m is None:
        raise RangeError("a lead's length is needed", "measure it: --length '0.6 m'")
    delay = measured.found["delay_s"]
    # The velocity's upper end is the delay's lower one, and would be infinite.
    if float(delay.low) <= 0:
        raise RangeError("the sweeps show no delay, and every lead has one", "look whether the part is a lead")
    spread = tolerance_m / length_m
    ends_of = Interval(*(np.asarray(length_m / LIGHT_M_PER_S / each) for each in (delay.value, delay.high, delay.low)))
    # The delay was measured and the length stated: their errors have nothing in common.
    velocity = figure("velocity_factor", ends_of.widened(ends_of.value * spread), "velocity factor")
    if not 0 < velocity.value <= 1:
        raise RangeError(
            f"a lead of {length_m:g} m with this phase would have a velocity factor of {velocity.value:.2f}",
            "correct the length; no wave is faster than light",
        )
    row = curve(fit.at_hz, loss, fit.two_terms, length_m, spread)
    static = {
        "impedance_ohm": ends.near_ohm,
        "velocity_factor": rounded(velocity.value),
        "static_evidence": "measured",
    }
    found = measured.found["coefficients"].scaled(100 / length_m)
    return {**static, **row}, [velocity, *coefficients(found)]


ROWS = {"pad": _pad_row, "adapter": _adapter_row, "coax": _lead_row}
