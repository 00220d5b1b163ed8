"""`chain expect`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.loading import load_heeded
from chain.cli.options import Common, common, digits_option, draws_option, enforce, setup_argument
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, plot_option, progress, write_plot
from chain.cli.writing import refuse_overwriting

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot


@click.command("expect", cls=PlotCommand)
@setup_argument
@click.option(
    "--true", "true", multiple=True, metavar="VSWR", help="A true value to show, such as 'VSWR 1.8'; repeatable."
)
@draws_option
@digits_option
@plot_option
@enforce
@common
def command(
    shared: Common, setup: str, true: tuple[str, ...], draws: int | None, digits: int, plot: str | None, enforce: bool
) -> None:
    """Show what the screen reads for antennas from perfect to open, and which reading proves the limit.

    \b
    Examples:
      chain expect demo/boathouse.toml
      chain expect demo/boathouse.toml --true "VSWR 1.8" --true "RL 12 dB"
      chain expect demo/boathouse.toml --plot expect.png
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    check_plot(shared, plot, [setup])
    from chain.analyses.expect import expect
    from chain.results import SEED
    from chain.units import parse_quantity

    wanted = [parse_quantity(text, "vswr") for text in true]
    loaded = load_heeded(shared, setup)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = expect(loaded, wanted, draws=draws, seed=seed, progress=report, digits=digits)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import expect as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.setup_report import expect as page

        page.render(found, console)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, [setup], found)
    write_plot(shared, plot, plots, found.title, [setup])
    if enforce and found.limit_vswr is not None and found.aim_reading.vswr is None:
        raise click.exceptions.Exit(1)
