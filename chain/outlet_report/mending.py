"""What would mend an installation, by decibels of the worst room and by money."""

from __future__ import annotations

from rich.console import Console

from chain.money import money_text
from chain.outlet_report.placement import AIR_LINE, score_words, span_words
from chain.reception.improvements import Improvements, InstallationChange
from chain.setup_report.phrases import fitted, short
from chain.setup_report.tables import Column, answer, notes, say, show_table

ROWS = 12


def render(result: Improvements, console: Console) -> None:
    """Print the changes that help."""
    answer(console, verdict_lines(result), result.warnings)
    shown = _shown(result)
    if shown:
        columns = [
            Column("better\nby, dB"),
            Column("95 %"),
            Column("then to spare,\ndB, 95 %"),
            Column("cost"),
            Column(f"dB per\n{result.currency or 'unit'}"),
            Column("change", numeric=False, wraps=True),
        ]
        rows = [
            [
                f"{each.gain_db:+.1f}",
                _tenths(each.gain_low_db, each.gain_high_db),
                span_words(each.room_low_db, each.room_high_db),
                _cost(each, result.currency),
                "" if each.db_per_unit is None else f"{each.db_per_unit:.2f}",
                " and ".join(each.words),
            ]
            for each in shown
        ]
        show_table(console, columns, rows)
    if result.remark:
        console.print()
        say(console, result.remark)
    more = len(result.improvements) - len(shown)
    method = (
        f"{f'{more} more in --json. ' if more else ''}All {result.singles} single changes and {result.pairs} pairs of the "
        "best were computed, every part as stated: only what the file has or offers, and what costs nothing. To spare: how far the worst "
        f"outlet and channel is from the nearest limit, below zero beyond it; intervals of 95 % of {result.draws} drawn "
        "installations, the same for every change. Highest low end first."
    )
    notes(console, (), [method])


def _shown(result: Improvements) -> list[InstallationChange]:
    """Those that were drawn."""
    return [each for each in result.improvements[:ROWS] if each.room_low_db is not None]


def _tenths(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{low:+.1f} to {high:+.1f}"


def _cost(each: InstallationChange, currency: str) -> str:
    if each.hundredths is None:
        return "not stated"
    return money_text(each.hundredths, currency) if each.hundredths else "free"


def verdict_lines(result: Improvements) -> list[str]:
    """What brings most, from where, and the next step."""
    now = f"Now: {score_words(result.now)}; {span_words(*result.now_ends)} dB with 95 %."
    if not result.improvements:
        return [
            "Nothing that is owned, offered or free makes it better.",
            now,
            "Next: add [[offer]] tables to the file.",
        ]
    best = result.improvements[0]
    cost = _cost(best, result.currency)
    single = next((each for each in result.improvements if len(each.words) == 1), best)
    brings = f"{best.gain_db:+.1f} dB ({cost})."
    words = [short(each, (70 - len(brings)) // len(best.words) - 4) for each in best.words]
    first = fitted(f"Best change: {' and '.join(best.words)}: {brings}", f"Best: {' and '.join(words)}: {brings}")
    alone = f"alone brings {single.gain_db:+.1f} dB ({_cost(single, result.currency)})."
    third = AIR_LINE if result.remark else f"Next: {short(single.words[0], 72 - len(alone))} {alone}"
    return [first, now, third]
