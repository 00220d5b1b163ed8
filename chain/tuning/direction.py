"""Too long or too short: what the element, its resonance or the sign of its reactance says, and how far to rely upon that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real
from chain.reflection import ohm_from_reflection
from chain.setups import Antenna
from chain.tuning.crossings import (
    TAIL,
    Crossing,
    Estimate,
    crossing_interval,
    crossings_of,
    estimate,
    nearest_crossing,
)
from chain.tuning.records import LengthChange, Prediction, Resonance, Wanted
from chain.tuning.trials import Antennas

LARGEST_BY_SLOPE = 0.05
"""Largest relative change of length that the slope form is asked for: near resonance only."""
LEAST_SLOPE = 0.74
"""The true slope over that of the form, at its least; 0.94 for thin wire, 0.75 for the thickest rod, by the method of moments of
`tests/published/test_dipole.py`."""
THICKEST = 30.0
"""Half length over radius down to which the form is used."""


def dipole_impedance_ohm(length_m: float, diameter_m: float) -> float:
    """Mean characteristic impedance of a half-wave element taken as a line opened out [ohm].

    Source: Za = 120 (ln(2 h/a) - 1), h half the length, a the radius (transmission-line theory of the dipole; memory).
    """
    return float(120 * (np.log(2 * length_m / diameter_m) - 1))


def ohm_per_percent(length_m: float, diameter_m: float) -> float:
    """Reactance of a half-wave element one per cent off its resonance [ohm].

    Source: X = Za (pi/2) (f - f0)/f0 near resonance; Za of `dipole_impedance_ohm`.
    """
    return dipole_impedance_ohm(length_m, diameter_m) * np.pi / 200


def change_to(resonance_hz: ArrayLike, wanted_hz: float) -> Real:
    """Relative change of length that takes a resonance to the wanted frequency; negative: shorten.

    Source: L2 = L1 f1/f2: at a given shape everything scales with the length in wavelengths.
    """
    return np.asarray(np.asarray(resonance_hz, dtype=float) / wanted_hz - 1)


def change_by_slope(reactance_ohm: ArrayLike, length_m: float, diameter_m: float) -> Real:
    """Relative change of length that takes out a reactance read at the wanted frequency; negative: shorten.

    Source: dL/L = -X/(Za pi/2), a plain half-wave element near resonance.
    """
    return np.asarray(-np.asarray(reactance_ohm, dtype=float) / (100 * ohm_per_percent(length_m, diameter_m)))


def quality_factor(reflection: Complex, slope: Complex, freq_hz: ArrayLike) -> Real:
    """Quality factor of an antenna at its resonance, from the slope of its reflection over frequency [1/Hz].

    Source: Q = w/(2 R) |dZ/dw| at X = 0 (Yaghjian and Best, IEEE Trans. Antennas Propag. 53, 2005, eq. 86; memory), with
    dZ = 2 R0 dG/(1 - G)^2 and R = R0 (1 - |G|^2)/|1 - G|^2.
    """
    far = np.asarray(reflection)
    # |1 - G|^2 of the slope and of the resistance cancel, so that no impedance, however high, is a division by nothing.
    return np.asarray(np.asarray(freq_hz) * np.abs(slope) / np.maximum(1 - np.abs(far) ** 2, 1e-12))


SURE = 1 - TAIL
GOLDEN = (5**0.5 - 1) / 2
"""Steps of this share of a turn never fall into step with the trials."""
WORTH = 0.98
"""A change is worth making where it takes the worst reflection down to this share or less."""
ONE_ELEMENT = ("half-wave", "folded", "loop")
NOT_STATED = "antenna: one driven element (element not stated)"


@dataclass(frozen=True)
class DrawnAntenna:
    """A sweep taken back to the antenna: with every unknown at zero, and by every trial (rows)."""

    freq_hz: Real
    element_ohm: float
    nominal: Antennas
    every: Antennas

    def interval(self, found: Crossing) -> Estimate:
        """A resonance with its interval."""
        return crossing_interval(self.freq_hz, self.every.element.imag, found)


@dataclass(frozen=True)
class Decision:
    """A direction with what it rests on. Without a `change` only the direction is known, and `why` says why."""

    direction: str = ""
    suspected: bool = False
    change: LengthChange | None = None
    by_slope: LengthChange | None = None
    why: str = ""
    assumed: tuple[str, ...] = ()


def operating(found: list[Crossing], drawn: DrawnAntenna, element: str, dip_hz: float) -> Crossing | None:
    """The resonance to tune by: of those that are sure the one nearest to the dip, else the nearest that is seen at all.

    A single element works at a series resonance.
    """
    seen = found or crossings_of(drawn.freq_hz, drawn.nominal.element.imag)
    if element in ONE_ELEMENT:
        seen = [each for each in seen if each.rising]
    at = float(np.clip(dip_hz, drawn.freq_hz[0], drawn.freq_hz[-1]))
    # By ratio: half a frequency is as far away as twice it.
    return min(seen, key=lambda each: abs(np.log(each.freq_hz / at)), default=None)


def resonance_of(drawn: DrawnAntenna, found: Crossing) -> Resonance:
    """A resonance with its resistance and quality factor, each with the interval of the trials."""
    freq = drawn.freq_hz
    at = nearest_crossing(freq, drawn.every.element.imag, found)
    place = int(np.abs(freq - found.freq_hz).argmin())
    # A trial whose resonance lies outside the sweep is read at the end it left by.
    places = np.abs(freq - np.clip(at, freq[0], freq[-1])[:, None]).argmin(axis=1)
    rows = np.arange(at.size)

    def both(one: Real, many: Real) -> Estimate:
        return estimate(float(one[place]), many[rows, places])

    nominal, every = drawn.nominal, drawn.every
    return Resonance(
        drawn.interval(found),
        "series" if found.rising else "parallel",
        both(*(ohm_from_reflection(each.element, drawn.element_ohm).real for each in (nominal, every))),
        both(
            quality_factor(nominal.element, nominal.slope, freq),
            quality_factor(every.element, every.slope, freq),
        ),
    )


def change_of(share: Estimate, length_m: float | None, basis: str) -> LengthChange:
    """A relative change of length with its interval, and the same in metres where the length is stated."""
    lengths = None if length_m is None else Estimate(*(end * length_m for end in (share.value, share.low, share.high)))
    return LengthChange(share, lengths, basis)


def decide(drawn: DrawnAntenna, antenna: Antenna, wanted: Wanted, chosen: Crossing | None, sure: int) -> Decision:
    """Direction and amount from the resonance; from the reactance at the wanted frequency where there is none."""
    freq, element = drawn.freq_hz, antenna.element
    at = int(np.abs(freq - wanted.aim_hz).argmin())
    slope = _by_slope(drawn, antenna, at)
    assumed = () if element else (NOT_STATED,)
    if chosen is None:
        return _by_sign(drawn, at, element, slope, assumed)
    found = drawn.interval(chosen)
    direction = "too long" if found.high < wanted.aim_hz else "too short" if found.low > wanted.aim_hz else ""
    ends = change_to([found.value, found.low, found.high], wanted.aim_hz)
    change = change_of(Estimate(*ends.tolist()), antenna.length_m, "resonance")
    if element == "several":
        return Decision(direction, True, None, None, "several driven or coupled elements share the resonance")
    if sure > 1 and not element:
        why = f"{sure} resonances in the sweep, and the file does not say what the antenna is made of"
        return Decision(direction, True, None, None, why)
    return Decision(direction, False, change, slope, "", assumed)


def _direction(share_below: float) -> str:
    """Direction by the share of trials that have the resonance below the wanted frequency."""
    return "too long" if share_below >= SURE else "too short" if share_below <= 1 - SURE else ""


def _by_slope(drawn: DrawnAntenna, antenna: Antenna, at: int) -> LengthChange | None:
    """Amount from the reactance at one frequency: a plain half-wave element of stated thickness, near its resonance."""
    if antenna.element != "half-wave" or not antenna.length_m or not antenna.diameter_m:
        return None
    sizes = antenna.length_m, antenna.diameter_m
    value = float(change_by_slope(ohm_from_reflection(drawn.nominal.element[at], drawn.element_ohm).imag, *sizes))
    if abs(value) > LARGEST_BY_SLOPE or antenna.length_m < THICKEST * antenna.diameter_m:
        return None
    many = change_by_slope(ohm_from_reflection(drawn.every.element[:, at], drawn.element_ohm).imag, *sizes)
    # The form is steeper than a real element: spread over what it is off, evenly and always alike.
    many = many / np.linspace(LEAST_SLOPE, 1.0, many.size)[np.argsort(np.arange(many.size) * GOLDEN % 1)]
    return change_of(estimate(value, many), antenna.length_m, "slope")


def _by_sign(
    drawn: DrawnAntenna, at: int, element: str, slope: LengthChange | None, assumed: tuple[str, ...]
) -> Decision:
    # Above its series resonance, that is longer than half a wave, an element is inductive.
    direction = _direction(float(np.mean(drawn.every.element[:, at].imag > 0)))
    if slope is not None:
        return Decision(direction, False, slope, slope)
    why = "no resonance lies inside the sweep"
    return Decision(direction, True, None, None, why, assumed if element != "several" else ())


def verdict_of(
    decided: Decision, resonance: Estimate | None, wanted: Wanted, after: Prediction | None, now: float
) -> tuple[str, str]:
    """Verdict and its reason."""
    within = resonance is not None and wanted.low_hz <= resonance.low and resonance.high <= wanted.high_hz
    if not decided.direction:
        if within and wanted.low_hz < wanted.high_hz:
            return "in tune", "the resonance lies inside the wanted span, as near to its middle as this sweep can tell"
        return "cannot tell", "the uncertainty of the resonance is larger than its distance from the wanted frequency"
    if after is None:
        return decided.direction, decided.why
    gains = after.better >= SURE and after.worst.vswr.value < 1 + WORTH * (now - 1)
    if gains or not after.covered:
        return decided.direction, decided.why
    if within:
        return "in tune", "the resonance lies inside the wanted span, and another length gains nothing"
    return "no gain", "the worst channel would be no better at another length"
