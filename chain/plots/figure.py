"""What a plot shows, as data: axes, series with bands, bars, reflection charts, and the look that each role has.

A description holds every figure in its own unit and says nothing of pixels or characters. The terminal chart, the picture
file and any page draw from the same description, so that they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real
from chain.reflection import magnitude_from_vswr

__all__ = [
    "LOOKS",
    "PALETTE",
    "Axis",
    "Bar",
    "BarChart",
    "CurveChart",
    "Group",
    "Level",
    "Look",
    "Plot",
    "ReflectionChart",
    "Series",
    "Span",
    "Tick",
    "Trace",
    "cut",
    "part_look",
    "spread",
]


PALETTE = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}
"""Colours that people of every kind of colour vision tell apart: Okabe and Ito, Color Universal Design, 2008; printed as
RGB in Wong, Nature Methods 8 (2011) 441."""


@dataclass(frozen=True)
class Look:
    """How a role is drawn. Dashes and hatching tell roles apart where colour does not."""

    colour: str
    dash: tuple[float, ...] = ()
    """Lengths on and off, in line widths; empty for a solid line."""
    sign: str = "*"
    """Character on a terminal."""
    ascii: str = "*"
    """Character where there is nothing but ASCII."""
    shade: float = 0.35
    """Opacity of a filled band, 0 to 1."""
    hatch: str = ""
    """Direction of hatching lines: `/`, `\\\\`, `-`, `x` or none."""


LOOKS = {
    "reading": Look(PALETTE["blue"], (5.0, 2.0), "○", "o"),
    "true": Look(PALETTE["vermillion"], (), "●", "x"),
    "interval": Look(PALETTE["sky blue"], (), ":", ":", 0.45),
    "bound": Look(PALETTE["black"], (1.0, 2.0), "·", ".", 0.09),
    "limit": Look(PALETTE["black"], (7.0, 3.0), "─", "-"),
    "ceiling": Look(PALETTE["reddish purple"], (8.0, 2.0, 1.5, 2.0), "═", "="),
    "total": Look(PALETTE["black"], (), "■", "#"),
    "share": Look(PALETTE["blue"], (), "■", "#", 0.85),
    "pass": Look(PALETTE["bluish green"], (), "+", "+", 0.16),
    "fail": Look(PALETTE["vermillion"], (2.0, 1.5), "x", "x", 0.16, "x"),
    "not proven": Look(PALETTE["orange"], (5.0, 2.0), "?", "?", 0.16, "/"),
    "leans good": Look(PALETTE["orange"], (5.0, 2.0), "/", "/", 0.16, "-"),
    "leans bad": Look(PALETTE["orange"], (5.0, 2.0), "\\", "\\", 0.16, "\\"),
    "no limit": Look(PALETTE["black"], (1.0, 2.0), "-", "-", 0.05),
    "impossible": Look(PALETTE["reddish purple"], (1.0, 1.0), "!", "!", 0.16, "-"),
    "first": Look(PALETTE["blue"], (), "━", "=", 0.85),
    "second": Look(PALETTE["vermillion"], (5.0, 2.0), "╌", "-", 0.85, "/"),
}
"""The look of each role; verdicts have theirs too."""

PART_COLOURS = ("blue", "orange", "bluish green", "reddish purple", "sky blue", "vermillion", "yellow")
HATCHES = ("", "/", "\\", "-", "x")
LETTERS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True)
class Tick:
    """A labelled place on an axis, in the axis's own values."""

    value: float
    text: str


@dataclass(frozen=True)
class Axis:
    """One axis. Values run from `low` to `high`; `unit` is what the ticks' texts are in.

    With scale `reflection` values are VSWRs, spaced by the reflection magnitude behind them, so that 1 stands at one end
    and an infinite VSWR has a place.
    """

    label: str
    unit: str
    low: float
    high: float
    ticks: tuple[Tick, ...]
    scale: str = "even"

    @property
    def title(self) -> str:
        """Label with unit, as it stands beside the axis."""
        return f"{self.label}, {self.unit}"

    def coordinate(self, values: ArrayLike) -> Real:
        """Values as evenly spaced coordinates: themselves, or the reflection magnitude of a VSWR; NaN stays NaN."""
        found = np.asarray(values, dtype=float)
        if self.scale == "even":
            return found
        known = np.where(np.isnan(found), 1.0, np.maximum(found, 1.0))
        return np.where(np.isnan(found), np.nan, magnitude_from_vswr(known))

    def share(self, values: ArrayLike) -> Real:
        """Place of values along the axis: 0 at its low end, 1 at its high end."""
        low, high = (float(self.coordinate(end)) for end in (self.low, self.high))
        return np.asarray((self.coordinate(values) - low) / (high - low))


