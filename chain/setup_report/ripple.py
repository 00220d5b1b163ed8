"""What ripples, strongest first: spacing, the length that makes it, its size, and what in the set-up is so long."""

from __future__ import annotations

from math import ceil, floor

import numpy as np
from rich.console import Console

from chain.echoes.records import Component, Ripple
from chain.reflection import vswr
from chain.setup_report.numbers import between, figure, figure_of, frequency, head, match, span
from chain.setup_report.phrases import fitted, line_of, plane_words, upward
from chain.setup_report.tables import Column, answer, notes, say, show_table

STYLES = {"ripple": "yellow", "too coarse": "yellow", "too narrow": "", "none": "green", "too few points": "yellow"}
KINDS = {"echo": "dips", "beat": "two others together", "repeat": "another once more", "turn": "no dips"}
WHERE = {"before": "nearer than the larger reflection", "behind": "beyond the larger reflection"}
DERIVED = ("beat", "repeat")
"""Kinds that are no length of their own."""
SHOWN = 8


def render(result: Ripple, console: Console) -> None:
    """Print the periodic parts of a sweep."""
    answer(console, verdict_lines(result), result.warnings, STYLES[result.verdict])
    if any(each.kind != "turn" for each in result.components):
        _table(result, console)
    elif result.components:
        turn = result.components[0]
        console.print()
        say(console, f"No dips, but R and X go round once every {_every(turn.spacing_hz)}: {turn.explanation}.")
    method = [text for text in (_gate(result), _unseen(result), _conditions(result)) if text]
    notes(console, result.assumed, method)


def verdict_lines(result: Ripple) -> list[str]:
    """The spacing and what is so long; the screen with and without the ripple; the next step."""
    first = _first(result)
    if first is None:
        verdict, _, rest = result.sentence.partition(". ")
        return [line_of("", verdict), line_of("", rest) if rest else "", _next(result)]
    what = first.explanation
    if not (first.matches or first.suspect or result.plane) and len(first.lengths) > 2:
        one, *_, other, air = (each.length_m for each in first.lengths)
        what = f"a cable of {one:.3g} to {other:.3g} m, or {air:.3g} m of air"
    return [line_of(f"Dips every {_every(first.spacing_hz)}: ", what), _swing(result), _next(result)]


def _first(result: Ripple) -> Component | None:
    """The ripple that the answer is about."""
    if result.verdict != "ripple":
        return None
    return next(each for each in result.components if each.resolved and each.kind == "echo")


def _next(result: Ripple) -> str:
    first = _first(result)
    if first is None:
        if result.unseen:
            return line_of("Next: ", result.unseen[0].remedy)
        return (
            "Next: sweep wider and in finer steps." if result.verdict.startswith("too") else "Next: nothing to do here."
        )
    if first.suspect:
        return "Next: hold the lead in a hand; if the dips move, current runs on its outside."
    if first.matches:
        return fitted(
            f"Next: check the joints at both ends of {' and '.join(first.matches)}, or calibrate after it.",
            "Next: check the joints at both ends of it, or calibrate after it.",
        )
    return "Next: move what stands there, or the lead, and sweep again: does it move?"


def _table(result: Ripple, console: Console) -> None:
    columns = [
        Column("every"),
        Column("length, m\n(95 %)"),
        Column("velocity\nfactor"),
        Column(f"smaller\n{head()}"),
        Column(f"screen\n{head()}"),
        Column("what it may be", numeric=False, wraps=True),
    ]
    rows: list[list[object]] = []
    for each in result.components[:SHOWN]:
        rows.append(
            [
                _every(each.spacing_hz),
                "" if each.kind in DERIVED else _length(each, result.has_phase),
                "" if each.kind in DERIVED else f"{each.velocity_factor:.3g}",
                figure(float(vswr(each.reflection))),
                span(each.low_vswr, each.high_vswr),
                _reported(result, each),
            ]
        )
    show_table(console, columns, rows)
    left = len(result.components) - SHOWN
    if left > 0:
        say(console, f"{left} weaker ones are not shown.")
    say(
        console,
        "Smaller: of the two reflections that make the dips. Screen: what it makes of the larger one; points may lie beyond.",
    )


