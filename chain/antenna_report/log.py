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
from chain.results import IMPOSSIBLE, TOLD_APART_DB, counted
from chain.setup_report.numbers import figure, follow_limit, head, span
from chain.setup_report.phrases import CHECK_CHAIN, fitted, line_of, short, verdict_word
from chain.setup_report.tables import Column, answer, notes, say, show_table

if TYPE_CHECKING:
    # A list of ten thousand records must not wait for what computes trends.
    from datetime import datetime

    from chain.antenna_report.differences import Grid
    from chain.records.trends import LogTrends, SeriesTrend

SHOWN = 12
IN_DB = ": RL "
"""In the answer of a record whose limit was stated in dB."""
MOST_DAMAGED = 6
TWO_SWEEPS = "Next: of two sweeps 'chain recover SETUP NEW --before OLD' shows more."


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
    if record.verdict == IMPOSSIBLE:
        third = CHECK_CHAIN
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
    undecided = any(each.verdict == "not proven" for each in record.channels)
    graded = (
        " A record keeps no leaning: what is undecided here, that command may call leaning good or bad."
        if undecided
        else ""
    )
    between = ", which stands for the worst of those beside it" if step > 1 else ""
    return (
        f"Drawn as readings that are to be compared{taken}{between}: 'chain recover' draws at every point and for this sweep "
        f"alone, so that its figures may differ in their last digits.{graded}"
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
        if each.verdict == IMPOSSIBLE:
            rows.append([*row, "none", "none", "", "", each.verdict])
            continue
        if not lead:
            row += [figure(each.vswr), span(each.vswr_low, each.vswr_high)]
        far = not lead and each.loss_db > TOLD_APART_DB
        row += [f">{TOLD_APART_DB:.0f}", ""] if far else [f"{each.loss_db:.2f}", f"{each.repeat_db:.3f}"]
        rows.append(row if lead else [*row, verdict_word(each.verdict)])
    return columns, rows


def render(result: LogTrends, console: Console) -> None:
    """Print what the series say."""
    damaged = [f"{plain(each.path)} {plain(each.what)}: skipped" for each in result.damaged]
    answer(console, trend_lines(result), [*result.warnings, *damaged])
    columns, rows = trend_grid(result)
    show_table(console, columns, rows)
    for line in trend_facts(result):
        say(console, line)
    method = (
        f"Loss in dB: of a lead one way, as at 20 degrees C (0.198 %/K); of an antenna by its match. A step is shown in at most "
        f"{100 * result.false_alarms:g} % of series without one, each series by itself, a single record apart among them "
        "where the records scatter as they should. A step has two records or more on either side: one alone may be a fluke."
    )
    notes(console, (), [method])


def trend_facts(result: LogTrends) -> list[str]:
    """What the rows were judged as, and what their figures leave out."""
    # Not above: a list of ten thousand records must not wait for it.
    from chain.records.trends import STEADY_DB

    out = []
    if any(each.kind == "antenna" for each in result.series):
        out.append("Taken for one antenna, joints made again; each row judged by itself (95 %).")
    if any(each.changed == "can't tell" for each in result.series):
        out.append(f"Can't tell: no change fits the records, and so does one of more than {STEADY_DB:g} dB.")
    if any(each.brief and each.changed != "too few" for each in result.series):
        out.append("No trend a year is shown of records that span less than half a year.")
    return out


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
        unsure = sum(each.changed == "can't tell" for each in result.series)
        head = "Nothing has changed suddenly: no step in any row below."
        if few:
            head = "Too few records to show a change: at least four are needed."
        elif unsure:
            head = f"No step shown; in {unsure} of {counted(len(result.series), 'row')} the records can't tell."
        after = unsure and any(each.kind == "antenna" for each in result.series)
        return head, f"{span}.", TWO_SWEEPS if after else "Next: measure again in a season, with the temperature."
    most = max(stepped, key=lambda each: abs(each.steps[-1].change_db))
    step = most.steps[-1]
    word = "more" if step.change_db > 0 else "less"
    what = f"{short(most.name)}, channel {short(most.channel)}"
    since = _date(most, step.after)
    size, width = f"{abs(step.change_db):.2f}", f" (+- {step.half_width_db:.2f})"
    if math.isinf(step.change_db):
        size, width = f"over {TOLD_APART_DB:.0f}", ""
    return (
        fitted(f"{what}: loses {size} dB {word} since {since}{width}.", f"{what}: {size} dB {word} since {since}."),
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
    if math.isinf(change):
        size = f"over {TOLD_APART_DB:.0f} dB {above}"
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
        Column("loss by\nnow, dB"),
        Column("loss a\nyear, dB"),
        Column("steps", numeric=False),
    ]
    rows: list[list[object]] = []
    for each in result.series:
        reported = ", ".join(f"{_date(each, one.after)} {_with(one.change_db, math.nan)}" for one in each.steps)
        rows.append(
            [
                short(each.name),
                each.channel,
                str(each.records),
                _with(each.since_first_db, each.half_width_db),
                _with(each.trend_db_per_year, each.trend_half_width_db),
                reported + (f", {_date(each, each.apart.after)} alone" if each.apart else "")
                if reported
                else each.changed,
            ]
        )
    return columns, rows


def _date(series: SeriesTrend, time: datetime) -> str:
    """Date of a step: its month, its day where the records are of one season."""
    return f"{time:%Y-%m-%d}" if series.brief else f"{time:%Y-%m}"


def _with(value: float, half: float) -> str:
    """A change with its half width; without one where it has none, and no larger than losses are told apart."""
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return f">{TOLD_APART_DB:.0f}" if value > 0 else f"<-{TOLD_APART_DB:.0f}"
    return f"{round(value, 2) + 0.0:+.2f}" + ("" if math.isnan(half) else f" +- {half:.2f}")
