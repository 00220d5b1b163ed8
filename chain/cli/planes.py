"""`chain planes`."""

from __future__ import annotations

import click

from chain.cli.options import Common, common, setup_argument
from chain.cli.output import deliver, refuse_overwriting
from chain.cli.progress import progress

__all__ = ["command"]


@click.command("planes", short_help="Where is it best to calibrate?")
@setup_argument
@click.option("--true", "true", default="VSWR 1.5", metavar="VSWR", help="True value to compare at, beside the limit.")
@common
def command(shared: Common, setup: str, true: str) -> None:
    """Compare the set-up calibrated at each possible plane, and without a pad, at the top of its sweep.

    \b
    Examples:
      chain planes demo/boathouse.toml
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    from chain.intervals import SEED
    from chain.planes import compare
    from chain.setupfile import load_setup
    from chain.units import parse_quantity

    wanted = parse_quantity(true, "vswr")
    loaded = load_setup(setup)
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = compare(loaded, wanted, seed=seed, progress=report)

    def render(console: object) -> None:
        from chain.report import planes

        planes.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, [setup])
