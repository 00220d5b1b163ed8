"""Where in a set-up two reflections could be that far apart: every stretch between two joints, and which one fits a delay."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from chain.assembly.cascade import Chain
from chain.rf.elements import Element, Line
from chain.setups import Item, Setup
from library.formulas import LIGHT_M_PER_S
from library.frozen import dataclass
from library.records import Adapter, Coax

VELOCITY_TOLERANCE = 0.03
"""Relative half-width of a lead's velocity factor: stated values are nominal; practice."""
JOINT_M = 0.010
"""Electrical length by which the place of a reflection inside a joint is unknown, as a connector half; practice."""
ANTENNA_PERIODS = 0.35
"""Ripples over the span by which an antenna's own phase may turn: it looks like so much more lead."""


@dataclass(frozen=True)
class Stretch:
    """The way between two joints: there and back in `delay_s`, known to `tolerance_s`; `far` is where it ends."""

    near: str
    far: str
    items: tuple[str, ...]
    length_m: float
    delay_s: float
    tolerance_s: float
    to_antenna: bool
    lead_m: float = 0.0
    """Length of its leads alone, along whose outside a current may run."""

    @property
    def velocity_factor(self) -> float:
        """Of the whole stretch; adapters count by their electrical length."""
        return round(2 * self.length_m / (LIGHT_M_PER_S * self.delay_s), 9)

    @property
    def words(self) -> str:
        """The items it runs through."""
        return " and ".join(self.items) if len(self.items) < 3 else f"{', '.join(self.items[:-1])} and {self.items[-1]}"


@dataclass(frozen=True)
class Fitting:
    """A stretch that fits a delay; `folded`: only as the alias that this sweep's step makes of it."""

    stretch: Stretch
    folded: bool
    misfit: float
    """Difference over what is allowed, 0 to 1."""


def stretches(setup: Setup, chain: Chain) -> tuple[Stretch, ...]:
    """Every stretch between two joints that lie behind the calibration plane."""
    items = {item.id: item for item in setup.items}
    names, at = [], [(0.0, 0.0, 0.0)]
    passed: list[tuple[str, ...]] = [()]
    for name, elements in _behind_plane(setup, chain):
        delay = sum(_delay_s(element, chain.freq_hz) for element in elements)
        done = at[-1]
        if name in items:
            names_so_far = (*passed[-1], name)
            length, uncertainty = _length_m(items[name], delay), _uncertainty_s(items[name], delay)
            # Running sums from the plane: any stretch is then the difference of two of them.
            at[-1] = (done[0] + delay, done[1] + length, done[2] + uncertainty)
            passed[-1] = names_so_far
        else:
            names.append(name)
            at[-1] = (done[0] + delay, done[1] + delay * LIGHT_M_PER_S, done[2])
            at.append(at[-1])
            passed.append(passed[-1])
    leads = {name: item.length_m for name, item in items.items() if isinstance(item.part, Coax)}
    out = []
    for i, near in enumerate(names):
        for j in range(i + 1, len(names)):
            delay, length, uncertainty = (last - first for last, first in zip(at[j], at[i], strict=True))
            if delay > 0:
                # There and back; either end may lie anywhere in its joint, twice 2 x 10 mm of way.
                allowed = 2 * uncertainty + 4 * JOINT_M / LIGHT_M_PER_S
                between = passed[j][len(passed[i]) :]
                outside = sum(leads.get(name, 0.0) for name in between)
                last = j == len(names) - 1
                out.append(Stretch(near, names[j], between, length, 2 * delay, allowed, last, outside))
    return tuple(sorted(out, key=lambda each: (each.delay_s, len(each.items))))


def _behind_plane(setup: Setup, chain: Chain) -> Sequence[tuple[str, tuple[Element, ...]]]:
    plane = setup.calibration.plane
    if plane == "near":
        return chain.groups
    return chain.groups[[name for name, _ in chain.groups].index(plane) + 1 :]


def _delay_s(element: Element, freq_hz: NDArray[np.float64]) -> float:
    """Time that an element takes one way, from the phase of its line or the slope of its transmission."""
    middle = freq_hz.size // 2
    if isinstance(element, Line):
        return float(element.phase_rad[middle] / (2 * np.pi * freq_hz[middle]))
    if freq_hz.size < 2:
        return 0.0
    # Group delay by a straight line through the phase; a constant phase (a transformer's sign) does not count.
    turn = np.unwrap(np.angle(element.nominal()[:, 1, 0]))
    return max(float(-np.polyfit(freq_hz, turn, 1)[0] / (2 * np.pi)), 0.0)


def _length_m(item: Item, delay_s: float) -> float:
    return item.length_m if isinstance(item.part, Coax) else delay_s * LIGHT_M_PER_S


def _uncertainty_s(item: Item, delay_s: float) -> float:
    if isinstance(item.part, Coax):
        own = item.length_tolerance_m / item.length_m if item.length_m else 0.0
        return delay_s * (own + VELOCITY_TOLERANCE)
    return item.part.length_tolerance_m / LIGHT_M_PER_S if isinstance(item.part, Adapter) else 0.0


def antenna_delay_s(known: Sequence[Stretch]) -> float:
    """Delay there and back from the calibration plane to the antenna [s] (the longest stretch is the whole way)."""
    return max((each.delay_s for each in known), default=0.0)


def folded_s(delay_s: float, step_hz: float, has_phase: bool) -> float:
    """Delay that a sweep of even steps shows of one that is too long for it [s].

    Source: Sampling theorem: delays that differ by 1/step look alike, and without phase those of either sign.
    """
    # Modulo one step's window; without phase folded about its middle too.
    turns = delay_s * step_hz
    return float((turns - np.floor(turns)) if has_phase else abs(turns - np.round(turns))) / step_hz


def fitting(
    known: Sequence[Stretch],
    delay_s: float,
    delay_u_s: float,
    sweep: tuple[float, float, bool],
    only_antenna: bool = False,
) -> tuple[Fitting, ...]:
    """Stretches that a delay between two reflections fits."""
    span, step, has_phase = sweep
    out = []
    for each in known:
        if only_antenna and not each.to_antenna:
            continue
        # Three standard uncertainties: a true stretch is not left out; which of several it is, the order below says.
        allowed = each.tolerance_s + 3 * delay_u_s + (ANTENNA_PERIODS / span if each.to_antenna else 0.0)
        direct = abs(delay_s - each.delay_s) / allowed
        alias = abs(delay_s - folded_s(each.delay_s, step, has_phase)) / allowed
        if direct <= 1:
            out.append(Fitting(each, False, direct))
        # Only what the step really folds: else every delay would be its own alias.
        elif alias <= 1 and each.delay_s > 0.5 / step:
            out.append(Fitting(each, True, alias))
    return tuple(
        sorted(out, key=lambda each: (each.folded, not each.stretch.to_antenna, len(each.stretch.items), each.misfit))
    )
