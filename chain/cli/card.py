"""`chain card`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.options import Common, common, setup_argument
from chain.cli.output import deliver, deliver_page, refuse_overwriting
from chain.cli.progress import progress

if TYPE_CHECKING:
    from chain.reception.records import Installation

__all__ = ["command"]

PAGES = (".html", ".htm", ".xhtml")


@click.command("card")
@setup_argument
@common
def command(shared: Common, setup: str) -> None:
    """Print the card for the bench: cautions, wiring with genders, what known ends read, ohms, and lines to fill in.

    A file named by -o that ends in .html gets a page for the printer (one A4 sheet), any other the text.

    \b
    Examples:
      chain card demo/boathouse.toml
      chain card demo/boathouse.toml -o card.html
    """
    refuse_overwriting(shared.output, shared.force, [setup])
    from chain.analyses.bench_card import card
    from chain.cli.installations import either_in
    from chain.reception.records import Installation
    from chain.uncertainty.intervals import SEED

    loaded, _ = either_in(setup)
    if isinstance(loaded, Installation):
        _installers(shared, loaded, setup)
        return
    with progress(shared) as report:
        found = card(loaded, seed=SEED if shared.seed is None else shared.seed, progress=report)

    if not shared.json and shared.output and shared.output.lower().endswith(PAGES):
        from chain.html.page import card_html

        deliver_page(shared, card_html(found), [setup])
        return

    def render(console: object) -> None:
        from chain.report import card as text

        text.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, [setup], found)


def _installers(shared: Common, house: Installation, path: str) -> None:
    """The installer's card of an installation."""
    from chain.reception.installer_card import installer_card
    from chain.uncertainty.intervals import SEED

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
