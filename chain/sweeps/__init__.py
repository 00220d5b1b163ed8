"""Readings, and any file of them: Touchstone, tables in any usual dialect."""

__all__ = [
    "columns",
    "marks",
    "options",
    "read",
    "reading_words",
    "readings",
    "text",
    "touchstone",
    "touchstone_lines",
    "values",
]
