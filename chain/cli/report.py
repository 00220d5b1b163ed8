"""`chain report`."""

from __future__ import annotations

import sys
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

import click

from chain.cli.completing import setup_files, sweep_files
from chain.cli.options import Command, Common, common, draws_option, enforce, sweep_options
from chain.cli.output import deliver, deliver_page, note, progress
from chain.cli.writing import refuse_overwriting

if TYPE_CHECKING:
    from chain.reception.records import Installation
    from chain.sweeps.options import SweepOptions


def on_terminal() -> bool:
    """Whether a person would see what goes to stdout."""
    return sys.stdout.isatty()


@click.command("report", cls=Command)
@click.argument("setup", metavar="SETUP", shell_complete=setup_files)
@click.argument("file", metavar="[SWEEP]", required=False, shell_complete=sweep_files)
@draws_option
@sweep_options
@enforce
@common
def command(
    shared: Common, setup: str, file: str | None, draws: int | None, sweep: SweepOptions, enforce: bool
) -> None:
    """Write one self-contained HTML page: verdict, drawing, what to expect, what a sweep proves, cautions, bench card.

    The page loads nothing, works from a USB stick, and prints on A4 sheets. Without -o it goes to stdout, if that is no terminal.

    \b
    Examples:
      chain report demo/boathouse.toml -o boathouse.html
      chain report demo/boathouse.toml demo/boathouse.s1p -o measured.html
    """
    inputs = [setup] if file is None else [setup, file]
    refuse_overwriting(shared.output, shared.force, inputs)
    if shared.output is None and not shared.json and on_terminal():
        raise click.UsageError(f"A page is no reading for a terminal: write -o {Path(setup).stem}.html.")
    from chain.analyses.page import page
    from chain.cli.loading import either_in, read_repeats
    from chain.reception.records import Installation
    from chain.results import SEED
    from chain.sweeps.options import DEFAULTS

    loaded, text = either_in(setup)
    if isinstance(loaded, Installation):
        if file is not None:
            raise click.UsageError("An installation has no sweep of its own: name it as match under [antenna].")
        _of_installation(shared, loaded, (setup, text), draws, enforce)
        return
    if file is None and sweep != DEFAULTS:
        raise click.UsageError("The options from --column on are about a sweep: name its file after the set-up.")
    readings = None if file is None else read_repeats(loaded, [file], sweep)
    seed = SEED if shared.seed is None else shared.seed
    names = ("" if setup == "-" else setup, file or "")
    templates = Thread(target=_prepare, daemon=True)
    if not shared.json:
        templates.start()
    with progress(shared) as report:
        found = page(loaded, text, readings, names, draws, seed, report)

    drawn = found.expectation.draws
    if draws is not None and drawn != draws:
        note(shared, f"{drawn} measurements were simulated for each interval: {draws} asked for, rounded up")

    if shared.json:
        deliver(shared, lambda console: None, found.to_dict, inputs)
    else:
        from chain.html.page import page_html

        templates.join()
        deliver_page(shared, page_html(found), inputs)
    if enforce and not found.proves:
        raise click.exceptions.Exit(1)


def _prepare() -> None:
    """Have the templates ready by the time the figures are; the import alone takes as long as a light answer."""
    from chain.html.page import prepare

    prepare()


def _of_installation(
    shared: Common, house: Installation, source: tuple[str, str], draws: int | None, enforce: bool
) -> None:
    """The page of an installation: verdicts, tree, level diagram, heat map, places, installer's card."""
    from chain.reception.outlets import outlets
    from chain.reception.trials import DRAWS
    from chain.results import SEED

    with progress(shared) as report:
        found = outlets(house, draws or DRAWS, SEED if shared.seed is None else shared.seed, report)
    if shared.json:
        deliver(shared, lambda console: None, found.to_dict, [source[0]])
    else:
        from chain.html.installation import installation_html

        deliver_page(shared, installation_html(found, *source), [source[0]])
    if enforce and not found.works:
        raise click.exceptions.Exit(1)
