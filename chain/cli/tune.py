"""`chain tune`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import setup_files, sweep_files
from chain.cli.loading import load_heeded
from chain.cli.options import Common, common
from chain.cli.output import deliver, refuse_overwriting
from chain.cli.plot_option import PlotCommand, check_plot, draw_after, plot_option, write_plot
from chain.cli.progress import progress
from chain.cli.sweep_options import sweep_options

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot
    from chain.sweeps.options import SweepOptions

__all__ = ["command"]


@click.command("tune", cls=PlotCommand, short_help="Too long or too short: which way to bend the antenna?")
@click.argument("setup", metavar="SETUP", shell_complete=setup_files)
@click.argument("sweep_path", metavar="SWEEP", shell_complete=sweep_files)
@click.option(
    "--wanted",
    metavar="SPAN",
    help="What the antenna is for: '602 to 650 MHz' or '626 MHz'; the set-up's channels or sweep if left out.",
)
@click.option("--all", "every_point", is_flag=True, help="Show every point of the sweep.")
@sweep_options
@plot_option
@common
def command(
    shared: Common,
    setup: str,
    sweep_path: str,
    wanted: str | None,
    every_point: bool,
    sweep: SweepOptions,
    plot: str | None,
) -> None:
    """Say whether the antenna is too long or too short for its channels, by how much, and what it would read afterwards.

    SWEEP should reach past the wanted channels on either side. With a phase the reading is taken back to the antenna's element:
    resonances, bandwidth, quality factor, the change of length. Without one: on which side the dip lies, and what to try. The
    table [antenna] of SETUP says what the antenna is made of.

    \b
    Examples:
      chain tune demo/loops.toml demo/loops.s1p
      chain tune demo/loops.toml demo/loops.csv
      chain tune demo/loops.toml demo/loops.s1p --wanted "602 to 650 MHz" --plot tune.png
    """
    inputs = (setup, sweep_path)
    refuse_overwriting(shared.output, shared.force, inputs)
    check_plot(shared, plot, inputs)
    from chain.assembly.plane import read_sweep_for
    from chain.tuning.tune import tune
    from chain.uncertainty.intervals import SEED

    low_hz, high_hz = (None, None) if wanted is None else _span(wanted)
    loaded = load_heeded(shared, setup)
    readings = read_sweep_for(loaded, sweep_path, sweep)
    with progress(shared) as report:
        found = tune(loaded, readings, low_hz, high_hz, SEED if shared.seed is None else shared.seed, report)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import tune as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.report import tune as page

        page.render(found, console, every_point)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, inputs)
    write_plot(shared, plot, plots, found.title, inputs)


def _span(text: str) -> tuple[float, float]:
    """Lowest and highest frequency of a span as typed: one frequency, or two with `to` between them."""
    from chain.units import parse_quantity

    first, _, last = text.partition(" to ")
    if not last:
        one = parse_quantity(text, "frequency")
        return one, one
    high = parse_quantity(last, "frequency")
    unit = last.strip().split()[-1] if " " in last.strip() else ""
    low = parse_quantity(first if any(letter.isalpha() for letter in first) else f"{first} {unit}", "frequency")
    if low >= high:
        raise click.UsageError(f"--wanted {text!r}: the second frequency does not lie above the first.")
    return low, high
