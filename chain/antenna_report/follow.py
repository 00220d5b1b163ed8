"""One screen for a sweep that has just arrived: verdict, what has changed, and a bar that one reads from the mast."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from chain.errors import plain
from chain.records.following import FollowAnswer, SweepChange
from chain.reflection import magnitude_from_vswr
from chain.results import IMPOSSIBLE
from chain.setup_report.numbers import between, figure_of, match, short_limit, units
from chain.setup_report.phrases import CHECK_CHAIN, fitted, line_of, short
from chain.setup_report.tables import Column, answer, show_table

DIGITS = {
    "0": ("####", "#  #", "#  #", "#  #", "####"),
    "1": ("  # ", " ## ", "  # ", "  # ", " ###"),
    "2": ("####", "   #", "####", "#   ", "####"),
    "3": ("####", "   #", " ###", "   #", "####"),
    "4": ("#  #", "#  #", "####", "   #", "   #"),
    "5": ("####", "#   ", "####", "   #", "####"),
    "6": ("####", "#   ", "####", "#  #", "####"),
    "7": ("####", "   #", "  # ", " #  ", " #  "),
    "8": ("####", "#  #", "####", "#  #", "####"),
    "9": ("####", "#  #", "####", "   #", "####"),
    ".": ("  ", "  ", "  ", "  ", "##"),
    ">": ("#   ", " ## ", "   #", " ## ", "#   "),
}
"""Figures five rows high, each sign two cells wide on the screen."""
BAR_ROWS = 3
FULL_VSWR = 5.0
VSWR_MARKS = ((1.0, "1"), (1.5, "1.5"), (3.0, "3"), (5.0, "5"))
LOSS_MARKS_DB = (40.0, 20.0, 10.0, 6.0, 4.0)
STYLES = {"pass": "green", "fail": "red", "not proven": "yellow", IMPOSSIBLE: "bold red"}
HEADS = {"pass": "Good", "fail": "Bad", "not proven": "Cannot decide", "no limit": "Read"}


def render(result: FollowAnswer, console: Console) -> None:
    """Print one screen."""
    answer(console, follow_lines(result), () if result.answer is None else result.answer.warnings)
    if result.answer is None:
        return
    worst = result.answer.worst.vswr
    style = STYLES.get(result.answer.verdict, "")
    for row in big(worst):
        console.print(Text(row, style=style), soft_wrap=True)
    console.print()
    for row in bar(worst, result.limit_vswr, min(console.width, 78)):
        console.print(Text(row, style=style), soft_wrap=True)
    changes = [(word, each) for word, each in (("last", result.since_last), ("first", result.since_first)) if each]
    if changes:
        console.print()
        columns = [
            Column("since\nthe", numeric=False),
            Column("most in", numeric=False),
            Column("loss by,\ndB"),
            Column("\n95 %"),
            Column("better\nin"),
            Column("worse\nin"),
            Column("change", numeric=False),
        ]
        show_table(console, columns, [_row(word, each, result) for word, each in changes])


def _row(word: str, change: SweepChange, found: FollowAnswer) -> list[object]:
    assert found.answer is not None
    one = change.differences[change.most]
    return [
        word,
        found.answer.channels[change.most].band.name.removesuffix(" MHz"),
        f"{round(one.loss_db, 2) + 0.0:+.2f}",
        f"{round(one.loss_low_db, 2) + 0.0:+.2f} to {round(one.loss_high_db, 2) + 0.0:+.2f}",
        str(change.verdicts.count("better")),
        str(change.verdicts.count("worse")),
        _word(change),
    ]


def follow_lines(found: FollowAnswer) -> tuple[str, str, str]:
    """Verdict, what has changed, what to do next."""
    name = short(found.source)
    if found.answer is None:
        return (
            line_of(f"No answer to {name}: ", found.problem),
            "The file is left as it is.",
            "Next: save the sweep again.",
        )
    worst = found.answer.worst
    where = f"channel {short(worst.band.name)}" if worst.band.is_channel else short(worst.band.name)
    high = float("inf") if worst.high > 99 else worst.high
    head = f"Impossible: no antenna reads so through this chain, {where}."
    if worst.verdict != IMPOSSIBLE:
        head = f"{HEADS[found.answer.verdict]}: {match(worst.vswr)}, {between(worst.low, high)} (95 %), {where}."
    kept = "" if found.kept else " NOT KEPT: disk full?"
    if found.since_last is None or found.since_first is None:
        return (
            head,
            f"Sweep {found.number}, {name}: the first.{kept}"
            if found.number == 1
            else f"Sweep {found.number}, {name}: no earlier one has its frequencies; not compared.{kept}",
            CHECK_CHAIN if worst.verdict == IMPOSSIBLE else "Next: change one thing, sweep again.",
        )
    last, first = (each.differences[each.most].loss_db for each in (found.since_last, found.since_first))
    last_words = f"{round(last, 2) + 0.0:+.2f} dB since the last ({_word(found.since_last)})"
    first_words = f"{round(first, 2) + 0.0:+.2f} since the first ({_word(found.since_first)})"
    return head, fitted(f"Loss {last_words}, {first_words}.{kept}", f"Loss {last_words}.{kept}"), _next(found)


def _word(change: SweepChange) -> str:
    return "real" if change.verdict == "real" else "may be chance"


def _next(found: FollowAnswer) -> str:
    assert found.answer is not None
    assert found.since_last is not None
    better, worse = (found.since_last.verdicts.count(word) for word in ("better", "worse"))
    if found.answer.verdict == IMPOSSIBLE:
        return CHECK_CHAIN
    if found.answer.verdict == "pass":
        return "Next: stop here; gain, height and place are worth more now."
    if better > worse:
        return "Next: go on the same way."
    if worse > better:
        return "Next: go back; the last change made it worse."
    if found.since_last.verdict == "real":
        return "Next: decide by the channels you need; some gained, some lost."
    return "Next: make a bigger change; this one is within what a sweep repeats to."


def big(value: float) -> list[str]:
    """A match, given as VSWR, in figures that are read from afar."""
    text = f"{value:.2f}" if value < 10 else f"{value:.0f}" if value < 100 else ">99"
    if units().in_db:
        text = figure_of(value).removesuffix(" dB")
    rows = []
    for place in range(5):
        cells = " ".join(DIGITS[sign][place] for sign in text)
        rows.append("  " + "".join(sign * 2 for sign in cells).rstrip())
    return rows


def bar(value: float, limit: float | None, width: int) -> list[str]:
    """A bar from a perfect match to VSWR 5 (return loss 3.5 dB) and more, spaced by reflection, the limit marked under it."""
    most = float(magnitude_from_vswr(FULL_VSWR))
    full = round((width - 2) * min(float(magnitude_from_vswr(value)) / most, 1.0))
    body = "#" * full + "." * (width - 2 - full)
    under = [" "] * width
    marks = [(float(magnitude_from_vswr(at)), text) for at, text in VSWR_MARKS]
    if units().in_db:
        marks = [(10 ** (-loss_db / 20), f"{loss_db:g}") for loss_db in LOSS_MARKS_DB]
    if limit is not None:
        marks.append((float(magnitude_from_vswr(limit)), f"^{short_limit(limit).removesuffix(' dB')}"))
    for size, text in marks:
        place = min(round((width - 2) * size / most), width - len(text))
        under[place : place + len(text)] = list(plain(text))
    return [*[f" {body}"] * BAR_ROWS, f" {''.join(under)}".rstrip()]
