"""What was learnt of a part as a row of the library: figures rounded outward, so that the row still covers the intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from chain.arrays import Real
from chain.characterize.intervals import Interval
from chain.characterize.lead import design, fitted, not_negative
from chain.errors import RangeError

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
