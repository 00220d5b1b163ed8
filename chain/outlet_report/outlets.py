"""What arrives at each outlet: the answer in three lines, what the antenna's match is worth, and the rows worst first."""

from __future__ import annotations

import math

from rich.console import Console

from chain.reception.levels import most_in_all_dbuv
from chain.reception.outlets import OutletChannel, Reception
from chain.reception.records import ANTENNA
from chain.reception.tree import bypass_words
from chain.results import counted
from chain.setup_report.numbers import follow_limit, match
from chain.setup_report.phrases import fitted, line_of, verdict_word
from chain.setup_report.tables import Column, answer, notes, say, show_table

ROWS = 12
"""Rows shown unless all are asked for."""
LEAST_COST_DB = 0.05
MOST_COSTS = 4


def render(result: Reception, console: Console, every: bool = False) -> None:
    """Print what arrives."""
    answer(console, verdict_lines(result), result.warnings)
    say(console, worth_line(result))
    console.print()
    order = result.order()
    shown = [(result.row(*at), at) for at in (order if every else order[:ROWS])]
    columns = [
        Column("outlet", numeric=False),
        Column("ch", numeric=False),
        Column("least to\nspare, dB"),
        Column("level,\ndBuV"),
        Column("95 %"),
        Column("C/N\nmargin"),
        Column("chance"),
        Column("verdict,\nlimited by", numeric=False),
    ]
    show_table(
        console, columns, [_cells(row, row.outlet in result.silent, float(result.closest_db[at])) for row, at in shown]
    )
    left = len(order) - len(shown)
    more = f"{left} more rows (--all), the tree (--tree)" if left else "the tree (--tree)"
    notes(console, result.installation.assumed, [_method(result)], more=more)


def _cells(row: OutletChannel, silent: bool, spare_db: float) -> list[str]:
    arrives = (f"{row.level_dbuv:.0f}", span_of(row.level_low, row.level_high), f"{row.margin_db:.1f}")
    return [
        row.outlet,
        row.channel,
        "" if silent else spare_text(spare_db),
        *(("none", "", "") if silent else arrives),
        chance(row.probability),
        f"{verdict_word(row.verdict)}, {row.limited_by}",
    ]


def spare_text(room_db: float) -> str:
    """What is left to the nearest limit at the low end, in whole decibels rounded down."""
    return f"{math.floor(room_db):+d}"


def span_of(low: float, high: float) -> str:
    """Interval in whole decibels, its ends rounded outward."""
    return f"{math.floor(low)} to {math.ceil(high)}"


def chance(share: float) -> str:
    """A share of trials in percent that never reads certain."""
    if share >= 0.995:
        return ">99 %"
    return f"{100 * share:.0f} %" if share >= 0.01 else "<1 %"


def verdict_lines(result: Reception) -> list[str]:
    """The verdict, the worst row and what it rests on, and what to do next."""
    total = sum(result.count(each) for each in ("works", "not proven", "fails"))
    joint = f"chance that all work: {chance(result.drawn.joint_probability)}."
    brief = joint.replace("that all work", "of all")
    channels, outlets = len(result.installation.channels), sum(not each.end for each in result.installation.outlets)
    where = f"{counted(channels, 'channel')} at {counted(outlets, 'outlet')}"
    if result.works:
        first = f"Good: {where}, every one works; {joint}"
    else:
        words = (("works", "work"), ("not proven", "undecided"), ("fails", "fail"))
        counts = [f"{result.count(kind)} {word}" for kind, word in words if result.count(kind) or kind == "works"]
        counts[0] = f"{result.count('works')} of {total} work"
        first = fitted(
            *(f"{where}: {', '.join(counts)}; {each}" for each in (joint, brief)), f"{where}: {', '.join(counts)}."
        )
    worst = result.row(*result.order()[0])
    if result.unpowered:
        lack = result.unpowered[0]
        dead = line_of("Not yet: ", f"'{lack.where}' {lack.text}")
        first = fitted(f"{dead[:-1]}; so {result.count('works')} of {total} work.", dead)
        unfed = bypass_words(result.installation, result.unfed) if result.unfed else _worst(result, worst)
        return [first, fitted(unfed, "Levels without the feed."), line_of("Next: ", lack.remedy)]
    return [first, _worst(result, worst), _next(result, worst)]


