"""Every place of one amplifier side by side."""

from __future__ import annotations

import math

from rich.console import Console

from chain.reception.placing_amplifier import Placement, Score
from chain.setup_report.phrases import fitted
from chain.setup_report.tables import Column, answer, notes, say, show_table

ROWS = 12
AIR_LINE = "Next: a larger antenna first; no amplifier beats the air's own noise here."
LEAST_GAINED_DB = 0.5
"""Less than this is not worth a move."""


def render(result: Placement, console: Console) -> None:
    """Print where an amplifier helps."""
    answer(console, verdict_lines(result), result.warnings)
    columns = [
        Column("place", numeric=False),
        Column("amplifier", numeric=False),
        Column("gain"),
        Column("dB to\nspare"),
        Column("95 %"),
        Column("limited\nby", numeric=False),
    ]
    rows = [
        [
            _short(each.words, 20),
            _short(each.part, 21),
            f"{each.gain_db:g}",
            f"{each.score.room_db:+.1f}",
            span_words(each.room_low_db, each.room_high_db),
            each.score.limit,
        ]
        for each in result.places[:ROWS]
    ]
    show_table(console, columns, rows)
    feeds = dict.fromkeys(f"{each.part} {each.supply}" for each in result.places[:ROWS])
    if feeds:
        console.print()
        say(console, f"Each is taken as fed: {', '.join(feeds)}.")
    if result.remark:
        console.print()
        say(console, result.remark)
    more = len(result.places) - len(rows)
    closing = f"{more} more in --json. " if more > 0 else ""
    if result.left_out:
        closing += f"{result.left_out} places farther down were not tried. "
    method = (
        f"{closing}To spare: how far the worst outlet and channel is from the nearest limit, below zero beyond it; every part as "
        f"stated, and the interval of 95 % of {result.draws} drawn installations, the same for every place. Highest low end first."
    )
    notes(console, (), [method])


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 2]}.."


def verdict_lines(result: Placement) -> list[str]:
    """Where it is best, beside now and none, and what to do."""
    if not result.places:
        return [
            "There is no place for an amplifier.",
            "The tree has no port that something follows.",
            "Next: chain check.",
        ]
    best, none = result.places[0], result.without.room_db
    helps = best.score.room_db > none
    surely, perhaps = result.without_ends[0] >= 0, helps and none >= 0 > result.without_ends[0]
    gain = f"Best {best.words}: with {best.gain_db:g} dB of gain the worst outlet"
    first = f"{gain} {'has' if best.score.room_db >= 0 else 'is'} {room_words(best.score.room_db)}."
    if surely:
        first = f"No amplifier is needed: the worst outlet has {room_words(result.without_ends[0])} or more."
    elif perhaps or not helps:
        begun = "It may do without an amplifier" if perhaps else "Best with no amplifier"
        first = f"{begun}: {room_words(none)} as stated, {span_words(*result.without_ends)} with 95 %."
    ends = f"{best.score.room_db:+.1f} dB ({span_words(best.room_low_db, best.room_high_db)} with 95 %)"
    now = f"now {result.now.room_db:+.1f}"
    if perhaps or not (helps or surely):
        second = fitted(f"To spare with one {best.words}: {ends}; {now}.", f"To spare with one: {ends}; {now}.")
    else:
        second = fitted(f"To spare then: {ends}; {now}, no amplifier {none:+.1f}.", f"To spare then: {ends}; {now}.")
    return [first, second, _next(result, perhaps)]


def _next(result: Placement, perhaps: bool) -> str:
    """The next step; where things may be well `perhaps`, first what would tell."""
    best, none = result.places[0], result.without.room_db
    gained = best.score.room_db - result.now.room_db
    small = gained <= LEAST_GAINED_DB
    if result.remark and small:
        return AIR_LINE
    if best.score.room_db <= none and result.without_ends[0] < 0:
        return "Next: leave amplifiers out; 'chain outlets FILE --improve' finds more."
    if perhaps and not small:
        return f"Next: measure the level at the antenna; if it is low, put one {best.words}."
    if none >= 0:
        return "Next: leave it as it is." if small else f"Next: for more to spare, put one {best.words}."
    if small:
        return "Next: leave the amplifier as it is; 'chain outlets FILE --improve' finds more."
    if best.score.room_db < 0:
        return f"Next: not enough alone ({best.score.limit}); 'chain outlets FILE --improve' finds more."
    return f"Next: put it there ({best.supply}); 'chain check FILE' follows its supply."


def span_words(low: float | None, high: float | None) -> str:
    """Ends in whole decibels, rounded outward; nothing where they were not drawn."""
    return "" if low is None or high is None else f"{math.floor(low):+d} to {math.ceil(high):+d}"


def room_words(room_db: float) -> str:
    """How far from a limit, in words."""
    return f"{room_db:.1f} dB to spare" if room_db >= 0 else f"{-room_db:.1f} dB short"


def score_words(score: Score) -> str:
    """A score in words: how much, where, to which limit."""
    channel = score.channel if "Hz" in score.channel else f"channel {score.channel}"
    return f"{room_words(score.room_db)} at {score.outlet}, {channel} ({score.limit})"
