"""What a plot shows, as data: axes with ticks at round values, series with bands, bars, reflection charts, and the look that each role has.

A description holds every figure in its own unit and says nothing of pixels or characters. The terminal chart, the picture
file and any page draw from the same description, so that they cannot disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real
from chain.reflection import magnitude_from_vswr, vswr
from chain.setup_report.numbers import units

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
"""Colours that people of every kind of colour vision distinguish: Okabe and Ito, Color Universal Design, 2008; printed as
RGB in Wong, Nature Methods 8 (2011) 441."""


@dataclass(frozen=True)
class Look:
    """How a role is drawn. Dashes and hatching distinguish roles where colour does not."""

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
class BarGroup:
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
    groups: tuple[BarGroup, ...]
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


MOST_TICKS = 7
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0)
VSWR_TICKS = (1, math.inf, 2, 1.5, 3, 5, 1.2, 10, 1.1, 1.3, 1.7, 2.5, 4, 7, 20, 50, 30, 15, 100, 1.05, 1.02, 1.15, 1.4)
"""VSWRs worth a tick, the most telling first."""
LOSS_TICKS = (math.inf, 0, 10, 6, 14, 20, 3, 30, 8, 12, 17, 26, 2, 1, 4, 5, 23, 40)
"""Return losses worth a tick, in dB, the most telling first."""
CLOSEST = 0.09
"""Least distance between two ticks of a VSWR axis, as a share of it."""
FEWEST_TICKS = 4
NEAR, OPEN = 0.4, 0.875
"""Share of the largest reflection below which an axis begins at 1; reflection above which it ends at an open."""
ROOM = 0.05
LEAST_SPAN = 0.02
UNITS = ((10e9, 1e9, "GHz"), (1e6, 1e6, "MHz"), (1e3, 1e3, "kHz"), (0.0, 1.0, "Hz"))
"""Frequency from which a unit is used, the unit in Hz, and its name."""


def _round_values(low: float, high: float) -> list[tuple[float, str]]:
    """Multiples of a round step between two values, at most `MOST_TICKS` of them, each with its text."""
    span = high - low
    scale = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
    step = next(scale * each for each in STEPS if span / (scale * each) <= MOST_TICKS - 1)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    places = max(0, 1 - math.floor(math.log10(step)))
    return [(index * step, _shortest(index * step, places)) for index in range(first, last + 1)]


def _shortest(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def even_axis(label: str, unit: str, low: float, high: float, unit_size: float = 1.0) -> Axis:
    """Axis of evenly spaced values with round ticks."""
    if high <= low:
        room = abs(low) * 0.005 or 0.5
        low, high = low - room, high + room
    values = _round_values(low / unit_size, high / unit_size)
    return Axis(label, unit, low, high, tuple(Tick(value * unit_size, text) for value, text in values))


def frequency_axis(freq_hz: ArrayLike, room: float = 0.0) -> Axis:
    """Axis of frequency, in the unit that suits it."""
    found = np.asarray(freq_hz, dtype=float)
    low, high = float(found.min()), float(found.max())
    low, high = low - room * (high - low), high + room * (high - low)
    size, unit = next((size, unit) for least, size, unit in UNITS if high >= least)
    return even_axis("frequency", unit, low, high, size)


def vswr_axis(label: str, highest: float, lowest: float = 1.0) -> Axis:
    """Axis of matches, all as VSWR, from the lowest to at least the highest value, spaced by the reflection magnitude.

    Its ticks are VSWRs or return losses, by the unit in force. Source: Magnitude of reflection (S - 1)/(S + 1).
    """
    least, most = (float(magnitude_from_vswr(value)) for value in (lowest, max(highest, lowest, 1.02)))
    # A line that comes near to a perfect match is best seen from there.
    least = 0.0 if least < NEAR * most else max(least - ROOM * (most - least), 0.0)
    most = 1.0 if most > OPEN else most
    least, most = max(min(least, most - LEAST_SPAN), 0.0), min(max(most, least + LEAST_SPAN), 1.0)
    unit = "return loss, dB" if units().in_db else "VSWR"
    axis = Axis(label, unit, float(vswr(least)), float(vswr(most)), (), "reflection")
    chosen: list[tuple[float, float, str]] = []
    for value, text in _match_ticks():
        place = float(axis.share(value))
        if -1e-9 <= place <= 1 + 1e-9 and all(abs(place - other) >= CLOSEST for other, *_ in chosen):
            chosen.append((place, value, text))
    ticks = tuple(Tick(value, text) for _, value, text in sorted(chosen))
    if not units().in_db and len(ticks) < FEWEST_TICKS and math.isfinite(axis.high):
        ticks = tuple(Tick(value, text) for value, text in _round_values(axis.low, axis.high))
    return Axis(label, unit, axis.low, axis.high, ticks, "reflection")


def _match_ticks() -> list[tuple[float, str]]:
    """VSWRs worth a tick, each with its text in the unit in force."""
    if units().in_db:
        return [(float(vswr(10 ** (-value / 20))), f"{value:g}".replace("inf", ">60")) for value in LOSS_TICKS]
    return [(float(value), f"{value:g}".replace("inf", "open")) for value in VSWR_TICKS]
