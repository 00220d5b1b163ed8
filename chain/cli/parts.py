"""`chain parts`."""

from __future__ import annotations

import click

from chain.cli.completing import part_files, part_names
from chain.cli.options import Common, common
from chain.cli.output import Refusal, deliver, refuse_overwriting

__all__ = ["command"]

KINDS = ("pad", "adapter", "coax", "section", "transformer", "network", "splitter", "termination")
OF_RECEPTION = ("amplifier", "filter", "outlet", "block", "injector", "combiner", "receiver", "mode")


@click.command("parts")
@click.argument("words", nargs=-1, shell_complete=part_names)
@click.option(
    "--at", "at", multiple=True, metavar="FREQUENCY", help="Loss at this frequency, such as '200 MHz'; repeatable."
)
@click.option(
    "--length", metavar="LENGTH", help="Length of cable that losses are for, such as '25 m' (100 m if left out)."
)
@click.option("--kind", type=click.Choice((*KINDS, *OF_RECEPTION)), help="Only parts of this kind.")
@click.option(
    "--library",
    multiple=True,
    metavar="FILE",
    shell_complete=part_files,
    help="A file of parts of your own; repeatable.",
)
@common
def command(
    shared: Common,
    words: tuple[str, ...],
    at: tuple[str, ...],
    length: str | None,
    kind: str | None,
    library: tuple[str, ...],
) -> None:
    """List the parts that all WORDS fit, or show one in full: figures, evidence, source and loss.

    \b
    Examples:
      chain parts --kind coax
      chain parts min-loss N-50
      chain parts --kind amplifier
      chain parts rg59 --at "200 MHz" --at "600 MHz" --length "25 m"
    """
    refuse_overwriting(shared.output, shared.force, library)
    from chain.analyses.parts import browse
    from chain.units import parse_quantity
    from library.load import load_library

    if kind in OF_RECEPTION:
        _of_reception(shared, " ".join(words), kind)
        return
    at_hz = [parse_quantity(text, "frequency") for text in at]
    length_m = 100.0 if length is None else parse_quantity(length, "length")
    loaded = load_library(library)
    found = browse(loaded, " ".join(words), at_hz, length_m, kind)
    if not found.entries and kind is None and _of_reception(shared, " ".join(words), None):
        return
    if not found.entries:
        from library.errors import near_names

        near = near_names(" ".join(words), loaded.ids(kind))
        hint = f"; did you mean {' or '.join(near)}?" if near else "; use fewer words"
        raise Refusal(f"no part fits '{' '.join(words)}'{hint}")

    def render(console: object) -> None:
        from chain.report import parts

        parts.render(found, console)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, library)


def _of_reception(shared: Common, words: str, kind: str | None) -> bool:
    """Show amplifiers, in-line parts, receivers and modes; whether there were any."""
    from library.reception import rows_of

    rows = rows_of(words, kind)
    if not rows:
        if kind is None:
            return False
        raise Refusal(f"no {kind} fits '{words}'; use fewer words")

    def render(console: object) -> None:
        from chain.report import reception_parts

        reception_parts.render(rows, console)  # type: ignore[arg-type]

    document = {"schema_version": 1, "title": words, "warnings": [], "assumed": [], "parts": list(rows)}
    deliver(shared, render, lambda: document)
    return True
