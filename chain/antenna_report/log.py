"""The log: what was kept, one record in full, what a series says, and all of it as a table of figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from chain.errors import plain
from chain.records.folder import Damage, Heading
from chain.records.record import MOST_POINTS, MOST_WITHOUT_PHASE, Record
from chain.setup_report.numbers import figure, follow_limit, head, span
from chain.setup_report.phrases import fitted, line_of, short, verdict_word
from chain.setup_report.tables import Column, answer, notes, say, show_table

if TYPE_CHECKING:
    # A list of ten thousand records must not wait for what computes trends.
    from chain.antenna_report.differences import Grid
    from chain.records.trends import LogTrends, SeriesTrend

SHOWN = 12
IN_DB = ": RL "
"""In the answer of a record whose limit was stated in dB."""
MOST_DAMAGED = 6


def render_list(headings: Sequence[Heading], damaged: Sequence[Damage], console: Console, folder: str) -> None:
    """Print the last records, newest below."""
    count = len(headings)
    if not count:
        lines = [f"No records in {short(folder)}.", "Each measurement becomes one file there."]
        answer(console, [*lines, "Next: chain log add FOLDER SETUP SWEEP."])
    else:
        things = len({(each.name, each.kind) for each in headings})
        records = f"{count} record{'s' if count != 1 else ''} of {things} thing{'s' if things != 1 else ''}"
        answer(
            console,
            [
                f"{records}, the last of {headings[-1].time[:10]}.",
                _damage_words(damaged) if damaged else "No file is damaged.",
                "Next: 'chain log show FOLDER' says what has changed.",
            ],
        )
        console.print(Text(list_text(headings[-SHOWN:]).rstrip("\n")), soft_wrap=True)
        if count > SHOWN:
            console.print()
            say(console, f"The last {SHOWN} of {count} (--all shows all).")
    for each in damaged[:MOST_DAMAGED]:
        say(console, f"skipped: {plain(each.path)}: {plain(each.what)}")
    if len(damaged) > MOST_DAMAGED:
        say(console, f"skipped: {len(damaged) - MOST_DAMAGED} more; --json names them.")


def _damage_words(damaged: Sequence[Damage]) -> str:
    return f"{len(damaged)} damaged file{'s' if len(damaged) != 1 else ''} skipped: restore from a copy."


def list_text(headings: Sequence[Heading]) -> str:
    """Rows of a list as plain text: quick for ten thousand of them."""
    wide = min(max((len(each.name) for each in headings), default=4), 16)
    rows = [f"{'when':16}  {'what':{wide}}  {'deg C':>5}  answer"]
    for each in headings:
        warm = "" if each.temperature_c is None else f"{each.temperature_c:.0f}"
        when = each.time[:16].replace("T", " ")
        rows.append(
            f"{when:16}  {plain(each.name)[:wide]:{wide}}  {warm:>5}  {_cut(answer_words(each), 80 - 27 - wide)}"
        )
    return "\n".join(rows) + "\n"


def answer_words(kept: Heading | Record) -> str:
    """The answer that a record keeps, its verdict in the words of the screens."""
    text = plain(kept.answer)
    return verdict_word(kept.verdict) + text.removeprefix(kept.verdict) if text.startswith(kept.verdict) else text


def _cut(text: str, width: int) -> str:
    return text if cell_len(text) <= width else f"{text[: width - 3]}..."


def render_record(record: Record, console: Console) -> None:
    """Print one record in full, but for its sweep."""
    follow_limit(IN_DB in record.answer)
    words = answer_words(record)
    first = line_of("", f"{words[:1].upper()}{words[1:]}")
    warm = "" if record.temperature_c is None else f", {record.temperature_c:g} degrees C"
    who = f", by {plain(record.operator)}" if record.operator else ""
    second = fitted(f"{short(record.name, 40)}, {record.time:%Y-%m-%d %H:%M}{warm}{who}.")
    third = f"Next: 'chain log show FOLDER --name {short(record.name)}' says what has changed."
    answer(console, [first, second, third], record.warnings)
    show_table(console, *record_grid(record))
    console.print()
    points = ", ".join(f"{len(each.points)} points of {plain(each.source)} ({each.end})" for each in record.sweeps)
    say(
        console,
        f"Set-up {plain(record.setup)}, calibrated at '{plain(record.plane)}': {plain(record.standards)}. {points}.",
    )
    if record.kind == "antenna":
        say(console, _beside_recover(record))
    say(console, "Written with " + ", ".join(f"{plain(name)} {plain(value)}" for name, value in record.versions) + ".")
    if record.note:
        say(console, "Note: ", record.note)


def _beside_recover(record: Record) -> str:
    """Why the interval of a record is not to the digit the one that `recover` gives of the same sweep."""
    rows = record.sweeps[0].points
    points, most = len(rows), MOST_POINTS if len(rows[0]) > 2 else MOST_WITHOUT_PHASE
    step = -(-points // most)
    taken = f", one point in {step} of {points}" if step > 1 else ""
    between = ", which stands for the worst of those beside it" if step > 1 else ""
    return (
        f"Drawn as readings that are to be compared{taken}{between}: 'chain recover' draws at every point and for this sweep "
        "alone, so that its figures may differ in their last digits."
    )


def record_grid(record: Record) -> Grid:
    """Channels of a record."""
    lead = record.kind == "lead"
    columns = [Column("channel", numeric=False)]
    columns += [] if lead else [Column(head()), Column("95 %")]
    columns += [Column("loss,\ndB"), Column("repeats to,\ndB")]
    columns += [] if lead else [Column("verdict", numeric=False)]
    rows: list[list[object]] = []
    for each in record.channels:
        row: list[object] = [each.name]
        if not lead:
            row += [figure(each.vswr), span(each.vswr_low, each.vswr_high)]
        row += [f"{each.loss_db:.2f}", f"{each.repeat_db:.3f}"]
        rows.append(row if lead else [*row, verdict_word(each.verdict)])
    return columns, rows


def render(result: LogTrends, console: Console) -> None:
    """Print what the series say."""
    damaged = [f"{plain(each.path)} {plain(each.what)}: skipped" for each in result.damaged]
    answer(console, trend_lines(result), [*result.warnings, *damaged])
    columns, rows = trend_grid(result)
    show_table(console, columns, rows)
    method = (
        f"Loss in dB: of a lead one way, as at 20 degrees C (0.198 %/K); of an antenna by its match. A step is shown in at most "
        f"{100 * result.false_alarms:g} % of series without one, each series by itself, a single record apart among them "
        "where the records scatter as they should. A step has two records or more on either side: one alone may be a fluke."
    )
    notes(console, (), [method])


def trend_lines(result: LogTrends) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next."""
    stepped = [each for each in result.series if each.steps]
    if not result.series:
        return "No measurements kept yet.", f"{result.records} records.", "Next: chain log add FOLDER SETUP SWEEP."
    span = f"{result.records} records, {min(each.first for each in result.series)} to {max(each.last for each in result.series)}"
    odd = [each for each in result.series if each.apart is not None]
    if odd and not stepped:
        return _one_apart(odd, f"{len(odd)} of {len(result.series)} rows, {result.records} records")
    if not stepped:
        few = all(each.changed == "too few" for each in result.series)
        head = (
            "Too few records to show a change: at least four are needed."
            if few
            else "Nothing has changed suddenly: no step in any row below."
        )
        return head, f"{span}.", "Next: measure again in a season, with the temperature."
    most = max(stepped, key=lambda each: abs(each.steps[-1].change_db))
    step = most.steps[-1]
    word = "more" if step.change_db > 0 else "less"
    what = f"{short(most.name)}, channel {short(most.channel)}"
    since = f"{step.after:%Y-%m}"
    return (
        f"{what}: loses {abs(step.change_db):.2f} dB {word} since {since} (+- {step.half_width_db:.2f}).",
        f"{len(stepped)} of {len(result.series)} rows below show such a step; {span}.",
        _advice(most),
    )


