"""`chain check`."""

from __future__ import annotations

import click

from chain.cli.options import Command, Common, common, setup_argument
from chain.cli.output import deliver
from chain.cli.writing import refuse_overwriting


@click.command("check", cls=Command)
@setup_argument
@click.option("--no-fail", is_flag=True, help="Exit with 0 even if it does not fit or must not be connected.")
@click.option(
    "--enforce", is_flag=True, expose_value=False, help="Taken for scripts; without it the exit status is the same."
)
@common
def command(shared: Common, setup: str, no_fail: bool) -> None:
    """Check that every joint fits, and warn of DC, power and parts the wrong way round.

    Exit status 1 if something does not fit or must not be connected.

    \b
    Examples:
      chain check demo/boathouse.toml
      chain check demo/boathouse.toml > fits.txt && echo fits
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    from chain.cli.loading import either_in
    from chain.reception.records import Installation

    loaded, _ = either_in(setup)
    if isinstance(loaded, Installation):
        from chain.reception.checks import check_installation

        checked = check_installation(loaded)

        def show(console: object) -> None:
            from chain.outlet_report import installation

            installation.render(checked, console)  # type: ignore[arg-type]

        deliver(shared, show, checked.to_dict, [setup])
        if not (no_fail or checked.sound):
            raise click.exceptions.Exit(1)
        return
    from chain.analyses.checks import check

    found = check(loaded)

    def render(console: object) -> None:
        from chain.setup_report import check as report

        report.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, [setup], found)
    if not (no_fail or found.sound):
        raise click.exceptions.Exit(1)