def _worst(result: Reception, row: OutletChannel) -> str:
    name, outlet = _short(row.channel, 8), _short(row.outlet, 14)
    place = name if "Hz" in name else f"channel {name}"
    return fitted(*(f"Worst: {each} at {outlet}, {_why_worst(result, row)}" for each in (place, name)))


def _why_worst(result: Reception, row: OutletChannel) -> str:
    """The figure that limits, its interval, and the limit."""
    if row.limited_by == "level" and row.window[0] is not None:
        span = f"{row.level_low:.0f} to {row.level_high:.0f}"
        return f"{row.level_dbuv:.0f} dBuV ({span}), needs at least {row.window[0]:g}."
    if row.limited_by == "overload":
        at = [each.id for each in result.installation.outlets].index(row.outlet)
        most, total = float(most_in_all_dbuv(result.installation)[at]), float(result.drawn.total_dbuv[1][at])
        if row.window[1] is not None and row.level_high - row.window[1] > max(0.0, total - most):
            return f"{row.level_dbuv:.0f} dBuV, up to {row.level_high:.0f}; takes at most {row.window[1]:g}."
        if total > most:
            return (
                f"{float(result.nominal.total_dbuv[at]):.0f} dBuV in all, up to {total:.0f}; takes at most {most:.0f}."
            )
    asked = f", {row.asked_db:g} dB asked for" if row.asked_db else ""
    return f"C/N margin {row.margin_db:.1f} ({row.margin_low_db:.1f} to {row.margin_high_db:.1f}) dB{asked}; {row.limited_by}."


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 3]}..."


def _next(result: Reception, worst: OutletChannel) -> str:
    """The one step that would settle most."""
    installation = result.installation
    if worst.verdict == "works":
        return "Next: 'chain card FILE' prints what to expect at each test point."
    column = result.order()[0][1]
    source = installation.sources[installation.channels[column].signal]
    if worst.verdict == "not proven" and source.kind != "level" and source.spread_db >= 3:
        return f"Next: measure the level at the {ANTENNA}; the field is the least certain part."
    if worst.limited_by == "overload":
        return "Next: less gain or a filter: chain outlets FILE --improve"
    spare_db = float(result.closest_db[result.order()[0]])
    if worst.limited_by in ("noise", "level") and spare_db + result.worth.match_db >= 0:
        return "Next: a better match of the antenna alone would do (see 'chain recover')."
    return "Next: where an amplifier helps: chain outlets FILE --place; what else: --improve"


def worth_line(result: Reception) -> str:
    """What the antenna's match costs in carrier-to-noise ratio at the worst outlet, beside what the rest costs."""
    if result.installation.antenna.match.text.lower().endswith("db"):
        follow_limit(True)
    worth = result.worth
    if worth.outlet in result.silent:
        return f"Nothing arrives at {worth.outlet}: no figure of its C/N."
    costs = sorted((each for each in worth.items if each[2] > LEAST_COST_DB), key=lambda each: -each[2])
    others = ", ".join(f"{name} {cost:.1f}" for name, _, cost in costs[:MOST_COSTS])
    gains = ", ".join(
        f"{name} gains {-cost:.1f}" for name, what, cost in worth.items if what == "amplifier" and cost < 0
    )
    text = f"C/N lost here, dB: to the antenna's match ({match(worth.vswr)}) {worth.match_db:.1f}"
    text += f", {others}" if others else ""
    return text + (f"; {gains}." if gains else ".")


def _method(result: Reception) -> str:
    drawn = result.drawn
    return (
        "Levels into 75 ohm. Least to spare: room to the limit that is named, at the low end of 95 %. "
        f"Chance: share of {drawn.draws} drawn installations in which the margin and the level hold "
        f"(a probability of the spreads stated). Another seed than {drawn.seed} moves the ends by up to "
        f"{drawn.end_error_db:.1f} dB."
    )