def _every(spacing_hz: float) -> str:
    return frequency(float(f"{spacing_hz:.4g}"))


def _length(each: Component, has_phase: bool) -> str:
    """A length with the half-width of its 95 % interval, rounded up; without phase the interval, rounded outward."""
    half_m = each.length_high_m - each.length_m
    if not has_phase:
        decimals = 1 if each.length_high_m - each.length_low_m > 0.2 else 3
        unit = 10.0**decimals
        low_m, high_m = floor(each.length_low_m * unit) / unit, ceil(each.length_high_m * unit) / unit
        return f"{low_m:.{decimals}f} to {high_m:.{decimals}f}"
    decimals = 3 if each.length_m < 1 else 2 if each.length_m < 10 else 1
    if half_m < 0.5 * 10**-decimals:
        return f"{each.length_m:.{decimals}f}"
    return f"{each.length_m:.{decimals}f} +/- {upward(half_m)}"


def _reported(result: Ripple, each: Component) -> str:
    if each.kind != "echo":
        return each.explanation or KINDS[each.kind]
    return f"{each.explanation}{f' ({WHERE[each.order]})' if each.order in WHERE and not each.matches else ''}"


def _swing(result: Ripple) -> str:
    """Screen with and without the ripple, at its worst point."""
    if result.verdict != "ripple":
        return ""
    worst = int(np.argmax(result.reading))
    seen, steady = (float(values[worst]) for values in (result.reading_vswr, result.steady_vswr))
    place = f"Worst, {frequency(float(result.freq_hz[worst]))}"
    return f"{place}: {match(seen)} on the screen, {figure_of(steady)} without the dips."


def _unseen(result: Ripple) -> str:
    return " ".join(
        f"Not seen: {lead.item}, every {_every(lead.spacing_hz)}; {lead.reason}; {lead.remedy}."
        for lead in result.unseen
    )


def _gate(result: Ripple) -> str:
    if result.gated_vswr is None or result.trusted is None or result.gate_s is None:
        return ""
    freq = result.freq_hz[result.trusted]
    if not freq.size:
        return "The time gate is too narrow for this span: no point of the gated sweep can be trusted."
    inside = result.gated_vswr[result.trusted]
    return (
        f"Without what lies outside {result.gate_s[0] * 1e9:.1f} to {result.gate_s[1] * 1e9:.1f} ns (a time gate) the screen "
        f"would show {between(float(inside.min()), float(inside.max()))} from {frequency(float(freq[0]))} to "
        f"{frequency(float(freq[-1]))}; the edges of the sweep are not to be trusted. --gate FILE writes it."
    )


def _conditions(result: Ripple) -> str:
    text = f"Readings: {result.interpretation}. " if result.interpretation else ""
    if result.plane:
        text += f"Calibrated {plane_words(result.plane)}. "
    if result.has_phase and result.components:
        text += f"Lengths count from the {result.counted_from}. "
    if result.reach:
        each = result.reach
        spans = ", ".join(f"{one.shortest_m:.2f} to {one.longest_m:.1f} m at {one.velocity_factor:g}" for one in each)
        text += (
            f"With this span and step it can be found for lengths of {spans}; longer ones fold back and look shorter. "
        )
    if result.components and not result.has_phase:
        text += "Without phase it stays open which of the two reflections is the antenna (the smaller is listed). "
    if result.components:
        text += "Lengths hold in 95 %, the antenna's own phase included. Smaller: of the two reflections that make the dips. "
    if np.isfinite(result.noise):
        text += f"Noise {result.noise:.1g}; chance of a false alarm {result.false_alarm:g} a sweep."
    return text.strip()
