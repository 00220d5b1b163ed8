"""`chain new`."""

from __future__ import annotations

import click

from chain.cli.options import Command, Common, common
from chain.cli.output import deliver_text
from chain.cli.writing import refuse_overwriting
from chain.results import SCHEMA_VERSION


@click.command("new", cls=Command)
@click.option(
    "--for",
    "purpose",
    metavar="BAND",
    multiple=True,
    help="uhf-tv, vhf-tv, low-tv, fm, dab, or '88 MHz to 108 MHz'; more than one: --for vhf-tv --for uhf-tv.",
)
@click.option("--region", metavar="NAME", help="Whose channels: europe, uk, us, japan and others.")
@click.option("--near", metavar="CONNECTOR", help="The analyzer's connector, such as N-50.")
@click.option("--far", metavar="CONNECTOR", help="The antenna's connector, such as F, IEC or 'BNC-75 plug'.")
@click.option(
    "--shows",
    metavar="[vswr|return loss|complex]",
    help="What the screen shows: VSWR alone, return loss alone, or the phase as well (complex).",
)
@click.option(
    "--analyzer", type=click.Choice(["handheld", "bench"]), help="Its class, for figures that are not stated."
)
@click.option("--limit", metavar="TEXT", help="What the antenna is judged by, such as 'VSWR 2.0' or 'RL 10 dB'.")
@click.option("--length", metavar="LENGTH", help="Length of the lead, such as '1 m'.")
@click.option(
    "--outlets",
    metavar="NUMBER",
    type=int,
    help="Write an installation with so many outlets in place of a set-up ('--for outlets': with two).",
)
@common
def command(shared: Common, outlets: int | None, purpose: tuple[str, ...], **reported: str | None) -> None:
    """Write a commented set-up file to start from, or one of an installation with its outlets. Nothing is asked.

    Options make the file fit your case: its parts fit together, and its channels are those of the region.

    \b
    Examples:
      chain new -o mine.toml
      chain new --for uhf-tv --region europe --near N-50 --far IEC --shows vswr \\
        -o mine.toml
      chain new --for "88 MHz to 108 MHz" --far "BNC-75 plug" > mine.toml
      chain new --outlets 3 --for uhf-tv --region europe --length "15 m" \\
        -o house.toml
    """
    refuse_overwriting(shared.output, shared.force)
    wished = {name: text for name, text in reported.items() if text is not None}
    if purpose:
        wished["purpose"] = " and ".join(purpose)
    if outlets is not None or wished.get("purpose", "").casefold().strip() in OUTLETS_WORDS:
        text = _installation(outlets, wished)
    elif wished:
        from chain.files.new_setup import Wish, new_setup_text

        text = new_setup_text(Wish(**wished))
    else:
        from chain.files.new_setup import starter_text

        text = starter_text()
    if shared.json:
        from chain.setup_report.schemas import json_text

        text = json_text(
            {"schema_version": SCHEMA_VERSION, "title": "starter", "warnings": [], "assumed": [], "text": text}
        )
    deliver_text(shared, text)


OUTLETS_WORDS = ("outlets", "outlet", "wall outlets", "installation")
"""What people write for an installation in place of a band."""
OF_A_MEASUREMENT = {"near": "analyzer", "shows": "analyzer", "analyzer": "analyzer", "limit": "measured antenna"}
"""Options that say nothing of an installation, in which nothing is measured, and what each is of."""


def _installation(outlets: int | None, wished: dict[str, str]) -> str:
    from chain.files.new_installation import LENGTH, USUAL_OUTLETS, new_installation_text
    from chain.files.new_setup import Wish

    idle = [name for name in OF_A_MEASUREMENT if name in wished]
    if idle:
        what = OF_A_MEASUREMENT[idle[0]]
        raise click.UsageError(f"--{idle[0]} is of the {what}, and a file of an installation has none: leave it out.")
    if wished.get("purpose", "").casefold().strip() in OUTLETS_WORDS:
        del wished["purpose"]
    wish = Wish(**{"length": LENGTH, **wished})
    return new_installation_text(wish, USUAL_OUTLETS if outlets is None else outlets)
