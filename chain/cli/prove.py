"""`chain prove`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.completing import sweep_files
from chain.cli.loading import load_heeded
from chain.cli.options import Command, Common, common, enforce, setup_argument, sweep_options
from chain.cli.output import deliver, progress
from chain.cli.writing import refuse_overwriting
from chain.sweeps.options import SweepOptions

if TYPE_CHECKING:
    from chain.setups import Setup
    from chain.sweeps.readings import Readings


def _once(ctx: click.Context, option: click.Parameter, given: Sequence[str]) -> str | None:
    """Value of an option that holds for every reading, and so is given once."""
    if len(given) > 1:
        remedy = "give it once: it holds for every reading; ends read at several frequencies are given as sweep files."
        raise click.BadParameter(f"given {len(given)} times; {remedy}", ctx=ctx, param=option)
    return given[0] if given else None


END = "VSWR (1.73), return loss (11.4 dB), inf (off the scale), or a sweep file; repeat it for a re-seated reading."


@click.command("prove", cls=Command)
@setup_argument
@click.option(
    "--open",
    "opened",
    multiple=True,
    metavar="READING",
    shell_complete=sweep_files,
    help=f"Nothing in the antenna's place: {END}",
)
@click.option(
    "--short", "shorted", multiple=True, metavar="READING", shell_complete=sweep_files, help="A short in its place."
)
@click.option(
    "--load",
    multiple=True,
    metavar="READING",
    shell_complete=sweep_files,
    help="A load of the antenna's own impedance, 75 ohm.",
)
@click.option("--load50", multiple=True, metavar="READING", shell_complete=sweep_files, help="A 50-ohm load.")
@click.option(
    "--at",
    multiple=True,
    callback=_once,
    metavar="FREQUENCY",
    help="Where it was read, such as '210 MHz' or 'ch 30', once for all readings; the middle of the sweep if left out.",
)
@click.option(
    "--ohms",
    multiple=True,
    callback=_once,
    metavar="OHM",
    help="What an ohmmeter shows at the near end, the far end open: 86.6 or open.",
)
@click.option(
    "--load-limit",
    multiple=True,
    callback=_once,
    metavar="LIMIT",
    help="How good the load is, such as '32 dB' or 'VSWR 1.05'.",
)
@click.option("--load50-limit", multiple=True, callback=_once, metavar="LIMIT", help="How good the 50-ohm load is.")
@sweep_options
@enforce
@common
def command(
    shared: Common,
    setup: str,
    opened: tuple[str, ...],
    shorted: tuple[str, ...],
    load: tuple[str, ...],
    load50: tuple[str, ...],
    at: str | None,
    ohms: str | None,
    load_limit: str | None,
    load50_limit: str | None,
    sweep: SweepOptions,
    enforce: bool,
) -> None:
    """Is the chain right, or which one thing is wrong with it? From known terminations, as the screen shows them.

    Screw an open, a short and loads to the chain in the antenna's place, one after the other, and give what the screen shows;
    an ohmmeter alone is enough to start. With --enforce the exit status is 1 unless the verdict is right or no fault is shown.

    \b
    Examples:
      chain prove demo/boathouse.toml --open 1.73 --short 1.71 --load 1.05 \\
        --load50 1.12
      chain prove demo/boathouse.toml --open 2.20 --short 2.25 --load 1.67
      chain prove demo/boathouse.toml --load 1.35 --load 1.12 --ohms 86.6
      chain prove demo/boathouse.toml --open "RL 11.7 dB at 210 MHz"
      chain prove demo/boathouse.toml --ohms 86.6
    """
    given = {"open": opened, "short": shorted, "load": load, "load50": load50}
    files = [setup, *(text for texts in given.values() for text in texts if _is_file(text))]
    refuse_overwriting(shared.output, shared.force, files)
    from chain.diagnosis.diagnose import prove
    from chain.diagnosis.ohmmeter_likelihood import parse_ohms
    from chain.diagnosis.records import NOTHING_SHOWN
    from chain.diagnosis.terminations import known_ends
    from chain.results import SEED
    from chain.sweeps.reading_words import frequency_of
    from chain.units import parse_quantity

    load_db, load50_db = (
        None if text is None else parse_quantity(text, "return_loss") for text in (load_limit, load50_limit)
    )
    metered = None if ohms is None else parse_ohms(ohms)
    loaded = load_heeded(shared, setup)
    readings = {end: _read(loaded, texts, sweep) for end, texts in given.items()}
    typed = [text for texts in given.values() for text in texts if not _is_file(text)]
    if typed:
        from chain.setup_report.numbers import follow_limit
        from chain.sweeps.reading_words import is_return_loss_reading

        # What is typed in dB is answered in dB.
        in_db = all(is_return_loss_reading(text) or "db" in text.casefold() for text in typed)
        follow_limit(loaded.far.limit_in_db or in_db)
    middle_hz = (loaded.sweep.start_hz + loaded.sweep.stop_hz) / 2
    channels = {name: (low_hz, high_hz) for name, low_hz, high_hz in loaded.sweep.channels}
    at_hz = None if at is None else frequency_of(at, channels)
    known = known_ends(readings, middle_hz, at_hz, metered is not None, channels)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = prove(loaded, known, metered, load_db, load50_db, seed=seed, progress=report)

    def render(console: object) -> None:
        from chain.setup_report import prove as page

        page.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, files, found)
    if enforce and found.verdict not in ("right", NOTHING_SHOWN):
        raise click.exceptions.Exit(1)


def _is_file(text: str) -> bool:
    """Distinguish a sweep's path from a figure: a figure has no such file, and no letters but those of its unit."""
    try:
        return Path(text).is_file() or Path(text).suffix.lower() in (".s1p", ".s2p", ".ts", ".csv", ".tsv", ".txt")
    except (OSError, ValueError):
        return False


def _read(setup: Setup, texts: Sequence[str], sweep: SweepOptions) -> list[str | Readings]:
    from chain.assembly.cascade import read_sweep_for
    from chain.sweeps.reading_words import either_kind
    from chain.units import NUMBER

    for text in texts:
        if setup.shows_db and NUMBER.fullmatch(text.strip()) and not _is_file(text):
            raise either_kind(text.strip())
    return [read_sweep_for(setup, text, sweep) if _is_file(text) else text for text in texts]
