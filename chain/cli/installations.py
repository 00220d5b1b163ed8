"""An installation where a command takes set-ups too: told apart by what the file holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chain.reception.records import Installation

__all__ = ["installation_in"]


def installation_in(path: str) -> Installation | None:
    """The installation that a file holds; None where it is a set-up, or standard input."""
    if path == "-":
        return None
    from chain.errors import InputError
    from chain.files.toml import read_file

    try:
        raw = read_file(path)
    except InputError:
        # What is wrong with the file is said by the reader of set-ups.
        return None
    from chain.reception.installation_file import is_installation, load_installation

    return load_installation(path) if is_installation(raw) else None
