"""`chain schema`."""

from __future__ import annotations

import json

import click

from chain.cli.options import Command, Common, common
from chain.cli.output import deliver_text
from chain.cli.writing import refuse_overwriting


@click.command("schema", cls=Command)
@click.argument("of", type=click.Choice(["setup", "need", "installation", "library", "record"]), default="setup")
@common
def command(shared: Common, of: str) -> None:
    """Print the JSON Schema of a file of set-ups, needs, installations or own parts, for editors.

    \b
    Examples:
      chain schema setup -o setup.schema.json
      chain schema need
      chain schema library
    """
    refuse_overwriting(shared.output, shared.force)
    if of == "setup":
        from chain.files.schema_export import setup_schema as schema
    elif of == "need":
        from chain.selection.need_schema import need_schema as schema
    elif of == "installation":
        from chain.reception.schema import installation_schema as schema
    elif of == "record":
        from chain.records.record_file import record_schema as schema
    else:
        from library.files.schema import library_schema as schema
    text = json.dumps(schema(), indent=2) + "\n"
    deliver_text(shared, text)
