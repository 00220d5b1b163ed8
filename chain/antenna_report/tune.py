"""Which way to bend it: the verdict in three lines, then screen, antenna, R and X over the wanted channels, now and afterwards."""

from __future__ import annotations

import math

import numpy as np
from rich.console import Console

from chain.setup_report.numbers import at_most, between, figure, head, limit, match, span
from chain.setup_report.phrases import fitted, plane_words
from chain.setup_report.tables import Column, answer, notes, say, show_table
from chain.tuning.crossings import Estimate
from chain.tuning.records import Band, LengthChange, Tuning
from chain.tuning.spans import inside

ROWS = 8
OPEN_OHM = 1e9
"""Impedance from which an antenna is shown as an open end."""
FACTS_SHOWN = 3
"""Sentences below the table; the others come with the method."""
COARSE_HZ = 2e6
"""Width of an interval from which whole megahertz are enough."""
STYLES = {"in tune": "green", "too long": "yellow", "too short": "yellow", "no gain": "yellow", "cannot tell": "yellow"}
ELEMENTS = {
    "half-wave": "half-wave element",
    "folded": "folded half-wave element",
    "loop": "loop",
    "several": "several elements",
    "": "not stated",
}
CAUTION = "Before you touch it: unplug what feeds the lead, keep clear of power lines, never alone. Cut half, read, then the rest."


def render(result: Tuning, console: Console, every_point: bool = False) -> None:
    """Print which way to turn an antenna."""
    answer(console, three_lines(result), result.warnings, STYLES[result.verdict])
    _table(result, console, every_point)
    console.print()
    reported = facts(result)
    for line in reported[:FACTS_SHOWN]:
        say(console, line, indent=2)
    if result.verdict in ("too long", "too short") or result.trial is not None:
        say(console, CAUTION)
    notes(console, result.assumed, [*reported[FACTS_SHOWN:], conditions(result)])


