"""`chain card`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import sweep_files
from chain.cli.loading import either_in, read_repeats, refuse_twice
from chain.cli.options import Command, Common, common, setup_argument, sweep_options
from chain.cli.output import deliver, deliver_page, progress
from chain.cli.writing import refuse_overwriting

if TYPE_CHECKING:
    from chain.reception.records import Installation
    from chain.sweeps.options import SweepOptions

PAGES = (".html", ".htm", ".xhtml")
EXPECT_SHARE = 0.5
"""Share of the progress that the readings to expect take, where a sweep follows."""


@click.command("card", cls=Command)
@setup_argument
@click.argument("files", metavar="[SWEEP]...", nargs=-1, shell_complete=sweep_files)
@sweep_options
@common
def command(shared: Common, setup: str, files: tuple[str, ...], sweep: SweepOptions) -> None:
    """Print the card for the bench: cautions, wiring with genders, what known terminations read, ohms, and lines to fill in.

    With a sweep the lines are filled in: what was read, the true match with its interval, and the verdict, channel by channel or at the
    worst places. Several sweeps of one state are averaged, as in 'chain recover'. A file named by -o that ends in .html gets a
    page for the printer (one A4 sheet), any other the text.

    \b
    Examples:
      chain card demo/boathouse.toml
      chain card demo/boathouse.toml -o card.html
      chain card demo/boathouse.toml demo/boathouse.s1p -o measured-card.html
    """
    inputs = [setup, *files]
    refuse_overwriting(shared.output, shared.force, inputs)
    refuse_twice(files)
    from chain.analyses.bench_card import card
    from chain.reception.records import Installation
    from chain.results import SEED
    from chain.sweeps.options import DEFAULTS

    loaded, _ = either_in(setup)
    if isinstance(loaded, Installation):
        if files:
            raise click.UsageError("An installation has no sweep of its own: name it as match under [antenna].")
        _installers(shared, loaded, setup)
        return
    if not files and sweep != DEFAULTS:
        raise click.UsageError("The options from --column on are about a sweep: name its file after the set-up.")
    readings = read_repeats(loaded, files, sweep) if files else None
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        recovery, share = None, 0.0
        if readings is not None:
            from chain.analyses.recover import recover

            share = 1 - EXPECT_SHARE
            recovery = recover(loaded, readings, seed=seed, progress=lambda done: report(done * share))
        found = card(loaded, seed=seed, progress=lambda done: report(share + done * (1 - share)), recovery=recovery)

    if not shared.json and shared.output and shared.output.lower().endswith(PAGES):
        from chain.html.page import card_html

        deliver_page(shared, card_html(found), inputs)
        return

    def render(console: object) -> None:
        from chain.setup_report import card as text

        text.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, inputs, found)


def _installers(shared: Common, house: Installation, path: str) -> None:
    """The installer's card of an installation."""
    from chain.reception.installer_card import installer_card
    from chain.results import SEED

    with progress(shared) as report:
        found = installer_card(house, seed=SEED if shared.seed is None else shared.seed, progress=report)
    if not shared.json and shared.output and shared.output.lower().endswith(PAGES):
        from chain.html.installation import installer_card_html

        deliver_page(shared, installer_card_html(found), [path])
        return

    def render(console: object) -> None:
        from chain.outlet_report import installation

        installation.render_card(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, [path])