def _one_apart(odd: Sequence[SeriesTrend], span: str) -> tuple[str, str, str]:
    """Lines for a first or last record that stands alone."""
    most = max(odd, key=lambda each: abs(each.apart.change_db) if each.apart else 0.0)
    assert most.apart is not None
    last, change = most.apart_is_last, most.apart.change_db
    above = "above" if (change > 0) == last else "below"
    size = f"{abs(change):.2f} dB +- {most.apart.half_width_db:.2f} {above}"
    first = (
        f"{short(most.name)}, channel {short(most.channel)[:6]}: {'last' if last else 'first'} record {size} the rest."
    )
    advice = "measure once more, joints made again; two in a row are a step."
    return (
        first,
        f"One record alone may be chance ({span}).",
        f"Next: {advice if last else 'compare with the records after the first; one more changes nothing.'}",
    )


def _advice(series: SeriesTrend) -> str:
    if series.kind == "lead" and series.steps[-1].change_db > 0:
        return "Next: look for water and poor joints; a lead whose loss grows seldom recovers."
    if series.steps[-1].change_db > 0:
        return "Next: look at the antenna's joints and what stands near it; sweep once more."
    return "Next: measure once more to see that it stays so."


def trend_grid(result: LogTrends) -> Grid:
    """Table of series."""
    columns = [
        Column("what", numeric=False),
        Column("channel", numeric=False),
        Column("records"),
        Column("by now,\ndB"),
        Column("a year,\ndB"),
        Column("steps", numeric=False),
    ]
    rows: list[list[object]] = []
    for each in result.series:
        reported = ", ".join(f"{one.after:%Y-%m} {one.change_db:+.2f}" for one in each.steps)
        rows.append(
            [
                short(each.name),
                each.channel,
                str(each.records),
                _with(each.since_first_db, each.half_width_db),
                _with(each.trend_db_per_year, each.trend_half_width_db),
                reported + (f", {each.apart.after:%Y-%m} alone" if each.apart else "") if reported else each.changed,
            ]
        )
    return columns, rows


def _with(value: float, half: float) -> str:
    return "" if math.isnan(value) else f"{round(value, 2) + 0.0:+.2f} +- {half:.2f}"
