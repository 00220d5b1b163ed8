"""`chain follow`."""

from __future__ import annotations

import sys

import click

from chain.cli.completing import any_file, setup_files
from chain.cli.loading import load_heeded
from chain.cli.options import Command, Common, common, sweep_options
from chain.cli.output import TextPage, asked_console, note
from chain.cli.writing import Refusal
from chain.sweeps.options import SweepOptions


@click.command("follow", cls=Command)
@click.argument("setup", metavar="SETUP", shell_complete=setup_files)
@click.argument("folder", metavar="FOLDER", shell_complete=any_file)
@click.option(
    "--log", "book", default="", metavar="FOLDER", help="Where the records go; 'log' inside FOLDER if left out."
)
@click.option("--name", default="", metavar="NAME", help="What is measured; the set-up's file name if left out.")
@click.option("--temperature", metavar="TEXT", help="Air temperature, such as '12 °C', for the records.")
@click.option("--operator", default="", metavar="TEXT", help="Who measures, for the records.")
@click.option("--bell", is_flag=True, help="Ring the terminal's bell: once for an answer, twice for a real change.")
@click.option("--once", is_flag=True, help="Answer what is there, then stop.")
@click.option("--poll", is_flag=True, help="Check the folder regularly: for a network share that reports no changes.")
@sweep_options
@common
def command(
    shared: Common,
    setup: str,
    folder: str,
    book: str,
    name: str,
    temperature: str | None,
    operator: str,
    bell: bool,
    once: bool,
    poll: bool,
    sweep: SweepOptions,
) -> None:
    """Watch the folder that the analyzer saves to; read, answer and keep each sweep that appears. Ctrl-C ends it.

    One screen each: the verdict, what has changed since the last sweep and since the first, and whether that is real or
    within repeatability. Every sweep and answer is kept as a record (chain log list). With --json one object a line.

    \b
    Examples:
      chain follow demo/plane-after-pad.toml sweeps
      chain follow demo/plane-after-pad.toml sweeps --once --json
    """
    if shared.output not in (None, "-"):
        raise Refusal("-o has no place here: every answer is kept in --log; for one stream of answers redirect --json")
    from chain.records.adding import Facts
    from chain.records.following import FollowAnswer, follow_folder
    from chain.units import parse_quantity

    load_heeded(shared, setup)
    warm = None if temperature is None else parse_quantity(temperature, "temperature")
    facts = Facts(name, warm, operator)
    screen = not shared.json and sys.stdout.isatty()
    if screen and not once:
        note(shared, f"waiting for sweeps in {folder}; Ctrl-C ends it")

    def show(found: FollowAnswer) -> None:
        if shared.json:
            from chain.setup_report.schemas import row_text

            sys.stdout.write(row_text(found.to_dict()))
        else:
            from chain.antenna_report.follow import render

            page = TextPage(sys.stdout)
            console = asked_console(page, shared)
            render(found, console)
            # Clear the screen and go to its top: ECMA-48, ED and CUP.
            sys.stdout.write(("\x1b[2J\x1b[H" if screen else "") + page.text() + ("" if screen else "\n"))
        if bell and sys.stdout.isatty():
            real = found.since_last is not None and found.since_last.verdict == "real"
            sys.stdout.write("\a\a" if real else "\a")
        sys.stdout.flush()

    count = 0
    for found in follow_folder(setup, folder, book, facts, once, poll, sweep):
        show(found)
        count += 1
    if not count:
        note(shared, f"nothing new in {folder}")
