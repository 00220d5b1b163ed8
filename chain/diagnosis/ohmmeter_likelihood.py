"""What one reading of an ohmmeter says of the kinds of fault: how likely each would show it."""

from __future__ import annotations

import re
from dataclasses import replace
from math import isinf, log1p
from typing import Any

import numpy as np

from chain.analyses.ohmmeter import dc_reading, figure_range, largest_tolerance, lies_within, whole_chain
from chain.arrays import Real
from chain.diagnosis.faults import (
    BLOCKS_DC,
    FAR_CONNECTOR,
    LOSS,
    MOST_CONNECTOR,
    MOST_EXTRA_DB,
    MOST_LESS_DB,
    NEAR_CONNECTOR,
    RIGHT,
    SuspectedFault,
)
from chain.diagnosis.likelihood import Meter
from chain.errors import UnitError, quoted
from chain.setups import Setup
from chain.sweeps.reading_words import COMMA, point_for_comma
from chain.units import SPELLINGS, parse_quantity

OVERLOAD = re.compile(r"open|inf(?:inite|inity)?|∞|[o0]\.?l\.?|over ?(?:load|range|flow)|off(?: the)?[ -]?scale|-{2,}")
"""What a meter shows, or its user writes, of no connection at all."""
BELOW_ZERO = re.compile(r"-\s*[.0-9]*[1-9]")
OPEN_OHM = 1e5
"""A chain that reads more than this is open to DC; practice."""
METER_SHARE = 0.005
"""Relative standard deviation of a meter, by which a figure may lie beyond a range; practice."""
SLIP = 1e-9
"""Likelihood of a figure far from all that a fault shows, over that of one which it does: it keeps the nearest first; own choice."""
STEPS = 24


Figures = Real
"""What the meter shows: one figure, or for a pad of another loss one for each of several losses [ohm]."""


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

    Source: Logarithm of the resistance rectangular over the range that the card states for such a figure; beyond it a
    normal tail. What the card excludes for a sound chain is no sound chain.
    """
    spread, sound = largest_tolerance(setup), is_sound(setup, seen_ohm)
    known: dict[int, tuple[Figures, ...]] = {}

    def likelihood(fault: SuspectedFault, size: Real) -> Real | float:
        if fault.what == RIGHT and not sound:
            return np.zeros(1)
        if id(fault) not in known:
            known[id(fault)] = _figures(fault)
        chances = [_likelihood(fault, each, size, seen_ohm, spread) for each in known[id(fault)]]
        if len(chances) == 1:
            return chances[0]
        whole, broken, shorted = chances
        return np.where(size < MOST_CONNECTOR, whole, (broken + shorted) / 2)

    return likelihood


def is_sound(setup: Setup, seen_ohm: float) -> bool:
    """Whether the card has a reading in the range of a sound chain."""
    whole = whole_chain(setup)
    return lies_within(seen_ohm, whole.low_ohm, whole.high_ohm)


def may_show(setup: Setup, fault: SuspectedFault, seen_ohm: float) -> bool:
    """Whether the card's range for what a fault does to the resistance holds a reading."""
    spread = largest_tolerance(setup)
    ends = ((float(each.min()), float(each.max())) for each in _figures(fault))
    return any(lies_within(seen_ohm, figure_range(low, spread)[0], figure_range(high, spread)[1]) for low, high in ends)


def _figures(fault: SuspectedFault) -> tuple[Figures, ...]:
    """What the meter may show under a fault; of a poor connector while it conducts, then broken, then shorted."""
    sound = np.array([dc_reading(fault.setup, np.inf)])
    if fault.what == BLOCKS_DC:
        return (np.array([_with_pad(fault, dc="block")]),)
    if fault.what == LOSS:
        more_db = np.linspace(-min(MOST_LESS_DB, fault.loss_db), MOST_EXTRA_DB, STEPS)
        return (np.array([_with_pad(fault, arms=(), loss_db=fault.loss_db + float(each)) for each in more_db]),)
    if fault.what == NEAR_CONNECTOR:
        return sound, np.array([np.inf]), np.array([0.0])
    if fault.what == FAR_CONNECTOR:
        return sound, sound, np.array([dc_reading(fault.setup, 0.0)])
    return (sound,)


def _with_pad(fault: SuspectedFault, **changes: Any) -> float:
    """What the meter shows with the pad at fault changed."""
    items = tuple(
        replace(each, part=replace(each.part, **changes)) if each.id == fault.item else each
        for each in fault.setup.items
    )
    return dc_reading(replace(fault.setup, items=items), np.inf)


def _likelihood(fault: SuspectedFault, figures: Figures, size: Real, seen_ohm: float, spread: float) -> Real:
    if figures.size > 1:
        grid = np.linspace(-min(MOST_LESS_DB, fault.loss_db), MOST_EXTRA_DB, figures.size)
        figures = np.interp(size, grid, figures)
    return _chance(seen_ohm, figures, spread)


def _chance(seen_ohm: float, expected_ohm: Real, spread: float) -> Real:
    """Likelihood of what was seen; opens are distinguished from figures, figures by their logarithm."""
    opened = np.isinf(expected_ohm)
    if isinf(seen_ohm):
        return np.where(opened, 1.0, SLIP)
    # One ohm more keeps a dead short on the scale.
    low, high = (np.log1p(each) for each in figure_range(np.where(opened, 0.0, expected_ohm), spread))
    seen = log1p(seen_ohm)
    beyond = np.maximum(np.maximum(low - seen, seen - high), 0.0) / METER_SHARE
    # The tail never vanishes, so no kind is ruled out by one bad reading and the nearest stays the nearest.
    tail = np.maximum(np.exp(-np.minimum(beyond * beyond, 200.0) / 2), SLIP / (1 + beyond))
    return np.where(opened, SLIP, tail / (high - low))
