"""`chain parts`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import part_files, part_names
from chain.cli.options import Command, Common, common
from chain.cli.output import deliver
from chain.cli.writing import Refusal, refuse_overwriting
from chain.results import SCHEMA_VERSION
from library.files.rows import PART_KINDS

if TYPE_CHECKING:
    from library.parts import Library

LIKE = 0.7
"""Likeness from which on another name may be meant."""
OF_RECEPTION = ("amplifier", "filter", "outlet", "block", "injector", "combiner", "receiver", "mode")


@click.command("parts", cls=Command)
@click.argument("words", nargs=-1, shell_complete=part_names)
@click.option(
    "--at", "at", multiple=True, metavar="FREQUENCY", help="Loss at this frequency, such as '200 MHz'; repeatable."
)
@click.option(
    "--length", metavar="LENGTH", help="Length of cable that losses are for, such as '25 m' (100 m if left out)."
)
@click.option(
    "--kind",
    type=click.Choice((*PART_KINDS, *OF_RECEPTION)),
    metavar="KIND",
    help=f"Only parts of this kind: {', '.join((*PART_KINDS, *OF_RECEPTION))}.",
)
@click.option(
    "--library",
    multiple=True,
    metavar="FILE",
    shell_complete=part_files,
    help="A file of parts of your own; repeatable.",
)
@click.option("--all", "every", is_flag=True, help="Show every part that fits, however many.")
@common
def command(
    shared: Common,
    words: tuple[str, ...],
    at: tuple[str, ...],
    length: str | None,
    kind: str | None,
    library: tuple[str, ...],
    every: bool,
) -> None:
    """List the parts that match all WORDS, or show one in full: figures, evidence, source and loss.

    A word matches the beginning of a word. Kinds and connectors come first; a long list is cut, and counted.

    \b
    Examples:
      chain parts --kind coax
      chain parts min-loss N-50
      chain parts wall outlet
      chain parts --kind amplifier
      chain parts rg59 --at "200 MHz" --at "600 MHz" --length "25 m"
    """
    refuse_overwriting(shared.output, shared.force, library)
    from chain.analyses.parts import browse
    from chain.units import parse_quantity
    from library.load import load_library

    if kind in OF_RECEPTION:
        _of_reception(shared, " ".join(words), kind, every)
        return
    at_hz = [parse_quantity(text, "frequency") for text in at]
    length_m = 100.0 if length is None else parse_quantity(length, "length")
    loaded = load_library(library)
    found = browse(loaded, " ".join(words), at_hz, length_m, kind)
    if not found.entries and not found.reception:
        raise Refusal(_nothing(loaded, " ".join(words), kind))

    def render(console: object) -> None:
        from chain.setup_report import parts

        parts.render(found, console, every)  # type: ignore[arg-type]

    deliver(shared, render, found.to_dict, library)


def _nothing(library: Library, words: str, kind: str | None) -> str:
    """What to say where nothing fits: names alike, fewer words, or the kinds there are."""
    from chain.analyses.parts import fewer_words
    from chain.errors import plain
    from library.errors import near_names
    from library.reception import ids

    names = (*library.ids(kind), *(() if kind else ids()))
    near = near_names(words, names, 3, LIKE)
    fewer, count = ("", 0) if kind else fewer_words(library, words)
    missing = f"no {kind or 'part'} fits '{plain(words)}'"
    if near:
        return f"{missing}; did you mean {' or '.join(map(repr, near))}?"
    if count:
        return f"{missing}; 'chain parts {plain(fewer)}' finds {count}"
    return f"{missing}; 'chain parts --kind {kind or 'pad'}' lists a whole kind ({', '.join((*PART_KINDS, *OF_RECEPTION))})"


def _of_reception(shared: Common, words: str, kind: str, every: bool) -> None:
    """Show amplifiers, in-line parts, receivers or modes."""
    from library.reception import rows_of

    rows = rows_of(words, kind)
    if not rows:
        raise Refusal(f"no {kind} fits '{words}'; 'chain parts --kind {kind}' lists them all")

    def render(console: object) -> None:
        from chain.setup_report.parts import render_rows

        render_rows(rows, console, every)  # type: ignore[arg-type]

    document = {"schema_version": SCHEMA_VERSION, "title": words, "warnings": [], "assumed": [], "parts": list(rows)}
    deliver(shared, render, lambda: document)
