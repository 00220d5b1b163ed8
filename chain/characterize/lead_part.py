"""A lead as a part of the library, from the intervals of what its open and short end show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.characterize.intervals import Interval
from chain.characterize.lead import DB_PER_NEPER, LeadFit, design, misfit_db
from chain.characterize.part_making import (
    About,
    MeasuredFit,
    band_limit,
    coefficients,
    curve,
    figure,
    odd_velocity,
    rounded,
    whole,
    wider,
)
from chain.characterize.records import Figure, Learnt
from chain.errors import RangeError
from chain.rf.parts import attenuation_db_per_100m
from library.records import Coax

MOST_OF_SOURCE = 200
USUAL_LEAD_DB = 20.0
"""Reflection limit of a lead whose own is not reported: practice for a home-made one."""


@dataclass(frozen=True)
class LeadKnown:
    """What is known of a lead beside its sweeps; `like_named`: it is certain to be of the type `like`."""

    nominal_ohm: float
    length_m: float | None
    velocity_factor: float | None
    length_tolerance_m: float
    like: Coax | None
    like_named: bool


def lead_part(
    measured: MeasuredFit,
    about: About,
    fit: LeadFit,
    lead: LeadKnown,
    noise: float,
) -> Learnt:
    """The part that a lead's open and short make."""
    found, nominal_ohm, length_m, like = measured.found, lead.nominal_ohm, lead.length_m, lead.like
    mean = {end: trace.mean(axis=0) for end, trace in measured.sweeps.traces.items()}
    columns = design(fit.freq_hz, fit.two_terms)
    # Loss is -5 lg |open short|: each trace adds 8.686/4 dB times its relative noise, and two of them sqrt 2 times that.
    per_point = DB_PER_NEPER / 4 * noise * np.sqrt(2 / measured.sweeps.repeats) / np.abs(fit.wave)
    ripple = misfit_db(design(fit.at_hz, fit.two_terms), columns, fit.rest_db(mean["open"], mean["short"]), per_point)
    loss = found["loss_db"].widened(2 * ripple)
    length = length_m if length_m is not None else float(found["length_m"].value)
    static, figures, assumed = _static(measured, about, fit, nominal_ohm, length, lead.velocity_factor)
    # Loss was measured of the lead and is stated per 100 m, so the error of its length is one of the figure.
    row = curve(fit.at_hz, loss, fit.two_terms, length, lead.length_tolerance_m / length)
    figures += coefficients(found["coefficients"].scaled(100 / length))
    kept, remark = _kept(like, fit.at_hz, loss, length, float(row["loss_tolerance_percent"]))
    row |= kept
    named = like if lead.like_named else None
    odd = odd_velocity(float(static["velocity_factor"]), length if length_m is not None else None, named)
    warnings = (*measured.warnings, *odd, *((remark,) if remark and not kept else ()))
    assumed = (*assumed, *((remark,) if kept else ()))
    return whole(
        replace(measured, assumed=(*measured.assumed, *assumed), warnings=warnings),
        about,
        "coax",
        "its open and short end",
        loss,
        {**static, **row},
        at_hz=fit.at_hz,
        figures=tuple(figures),
        near_ohm=nominal_ohm,
        far_ohm=nominal_ohm,
        length_m=length,
        s=None,
        reflection_error=None,
    )


