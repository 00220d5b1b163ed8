"""`chain report`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.options import Common, common
from chain.cli.output import deliver, deliver_page, refuse_overwriting
from chain.cli.progress import progress

if TYPE_CHECKING:
    from chain.records import Setup

__all__ = ["command"]

MOST_DRAWS = 200_000


@click.command("report", short_help="All of it on one page with plots, the bench card on its last sheet.")
@click.argument("setup", metavar="SETUP")
@click.argument("sweep", metavar="[SWEEP]", required=False)
@click.option(
    "--draws",
    type=click.IntRange(1, MOST_DRAWS),
    help="Simulated measurements for every interval; as many as expect and recover take if left out.",
)
@common
def command(shared: Common, setup: str, sweep: str | None, draws: int | None) -> None:
    """Write one self-contained HTML page: verdict, drawing, what to expect, what a sweep proves, cautions, bench card.

    The page loads nothing, works from a USB stick, and prints on two A4 sheets. Without -o it goes to stdout.

    \b
    Examples:
      chain report demo/boathouse.toml -o boathouse.html
      chain report demo/boathouse.toml demo/boathouse.s1p -o measured.html
    """
    inputs = [setup] if sweep is None else [setup, sweep]
    refuse_overwriting(shared.output, shared.force, inputs)
    from chain.intervals import SEED
    from chain.page import page
    from chain.sweepfile import read_sweep

    loaded, text = _setup_and_text(setup)
    readings = None if sweep is None else read_sweep(sweep)
    seed = SEED if shared.seed is None else shared.seed
    names = ("" if setup == "-" else setup, sweep or "")
    with progress(shared) as report:
        found = page(loaded, text, readings, names, draws, seed, report)

    if shared.json:
        deliver(shared, lambda console: None, found.to_dict, inputs)
        return
    from chain.pagehtml import page_html

    deliver_page(shared, page_html(found), inputs)


def _setup_and_text(path: str) -> tuple[Setup, str]:
    """Read a set-up, and the text it was read from; standard input can be read only once."""
    from chain.setupfile import parse_setup
    from chain.tomltext import decode, read_file

    raw = read_file(path)
    name, folder = ("<stdin>", Path()) if path == "-" else (path, Path(path).parent)
    return parse_setup(raw, name, folder), decode(raw, name)
