"""What one reading of an ohmmeter says of the kinds of fault: how likely each would show it."""

from __future__ import annotations

import re
from dataclasses import replace
from math import isinf, log1p, pi, sqrt
from typing import Any

import numpy as np

from chain.analyses.ohmmeter import dc_reading, resistor_tolerance
from chain.arrays import Real
from chain.diagnosis.faults import LOSS, MOST_EXTRA_DB, MOST_LESS_DB, SuspectedFault
from chain.diagnosis.likelihood import Meter
from chain.errors import UnitError, quoted
from chain.reading_words import COMMA, point_for_comma
from chain.setups import Setup
from chain.units import SPELLINGS, parse_quantity
from library.records import Pad

OVERLOAD = re.compile(r"open|inf(?:inite|inity)?|∞|[o0]\.?l\.?|over ?(?:load|range|flow)|off(?: the)?[ -]?scale|-{2,}")
"""What a meter shows, or its user writes, of no connection at all."""
BELOW_ZERO = re.compile(r"-\s*[.0-9]*[1-9]")
OPEN_OHM = 1e5
"""A chain that reads more than this is open to DC; practice."""
METER_SHARE = 0.02
"""Relative standard deviation of the meter, its leads and the plugs; practice."""
CHANCE_OF_A_SLIP = 1e-3
"""How often the figure is wrong by something else; own choice."""
STEPS = 24
MOST_OFF = 3.0
"""Standard deviations within which a sound chain's reading lies."""


def parse_ohms(text: str) -> float:
    """Reading of an ohmmeter as typed [ohm]."""
    words = text.translate(SPELLINGS).strip().lower()
    if OVERLOAD.fullmatch(words):
        return float("inf")
    if BELOW_ZERO.match(words):
        what = f"--ohms: {quoted(text)} is below zero, as an ohmmeter shows it with volts on the lead"
        raise UnitError(what, "take analyzer, every supply and the antenna off, meter for volts, then for ohms again")
    try:
        words = COMMA.sub(point_for_comma, words)
        if not any(letter.isalpha() for letter in words.replace("e", "")) and float(words) == 0:
            return 0.0
        ohm = parse_quantity(words if words[-1:].isalpha() else f"{words} ohm", "impedance")
    except (UnitError, ValueError) as error:
        remedy = getattr(error, "help", "") or "write it as in '86.6' or 'open'"
        raise UnitError(f"--ohms: {quoted(text)} is no reading of an ohmmeter", remedy) from error
    return ohm if ohm < OPEN_OHM else float("inf")


def meter_of(setup: Setup, seen_ohm: float) -> Meter:
    """Likelihood of an ohmmeter's reading at the near end, the far end open, under each fault.

    Source: Logarithm of the resistance normal about what Ohm's law gives, its spread from resistors (rectangular) and
    meter.
    """
    spread = _spread(setup)
    known: dict[int, Real] = {}

    def likelihood(fault: SuspectedFault, size: Real) -> Real | float:
        if id(fault) not in known:
            known[id(fault)] = _expected(fault)
        expected = known[id(fault)]
        if expected.size > 1:
            grid = np.linspace(-min(MOST_LESS_DB, fault.loss_db), MOST_EXTRA_DB, expected.size)
            return _chance(seen_ohm, np.interp(size, grid, expected), spread)
        return _chance(seen_ohm, expected, spread)

    return likelihood


def agrees_with_meter(setup: Setup, seen_ohm: float, expected_ohm: float) -> bool:
    """Whether a sound chain may well show a reading of an ohmmeter."""
    if isinf(seen_ohm) or isinf(expected_ohm):
        return isinf(seen_ohm) and isinf(expected_ohm)
    return abs(log1p(seen_ohm) - log1p(expected_ohm)) <= MOST_OFF * _spread(setup)


def _spread(setup: Setup) -> float:
    """Standard deviation of the logarithm of what a meter shows: resistors (rectangular) and the meter."""
    pads = [item.part for item in setup.items if isinstance(item.part, Pad)]
    tolerance = max((resistor_tolerance(pad) for pad in pads), default=0.0)
    # A rectangular tolerance of half-width a has the variance a^2/3 (JCGM 100, equation 7).
    return sqrt(tolerance**2 / 3 + METER_SHARE**2)


def _expected(fault: SuspectedFault) -> Real:
    """What the meter shows: one figure, or for a pad of another loss one for each of several losses [ohm]."""
    if fault.dc_blocked:
        return np.array([_with_pad(fault, dc="block")])
    if fault.what != LOSS:
        return np.array([dc_reading(fault.setup, np.inf)])
    more_db = np.linspace(-min(MOST_LESS_DB, fault.loss_db), MOST_EXTRA_DB, STEPS)
    return np.array([_with_pad(fault, arms=(), loss_db=fault.loss_db + float(each)) for each in more_db])


def _with_pad(fault: SuspectedFault, **changes: Any) -> float:
    """What the meter shows with the pad at fault changed."""
    items = tuple(
        replace(each, part=replace(each.part, **changes)) if each.id == fault.item else each
        for each in fault.setup.items
    )
    return dc_reading(replace(fault.setup, items=items), np.inf)


def _chance(seen_ohm: float, expected_ohm: Real, spread: float) -> Real:
    """Likelihood of what was seen; opens are distinguished from figures, figures by their logarithm."""
    opened = np.isinf(expected_ohm)
    if isinf(seen_ohm):
        return np.where(opened, 1.0, CHANCE_OF_A_SLIP)
    # One ohm more keeps a dead short on the scale.
    off = (log1p(seen_ohm) - np.log1p(np.where(opened, 0.0, expected_ohm))) / spread
    density = np.exp(-np.minimum(off * off, 200.0) / 2) / (spread * sqrt(2 * pi))
    # A slip may put the figure anywhere on the scale of logarithms, so no kind is ruled out by one bad reading.
    floor = CHANCE_OF_A_SLIP / log1p(OPEN_OHM)
    return np.where(opened, floor, density + floor)