@dataclass(frozen=True)
class Series:
    """A line (`y`), a band (`low` to `high`), or both, over `x`. NaN leaves a gap.

    `label` stands at its right end. Where `joined` is false, the values are single readings: marks with bars.
    """

    label: str
    role: str
    x: Real
    y: Real | None = None
    low: Real | None = None
    high: Real | None = None
    joined: bool = True
    look: Look | None = None

    @property
    def drawn(self) -> Look:
        """Its own look, or that of its role."""
        return LOOKS[self.role] if self.look is None else self.look

    def end(self, axis: Axis) -> float:
        """Place of its label on the y axis, 0 to 1: the right end of a line or of a band's edge; a part's middle."""
        if self.y is not None:
            places = axis.share(self.y)
        elif self.low is None or self.high is None:
            places = np.zeros(1)
        elif self.role == "part":
            places = axis.share((self.low + self.high) / 2)
        else:
            places = axis.share(self.high)
        known = places[np.isfinite(places)]
        return float(np.clip(known[-1], 0, 1)) if known.size else 0.0


@dataclass(frozen=True)
class Level:
    """A straight line across the plot at one value of the y axis (`along` "x") or of the x axis (`along` "y")."""

    label: str
    role: str
    value: float
    along: str = "x"


@dataclass(frozen=True)
class Span:
    """A stretch of the x axis with the look of a verdict, such as a channel; `words` where the answer calls that otherwise."""

    label: str
    verdict: str
    low: float
    high: float
    words: str = ""

    @property
    def shown(self) -> str:
        """The verdict in the answer's words."""
        return self.words or self.verdict

    @property
    def look(self) -> Look:
        """The look of the verdict, of a leaning one its own."""
        return LOOKS.get(self.words, LOOKS[self.verdict])


@dataclass(frozen=True)
class CurveChart:
    """Series over one axis, with levels and spans."""

    name: str
    title: str
    note: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    levels: tuple[Level, ...] = ()
    spans: tuple[Span, ...] = ()


@dataclass(frozen=True)
class Bar:
    """A stretch from `low` to `high` on the x axis, with `text` after it."""

    low: float
    high: float
    text: str
    role: str


@dataclass(frozen=True)
class Group:
    """Bars that belong to one thing; the one that the answer points at is `chosen`."""

    label: str
    bars: tuple[Bar, ...]
    chosen: bool = False


@dataclass(frozen=True)
class BarChart:
    """Things one under another, each with its bars along one axis. `key` says what a role means."""

    name: str
    title: str
    note: str
    x: Axis
    groups: tuple[Group, ...]
    levels: tuple[Level, ...] = ()
    key: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Trace:
    """Points of the reflection plane: a path over frequency, a closed outline, or marks where they are not `joined`."""

    label: str
    role: str
    points: Complex
    closed: bool = False
    joined: bool = True
    ends: tuple[str, str] = ("", "")
    """What stands at the first and the last point."""


@dataclass(frozen=True)
class ReflectionChart:
    """The unit disc of reflections in `reference_ohm`, with circles of constant resistance and reactance.

    `circle_ohm` holds the resistances, and the magnitudes of the reactances, whose circles are drawn; `limit` is the
    radius of the circle that holds every reflection within the limit, or None.
    """

    name: str
    title: str
    note: str
    reference_ohm: float
    circle_ohm: tuple[float, ...]
    traces: tuple[Trace, ...]
    limit: float | None = None
    limit_label: str = ""


Plot = CurveChart | BarChart | ReflectionChart


def cut(text: str, width: int, dots: str = "…") -> str:
    """Text of at most a width, its end replaced by dots where it is longer."""
    return text if len(text) <= width else text[: max(width - len(dots), 0)] + dots


def part_look(number: int) -> Look:
    """Look of the nth part of a chain: a colour of the cycle, a letter, and hatching from the second round on."""
    colour = PALETTE[PART_COLOURS[number % len(PART_COLOURS)]]
    letter = LETTERS[number % len(LETTERS)]
    return Look(colour, (), letter, letter, 0.55, HATCHES[(number // len(PART_COLOURS)) % len(HATCHES)])


def spread(wanted: ArrayLike, gap: float, low: float, high: float) -> Real:
    """Places for labels near where they are wanted, in the same order and at least a gap apart.

    Source: Least squares under an order: the running means of pool-adjacent-violators.
    """
    places = np.asarray(wanted, dtype=float)
    count = places.size
    if count == 0:
        return places
    step = min(gap, (high - low) / (count - 1)) if count > 1 else gap
    order = np.argsort(places, kind="stable")
    pools: list[tuple[float, int]] = []
    for value in np.clip(places[order], low, high) - step * np.arange(count):
        pools.append((float(value), 1))
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            (a, n), (b, m) = pools[-2:]
            pools[-2:] = [((a * n + b * m) / (n + m), n + m)]
    flat = np.concatenate([np.full(n, value) for value, n in pools])
    # The room left after the gaps bounds every pool alike, so clipping keeps the order and the gaps.
    room = np.clip(flat, low, max(high - step * (count - 1), low))
    out = np.empty(count)
    out[order] = room + step * np.arange(count)
    return out
