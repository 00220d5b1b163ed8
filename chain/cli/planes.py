"""`chain planes`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.loading import load_heeded
from chain.cli.options import Common, common, digits_option, draws_option, setup_argument
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, plot_option, progress, write_plot
from chain.cli.writing import refuse_overwriting

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot


@click.command("planes", cls=PlotCommand)
@setup_argument
@click.option("--true", "true", default="VSWR 1.5", metavar="VSWR", help="True value to compare at, beside the limit.")
@draws_option
@digits_option
@plot_option
@common
def command(shared: Common, setup: str, true: str, draws: int | None, digits: int, plot: str | None) -> None:
    """Compare the places where the set-up can be calibrated, and doing without a pad, at the top of its sweep.

    \b
    Examples:
      chain planes demo/boathouse.toml
      chain planes demo/boathouse.toml --plot planes.svg
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    check_plot(shared, plot, [setup])
    from chain.analyses.planes import compare
    from chain.results import SEED
    from chain.units import parse_quantity

    wanted = parse_quantity(true, "vswr")
    loaded = load_heeded(shared, setup)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = compare(loaded, wanted, draws=draws, seed=seed, progress=report, digits=digits)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import planes

        return planes.describe(found)

    def render(console: Console) -> None:
        from chain.setup_report import planes

        planes.render(found, console)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, [setup], found)
    write_plot(shared, plot, plots, found.title, [setup])
