"""Levels seen on air against those predicted."""

from __future__ import annotations

import re

from rich.console import Console

from chain.outlet_report import outlets
from chain.reception.checks import DeadAmplifier
from chain.reception.seen import SeenLevels
from chain.setup_report.phrases import fitted, short
from chain.setup_report.tables import Column, answer, notes, say, show_table

ROWS = 12
METERS = {"75": "75-ohm meter", "50-pad": "50-ohm meter behind the pad", "50": "50-ohm meter without a pad"}


def render(result: SeenLevels, console: Console, every: bool = False) -> None:
    """Print the comparison, whom to suspect, and what the levels seen mean for the outlets."""
    answer(console, verdict_lines(result), result.warnings)
    rows = result.rows if every else result.rows[:ROWS]
    columns = [
        Column("place", numeric=False),
        Column("ch", numeric=False),
        Column("MHz"),
        Column("seen"),
        Column("predicted"),
        Column("difference"),
        Column("expected"),
        Column("", numeric=False),
    ]
    cells = [
        [
            row.place,
            row.channel,
            f"{row.freq_hz / 1e6:g}",
            f"{row.seen_dbuv:.1f}",
            f"{row.predicted_dbuv:.1f}",
            f"{row.difference_db:+.1f}",
            f"{row.low_db:+.0f} to {row.high_db:+.0f}",
            "fits" if row.fits else "off",
        ]
        for row in rows
    ]
    show_table(console, columns, cells)
    console.print()
    for text in result.suspects:
        say(console, text, ".", indent=2)
    more = len(result.rows) - len(rows)
    seen_at = [row for row in result.rows if row.against != "the signal as stated"]
    against = f"Predicted from {seen_at[0].against}. " if seen_at else "Predicted from the signals as stated. "
    meter = METERS[result.meter]
    added = f", {result.correction_db:+.2f} dB added" if result.correction_db else ""
    say(console, f"Computed again from the levels seen{', the amplifier as its bypass' if result.dead else ''}:")
    for line in outlets.verdict_lines(result.after)[:1]:
        say(console, "  ", line, indent=2)
    notes(
        console,
        (),
        [f"{against}Levels in dBuV into 75 ohm; {meter}{added}."],
        more=f"{more} more rows (--all)" if more else "",
    )


def _dead_lines(dead: DeadAmplifier) -> list[str]:
    """The amplifier that seems not to work, from what, and where to put the meter."""
    name = short(dead.id)
    bypass = f", its bypass loses {dead.bypass_loss_db:g}" if dead.bypass_loss_db else ""
    fed = f"meter the DC on the lead at '{name}', {dead.power_v:g} V" if dead.power_v else f"look for mains at '{name}'"
    lack = f"All {dead.levels} levels behind it lack about {dead.lacking_db:.0f} dB; its gain is {dead.gain_db:g}"
    return [
        f"The amplifier '{name}' seems not to work: no feed, off, or dead.",
        fitted(f"{lack}{bypass}.", f"{lack}."),
        fitted(f"Next: {fed}; if it is there, replace the amplifier.", f"Next: {fed}."),
    ]


def verdict_lines(result: SeenLevels) -> list[str]:
    """How many fit, the worst, and the next step."""
    off = [row for row in result.rows if not row.fits]
    if result.dead:
        return _dead_lines(result.dead)
    first = f"{len(result.rows) - len(off)} of {len(result.rows)} levels fit the model, {len(off)} do not."
    if not off:
        first = f"All {len(result.rows)} levels seen fit the model."
    worst = result.rows[0]
    span = f"expected {worst.low_db:+.0f} to {worst.high_db:+.0f}"
    second = f"Farthest off: {worst.place}, channel {worst.channel}: {worst.difference_db:+.1f} dB ({span})."
    if not result.suspects:
        return [first, second, "Next: nothing to look for; keep the table for next year."]
    place, _, reason = result.suspects[0].partition(": suspect ")
    named = reason.split(":")[0]
    at = place.split(":")[0]
    plain = re.sub(r" \([^()]*\)", "", named)
    return [first, second, fitted(*(f"Next: at {at}, check {each}." for each in (named, plain)))]
