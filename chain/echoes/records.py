"""Answer of `chain.echoes.analyse`: every periodic part, what it could be, what the sweep cannot tell; the gated sweep as a file."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.errors import RangeError
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from library.frozen import dataclass


@dataclass(frozen=True)
class Length:
    """One-way length at a velocity factor, with the standard uncertainty of fit, calibration and the antenna's own phase."""

    velocity_factor: float
    material: str
    length_m: float
    length_u_m: float


@dataclass(frozen=True)
class Component:
    """One periodic part: two reflections, `reflection` the smaller and `against` the larger, that many metres apart.

    `kind`: `echo`; `beat` of two stronger ones or `repeat` of one; `turn`: the whole reflection lies away from the plane, so
    that R and X go round while the VSWR does not ripple. `order`: `behind` or `before` the larger reflection, or `unknown`
    without phase. `delay_s` is there and back between the two; uncertainties are standard ones.
    """

    kind: str
    spacing_hz: float
    spacing_u_hz: float
    length_m: float
    length_u_m: float
    velocity_factor: float
    reflection: float
    against: float
    return_loss_db: float
    """Of the smaller reflection."""
    low_vswr: float
    high_vswr: float
    """Between which the two make the screen swing."""
    far_reflection: float | None
    """The smaller reflection as it is at the antenna, where the set-up shows what the chain before it takes away."""
    delay_s: float
    delay_u_s: float
    order: str
    periods: float
    points_per_ripple: float
    resolved: bool
    """Delay below half of 1/step, where the sweep's points pin it down."""
    lengths: tuple[Length, ...]
    matches: tuple[str, ...]
    explanation: str
    length_low_m: float
    length_high_m: float
    """95 % interval of `length_m`."""
    suspect: str = ""
    """A lead whose outside is as long as this at about the speed of light: current on its braid may make the ripple."""


@dataclass(frozen=True)
class Unseen:
    """An item whose ripple this sweep cannot show, and the span or step that would."""

    item: str
    spacing_hz: float
    reason: str
    remedy: str


@dataclass(frozen=True)
class Reach:
    """Lengths that a sweep shows at a velocity factor."""

    velocity_factor: float
    material: str
    shortest_m: float
    longest_m: float


@dataclass(frozen=True, repr=False)
class Ripple(ResultTable):
    """Answer of `ripple`. Arrays run over `freq_hz`; `reading`, `fitted` and `steady` are magnitudes of the reflection.

    `steady` is the main reflection with every ripple taken out by the fit; `gated` the complex reading after the time gate,
    None without phase or without ripple; `trusted` is false at the band edges that the gate spoils.
    """

    title: str
    plane: str
    interpretation: str
    verdict: str
    """`ripple`, `none`, `too narrow`, `too coarse` or `too few points`."""
    sentence: str
    components: tuple[Component, ...]
    counted_from: str
    has_phase: bool
    freq_hz: Real
    reading: Real
    reading_vswr: Real
    fitted: Real
    steady: Real
    steady_vswr: Real
    gated: Complex | None
    gated_vswr: Real | None
    trusted: NDArray[np.bool_] | None
    gate_s: tuple[float, float] | None
    span_hz: float
    step_hz: float
    widest_hz: float
    narrowest_hz: float
    reach: tuple[Reach, ...]
    unseen: tuple[Unseen, ...]
    noise: float
    false_alarm: float
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]

    ROWS = "components"
    COLUMNS = ("spacing_hz", "length_m", "velocity_factor", "reflection", "return_loss_db", "against", "explanation")

    def headline(self) -> str:
        """The verdict as a sentence."""
        return self.sentence

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        own: dict[str, Any] = dict(vars(self))
        own["components"] = [
            {**vars(each), "lengths": [vars(length) for length in each.lengths]} for each in self.components
        ]
        own["reach"] = [vars(each) for each in self.reach]
        own["unseen"] = [vars(each) for each in self.unseen]
        own["gated_reason"] = self.gated_reason
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]

    @property
    def gated_reason(self) -> str | None:
        """Why there is no gated sweep, where there is none."""
        if self.gated is not None:
            return None
        return "no phase was read" if not self.has_phase else "there is no ripple to take out"


WARNING = "points that are not trusted lie where the gate blurs the band edge"
MARK = "processed: time-gated"
"""Mark by which `chain.sweeps.marks` knows such a file again."""


def csv_text(found: Ripple) -> str:
    """Gated sweep as a table of text."""
    rows = [f"{f!r},{re!r},{im!r},{int(sure)}" for f, re, im, sure in _rows(found)]
    return "\n".join([*(f"# {text}" for text in _heads(found)), "frequency_hz,real,imaginary,trusted", *rows]) + "\n"


def touchstone_text(found: Ripple, reference_ohm: float) -> str:
    """Gated sweep as a Touchstone file (Touchstone file format specification, version 1.1)."""
    rows = _rows(found)
    head = [*(f"! {text}" for text in _heads(found)), f"# Hz S RI R {reference_ohm:g}"]
    return "\n".join([*head, *(f"{f!r} {re!r} {im!r}" for f, re, im, _ in rows)]) + "\n"


def _heads(found: Ripple) -> list[str]:
    sure = [f for f, _, _, trusted in _rows(found) if trusted]
    span = (sure[0], sure[-1]) if sure else (0.0, 0.0)
    return [MARK, WARNING, f"trusted: {span[0]!r} to {span[1]!r} Hz"]


def _rows(found: Ripple) -> list[tuple[float, float, float, bool]]:
    if found.gated is None or found.trusted is None:
        raise RangeError("there is no gated sweep", found.gated_reason or "")
    values = zip(found.freq_hz, found.gated, found.trusted, strict=True)
    return [(float(f), float(value.real), float(value.imag), bool(sure)) for f, value, sure in values]
