"""`chain new`."""

from __future__ import annotations

import sys

import click

from chain.cli.options import Common, common
from chain.cli.output import note, refuse_overwriting, write_whole

__all__ = ["command"]


@click.command("new", short_help="Write a commented starter set-up.")
@common
def command(shared: Common) -> None:
    """Write a commented set-up file to start from. Nothing is asked.

    \b
    Examples:
      chain new -o mine.toml
      chain new > mine.toml
    """
    refuse_overwriting(shared.output, shared.force)
    from chain.files.starter import starter_text

    text = starter_text()
    if shared.json:
        from chain.report.schemas import json_text

        text = json_text({"schema_version": 1, "title": "starter", "warnings": [], "assumed": [], "text": text})
    if shared.output in (None, "-"):
        sys.stdout.write(text)
        return
    write_whole(str(shared.output), text, shared.force)
    note(shared, f"written: {shared.output}")
