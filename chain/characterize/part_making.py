"""What every learnt part has: id and date, the span it is described for, its row in the library, the text of its part file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.characterize.intervals import Interval
from chain.characterize.lead import design, fitted, not_negative
from chain.characterize.records import Figure, Learnt
from chain.characterize.sweeps import Sweeps
from chain.errors import RangeError, plain
from chain.results import COVERAGE
from library.files.save import part_text
from library.records import Coax

BEST_DB = 60.0
"""Return loss beyond which nothing is claimed of a whole part."""
LEAST = 1e-6
MOST_PERCENT = 99.9
MOST_TOLERANCE_DB = 19.99
"""The library takes no part of a wider tolerance."""


def rounded(value: float, digits: int = 5) -> float:
    """Value to so many significant digits."""
    return float(f"{value:.{digits}g}")


def wider(value: float, digits: int = 3) -> float:
    """Half-width rounded up to so many significant digits."""
    if value <= 0:
        return 0.0
    scale = 10.0 ** (digits - 1 - math.floor(math.log10(value)))
    return float(f"{math.ceil(value * scale * (1 - 1e-12)) / scale:.{digits}g}")


def pad_loss(loss: Interval) -> tuple[float, float]:
    """One loss with a tolerance that covers the interval at every frequency [dB]."""
    low, high = max(float(loss.low.min()), 0.0), float(loss.high.max())
    _not_gain(loss)
    middle = rounded((low + high) / 2)
    if (high - low) / 2 > MOST_TOLERANCE_DB:
        raise RangeError(
            f"these sweeps leave the loss open by {(high - low) / 2:.0f} dB either way, so that they make no part",
            "look whether the part is joined at both ends, and repeat the calibration",
        )
    # Not a fraction more than the loss itself: rounding must not make it a gain.
    return middle, min(wider(max(high - middle, middle - low)), middle)


def _not_gain(loss: Interval) -> None:
    if float(loss.high.min()) <= 0:
        raise RangeError(
            f"more comes back than was sent: the loss would be {float(loss.value.min()):.3f} dB",
            "repeat the calibration, and look whether open and short are where they should be",
        )


def line_loss(at_hz: Real, loss: Interval, two_terms: bool) -> tuple[Real, float]:
    """Coefficients of a loss that grows with frequency, with one relative tolerance that covers the interval [dB].

    Source: No coefficient is negative: conductors and dielectric both take power.
    """
    _not_gain(loss)
    open_below = bool((loss.low <= 0.01 * loss.high).any())
    # A tolerance is at most 99.9 %: where no loss at all may be
    # true, half the upper end with all of it either way covers both.
    wanted = loss.high / 2 if open_below else loss.value
    parts = _not_negative(at_hz, wanted, two_terms)
    if open_below:
        # Doubled, the curve must reach the upper end at every frequency.
        reach = design(at_hz, True) @ parts
        parts = parts * max(1.0, float((loss.high / (reach * (1 + MOST_PERCENT / 100))).max()))
        return np.array([rounded(each) for each in parts]), MOST_PERCENT
    parts = np.array([rounded(each) for each in parts])
    reach = design(at_hz, True) @ parts
    percent = 100 * float(np.max(np.maximum(loss.high - reach, reach - loss.low) / reach))
    return parts, min(max(wider(percent), 0.0), MOST_PERCENT)


def _not_negative(at_hz: Real, loss: Real, two_terms: bool) -> Real:
    """Coefficients fitted to a curve, none below zero."""
    both = design(at_hz, True)
    if two_terms:
        return not_negative(fitted(both, loss).coefficients, at_hz)
    return np.array([float(fitted(both[:, :1], loss).coefficients[0]), 0.0])


def band_limit(bands_hz: Sequence[tuple[float, float]], reflections: Sequence[Interval]) -> dict[str, object]:
    """Reflection limit of a part from the largest reflection in each band, the worse of several ends.

    Source: -20 log10 of the magnitude, rounded down.
    """
    high = np.max([each.high for each in reflections], axis=0)
    worst = np.argmax([each.high for each in reflections], axis=0)
    value = np.array([reflections[end].value[band] for band, end in enumerate(worst)])
    sure = bool((value > 2 * (high - value)).all())
    levels = [max(min(math.floor(-200 * math.log10(min(max(each, LEAST), 1.0))) / 10, BEST_DB), 0.0) for each in high]
    spans = [[rounded(low / 1e6, 9), rounded(top / 1e6, 9)] for low, top in bands_hz]
    bands = [[*span, level] for span, level in zip(spans, levels, strict=True)]
    limit: Mapping[str, object] = {"bands_mhz_db": bands} if len(set(levels)) > 1 else {"return_loss_db": levels[0]}
    return {**limit, **({"magnitude_kind": "ring"} if sure else {})}


MOST_POINTS = 2001
ASKED_POINTS = 21
FEWEST_INSIDE = 8
USUAL_VELOCITY = (0.6, 0.95)
LIKE_OFF = 0.10
"""Relative departure of the velocity factor from that of a named cable at which the length is refused."""
SLACK = 1e-9
VAGUE_PERCENT = 30.0
LONGEST_SOURCE = 500
NAMES = {"pad": "pad", "adapter": "adapter", "coax": "lead"}


@dataclass(frozen=True)
class About:
    """What is stated of the part beside its figures. `span_hz`: what it is described for, the whole sweep if left out."""

    id: str
    date: str
    name: str = ""
    span_hz: tuple[float, float] | None = None
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class PartEnds:
    """Connectors of a two-port, nominal impedances, and what a sweep does not resolve of it."""

    near: str
    far: str
    near_ohm: float
    far_ohm: float
    dc: str = "pass"
    resistor_power_w: float | None = None


@dataclass(frozen=True)
class MeasuredFit:
    """What came out of the sweeps, before it is a part."""

    sweeps: Sweeps
    found: Mapping[str, Interval]
    draws: int
    seed: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]


def asked_hz(freq_hz: Real, about: About) -> Real:
    """Frequencies at which the part's loss is reported [Hz]."""
    low, high = about.span_hz or (freq_hz[0], freq_hz[-1])
    if low < freq_hz[0] * (1 - SLACK) or high > freq_hz[-1] * (1 + SLACK) or low > high:
        raise RangeError(
            f"the sweeps cover {freq_hz[0] / 1e6:g} to {freq_hz[-1] / 1e6:g} MHz, "
            f"and the part was asked for from {low / 1e6:g} to {high / 1e6:g} MHz",
            "sweep over the whole span that the part will be used in",
        )
    return np.linspace(low, high, ASKED_POINTS)


