"""Errors in the words of a Python call: arguments in place of the options of the command line."""

from __future__ import annotations

import re
from dataclasses import replace

from chain.errors import ChainError, InputError

NAMES = {
    "frequency-unit": "SweepOptions(frequency_unit=...)",
    "quantity": "SweepOptions(quantity=...)",
    "decimal": "SweepOptions(decimal=...)",
    "impedance": "SweepOptions(impedance_ohm=...)",
    "block": "SweepOptions(block=...)",
    "column": "SweepOptions(columns=...)",
    "at": "at_hz",
}
"""Options whose argument has another name."""
COLUMN = re.compile(r"--column (\d+|'[^']*'|S\d+(?:,\d+)?)(?: --column (\d+))?")
OPTION = re.compile(r"(?<![\w-])--([a-z][a-z0-9]*(?:-[a-z0-9]+)*)")


def in_python(error: ChainError) -> ChainError:
    """The error itself, options of the command line called by what a caller writes."""
    if isinstance(error, InputError):
        error.defects = tuple(
            replace(each, message=_worded(each.message), help=_worded(each.help)) for each in error.defects
        )
    else:
        error.message, error.help = _worded(error.message), _worded(error.help)
        error.args = (error.message, error.help)
    return error


def _worded(text: str) -> str:
    """One text.

    >>> _worded("name one: --column 2 or --column 3"), _worded("--open: no reading"), _worded("give --quantity")
    ('name one: columns=(2,) or columns=(3,)', 'open: no reading', 'give SweepOptions(quantity=...)')
    """
    if "--" not in text:
        return text
    named = COLUMN.sub(lambda hit: f"columns=({hit[1]}, {hit[2]})" if hit[2] else f"columns=({hit[1]},)", text)
    return OPTION.sub(lambda hit: NAMES.get(hit[1], hit[1].replace("-", "_")), named)
