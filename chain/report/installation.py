"""Check and installer's card of an installation, as text."""

from __future__ import annotations

from rich.console import Console

from chain.reception.checks import InstallationCheck
from chain.reception.installer_card import InstallerCard
from chain.report.outlets import verdict_lines
from chain.report.tables import Column, notes, safe, say, show_table, title

__all__ = ["render", "render_card"]

STYLES = {"stop": "bold red", "caution": "yellow", "note": "dim"}
POINTS_A_TABLE = 4


def render(result: InstallationCheck, console: Console) -> None:
    """Print the answer of the check."""
    title(console, result.title)
    for line in check_lines(result):
        say(console, line)
    console.print()
    made = [each for each in result.joints if each.reason == "made up to fit"]
    rows = [
        [f"{each.above}/{each.below}", each.verdict, f"{each.above_connector} to {each.below_connector}: {each.reason}"]
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
    _findings(result.findings, console)
    notes(console, result.warnings)


def _findings(findings: object, console: Console) -> None:
    assert isinstance(findings, tuple)
    for each in findings:
        where = f"{each.where}: " if each.where else ""
        remedy = f"; {each.remedy}" if each.remedy else ""
        say(console, safe(f"{each.level}: ", STYLES[each.level]), f"{where}{each.text}{remedy}.", indent=2)


def check_lines(result: InstallationCheck) -> list[str]:
    """Whether it fits, what is worst, what to do next."""
    stops = [each for each in result.findings if each.level == "stop"]
    cautions = [each for each in result.findings if each.level == "caution"]
    bad = sum(each.rule == "joint" for each in stops)
    if bad:
        first = f"Does not fit: {bad} of {len(result.joints)} joints do not go together."
    elif stops:
        first = f"Do not connect this yet: {stops[0].where} {stops[0].text}."
    else:
        first = f"Fits: {len(result.joints)} joints, nothing speaks against connecting it."
    worst = next(iter([*stops, *cautions]), None)
    second = (
        f"{worst.where}: {worst.text}."
        if worst
        else "Rests on the connectors stated and on the DC followed from its supply."
    )
    remedy = worst.remedy if worst else ""
    third = f"Next: {remedy}." if remedy else "Next: chain outlets FILE says what arrives."
    return [first, second, third]


def _behind(result: InstallerCard) -> str:
    names = [each.place for each in result.points if each.what == "amplifier's output"]
    return f"; {', '.join(names)}: behind the amplifier" if names else ""


def render_card(result: InstallerCard, console: Console) -> None:
    """Print the card."""
    title(console, f"Installer's card: {result.title}")
    say(console, "Date ____________  By ____________  Meter ____________  75 ohm [ ]  50 + pad [ ]")
    console.print()
    _findings(result.cautions, console)
    console.print()
    for line in verdict_lines(result.reception)[:2]:
        say(console, line)
    console.print()
    say(console, f"Level to expect into 75 ohm, 95 % [dBuV], and what you read{_behind(result)}:")
    for first in range(0, len(result.points), POINTS_A_TABLE):
        points = result.points[first : first + POINTS_A_TABLE]
        columns = [
            Column("ch", figures=False),
            Column("MHz"),
            *(Column(each.place) for each in points),
        ]
        rows = [
            [name, f"{freq / 1e6:g}", *(f"{each.low_dbuv[n]:.0f} to {each.high_dbuv[n]:.0f} ____" for each in points)]
            for n, (name, freq) in enumerate(result.channels)
        ]
        console.print()
        show_table(console, columns, rows)
    console.print()
    more = f"{result.left_out} more points: chain outlets FILE --all. " if result.left_out else ""
    say(console, f"{more}Outside its range: chain outlets FILE --seen LEVELS names whom to suspect.")