def decimated(sweeps: Sweeps) -> tuple[Sweeps, tuple[str, ...]]:
    """Sweeps of no more points than are worth the time, and a word where some were left out."""
    step = -(-sweeps.freq_hz.size // MOST_POINTS)
    if step == 1:
        return sweeps, sweeps.warnings
    text = f"one point in {step} of the {sweeps.freq_hz.size} of a sweep was used"
    traces = {name: trace[:, ::step] for name, trace in sweeps.traces.items()}
    return replace(sweeps, freq_hz=sweeps.freq_hz[::step], traces=traces), (*sweeps.warnings, text)


def figure(name: str, interval: Interval, words: str) -> Figure:
    """One figure of an interval."""
    return Figure(name, float(interval.value), float(interval.low), float(interval.high), words)


def _cautions(measured: MeasuredFit, row: Mapping[str, Any]) -> tuple[str, ...]:
    texts = []
    if measured.sweeps.repeats == 2:
        # Student's factor is 12.7 at one degree of freedom, 4.3 at two, 3.2 at three.
        texts.append("two repeats say little about how they scatter: a third narrows the intervals most")
    percent = float(row.get("loss_tolerance_percent", 0.0))
    if percent > VAGUE_PERCENT:
        texts.append(
            f"the loss is too small for this analyzer: uncertain by {percent:g} %; measure a longer length of the same cable, "
            "or calibrate better"
        )
    return tuple(texts)


def _reported(
    measured: MeasuredFit, about: About, kind: str, method: str, mean: Figure, row: dict[str, Any]
) -> tuple[dict[str, Any], list[str]]:
    """The whole row, and the remarks at the top of the part file."""
    sweeps = measured.sweeps
    files = ", ".join(plain(PurePath(name).name) for name in sweeps.files)
    times = "once" if sweeps.repeats == 1 else f"{sweeps.repeats} times"
    span = f"{sweeps.freq_hz[0] / 1e6:g} to {sweeps.freq_hz[-1] / 1e6:g} MHz"
    reported = f"{mean.value:.3f} dB, {mean.low:.3f} to {mean.high:.3f} dB at {100 * COVERAGE:g} %"
    row = {
        "id": about.id,
        "name": about.name or f"own {NAMES[kind]}, measured {about.date}",
        **{key: value for key, value in row.items() if key not in ("evidence", "source")},
        "evidence": row.get("evidence", "measured"),
        "source": f"{row.get('source', '')}own sweeps of {about.date}, by {method}{': ' if files else ''}{files}"[
            :LONGEST_SOURCE
        ],
        "note": f"Measured {times} over {span}. Mean loss {reported}. Tolerances cover these intervals.",
    }
    remarks = [
        f"A {NAMES[kind]} of your own, learnt on {about.date} from {method}; measured {times}, {span}.",
        f"Mean loss {reported}.",
        f'In a set-up: library = ["this file"] at its top, part = "{about.id}" in the item.',
        *(f"Assumed: {text}." for text in measured.assumed),
    ]
    return row, remarks


def whole(
    measured: MeasuredFit, about: About, kind: str, method: str, loss: Interval, row: dict[str, Any], **rest: Any
) -> Learnt:
    """The answer, its part file included."""
    sweeps = measured.sweeps
    at_hz: Real = rest.pop("at_hz")
    loss = replace(loss, low=np.maximum(loss.low, 0.0))
    mean = figure("mean_loss_db", measured.found["mean_loss_db"], "loss, mean over the sweep")
    # What is passive gives nothing out.
    mean = replace(mean, low=max(mean.low, 0.0))
    row, remarks = _reported(measured, about, kind, method, mean, row)
    return Learnt(
        id=about.id,
        title=str(row["name"]),
        kind=kind,
        method=method,
        date=about.date,
        freq_hz=at_hz,
        loss_db=loss.value,
        loss_low_db=loss.low,
        loss_high_db=loss.high,
        mean_loss=mean,
        sweeps=sweeps.repeats,
        coverage=COVERAGE,
        seed=measured.seed,
        draws=measured.draws,
        row=row,
        text=part_text(kind, row, remarks),
        sweep_hz=sweeps.freq_hz,
        loss_error_db=float(loss.half.max()),
        assumed=measured.assumed,
        warnings=(*measured.warnings, *_cautions(measured, row)),
        **rest,
    )


def curve(at_hz: Real, loss: Interval, two_terms: bool, length_m: float, spread: float) -> dict[str, Any]:
    """Loss of a lead per 100 m, as keys of its row."""
    parts, percent = line_loss(at_hz, loss, two_terms)
    root, linear = (rounded(float(each) * 100 / length_m) for each in parts)
    return {
        "per_sqrt_mhz_db_per_100m": root,
        "per_mhz_db_per_100m": linear,
        "valid_from_mhz": rounded(float(at_hz[0]) / 1e6, 9),
        "valid_to_mhz": rounded(float(at_hz[-1]) / 1e6, 9),
        "loss_tolerance_percent": min(wider(percent + 100 * spread), 99.9),
    }


def coefficients(found: Interval) -> list[Figure]:
    """Coefficients of the fit, both of one fit, with the intervals of its trials.

    None is below zero, so an interval is turned round its value: what was measured minus true would reach where no loss lies.
    """
    names = (("per_sqrt_mhz_db_per_100m", "loss per 100 m and sqrt(MHz)"), ("per_mhz_db_per_100m", "per 100 m and MHz"))
    rows = zip(*(np.atleast_1d(each) for each in (found.value, found.low, found.high)), strict=True)
    return [
        Figure(name, float(value), max(float(2 * value - high), 0.0), float(2 * value - low), words)
        for (name, words), (value, low, high) in zip(names, rows, strict=False)
    ]


def inside(freq_hz: Real, at_hz: Real) -> slice:
    """Points of a sweep inside the span that a part is described for; the whole sweep where they are too few."""
    first, last = np.searchsorted(freq_hz, (at_hz[0] * (1 - SLACK), at_hz[-1] * (1 + SLACK)))
    # A fit of two coefficients through a few points would follow their noise.
    return slice(int(first), int(last)) if last - first >= FEWEST_INSIDE else slice(None)


def cropped(sweeps: Sweeps, span: slice) -> Sweeps:
    """The same sweeps over a part of their span."""
    traces = {name: trace[:, span] for name, trace in sweeps.traces.items()}
    return replace(sweeps, freq_hz=sweeps.freq_hz[span], traces=traces)


def odd_velocity(factor: float, length_m: float | None, like: Coax | None) -> tuple[str, ...]:
    """Doubt of a length that makes a velocity factor no cable has, with the length that gives a usual one.

    Source: Velocity factors of solid and foamed dielectrics, 0.66 to 0.9 (practice); the delay is measured, not the
    length.
    """
    if like is not None and length_m is not None and abs(factor / like.velocity_factor - 1) > LIKE_OFF:
        raise RangeError(
            f"a lead of {length_m:g} m with this delay would have a velocity factor of {factor:.3g}, and {like.id} has "
            f"{like.velocity_factor:g}",
            f"measure the length again (that cable would be {length_m * like.velocity_factor / factor:.3g} m long), or leave "
            "--like out",
        )
    if USUAL_VELOCITY[0] <= factor <= USUAL_VELOCITY[1]:
        return ()
    text = f"a velocity factor of {factor:.3g} is none that a cable has"
    if length_m is None:
        return (text,)
    kinds = (("solid polyethylene", 0.66), ("foam", 0.82)) if like is None else ((like.id, like.velocity_factor),)
    lengths = ", ".join(f"{length_m * usual / factor:.3g} m for {usual:g} ({name})" for name, usual in kinds)
    return (f"{text}: is the length right? Its delay makes {lengths}",)
