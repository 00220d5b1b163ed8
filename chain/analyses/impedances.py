"""Checks of the line's impedance along a chain: pads missing or the wrong way round, parts that do not belong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chain.arrays import Complex, Real
from chain.assembly.graph import BLOCKING, Connection, SetupGraph, connection_elements, item_ohm
from chain.errors import RangeError
from chain.findings import REVERSED, Finding
from chain.reflection import return_loss_db, vswr
from chain.rf import twoport
from chain.rf.elements import Element, nominal
from chain.rf.parts import elements_of
from chain.setups import Item, Setup
from library.frozen import dataclass

MOST_POINTS = 401
"""Frequencies at which an item is looked at, at most."""
SLIGHT_DB = 26.0
"""Return loss from which on a wrong item is only a note: what an ordinary pad or adapter keeps (practice)."""
TELLING_VSWR = 10.0
"""Readings of open and short from which on a part has too little loss for them to differ to the eye (practice)."""
ALIKE = 1.1
"""Impedances within this ratio are one line: cables of 72.8 or 52 ohm are not meant to be another (practice)."""


@dataclass(frozen=True)
class Cost:
    """What an item of wrong impedance costs at the top of the sweep, the line matched to either side of it."""

    freq_hz: float
    return_loss_db: float
    vswr: float
    mismatch_loss_db: float
    worst_hz: float
    worst_return_loss_db: float

    def __str__(self) -> str:
        text = (
            f"at {self.freq_hz / 1e6:g} MHz it alone has a return loss of {self.return_loss_db:.1f} dB "
            f"(VSWR {self.vswr:.2f}) and {self.mismatch_loss_db:.3f} dB of mismatch loss"
        )
        if self.worst_return_loss_db < self.return_loss_db - 0.05:
            text += f"; at {self.worst_hz / 1e6:g} MHz, its worst, {self.worst_return_loss_db:.1f} dB"
        return text


def part_cost(elements: tuple[Element, ...], near_ohm: float, far_ohm: float, freq_hz: Real) -> Cost:
    """Reflection and mismatch loss of an item between the lines on its two sides.

    Source: Two-port of the item in the lines' impedances; mismatch loss -10 log10(1 - |S11|^2).
    """
    magnitude = np.abs(nominal(elements, near_ohm, far_ohm, freq_hz)[..., 0, 0])
    loss_db = return_loss_db(magnitude)
    worst = int(np.argmax(magnitude))
    top = float(magnitude[-1])
    return Cost(
        float(freq_hz[-1]),
        float(min(loss_db[-1], 200.0)),
        float(vswr(top)),
        float(-10 * np.log10(1 - top * top)) + 0.0,
        float(freq_hz[worst]),
        float(min(loss_db[worst], 200.0)),
    )


def _grid(setup: Setup) -> Real:
    sweep = setup.sweep
    return np.linspace(sweep.start_hz, sweep.stop_hz, max(2, min(sweep.points, MOST_POINTS)))


def _lines(setup: Setup) -> list[tuple[float, float]]:
    """Impedances (near, far) of every stretch of the path, the analyzer and the antenna included."""
    near, far = setup.near.impedance_ohm, setup.far.impedance_ohm
    return [(near, near), *(item_ohm(item) for item in setup.items), (far, far)]


def _wrong_runs(setup: Setup) -> list[tuple[tuple[Item, ...], float, float]]:
    """Runs of items of one impedance that is neither of its neighbours', with the impedances of those neighbours."""
    lines = _lines(setup)
    runs: list[tuple[tuple[Item, ...], float, float]] = []
    start = 1
    while start <= len(setup.items):
        own = lines[start][0]
        end = start
        while end <= len(setup.items) and lines[end] == (own, own):
            end += 1
        before = lines[start - 1][1]
        if end > start and _unlike(own, before) and _unlike(own, lines[end][0]):
            runs.append((setup.items[start - 1 : end - 1], before, lines[end][0]))
        start = max(end, start + 1)
    return runs


def _unlike(one_ohm: float, other_ohm: float) -> bool:
    return max(one_ohm, other_ohm) > ALIKE * min(one_ohm, other_ohm)


def _turned(setup: Setup) -> list[tuple[Item, float]]:
    """Items that would fit the line on their near side if turned round, with that line's impedance."""
    lines = _lines(setup)
    return [
        (item, before)
        for item, (_, before), (near, far) in zip(setup.items, lines, lines[1:], strict=False)
        if near != far and near != before and far == before
    ]


