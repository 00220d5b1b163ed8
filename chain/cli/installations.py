"""An installation where a command takes set-ups too: distinguished by what the file holds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chain.reception.records import Installation
    from chain.setups import Setup

__all__ = ["either_in"]


def either_in(path: str) -> tuple[Setup | Installation, str]:
    """The set-up or installation that a file holds, and its text; standard input can be read only once.

    The unit of its limit becomes that of the answer.
    """
    from chain.files.toml import decode, read_file
    from chain.reception.installation_file import is_installation, parse_installation

    raw = read_file(path)
    name, folder = ("<stdin>", Path()) if path == "-" else (path, Path(path).parent)
    if is_installation(raw):
        return parse_installation(raw, name, folder), decode(raw, name)
    from chain.files.setup_file import parse_setup
    from chain.report.numbers import follow_limit

    found = parse_setup(raw, name, folder)
    follow_limit(found.far.limit_in_db)
    return found, decode(raw, name)
