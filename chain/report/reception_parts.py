"""Parts, receivers and modes of reception, each with its figures, evidence and source."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Console

from chain.report.tables import Column, say, show_table, title

__all__ = ["render"]

APART = ("id", "name", "kind", "evidence", "source", "note")


MOST = 14
"""Rows of a list that are shown unless all are asked for."""


def render(result: Sequence[dict[str, Any]], console: Console, every: bool = False) -> None:
    """Print the rows as a list, or one in full."""
    if len(result) == 1:
        row = result[0]
        title(console, f"{row['id']}: {row['name']}")
        figures = [[key.replace("_", " "), _text(value)] for key, value in row.items() if key not in APART]
        figures.append(["evidence", f"{row['evidence']}: {row['source']}"])
        figures += [["note", row["note"]]] if row.get("note") else []
        show_table(console, [Column(row["kind"], False), Column("", False, wraps=True)], figures)
        return
    shown = result if every else result[:MOST]
    columns = [Column("part", False), Column("kind", False), Column("what it is", False, wraps=True)]
    show_table(
        console, [*columns, Column("evidence", False)], [[r["id"], r["kind"], r["name"], r["evidence"]] for r in shown]
    )
    console.print()
    more = "" if len(shown) == len(result) else f"{len(shown)} of {len(result)} that fit; --all shows every one. "
    say(console, f"{more or f'{len(result)} of reception. '}'chain parts ID' shows one in full.")


def _text(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key.replace('_', ' ')} {_text(each)}" for key, each in value.items())
    if isinstance(value, list):
        return "; ".join(" ".join(f"{each:g}" for each in row) if isinstance(row, list) else str(row) for row in value)
    return str(value)
