"""`chain budget`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.loading import load_heeded
from chain.cli.options import Common, common, setup_argument
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, note, plot_option, write_plot
from chain.cli.writing import kind_of, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot


@click.command("budget", cls=PlotCommand)
@setup_argument
@click.option(
    "--touchstone", metavar="FILE", help="Also write the chain as a two-port (Touchstone 2.1, both references)."
)
@plot_option
@common
def command(shared: Common, setup: str, touchstone: str | None, plot: str | None) -> None:
    """Show where every dB goes: items, joints, reflection and heat, and how levels translate between the two ends.

    \b
    Examples:
      chain budget demo/boathouse.toml
      chain budget demo/boathouse.toml --touchstone boathouse.ts
      chain budget demo/boathouse.toml --plot losses.svg
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    refuse_overwriting(touchstone, shared.force, [setup])
    check_plot(shared, plot, [setup])
    from chain.analyses.loss_range import loss_range
    from chain.assembly.power import account
    from chain.setup_report.budget import range_freq_hz

    loaded = load_heeded(shared, setup)
    found = account(loaded)
    ranges = loss_range(loaded, range_freq_hz(found, shared.json or kind_of(shared.output) == "json"), shared.seed)
    if touchstone is not None:
        from chain.sweeps.touchstone import text_of_two_port

        chain = found.budget
        text = text_of_two_port(chain.freq_hz, chain.s, chain.near_ohm, chain.far_ohm)
        write_whole(touchstone, text, shared.force, [setup])
        note(shared, f"written: {touchstone}")

    def plots() -> tuple[Plot, ...]:
        from chain.plots import budget

        return budget.describe(found)

    def render(console: Console) -> None:
        from chain.setup_report import budget

        budget.render(found, console, ranges)
        draw_after(plot, plots, console)

    deliver(shared, render, lambda: {**found.to_dict(), "range": ranges.to_dict()}, [setup], found)
    write_plot(shared, plot, plots, found.setup.title, [setup])
