"""Readings, and any file of them: Touchstone, tables in any usual dialect."""

__all__ = [
    "columns",
    "marks",
    "options",
    "read",
    "readings",
    "text",
    "touchstone",
    "touchstone_lines",
    "values",
]
