"""`chain outlets`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import any_file, installation_files
from chain.cli.options import Common, Whole, common, enforce
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, plot_option, progress, write_plot
from chain.cli.writing import refuse_overwriting

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot
    from chain.reception.outlets import Reception
    from chain.reception.records import Installation
    from chain.reception.seen import SeenLevels

METERS = ("75", "50-pad", "50")


@click.command("outlets", cls=PlotCommand)
@click.argument("file", metavar="FILE", shell_complete=installation_files)
@click.option("--place", is_flag=True, help="Where one amplifier helps, and with what gain.")
@click.option("--improve", is_flag=True, help="What would improve it, out of what is owned, offered or free.")
@click.option(
    "--seen", metavar="LEVELS", shell_complete=any_file, help="Table of measured levels, to compare with the model."
)
@click.option(
    "--meter", type=click.Choice(METERS), help="Meter of --seen: 75 ohm, 50 ohm behind the pad, 50 ohm alone."
)
@click.option("--rbw", metavar="BANDWIDTH", help="Resolution bandwidth, where --seen holds marker readings.")
@click.option("--tree", is_flag=True, help="The installation as a tree, with level and margin at each point.")
@click.option("--all", "every", is_flag=True, help="Every outlet and channel, not the worst alone.")
@click.option("--draws", type=Whole(200, 100_000), help="Simulated installations for every interval; 4000 if left out.")
@plot_option
@enforce
@common
def command(
    shared: Common,
    file: str,
    place: bool,
    improve: bool,
    seen: str | None,
    meter: str | None,
    rbw: str | None,
    tree: bool,
    every: bool,
    draws: int | None,
    plot: str | None,
    enforce: bool,
) -> None:
    """Say what arrives at each outlet of an installation: level, margin, how sure, and what limits it.

    \b
    Examples:
      chain outlets demo/outlets.toml
      chain outlets demo/outlets.toml --tree
      chain outlets demo/outlets.toml --place
      chain outlets demo/outlets.toml --improve
      chain outlets demo/outlets.toml --seen demo/outlets-seen.csv
      chain outlets demo/outlets.toml --plot levels.png
    """
    inputs = [file] if seen is None else [file, seen]
    refuse_overwriting(shared.output, shared.force, inputs)
    check_plot(shared, plot, inputs)
    if place + improve + (seen is not None) > 1:
        raise click.UsageError("--place, --improve and --seen are questions of their own: ask one at a time.")
    if plot is not None and (place or improve or seen is not None):
        raise click.UsageError("--plot draws the levels on the worst way: leave --place, --improve and --seen out.")
    if seen is None and (meter or rbw):
        raise click.UsageError("--meter and --rbw are about levels seen: name their file with --seen.")
    from chain.reception.installation_file import load_installation

    loaded = load_installation(file)
    if place or improve:
        (_place if place else _improve)(shared, loaded, inputs)
    elif seen is not None:
        compared = _seen(shared, loaded, inputs, meter or "75", rbw, draws, every)
        if enforce and not compared.works:
            raise click.exceptions.Exit(1)
    else:
        found = _outlets(shared, loaded, inputs, draws, (every, tree), plot)
        if enforce and not found.works:
            raise click.exceptions.Exit(1)


def _outlets(
    shared: Common,
    loaded: Installation,
    inputs: list[str],
    draws: int | None,
    shown: tuple[bool, bool],
    plot: str | None,
) -> Reception:
    from chain.reception.outlets import outlets
    from chain.reception.trials import DRAWS
    from chain.results import SEED

    every, tree = shown
    with progress(shared) as report:
        found = outlets(loaded, draws or DRAWS, SEED if shared.seed is None else shared.seed, report)

    def render(console: Console) -> None:
        from chain.outlet_report import outlet_tree
        from chain.outlet_report import outlets as page

        page.render(found, console, every)
        if tree:
            console.print()
            outlet_tree.render(found, console)
        draw_after(plot, plots, console)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import outlets as drawing

        return drawing.describe(found)

    deliver(shared, render, found.to_dict, inputs, found)
    write_plot(shared, plot, plots, found.title, inputs)
    return found


def _place(shared: Common, loaded: Installation, inputs: list[str]) -> None:
    from chain.reception.placing_amplifier import place_amplifier
    from chain.results import SEED

    with progress(shared) as report:
        found = place_amplifier(loaded, report, SEED if shared.seed is None else shared.seed)

    def render(console: Console) -> None:
        from chain.outlet_report import placement

        placement.render(found, console)

    deliver(shared, render, found.to_dict, inputs, found)


def _improve(shared: Common, loaded: Installation, inputs: list[str]) -> None:
    from chain.reception.improvements import improve_reception
    from chain.results import SEED

    with progress(shared) as report:
        found = improve_reception(loaded, report, SEED if shared.seed is None else shared.seed)

    def render(console: Console) -> None:
        from chain.outlet_report import mending

        mending.render(found, console)

    deliver(shared, render, found.to_dict, inputs, found)


def _seen(
    shared: Common,
    loaded: Installation,
    inputs: list[str],
    meter: str,
    rbw: str | None,
    draws: int | None,
    every: bool,
) -> SeenLevels:
    from chain.reception.seen import compare_seen, read_seen
    from chain.reception.trials import DRAWS
    from chain.results import SEED
    from chain.units import parse_quantity

    resolution = None if rbw is None else parse_quantity(rbw, "frequency")
    levels = read_seen(inputs[1], loaded)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = compare_seen(loaded, levels, meter, resolution, draws or DRAWS, seed, report)

    def render(console: Console) -> None:
        from chain.outlet_report import seen

        seen.render(found, console, every)

    deliver(shared, render, found.to_dict, inputs, found)
    return found
