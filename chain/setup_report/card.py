"""The bench card as text: cautions first, then wiring, readings of known terminations, ohms, and lines to fill in."""

from __future__ import annotations

import math

from rich.console import Console

from chain.analyses.bench_card import Card
from chain.analyses.ohmmeter import WHOLE_CHAIN
from chain.setup_report.expect import aim_words
from chain.setup_report.numbers import between, figure, head, percent, span, units
from chain.setup_report.phrases import line_of, plane_words, verdict_word
from chain.setup_report.recover import impedance, opening
from chain.setup_report.tables import Column, answer, say, show_table, title

STYLES = {"stop": "bold red", "caution": "yellow", "note": "dim"}
LINE = "_" * 9
MOST_WRONG = 3
"""Wrong figures reported of each reading of the whole chain."""
ENDS = {"near": "analyzer", "far": "antenna"}


def render(result: Card, console: Console) -> None:
    """Print the card."""
    answer(console, card_lines(result), () if result.recovery is None else result.warnings)
    title(console, f"Bench card: {result.title}")
    say(console, f"Date {LINE}  By {LINE}  Analyzer {LINE}  Pad no. {LINE}")
    _cautions(result, console)
    _wiring(result, console)
    _known(result, console)
    _ohms(result, console)
    _record(result, console)


def card_lines(result: Card) -> list[str]:
    """What must be seen to first; the verdict on the sweep, where one was measured, else the reading to aim for."""
    stops = [each for each in result.cautions if each.level == "stop"]
    if stops:
        return [
            line_of("Do not connect this yet: ", stops[0].text),
            aim_words(result),
            line_of("Next: ", stops[0].remedy),
        ]
    if result.recovery is not None:
        return opening(result.recovery)
    known = [each for each in result.ends if each.end == "open"]
    second = ""
    if known:
        ends = between(min(each.reading_low for each in known), max(each.reading_high for each in known))
        second = f"With nothing connected it should show {ends} (95 %)."
    return [aim_words(result), second, "Next: go through the cautions, then wire from the analyzer outwards."]


def _share(result: Card) -> str:
    return percent(result.coverage).replace(".0", "")


def _head(console: Console, text: str) -> None:
    console.print()
    say(console, text, style="bold")


def _cautions(result: Card, console: Console) -> None:
    _head(console, "Before anything is connected")
    for each in result.cautions:
        where = f", {ENDS.get(each.where, each.where)}" if each.where else ""
        remedy = f". {each.remedy[:1].upper()}{each.remedy[1:]}" if each.remedy else ""
        say(console, f"[ ] {each.level}{where}: {each.text.rstrip('.')}{remedy}.", style=STYLES[each.level], indent=4)
    say(console, f"DC centre to shield, V {LINE}  Lead to earth, V {LINE}")


def _wiring(result: Card, console: Console) -> None:
    _head(console, "Wiring, analyzer to antenna; the antenna goes on last")
    for item in result.items:
        say(console, f"  {item.id}: {item.what}", indent=4)
    rows: list[list[object]] = []
    for number, joint in enumerate(result.checked.joints, 1):
        near, far = (ENDS.get(name, name) for name in (joint.near, joint.far))
        if joint.near == result.plane:
            rows.append(["[ ]", "calibrate", f"open, short, load on {joint.near_connector} of {near}"])
        remark = "" if joint.verdict == "ok" else f"; {joint.verdict}: {joint.reason}"
        rows.append(["[ ]", str(number), f"{near}: {joint.near_connector} takes {far}: {joint.far_connector}{remark}"])
    show_table(
        console, [Column("", False), Column("step", False), Column("this end takes that end", False, True)], rows
    )


