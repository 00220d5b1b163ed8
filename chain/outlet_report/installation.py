"""Check and installer's card of an installation, as text."""

from __future__ import annotations

from rich.console import Console

from chain.outlet_report.outlets import span_of, verdict_lines
from chain.reception.checks import InstallationCheck
from chain.reception.installer_card import InstallerCard, TestPoint
from chain.setup_report.check import show_details, show_findings
from chain.setup_report.phrases import line_of, short
from chain.setup_report.tables import Column, answer, say, show_table, title

POINTS_A_TABLE = 4


def render(result: InstallationCheck, console: Console) -> None:
    """Print the answer of the check."""
    answer(console, check_lines(result), result.warnings, "" if result.sound else "bold red")
    made = [each for each in result.joints if each.reason == "made up to fit"]
    rows = [
        [f"{each.above}/{each.below}", each.verdict, f"{each.above_connector} to {each.below_connector}"]
        for each in result.joints
        if each not in made
    ]
    if rows:
        show_table(
            console, [Column("joint", False), Column("verdict", False), Column("what meets", False, wraps=True)], rows
        )
        console.print()
    if made:
        say(
            console,
            f"{len(made)} joints where a lead is made up to fit (state near and far of a lead to have them checked).",
        )
        console.print()
    show_details(result.findings, result.assumed, console)


def check_lines(result: InstallationCheck) -> list[str]:
    """Whether it fits, what is worst, what to do next."""
    stops = [each for each in result.findings if each.level == "stop"]
    cautions = [each for each in result.findings if each.level == "caution"]
    bad = sum(each.rule == "joint" for each in stops)
    if bad:
        first = f"Does not fit: {bad} of {len(result.joints)} joints do not go together."
    elif stops:
        first = line_of("Do not connect this yet: ", f"{stops[0].where} {stops[0].text}")
    elif cautions:
        number = "1 caution" if len(cautions) == 1 else f"{len(cautions)} cautions"
        first = f"Fits together, {len(result.joints)} joints; {number} before it is connected."
    else:
        first = f"Fits together, {len(result.joints)} joints; nothing found against connecting it."
    worst = next(iter([*stops, *cautions]), None)
    second = (
        line_of(f"{short(worst.where)}: " if worst.where else "", worst.text)
        if worst
        else "Rests on the stated connectors, and on the DC traced from its supply."
    )
    remedy = worst.remedy if worst else ""
    third = line_of("Next: ", remedy) if remedy else "Next: chain outlets FILE says what arrives."
    return [first, second, third]


def _behind(result: InstallerCard) -> str:
    names = [each.place for each in result.points if each.what == "amplifier's output"]
    return f"; {', '.join(names)}: behind the amplifier" if names else ""


def expected_text(card: InstallerCard, point: TestPoint, channel: int) -> str:
    """Level to expect of a channel at a point of the card."""
    silent = card.reception.silent_at(point.place)
    return "none" if silent else span_of(point.low_dbuv[channel], point.high_dbuv[channel])


def render_card(result: InstallerCard, console: Console) -> None:
    """Print the card."""
    answer(console, verdict_lines(result.reception))
    title(console, f"Installer's card: {result.title}")
    say(console, "Date ____________  By ____________  Meter ____________  75 ohm [ ]  50 + pad [ ]")
    console.print()
    show_findings(result.cautions, console)
    console.print()
    say(console, f"Level to expect into 75 ohm, 95 % [dBuV], and what you read{_behind(result)}:")
    for first in range(0, len(result.points), POINTS_A_TABLE):
        points = result.points[first : first + POINTS_A_TABLE]
        columns = [
            Column("ch", numeric=False),
            Column("MHz"),
            *(Column(each.place) for each in points),
        ]
        rows = [
            [name, f"{freq / 1e6:g}", *(f"{expected_text(result, each, n)} ____" for each in points)]
            for n, (name, freq) in enumerate(result.channels)
        ]
        console.print()
        show_table(console, columns, rows)
    console.print()
    more = f"{result.left_out} more points: chain outlets FILE --all. " if result.left_out else ""
    say(console, f"{more}Outside its range: chain outlets FILE --seen LEVELS names what to suspect.")
