"""`chain log`: add, list, show, plot, export."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chain.cli.completing import any_file, setup_files, sweep_files
from chain.cli.named_group import NamedGroup
from chain.cli.options import Command, Common, common, sweep_options
from chain.cli.output import SUFFIXES, deliver, deliver_page, note, progress
from chain.cli.writing import Refusal, kind_of, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.records.folder import Damage, Folder
    from chain.records.trends import LogTrends
    from chain.sweeps.options import SweepOptions


@click.group("log", cls=NamedGroup, no_args_is_help=True)
def command() -> None:
    """Keep measurements: one plain text file each, never rewritten, and what they say over the years.

    \b
    Examples:
      chain log add mylog demo/plane-after-pad.toml demo/plane-after-pad.s1p \\
        --temperature "12 °C"
      chain log add mylog demo/downlead.toml demo/downlead-open.s1p \\
        demo/downlead-short.s1p --lead
      chain log list demo/log
      chain log show demo/log --name downlead
      chain log plot demo/log --name downlead
      chain log export demo/log -o log.csv
      chain log export demo/log --page -o log.html
    """


def folder_argument(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the argument FOLDER."""
    return click.argument("folder", metavar="FOLDER", shell_complete=any_file)(function)


def only_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--name` and `--channel`."""
    channel = click.option("--channel", default="", metavar="CHANNEL", help="Only this channel.")
    return click.option("--name", default="", metavar="NAME", help="Only what was measured under this name.")(
        channel(function)
    )


@click.command("add", cls=Command, short_help="Keep one measurement.")
@folder_argument
@click.argument("setup", metavar="SETUP", shell_complete=setup_files)
@click.argument("sweeps", metavar="SWEEP [SHORT]", nargs=-1, required=True, shell_complete=sweep_files)
@click.option(
    "--lead", is_flag=True, help="The sweep is of a lead with its far end open; SHORT, if given, of it shorted."
)
@click.option("--name", default="", metavar="NAME", help="What was measured; the set-up's file name if left out.")
@click.option("--temperature", metavar="TEXT", help="Air temperature, such as '12 °C'.")
@click.option("--operator", default="", metavar="TEXT", help="Who measured.")
@click.option("--note", "remark", default="", metavar="TEXT", help="Anything worth remembering.")
@click.option("--time", "when", metavar="TIME", help="When, if not now: '2026-03-01 14:05' or ISO 8601.")
@sweep_options
@common
def add(
    shared: Common,
    folder: str,
    setup: str,
    sweeps: tuple[str, ...],
    lead: bool,
    name: str,
    temperature: str | None,
    operator: str,
    remark: str,
    when: str | None,
    sweep: SweepOptions,
) -> None:
    """Read a sweep, answer it, and keep both in FOLDER (made if it is not there)."""
    if len(sweeps) > (2 if lead else 1):
        raise click.UsageError("One sweep of an antenna, or with --lead one open and one short.")
    if not setup.lower().endswith(".toml") and [each.lower().endswith(".toml") for each in sweeps] == [True]:
        # As with every command that takes both: the suffix says which is which.
        setup, sweeps = sweeps[0], (setup,)
    from chain.records.adding import Facts, log_measurement
    from chain.units import parse_quantity

    warm = None if temperature is None else parse_quantity(temperature, "temperature")
    facts = Facts(name, warm, operator, remark, _time(when))
    kind = "lead" if lead else "antenna"
    with progress(shared) as report:
        found = log_measurement(folder, setup, sweeps[0], "".join(sweeps[1:]), kind, facts, sweep, report)

    def render(console: Console) -> None:
        from chain.antenna_report import log

        log.render_record(found, console)

    def document() -> dict[str, object]:
        from chain.records.record import record_json

        return record_json(found)

    deliver(shared, render, document, [setup, *sweeps])
    note(shared, f"kept in {folder}: {found.stem}")


def _time(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text.strip()).astimezone()
    except (ValueError, OverflowError, OSError):
        raise Refusal(f"{text!r} is no time; write it as '2026-03-01 14:05'") from None


def _folder(path: str) -> Folder:
    from chain.records.folder import Folder

    return Folder(Path(path))


@click.command("list", cls=Command, short_help="What was kept.")
@folder_argument
@click.option("--all", "every", is_flag=True, help="Show every record.")
@common
def listed(shared: Common, folder: str, every: bool) -> None:
    """List the records of FOLDER, newest below; what is damaged is named and skipped."""
    refuse_overwriting(shared.output, shared.force)
    headings, damaged = _folder(folder).headings()
    if every and not shared.json and shared.output in (None, "-"):
        # Ten thousand rows of a rich table would take a minute.
        from chain.antenna_report.log import list_text

        sys.stdout.write(list_text(headings))
        for each in damaged:
            note(shared, f"skipped: {each.path}: {each.what}")
        return

    def render(console: Console) -> None:
        from chain.antenna_report import log

        log.render_list(headings, damaged, console, folder)

    def document() -> dict[str, object]:
        from chain.results import SCHEMA_VERSION

        found = {"records": [vars(each) for each in headings], "damaged": [vars(each) for each in damaged]}
        return {"schema_version": SCHEMA_VERSION, **found}

    deliver(shared, render, document)


@click.command("show", cls=Command, short_help="One record in full, or what all of them say.")
@folder_argument
@click.argument("record", metavar="[RECORD]", default="")
@only_options
@common
def show(shared: Common, folder: str, record: str, name: str, channel: str) -> None:
    """Show one RECORD (by its file name, or a part of it), or the trend and the steps of every series."""
    refuse_overwriting(shared.output, shared.force)
    if record:
        one = _folder(folder).record(record)

        def document() -> dict[str, object]:
            from chain.records.record import record_json

            return record_json(one)

        def render(console: Console) -> None:
            from chain.antenna_report import log

            log.render_record(one, console)

        deliver(shared, render, document)
        return
    found = _trends(folder, name, channel)

    def render_all(console: Console) -> None:
        from chain.antenna_report import log

        log.render(found, console)

    deliver(shared, render_all, found.to_dict)


def _trends(folder: str, name: str, channel: str) -> LogTrends:
    from chain.records.trends import log_trends

    return log_trends(folder, name, channel)


@click.command("plot", cls=Command, short_help="The series over time.")
@folder_argument
@only_options
@common
def plot(shared: Common, folder: str, name: str, channel: str) -> None:
    """Draw the series on the terminal, or with -o to a picture (.png or .svg)."""
    refuse_overwriting(shared.output, shared.force)
    drawn = str(shared.output or "").lower().endswith(SUFFIXES)
    if shared.json:
        raise Refusal("--json leaves no place for a chart; 'chain log show --json' gives the figures")
    found = _trends(folder, name, channel)
    from chain.plots import log as drawing

    if drawn:
        from chain.plots.picture import needs_matplotlib, picture

        needs_matplotlib()
        path = str(shared.output)
        made = picture(drawing.describe(found), Path(path).suffix.lower()[1:], found.title)
        write_whole(path, made, shared.force)
        note(shared, f"written: {path}")
        return

    def render(console: Console) -> None:
        from chain.antenna_report.log import trend_lines
        from chain.plots.terminal import draw
        from chain.setup_report.tables import say

        for line in trend_lines(found):
            say(console, line)
        for each in drawing.describe(found):
            console.print()
            draw(each, console)

    deliver(shared, render, found.to_dict)


@click.command("export", cls=Command, short_help="All of it as a table, or as one page.")
@folder_argument
@click.option("--page", is_flag=True, help="One self-contained HTML page instead of a table (CSV).")
@only_options
@common
def export(shared: Common, folder: str, page: bool, name: str, channel: str) -> None:
    """Write the records as a table, one row a channel, or as one page with the series drawn (--page, or -o FILE.html).

    \b
    Columns of the table:
      vswr, return_loss_db    of an antenna at the channel's worst point, with
                              the ends of 95 % (low, high), phase or none read
      loss_db                 of an antenna what its mismatch costs, of a lead
                              its loss one way; at 20 degrees C: loss_20c_db
      repeat_db               to what loss_db repeats, one standard uncertainty
      verdict                 pass, fail or not proven, by the set-up's limit
    """
    refuse_overwriting(shared.output, shared.force)
    named = kind_of(shared.output)
    if page and named == "csv":
        raise Refusal(f"{shared.output}: --page writes .html; leave --page out for a table")
    if page or named == "html":
        from chain.html.answers import log_html

        deliver_page(shared, log_html(_trends(folder, name, channel)))
        return
    from chain.records.trends import COLUMNS, log_rows, log_table

    if shared.json:
        rows, skipped = log_rows(folder, name, channel)
        deliver(shared, lambda console: None, lambda: _exported(COLUMNS, rows, skipped))
        return
    text, damaged = log_table(folder, name, channel)
    for each in damaged:
        note(shared, f"skipped: {each.path}: {each.what}")
    if shared.output in (None, "-"):
        sys.stdout.write(text)
        return
    write_whole(str(shared.output), text, shared.force)
    note(shared, f"written: {shared.output}")


def _exported(names: Sequence[str], rows: Sequence[Sequence[Any]], damaged: Sequence[Damage]) -> dict[str, object]:
    from chain.results import SCHEMA_VERSION, plain_values

    found = [dict(zip(names, row, strict=True)) for row in rows]
    damage = [vars(each) for each in damaged]
    return {"schema_version": SCHEMA_VERSION, "channels": plain_values(found), "damaged": damage}


for _each in (add, listed, show, plot, export):
    command.add_command(_each)