def three_lines(result: Tuning) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next: at most 80 characters each."""
    if not result.has_phase:
        return _by_dip(result)
    if result.verdict == "in tune":
        return (
            f"In tune: it resonates at {_mhz(_working(result))}, as wanted.",
            fitted(
                f"Worst wanted: {_worst(result.now)}; another length gains nothing.",
                f"Worst wanted: {_worst(result.now)}.",
                f"Worst wanted: {match(result.now.vswr.value)} at {_hz(result.now.at_hz)}.",
            ),
            _after_tuning(result),
        )
    if result.verdict == "no gain":
        found = result.resonances[0] if result.resonances else None
        at = "" if found is None else f"At resonance it is {found.resistance_ohm.value:.0f} ohm. "
        return (
            "Length is not what is wrong: the worst channel would be no better.",
            f"{at}Worst now: {match(result.now.vswr.value)}."[:80],
            "Next: chain tune --match shows what a matching network could do.",
        )
    if result.verdict == "cannot tell":
        return _undecided(result)
    if result.change is None:
        return _direction_only(result)
    return _amount(result, result.change)


def _amount(result: Tuning, change: LengthChange) -> tuple[str, str, str]:
    shorter = change.share.value < 0
    verb = "shorten" if shorter else "lengthen"
    ends = sorted(abs(end) for end in (change.share.low, change.share.high))
    span = f"{100 * ends[0]:.1f} to {100 * ends[1]:.1f} %"
    if (change.share.low < 0) != (change.share.high < 0):
        span = f"up to {100 * ends[1]:.1f} %"
    size = "" if change.length_m is None else f", {_length(abs(change.length_m.value))}"
    first = (
        f"{result.verdict.capitalize()}: {verb} the element by {100 * abs(change.share.value):.1f} % ({span}){size}."
    )
    working = _working(result)
    basis = "" if working is None else f"It resonates at {_mhz(working)}; "
    second = f"{basis}the wanted middle is {_hz(result.wanted.aim_hz)}."
    if result.after is None:
        return first, second, f"Next: {verb} it in two steps, and read again after each."
    most = at_most(float(result.after.reading_high.max()))
    return first, second, f"Next: {verb} it in two steps; then the screen should show {most}."


def _direction_only(result: Tuning) -> tuple[str, str, str]:
    first = f"Suspected: {result.verdict}. By how much, this sweep does not say."
    reason = result.reason[:1].upper() + result.reason[1:]
    return first, f"{reason}."[:80], _try(result)


def _undecided(result: Tuning) -> tuple[str, str, str]:
    working = _working(result)
    place = "no resonance is seen"
    if working is not None:
        known = math.isfinite(working.low) or math.isfinite(working.high)
        place = f"resonance at {_ends(working)} MHz" if known else "the resonance may lie anywhere"
    first = f"Cannot tell yet: {place}; wanted middle {_hz(result.wanted.aim_hz)}."
    second = "The uncertainty is larger than the distance to the wanted frequency."
    better = result.improvement
    if better is None:
        return first, second, _try(result)
    third = f"Next: {better.what}."
    width = f"Uncertain by {_width(better.now_hz)} now, by {_width(better.then_hz)} after the next step."
    return first, width if better.then_hz < better.now_hz else second, third if len(third) <= 80 else f"{third[:77]}..."


def _by_dip(result: Tuning) -> tuple[str, str, str]:
    dip = _mhz(result.dip).replace(" (", " (95 %: ")
    others = result.other_dips_hz
    named = f"{_many([f'{each / 1e6:.0f}' for each in others])} MHz" if others else ""
    second = f"Dip at {dip}; wanted {_span(result)}. No phase was read."
    if not (math.isfinite(result.dip.low) or math.isfinite(result.dip.high)):
        seen = f"Dip seen at {_hz(result.dip.value, math.inf)}"
        tail = "such readings do not tell where it is."
        more = (
            (f", {'another' if len(others) == 1 else 'others'} at {named}", f", {len(others)} more")
            if others
            else ("",)
        )
        second = fitted(*(f"{seen}{each}; {tail}" for each in more))
    elif others:
        more = (f"another at {named}" if len(others) == 1 else f"others at {named}", f"{len(others)} more")
        second = fitted(*(f"Dip at {dip}, {each}; wanted {_span(result)}." for each in more))
    if not math.isfinite(result.dip.value):
        end = "lowest" if result.dip.value < 0 else "highest"
        at = _hz(float(result.sweep.freq_hz[0 if result.dip.value < 0 else -1]))
        besides = f"; a dip at {named}" if others else ""
        return (
            f"Cannot tell from this alone: the match is best at the {end} frequency.",
            fitted(*(f"It is best at {at}, the end of the sweep{each}." for each in (besides, ""))),
            _try(result),
        )
    if result.dip_side == "within":
        return "The dip lies inside the wanted channels: leave the length as it is.", second, _after_tuning(result)
    if result.dip_side:
        of = "" if result.dip_side.endswith("middle") else " the wanted channels"
        return f"Suspected {result.verdict}: the dip lies {result.dip_side}{of}.", second, _try(result)
    return "Cannot tell from this alone: the dip may lie below the wanted middle or above.", second, _try(result)


def _try(result: Tuning) -> str:
    found = result.trial
    if found is None:
        if not math.isfinite(result.dip.value):
            ends = zip(result.sweep.low.tolist(), result.sweep.high.tolist(), strict=True)
            if all(between(low, high) == "anything" for low, high in ends):
                # Behind so much loss another sweep shows no more.
                return "Next: 'chain planes' says where to calibrate; from here nothing is seen of it."
            way = "lower" if result.dip.value < 0 else "higher"
            at = _hz(float(result.sweep.freq_hz[0 if result.dip.value < 0 else -1]))
            return f"Next: sweep {way}; the dip may lie {'below' if result.dip.value < 0 else 'above'} {at}."
        if not result.could_show_phase:
            return "Next: leave it so; with this analyzer only a larger change would show."
        return "Next: leave it so, or read with a phase, calibrated at the end of the lead."
    by = f"{100 * abs(found.share):.3g} %"
    size = by if found.length_m is None else f"{by} ({_length(abs(found.length_m))})"
    verb = "shorten" if found.share < 0 else "lengthen"
    # A direction that nobody knows is tried by what can be taken off again.
    how = " with foil" if result.verdict == "cannot tell" else ""
    moves = f"from {_number(found.from_hz, found.tellable_hz)} to {_number(found.to_hz, found.tellable_hz)} MHz"
    return fitted(
        f"Next: {verb} by {size}{how}, read again; the dip should move {moves}.",
        f"Next: {verb} by {size}{how}; the dip should move {moves}.",
        f"Next: {verb} by {size}{how}; dip then {moves}.",
    )


def _after_tuning(result: Tuning) -> str:
    if result.now.vswr.value <= result.limit_vswr:
        return "Next: leave the length alone; gain, place and lead matter more now."
    if result.has_phase:
        return "Next: chain tune --match shows what a matching network could do."
    if result.could_show_phase:
        return "Next: save a sweep with phase; 'chain tune --match' then says what helps."
    return "Next: leave the length; test the chain ('chain prove') for what makes it bad."


def _working(result: Tuning) -> Estimate | None:
    """The resonance that the answer rests on: the nearest to the dip."""
    at = result.dip.value if math.isfinite(result.dip.value) else result.wanted.aim_hz
    found = min(result.resonances, key=lambda each: abs(each.freq_hz.value - at), default=None)
    return None if found is None else found.freq_hz


def _table(result: Tuning, console: Console, every_point: bool) -> None:
    columns, rows = grid(result, every_point)
    show_table(console, columns, rows)
    if not every_point:
        say(
            console,
            f"{len(rows)} of {result.sweep.freq_hz.size} readings, from the wanted span; --all shows every one.",
        )


def grid(result: Tuning, every_point: bool = False) -> tuple[list[Column], list[list[object]]]:
    """Columns and rows of the wanted span, or of the whole sweep."""
    sweep = result.sweep
    within = np.flatnonzero(inside(sweep.freq_hz, result.wanted))
    shown = list(range(sweep.freq_hz.size))
    if not every_point:
        shown = list(dict.fromkeys(within[np.linspace(0, within.size - 1, ROWS).round().astype(int)].tolist()))
    columns = [Column("MHz"), Column(f"screen\n{head()}"), Column(f"antenna\n{head()}"), Column("95 %")]
    if sweep.resistance_ohm is not None:
        columns += [Column("R\nohm"), Column("X\nohm"), Column("X\n95 %")]
    if result.after is not None:
        columns += [Column("then"), Column("then on\nscreen")]
    return columns, [_row(result, index) for index in shown]


def _row(result: Tuning, index: int) -> list[object]:
    sweep = result.sweep
    row: list[object] = [
        f"{sweep.freq_hz[index] / 1e6:.6g}",
        figure(float(sweep.reading_vswr[index])),
        "none" if math.isnan(sweep.true_vswr[index]) else figure(float(sweep.true_vswr[index])),
        span(float(sweep.low[index]), float(sweep.high[index])),
    ]
    if sweep.resistance_ohm is not None and sweep.reactance_ohm is not None:
        assert sweep.reactance_low_ohm is not None
        assert sweep.reactance_high_ohm is not None
        ohm, reactance = float(sweep.resistance_ohm[index]), float(sweep.reactance_ohm[index])
        row += [
            *(("open", "") if math.hypot(ohm, reactance) > OPEN_OHM else (f"{ohm:.0f}", f"{reactance:+.0f}")),
            f"{sweep.reactance_low_ohm[index]:+.0f} to {sweep.reactance_high_ohm[index]:+.0f}",
        ]
    if result.after is not None:
        place = np.flatnonzero(result.after.freq_hz == sweep.freq_hz[index])
        if place.size:
            at = int(place[0])
            low, high = float(result.after.reading_low[at]), float(result.after.reading_high[at])
            row += [figure(float(result.after.true_vswr[at])), span(low, high)]
        else:
            row += ["", ""]
    return row


def facts(result: Tuning) -> list[str]:
    """Resonances, bandwidth, and what the change would do, a sentence each."""
    lines = []
    for each in result.resonances:
        lines.append(
            f"{each.kind.capitalize()} resonance {_at(each.freq_hz)}: {_ohm(each.resistance_ohm)} in the element, "
            f"quality factor {_plain(each.quality_factor)}."
        )
    if result.has_phase:
        lines.append(f"The dip (least reflection) is {_at(result.dip)}.")
    wide = result.bandwidth
    if wide is not None and not (wide.low_hz.closed and wide.high_hz.closed):
        lines.append(
            f"Within {limit(wide.limit_vswr)}: about from {_hz(wide.low_hz.value)} to {_hz(wide.high_hz.value)}; how far exactly, "
            "this sweep does not say."
        )
    elif wide is not None:
        lines.append(
            f"Within {limit(wide.limit_vswr)}: {_mhz(wide.width_hz)} wide, from {_mhz(wide.low_hz)} to {_mhz(wide.high_hz)}."
        )
    if result.by_slope is not None:
        share = result.by_slope.share
        lines.append(
            f"By the slope of the stated half-wave element: {100 * share.value:+.1f} % ({100 * share.low:+.1f} to "
            f"{100 * share.high:+.1f} %)."
        )
    after = result.after
    if after is not None:
        lines.append(
            f"Expected after {100 * after.share:+.1f} %: worst wanted {_worst(after.worst)}, instead of {_worst(result.now)}."
        )
    lines += _trial_facts(result)
    if result.suspected and result.reason and result.has_phase:
        lines.append(f"Suspected only: {result.reason}.")
    return lines


def _trial_facts(result: Tuning) -> list[str]:
    """What a trial of another length means."""
    lines = []
    if result.trial is not None and result.verdict == "cannot tell":
        lines.append(
            "Tape or foil makes an element longer and comes off again, a cut not. If the wanted channels "
            "gain by it, the element is too short; if they lose, too long."
        )
    if result.trial is not None:
        lines.append(
            f"If the dip moves by less than {_width(result.trial.tellable_hz)}, it may be noise, drift or the joint made again."
        )
    if result.improvement is not None and result.trial is not None:
        lines.append(_try(result).replace("Next: ", "Or try: ", 1))
    return lines


def conditions(result: Tuning) -> str:
    """What the answer was made from and what it takes for granted."""
    at = "at its connector" if result.element_ohm == result.far_ohm else "at its connector, R and X behind its feed"
    return (
        f"Readings: {result.interpretation}. Calibrated {plane_words(result.plane)}. Element: {ELEMENTS[result.element]}. "
        f"Antenna in {result.far_ohm:g} ohm {at}. {result.draws} draws, seed {result.seed}. "
        "An antenna is taken to behave at f as it did at k f once it is k times as long; current on the outside of the lead and "
        "what stands around the antenna are not in it."
    )


def _many(names: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def _span(result: Tuning) -> str:
    low, high = result.wanted.low_hz, result.wanted.high_hz
    return _hz(low) if low == high else f"{low / 1e6:.4g} to {_hz(high)}"


def _hz(value: float, width_hz: float = 1e6) -> str:
    """Frequency with a decimal more where it is known to a megahertz."""
    if not math.isfinite(value):
        return "outside the sweep"
    return f"{_number(value, width_hz)} MHz"


def _number(value: float, width_hz: float) -> str:
    whole = width_hz > (COARSE_HZ if value > 3e7 else 10 * COARSE_HZ)
    return f"{value / 1e6:.0f}" if whole else f"{value / 1e6:.4g}"


def _width(value: float) -> str:
    return f"{value / 1e6:.2g} MHz" if value < 1e8 else f"{value / 1e6:.0f} MHz"


def _mhz(found: Estimate | None) -> str:
    return "an unknown place" if found is None else f"{_hz(found.value, found.high - found.low)} ({_ends(found)})"


def _at(found: Estimate | None) -> str:
    """Where in the sweep, or that it lies outside."""
    inside = found is None or math.isfinite(found.value)
    return f"{'at ' if inside else ''}{_mhz(found)}"


def _ends(found: Estimate) -> str:
    wide = found.high - found.low
    if not found.closed:
        if math.isfinite(found.low):
            return f"{_number(found.low, wide)} or more"
        return f"{_number(found.high, wide)} or less" if math.isfinite(found.high) else "it may lie anywhere"
    return f"{_number(found.low, wide)} to {_number(found.high, wide)}"


def _worst(found: Band) -> str:
    ends = between(found.vswr.low, found.vswr.high)
    # The place is that of the antenna as recovered; which frequency is the worst in truth, the interval leaves open.
    return f"{match(found.vswr.value)} at {_hz(found.at_hz)} (worst anywhere: {ends})"


def _ohm(found: Estimate) -> str:
    return f"{found.value:.0f} ohm ({found.low:.0f} to {found.high:.0f})"


def _plain(found: Estimate) -> str:
    return f"{found.value:.2g} ({found.low:.2g} to {found.high:.2g})"


def _length(metres: float) -> str:
    return f"{1000 * metres:.0f} mm" if metres >= 0.01 else f"{1000 * metres:.1f} mm"
