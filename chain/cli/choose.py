"""`chain choose`."""

from __future__ import annotations

from typing import Any

import click

from chain.cli.completing import need_files, setup_files
from chain.cli.loading import load_heeded
from chain.cli.options import Command, Common, common, enforce
from chain.cli.output import deliver, progress
from chain.cli.writing import refuse_overwriting

RANKS = ("interval", "cost", "loss", "reflection", "joints")


@click.command("choose", cls=Command)
@click.argument("need", metavar="[NEED]", required=False, shell_complete=need_files)
@click.option("--rank", type=click.Choice(RANKS), default="interval", help="What the chains are sorted by.")
@click.option("--items", "every_item", is_flag=True, help="Show each chain part by part: what to buy, how it joins.")
@click.option("--why", type=int, nargs=2, metavar="A B", help="Compare two chains of the answer, item by item.")
@click.option(
    "--improve",
    metavar="SETUP",
    shell_complete=setup_files,
    help="Weigh every single change of a set-up instead; prices from NEED.",
)
@enforce
@common
def command(
    shared: Common,
    need: str | None,
    rank: str,
    every_item: bool,
    why: tuple[int, int] | None,
    improve: str | None,
    enforce: bool,
) -> None:
    """Find the chains that can be built from what you own and what is on offer, and how exactly each shows the antenna.

    \b
    Examples:
      chain choose demo/need.toml
      chain choose demo/need.toml --rank cost --why 1 2
      chain choose --improve demo/boathouse.toml demo/need.toml
    """
    inputs = [name for name in (need, improve) if name]
    if not inputs:
        raise click.UsageError("Name a need file (chain choose demo/need.toml), or give --improve SETUP.")
    if improve and why:
        raise click.UsageError("--why compares chains of a need file; it does not go with --improve.")
    refuse_overwriting(shared.output, shared.force, inputs)
    from chain.results import SEED
    from chain.selection.need_file import load_need

    loaded = load_need(need) if need else None
    if loaded is not None:
        from chain.setup_report.numbers import follow_limit

        follow_limit(loaded.far.limit_in_db)
    seed = SEED if shared.seed is None else shared.seed
    if improve:
        _weigh(shared, improve, loaded, seed, inputs)
        return
    from chain.selection.choose import choose

    assert loaded is not None, "one of the two is named"
    with progress(shared) as report:
        found = choose(loaded, rank, seed, progress=report)
    result: Any = found
    if why:
        from chain.selection.comparison import comparison

        result = comparison(found, *why)

    def render(console: object) -> None:
        from chain.setup_report import choose as pages

        if why:
            pages.render_comparison(result, console)  # type: ignore[arg-type]
        else:
            pages.render(result, console, every_item)  # type: ignore[arg-type]

    deliver(shared, render, result.to_dict, inputs, result)
    if enforce and not found.chains:
        raise click.exceptions.Exit(1)


def _weigh(shared: Common, path: str, need: Any, seed: int, inputs: list[str]) -> None:
    from chain.selection.improve import improve

    setup = load_heeded(shared, path)
    with progress(shared) as report:
        found = improve(setup, need, seed, progress=report)

    def render(console: object) -> None:
        from chain.setup_report.choose import render_changes

        render_changes(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, inputs, found)
