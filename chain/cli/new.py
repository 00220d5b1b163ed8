"""`chain new`."""

from __future__ import annotations

import click

from chain.cli.options import Common, common
from chain.cli.output import deliver_text, refuse_overwriting

__all__ = ["command"]


@click.command("new")
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
    deliver_text(shared, text)
