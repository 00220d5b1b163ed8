"""What the screen will show for true matches from perfect to open, and the reading to aim for."""

from __future__ import annotations

from rich.console import Console

from chain.analyses.expect import Expectation, ReadingAim
from chain.report.numbers import frequency, lower, percent, span, vswr
from chain.report.phrases import draws_words, plane_words
from chain.report.tables import Column, notes, say, show_table, title

__all__ = ["render", "verdict_lines"]

NO_CEILING_VSWR = 1000.0
"""A ceiling above this hides nothing."""


def render(result: Expectation, console: Console) -> None:
    """Print what to expect."""
    title(console, result.title)
    for line in verdict_lines(result):
        say(console, line)
    console.print()
    share = percent(result.coverage).replace(".0", "")
    columns = [
        Column("antenna\ntrue VSWR"),
        Column("screen\nreads"),
        Column(f"screen, interval\nof {share}"),
        Column("screen,\nguaranteed bound"),
    ]
    rows = [
        [
            vswr(row.true_vswr),
            vswr(row.reading_vswr),
            span(row.reading_low, row.reading_high),
            span(row.bound_low, row.bound_high),
        ]
        for row in result.rows
    ]
    show_table(console, columns, rows)
    console.print()
    say(
        console,
        f"At {frequency(result.worst_hz)}, where {'the limit' if result.limit_vswr else 'VSWR 2'} is told least well. "
        f"Antenna in {result.far_ohm:g} ohm at its own connector, screen in {result.reading_ohm:g} ohm, calibrated "
        f"{plane_words(result.plane)}; inf: everything comes back, as from an open. "
        f"{draws_words(result)}.",
    )
    notes(console, result.warnings, result.assumed)


def verdict_lines(result: Expectation) -> list[str]:
    """What to aim for, the ceiling, and what a perfect antenna reads, a sentence each."""
    lines = [_aim(result)] if result.limit_vswr is not None else ["No limit is stated: add one under [far]."]
    perfect = next((row for row in result.rows if row.true_vswr == 1), None)
    text = f"Nothing connected reads VSWR {vswr(result.ceiling_vswr)} at most, nominally: the ceiling"
    if result.ceiling_vswr > NO_CEILING_VSWR:
        text = "Nothing connected may read anything up to an open: there is no ceiling"
    elif result.ceiling_bound_vswr > result.ceiling_vswr:
        text += f" ({vswr(result.ceiling_bound_vswr)} with every tolerance against you)"
    lines.append(text + ".")
    if perfect is not None:
        doubt = span(perfect.reading_low, perfect.reading_high)
        lines.append(f"A perfect antenna reads {vswr(perfect.reading_vswr)}, with the unknowns {doubt}.")
    return lines


def _aim(result: Expectation) -> str:
    limit = f"true VSWR of {result.limit_vswr:g}"
    share = percent(result.coverage).replace(".0", "")
    reading, bound = result.aim_reading, result.aim_bound
    if reading.vswr is not None:
        text = f"Aim for VSWR {lower(reading.vswr)} or less on the screen: it proves a {limit} or better ({share})"
        return f"{text}; {_by_bound(bound)}."
    if bound.vswr is not None:
        return f"Aim for VSWR {lower(bound.vswr)} or less on the screen: it proves a {limit} or better, by the bound."
    blame = bound.blame or reading.blame
    return f"No reading proves a {limit} with this chain." + (f" Most to blame: {blame}." if blame else "")


def _by_bound(bound: ReadingAim) -> str:
    if bound.vswr is not None:
        return f"whatever the unknowns, {lower(bound.vswr)} does"
    return "no reading proves it whatever the unknowns" + (f" (most to blame: {bound.blame})" if bound.blame else "")
