"""What ripples, strongest first: spacing, the length that makes it, its size, and what in the set-up is so long."""

from __future__ import annotations

import numpy as np
from rich.console import Console

from chain.echoes.records import Component, Ripple
from chain.report.numbers import frequency, vswr
from chain.report.phrases import plane_words, upward
from chain.report.tables import Column, notes, safe, say, show_table, title

__all__ = ["render"]

STYLES = {"ripple": "yellow", "too coarse": "yellow", "too narrow": "", "none": "green", "too few points": "yellow"}
KINDS = {"echo": "ripple", "beat": "beat", "repeat": "repeat", "turn": "no ripple"}
DERIVED = ("beat", "repeat")
"""Kinds that are no length of their own."""
SHOWN = 8


def render(result: Ripple, console: Console) -> None:
    """Print the periodic parts of a sweep."""
    title(console, result.title)
    say(console, safe(result.sentence, STYLES[result.verdict]))
    console.print()
    if result.components:
        _table(result, console)
        console.print()
        for number, each in enumerate(result.components[:SHOWN], 1):
            say(console, f"{number}  ", _told(result, each), indent=3)
        console.print()
    for lead in result.unseen:
        say(console, f"Not seen: {lead.item}, every {_every(lead.spacing_hz)}; {lead.reason}; {lead.remedy}.")
    _swing(result, console)
    _gate(result, console)
    say(console, _conditions(result))
    notes(console, result.warnings, result.assumed)


def _table(result: Ripple, console: Console) -> None:
    columns = [
        Column("", figures=False),
        Column("every"),
        Column("length, m\n(95 %)"),
        Column("velocity\nfactor"),
        Column("reflection"),
        Column("against"),
        Column("return loss\ndB"),
    ]
    at_antenna = any(each.far_reflection is not None for each in result.components)
    if at_antenna:
        columns.append(Column("at the\nantenna"))
    rows = []
    for number, each in enumerate(result.components[:SHOWN], 1):
        row: list[object] = [
            f"{number}",
            _every(each.spacing_hz),
            "" if each.kind in DERIVED else _length(each.length_m, each.length_high_m - each.length_m),
            "" if each.kind in DERIVED else f"{each.velocity_factor:.3g}",
            f"{each.reflection:.4f}",
            f"{each.against:.3f}",
            f"{each.return_loss_db:.1f}",
        ]
        if at_antenna:
            row.append(
                "" if each.far_reflection is None or each.kind in DERIVED else f"{min(each.far_reflection, 1.0):.3f}"
            )
        rows.append(row)
    show_table(console, columns, rows)
    left = len(result.components) - SHOWN
    if left > 0:
        say(console, f"{left} weaker ones are not shown.")


def _every(spacing_hz: float) -> str:
    return frequency(float(f"{spacing_hz:.4g}"))


def _length(length_m: float, half_m: float) -> str:
    """A length with the half-width of its 95 % interval, rounded up."""
    decimals = 3 if length_m < 1 else 2 if length_m < 10 else 1
    if half_m < 0.5 * 10**-decimals:
        return f"{length_m:.{decimals}f}"
    return f"{length_m:.{decimals}f} +/- {upward(half_m)}"


def _told(result: Ripple, each: Component) -> str:
    text = f"{KINDS[each.kind]}: {each.explanation}"
    if each.kind != "echo":
        return f"{text}."
    text += "" if text.endswith("?") else "."
    if each.order != "unknown":
        text += f" It lies {each.order} the larger reflection."
    text += f" Swings VSWR {vswr(each.low_vswr)} to {vswr(each.high_vswr)}."
    if result.plane and not each.matches:
        text += f" If it is line: {', '.join(f'{one.length_m:.2f} m of {one.material}' for one in each.lengths[:-1])}."
    return text


def _swing(result: Ripple, console: Console) -> None:
    """Screen with and without the ripple, at its worst point."""
    if result.verdict != "ripple":
        return
    worst = int(np.argmax(result.reading))
    seen, steady = (vswr(float(values[worst])) for values in (result.reading_vswr, result.steady_vswr))
    at = frequency(float(result.freq_hz[worst]))
    say(console, f"Worst point {at}: VSWR {seen} on the screen, {steady} without the ripple.")


def _gate(result: Ripple, console: Console) -> None:
    if result.gated_vswr is None or result.trusted is None or result.gate_s is None:
        return
    freq = result.freq_hz[result.trusted]
    if not freq.size:
        say(console, "The gate is too narrow for this span: no point of the gated sweep can be trusted.")
        return
    inside = result.gated_vswr[result.trusted]
    low, high = vswr(float(inside.min())), vswr(float(inside.max()))
    say(
        console,
        f"Gated to {result.gate_s[0] * 1e9:.1f} to {result.gate_s[1] * 1e9:.1f} ns: VSWR {low} to {high} from "
        f"{frequency(float(freq[0]))} to {frequency(float(freq[-1]))}; not to be trusted outside that: the gate blurs the "
        "band edges. --gate FILE writes it.",
    )


def _conditions(result: Ripple) -> str:
    text = f"Taken as {result.interpretation}. " if result.interpretation else ""
    if result.plane:
        text += f"Calibrated {plane_words(result.plane)}. "
    if result.has_phase and result.components:
        text += f"Lengths count from the {result.counted_from}. "
    if result.reach:
        each = result.reach
        spans = ", ".join(f"{one.shortest_m:.2f} to {one.longest_m:.1f} m at {one.velocity_factor:g}" for one in each)
        text += f"This span and step tell lengths of {spans}; longer ones fold back and look shorter. "
    if result.components and not result.has_phase:
        text += "Without phase it stays open which of the two reflections is the antenna (the smaller is listed). "
    if result.components:
        text += "The +/- of a length holds it in 95 %, the antenna's own phase included. "
    if np.isfinite(result.noise):
        text += f"Noise {result.noise:.1g}; chance of a false alarm {result.false_alarm:g} a sweep."
    return text.strip()