def _known(result: Card, console: Console) -> None:
    _head(console, f"Screen with a known end in the antenna's place, {head()}")
    columns = [Column("end", False)]
    for at in result.at:
        where = at.replace(", ", "\n")
        columns += [Column(f"{where}\nnominal"), Column(_share(result))]
    rows: list[list[object]] = []
    for name in dict.fromkeys(each.end for each in result.ends):
        row: list[object] = [name]
        for each in result.ends:
            if each.end == name:
                row += [figure(each.reading_vswr), span(each.reading_low, each.reading_high)]
        rows.append(row)
    show_table(console, columns, rows)
    say(
        console,
        f"Calibrated {plane_words(result.plane)}, screen in {result.reading_ohm:g} ohm; ideal ends. A reading outside its "
        "range: look for the fault before the antenna goes on.",
    )


def _ohms(result: Card, console: Console) -> None:
    _head(console, "Ohmmeter, centre to shield")
    say(console, result.dc_caution)
    columns = [
        Column("probe", False),
        Column("other end", False),
        Column("ohm"),
        Column("sound"),
        Column("read", False),
    ]
    rows = [
        [
            f"{each.item}, {each.probe}",
            each.other_end,
            _ohm(each.expected_ohm),
            _range(each.low_ohm, each.high_ohm),
            LINE,
        ]
        for each in result.dc
    ]
    show_table(console, columns, rows)
    wrong = [
        [each.other_end, _ohm(case.ohm), case.means]
        for each in result.dc
        if each.item == WHOLE_CHAIN
        for case in each.wrong[:MOST_WRONG]
    ]
    if wrong:
        console.print()
        show_table(
            console,
            [Column("other end", False), Column("ohm"), Column("whole chain: what it means", False, True)],
            wrong,
        )


def _ohm(value: float) -> str:
    return "open" if value == float("inf") else f"{value:.1f}"


def _range(low: float, high: float) -> str:
    return _ohm(low) if low == high else f"{_ohm(low)} to {_ohm(high)}"


def _record(result: Card, console: Console) -> None:
    _head(console, "The antenna")
    if result.measured:
        _measured(result, console)
        return
    ohm = ["R + jX, ohm"] if result.has_phase else []
    columns = [Column(name, False) for name in ("at", f"screen {head()}", *ohm, f"true {head()}", "verdict")]
    show_table(console, columns, [[name, *[LINE] * (len(columns) - 1)] for name in result.places])
    say(console, f'True value and verdict: chain recover SETUP --reading "{example_reading(result)}"')


def example_reading(result: Card) -> str:
    """How a line of the card is typed for its answer."""
    kind = "RL x dB" if units().in_db else "VSWR x"
    first = result.places[0] if result.places else ""
    return (
        f"{kind} on channel {first.split(',')[0].removeprefix('ch ')}"
        if first.startswith("ch ")
        else f"{kind} at f MHz"
    )


def _measured(result: Card, console: Console) -> None:
    """The lines filled in by a sweep."""
    has_ohm = any(each.true_ohm is not None for each in result.measured)
    columns = [
        Column("at", False),
        Column(f"screen\n{head()}"),
        *([Column("R + jX\nohm")] if has_ohm else []),
        Column(f"true\n{head()}"),
        Column(f"interval\n{_share(result)}"),
        Column("verdict", False),
    ]
    rows = [
        [
            each.place,
            figure(each.reading_vswr),
            *([impedance(each.true_ohm)] if each.true_ohm is not None else []),
            "none" if math.isnan(each.vswr) else figure(each.vswr),
            span(each.low, each.high),
            verdict_word(each.verdict, each.grade),
        ]
        for each in result.measured
    ]
    show_table(console, columns, rows)
    say(console, f"{measured_remark(result)}. More: chain recover SETUP SWEEP")


def measured_remark(result: Card) -> str:
    """Which places of the sweep the filled lines are; nothing where there was none."""
    if result.recovery is None:
        return ""
    shown, channels = len(result.measured), len(result.recovery.channels)
    if result.recovery.is_by_channel:
        return f"As read: {shown} channels"
    if not channels:
        return f"As read: the worst places, {shown} of {result.recovery.freq_hz.size} points"
    which = "" if shown == channels else f"{shown} of {channels} that reach highest, "
    return f"As read: channels, {which}each by its worst point"