def wrong_impedance(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Find leads, adapters and attenuators of another impedance than the line they lie in, and what they cost."""
    freq_hz = _grid(setup)
    found = []
    for items, near_ohm, far_ohm in _wrong_runs(setup):
        line = f"{near_ohm:g}-ohm" if near_ohm == far_ohm else f"{near_ohm:g}/{far_ohm:g}-ohm"
        level = "caution"
        try:
            elements = tuple(element for item in items for element in elements_of(item, freq_hz))
            cost = part_cost(elements, near_ohm, far_ohm, freq_hz)
            reported = str(cost)
            level = "note" if cost.worst_return_loss_db >= SLIGHT_DB else level
        except RangeError as error:
            reported = f"its cost is not known ({error})"
        text = f"a {item_ohm(items[0])[0]:g}-ohm part in the {line} line: {reported}"
        remedy = f"use {near_ohm:g}-ohm parts there, or the shortest part that will do"
        found.append(Finding(level, "/".join(item.id for item in items), text, remedy, "wrong-impedance"))
    return found


def costed_joints(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Find joints where the line's impedance steps, or that hold a short length of wrong impedance, and their cost."""
    freq_hz = _grid(setup)
    found = []
    for each in joints:
        near_ohm, far_ohm = each.near.line_ohm, each.far.line_ohm
        if each.verdict in BLOCKING or not (each.sections or near_ohm != far_ohm):
            continue
        texts = [f"the line steps from {near_ohm:g} to {far_ohm:g} ohm"] if near_ohm != far_ohm else []
        texts += [f"{length_m * 1e3:g} mm (electrical) of {ohm:g} ohm lie in it" for ohm, length_m in each.sections]
        cost = part_cost(connection_elements(each, freq_hz), near_ohm, far_ohm, freq_hz)
        remedy = "parts and connectors of the line's own impedance avoid it"
        found.append(Finding("note", each.id, f"{' and '.join(texts)}: {cost}", remedy, "costed-joint"))
    return found


def reversed_part(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph | None) -> list[Finding]:
    """Find pads and other matching parts the wrong way round, and what an open, a short and a load then read."""
    found = []
    for item, line_ohm in _turned(setup):
        end_ohm = item_ohm(item)[0]
        text = f"the wrong way round: its {end_ohm:g}-ohm end is at the {line_ohm:g}-ohm side"
        ways = _both_ways(item, line_ohm, end_ohm, _grid(setup)[:1])
        if ways is not None:
            # A lone resistor or a single length of line is the same from either end.
            if np.allclose(*ways):
                continue
            text += f". {_readings(ways, line_ohm, end_ohm)}"
        found.append(Finding("caution", item.id, text, f"turn {item.id} round", REVERSED))
    return found


def items_to_turn(setup: Setup) -> tuple[str, ...]:
    """Ids of pads and other matching parts the wrong way round, by the rule of the check."""
    # Most set-ups have none, and are asked in no time.
    return tuple(found.where for found in reversed_part(setup, (), None)) if _turned(setup) else ()


def _readings(ways: tuple[Complex, Complex], line_ohm: float, end_ohm: float) -> str:
    """What an open, a short and a load behind a part read, as placed and turned round."""
    opened, shorted, load = (
        [float(vswr(np.abs(twoport.input_reflection(s, end)[0]))) for s in ways] for end in (1.0, -1.0, 0.0)
    )
    reported = f"At {line_ohm:g} ohm a {end_ohm:g}-ohm load behind it reads VSWR {load[0]:.2f} instead of {load[1]:.2f}"
    # Without loss an open and a short read full reflection either way round, which shows nothing.
    if max(*opened, *shorted) < TELLING_VSWR:
        reported += f", an open {opened[0]:.2f} instead of {opened[1]:.2f}, a short {shorted[0]:.2f} instead of {shorted[1]:.2f}"
    return reported


def _both_ways(item: Item, near_ohm: float, far_ohm: float, freq_hz: Real) -> tuple[Complex, Complex] | None:
    """Two-port of an item as placed and turned round, between the same two lines; None outside its span."""
    turned = replace(item, reversed=not item.reversed)
    try:
        elements = elements_of(item, freq_hz), elements_of(turned, freq_hz)
    except RangeError:
        return None
    return nominal(elements[0], near_ohm, far_ohm, freq_hz), nominal(elements[1], near_ohm, far_ohm, freq_hz)


def missing_match(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Find chains with nothing that matches the analyzer's impedance to the antenna's."""
    near, far = setup.near.impedance_ohm, setup.far.impedance_ohm
    if near == far or any(a != b for a, b in map(item_ohm, setup.items)):
        return []
    step = max(near, far) / min(near, far)
    least = max(2.0 / step, step / 2.0)
    return [
        Finding(
            "caution",
            "near",
            f"nothing matches {near:g} ohm to {far:g} ohm: a perfect antenna reads VSWR {step:.2f}, and one of VSWR 2.00 "
            f"anything from {least:.2f} to {2 * step:.2f}",
            "put a matching pad between them; only complex readings can be converted without one",
            "no-match",
        )
    ]


def impedance_changes(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Find lines whose impedance goes to and fro more often than the two ends need."""
    ohms = [ohm for line in _lines(setup) for ohm in line]
    steps = ohms[:1]
    for ohm in ohms[1:]:
        if _unlike(ohm, steps[-1]):
            steps.append(ohm)
    # One wrong item or one turned pad makes two changes too many and has a remark of its own.
    reported = 2 * min(1, len(_wrong_runs(setup)) + len(_turned(setup)))
    excess = len(steps) - 1 - _unlike(ohms[0], ohms[-1])
    if excess <= reported:
        return []
    return [
        Finding(
            "caution",
            "",
            f"the line's impedance changes {len(steps) - 1} times: {', '.join(f'{ohm:g}' for ohm in steps)} ohm",
            "change it once, in the pad, and keep each side of the pad in one impedance",
            "alternating",
        )
    ]
