"""`chain outlets`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import installation_files
from chain.cli.options import Common, common, enforce
from chain.cli.output import deliver, refuse_overwriting
from chain.cli.progress import progress

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["command"]


@click.command("outlets", short_help="What arrives at each outlet, with what margin?")
@click.argument("file", metavar="FILE", shell_complete=installation_files)
@click.option("--tree", is_flag=True, help="The installation as a tree, with level and margin at each point.")
@click.option("--all", "every", is_flag=True, help="Every outlet and channel, not the worst alone.")
@click.option("--assumed", is_flag=True, help="What was taken from the library and from defaults.")
@click.option(
    "--draws", type=click.IntRange(200, 100_000), help="Simulated installations for every interval; 4000 if left out."
)
@enforce
@common
def command(
    shared: Common, file: str, tree: bool, every: bool, assumed: bool, draws: int | None, enforce: bool
) -> None:
    """Say what arrives at each outlet of an installation: level, margin, how sure, and what limits it.

    \b
    Examples:
      chain outlets demo/outlets.toml
      chain outlets demo/outlets.toml --tree
    """
    refuse_overwriting(shared.output, shared.force, [file])
    from chain.reception.draws import DRAWS
    from chain.reception.installation_file import load_installation
    from chain.reception.outlets import outlets
    from chain.uncertainty.intervals import SEED

    loaded = load_installation(file)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = outlets(loaded, draws or DRAWS, seed, report)

    def render(console: Console) -> None:
        from chain.report import outlet_tree
        from chain.report import outlets as page

        page.render(found, console, every, assumed)
        if tree:
            console.print()
            outlet_tree.render(found, console)

    deliver(shared, render, found.to_dict, [file])
    if enforce and not found.works:
        raise click.exceptions.Exit(1)