def _kept(
    like: Coax | None, at_hz: Real, loss: Interval, length_m: float, percent: float
) -> tuple[dict[str, Any], str]:
    """Loss of a type of cable, as keys of the row, where it is known better than measured; and the words for it."""
    if like is None or like.points_hz or at_hz[0] < like.valid_from_hz or at_hz[-1] > like.valid_to_hz:
        return {}, ""
    conductor, dielectric = attenuation_db_per_100m(like, at_hz)
    typical = (conductor + dielectric) * length_m / 100
    low, high = typical * (1 - like.loss_tolerance), typical * (1 + like.loss_tolerance)
    # Two intervals apart at any frequency contradict each other; that they overlap elsewhere excuses nothing.
    if bool((low > loss.high).any() or (high < loss.low).any()):
        at = int(np.argmax(np.maximum(low - loss.high, loss.low - high)))
        return {}, (
            f"{like.id} would lose {low[at]:.3f} to {high[at]:.3f} dB at {at_hz[at] / 1e6:g} MHz, and the sweeps show "
            f"{loss.low[at]:.3f} to {loss.high[at]:.3f} dB: another cable, a bad plug, or a calibration out of date"
        )
    if not 0 < 100 * like.loss_tolerance < percent or like.attenuation_kind != "nominal":
        return {}, ""
    row = {
        "flat_db_per_100m": like.flat_db_per_100m,
        "per_sqrt_mhz_db_per_100m": like.per_sqrt_mhz_db_per_100m,
        "per_mhz_db_per_100m": like.per_mhz_db_per_100m,
        "temperature_c": like.temperature_c,
        "loss_tolerance_percent": rounded(100 * like.loss_tolerance),
        "evidence": like.evidence.kind,
        "source": f"loss of {like.id}: {like.evidence.source[:MOST_OF_SOURCE]}; all else: ",
    }
    return row, (
        f"loss of {like.id} +/- {100 * like.loss_tolerance:g} % ({like.evidence.kind}), which the sweeps agree with and tell "
        f"to +/- {percent:g} % only"
    )


def _static(
    measured: MeasuredFit,
    about: About,
    fit: LeadFit,
    nominal_ohm: float,
    length_m: float,
    velocity_factor: float | None,
) -> tuple[dict[str, Any], list[Figure], tuple[str, ...]]:
    """Impedance, velocity and reflection of a lead: keys of its row, figures, what was assumed."""
    found = measured.found
    row: dict[str, Any] = {"impedance_ohm": nominal_ohm}
    figures: list[Figure] = []
    assumed: tuple[str, ...] = ()
    if fit.fit_ohm:
        own = found["impedance_ohm"]
        mhz = [rounded(float(each) / 1e6, 9) for each in (fit.at_hz[0], fit.at_hz[-1])]
        row |= {"impedance_points_mhz": mhz, "impedance_points_ohm": [rounded(float(own.value), 4)] * 2}
        # The wider side either way, rounded up: a tolerance in the library is symmetric, and no interval may stick out of it.
        row["impedance_tolerance_ohm"] = wider(float(own.half), 2)
        figures.append(figure("impedance_ohm", own, "impedance of the line"))
    if "velocity_factor" in found:
        velocity = found["velocity_factor"]
        figures.append(figure("velocity_factor", velocity, "velocity factor"))
        velocity_factor = float(velocity.value)
    elif "length_m" in found:
        figures.append(figure("length_m", found["length_m"], "length"))
    assert velocity_factor is not None
    if not 0 < velocity_factor <= 1:
        raise RangeError(
            f"a lead of {length_m:g} m with this phase would have a velocity factor of {velocity_factor:.2f}",
            "correct the length; no wave is faster than light",
        )
    row["velocity_factor"] = rounded(velocity_factor)
    turned = abs(float(fit.phase[-1] - fit.phase[0]))
    # Over half a turn there and back both ends' reflections stand in quadrature or better somewhere; over less they may cancel all along.
    if fit.has_phase and turned >= np.pi:
        worst = Interval(*(np.atleast_1d(each) for each in vars(found["reflection"]).values()))
        limit = band_limit([(float(fit.freq_hz[0]), float(fit.freq_hz[-1]))], [worst])
        limit.pop("magnitude_kind", None)
        row |= {"lead_reflection": limit, "lead_evidence": "measured"}
        figures.append(figure("reflection", found["reflection"], "largest reflection of the ends, together"))
    else:
        row |= {"lead_reflection": {"return_loss_db": USUAL_LEAD_DB}, "lead_evidence": "practice"}
        why = "the sweeps have no phase" if not fit.has_phase else "the span is too short to tell both ends apart"
        assumed = (f"reflection {USUAL_LEAD_DB:g} dB at each end (practice: {why})",)
    row |= {"static_evidence": "measured" if fit.has_phase else "stated"}
    return row, figures, assumed
