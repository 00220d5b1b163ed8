"""The look that all reports share: tables that shrink to paragraphs, text that cannot steer a terminal, notes at the end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.box import Box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from chain.errors import plain
from chain.setup_report.phrases import LONGEST, line_of
from library.frozen import dataclass

LINES = Box("    \n    \n ── \n    \n ── \n ── \n    \n    \n")
ASCII_LINES = Box("    \n    \n -- \n    \n -- \n -- \n    \n    \n", ascii=True)
GAP = 2
NARROWEST = 18
"""Least width of a column whose text may wrap."""
WARNING_LINES = 5
"""Lines that warnings take before the others are only counted."""


@dataclass(frozen=True)
class Detail:
    """What an answer shows besides its verdict and its table: every assumption, and how it was computed."""

    assumed: bool = False
    method: bool = False
    only_answer: bool = False


class AnswerConsole(Console):
    """A console that knows how much of an answer was asked for."""

    detail: Detail = Detail()


def detail_of(console: Console) -> Detail:
    """How much was asked for; everything on a console that does not say."""
    return console.detail if isinstance(console, AnswerConsole) else Detail(True, True)


@dataclass(frozen=True)
class Column:
    """One column: its header, and whether its cells are figures (to the right) or text that may wrap."""

    header: str
    numeric: bool = True
    wraps: bool = False


def safe(text: object, style: str = "") -> Text:
    """Text that is shown as it is: no markup, no control characters."""
    if isinstance(text, Text):
        return text
    return Text("\n".join(plain(line) for line in str(text).split("\n")), style=style)


def say(console: Console, *parts: object, style: str = "", indent: int = 0) -> None:
    """Print a paragraph, wrapped at words."""
    text = Text("", style=style)
    for part in parts:
        text.append_text(safe(part))
    lines = text.wrap(console, max(console.width - indent, 10))
    for number, line in enumerate(lines):
        line.rstrip()
        console.print(Text(" " * indent) + line if number and indent else line, soft_wrap=True)


def title(console: Console, text: str) -> None:
    """Print the title of a result."""
    if text:
        say(console, text, style="bold")
        console.print()


def show_table(
    console: Console, columns: Sequence[Column], rows: Sequence[Sequence[object]], ruled: Iterable[int] = ()
) -> None:
    """Print rows as a table, or each as a paragraph where the console is too narrow for one."""
    cells = [[safe(cell) for cell in row] for row in rows]
    if _least(columns, cells) > console.width:
        _paragraphs(console, columns, cells)
        return
    table = Table(
        box=ASCII_LINES if console.options.ascii_only else LINES,
        show_edge=False,
        pad_edge=False,
        padding=(0, GAP - 1, 0, 0),
        header_style="bold",
    )
    lines = max(column.header.count("\n") for column in columns)
    for number, column in enumerate(columns):
        table.add_column(
            safe("\n" * (lines - column.header.count("\n")) + column.header),
            justify="right" if column.numeric else "left",
            no_wrap=not column.wraps,
            min_width=min(NARROWEST, _widest(column, cells, number)) if column.wraps else None,
            overflow="fold",
        )
    for number, row in enumerate(cells):
        table.add_row(*row, end_section=number in ruled)
    console.print(table)


def _widest(column: Column, cells: Sequence[Sequence[Text]], number: int) -> int:
    texts = [column.header, *(row[number].plain for row in cells)]
    return max(cell_len(line) for text in texts for line in text.split("\n"))


def _least(columns: Sequence[Column], cells: Sequence[Sequence[Text]]) -> int:
    widths = []
    for number, column in enumerate(columns):
        widest = _widest(column, cells, number)
        widths.append(min(NARROWEST, widest) if column.wraps else widest)
    return sum(widths) + GAP * (len(columns) - 1)


def _paragraphs(console: Console, columns: Sequence[Column], cells: Sequence[Sequence[Text]]) -> None:
    """Each row as its name and one line of figures, with a line more for every text."""
    for row in cells:
        say(console, row[0], style="bold")
        values = [(column, cell) for column, cell in zip(columns[1:], row[1:], strict=True) if cell.plain]
        short = ", ".join(f"{_label(column)} {cell.plain}" for column, cell in values if not column.wraps)
        if short:
            say(console, f"  {short}", indent=GAP)
        for column, cell in values:
            if column.wraps:
                say(console, "  ", cell, indent=GAP)


def _label(column: Column) -> str:
    return " ".join(column.header.split("\n"))


def answer(console: Console, lines: Iterable[object], warnings: Sequence[str] = (), style: str = "") -> None:
    """Print what an answer opens with: verdict in its style, what it rests on, the next step; then what to beware of.

    Where no more was asked for, nothing else of the answer is printed.
    """
    for number, line in enumerate(lines):
        if line:
            say(console, safe(line, "" if number else style))
    detail = detail_of(console)
    whole, room = detail.assumed and detail.method, WARNING_LINES
    for number, text in enumerate(warnings):
        # What must not be connected is reported in full by the check; here it takes a line.
        reported = line_of("", text, LONGEST - len("warning: ")) if text.startswith("stop") and not whole else text
        room -= 1 + (len(reported) + len("warning: ")) // max(console.width, 1)
        if number and room < 0 and not whole:
            say(console, f"{len(warnings) - number} more warnings: -v shows them.")
            break
        say(console, safe("warning: ", "yellow"), reported, indent=GAP)
    if detail.only_answer:
        console.quiet = True
    console.print()


def notes(
    console: Console,
    assumed: Sequence[str] = (),
    method: Sequence[str] = (),
    whole: bool = False,
    more: str = "",
) -> None:
    """Close an answer: how it was computed and what was assumed, where asked for (or `whole`), else one line that counts them.

    `more` names what another option shows.
    """
    asked = Detail(True, True) if whole else detail_of(console)
    if asked.method and method:
        console.print()
        for text in method:
            say(console, text)
    if asked.assumed and assumed:
        console.print()
        say(console, "Assumed (state them in the file to replace them):", style="dim")
        for text in assumed:
            say(console, "  ", text, style="dim", indent=2 * GAP)
    hidden = []
    if assumed and not asked.assumed:
        hidden.append(f"{len(assumed)} assumption{'s' if len(assumed) > 1 else ''} (--assumed)")
    if method and not asked.method:
        hidden.append("method and seed (--method)")
    if more:
        hidden.append(more)
    if hidden:
        console.print()
        say(console, f"Not shown: {', '.join(hidden)}.", style="dim")
