"""Where results go: stdout or a file, as text, JSON, a table, a network or a chart; and how far a long computation has come."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

import click

from chain.cli.completing import any_file
from chain.cli.options import Command, Common
from chain.cli.terminal import terminal_columns
from chain.cli.writing import (
    Refusal,
    kind_of,
    refuse_overwriting,
    refuse_what_was_read,
    table_text,
    touchstone_text,
    write_whole,
)

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot
    from chain.results import ResultTable
    from chain.setup_report.tables import AnswerConsole

PLAIN_WIDTH = 80
SIGNS = str.maketrans(
    {
        "\u03a9": "ohm",
        "\u2126": "ohm",
        "\u2264": "<=",
        "\u2265": ">=",
        "\u00b1": "+/-",
        "\u00d7": "x",
        "\u2013": "-",
        "\u2212": "-",
        "\u2026": "...",
        "\u00b0": " deg ",
        "\u00b5": "u",
    }
)
"""How the signs of the trade are spelt where an encoding has none of them."""


def deliver(
    shared: Common,
    render: Callable[[Console], None],
    document: Callable[[], Mapping[str, object]],
    inputs: Sequence[str] = (),
    answer: ResultTable | None = None,
) -> None:
    """Write a result to stdout or to the file that was named, whose ending may ask for the table or network of `answer`."""
    to_file, kind = shared.output not in (None, "-"), kind_of(shared.output)
    if shared.json:
        from chain.setup_report.schemas import json_text

        text = json_text(document())
    elif kind in ("csv", "touchstone"):
        if answer is None:
            raise Refusal(f"{shared.output}: this answer has no table to write; name it .txt or .json")
        text = table_text(answer) if kind == "csv" else touchstone_text(answer, str(shared.output))
    else:
        page = TextPage(None if to_file else sys.stdout)
        render(asked_console(page, shared))
        text = page.text()
    deliver_text(shared, text, inputs)


def deliver_text(shared: Common, text: str, inputs: Sequence[str] = ()) -> None:
    """Write a text to stdout, where signs that its encoding lacks are spelt out, or to the file that was named."""
    if shared.output not in (None, "-"):
        write_whole(str(shared.output), text, shared.force, inputs)
        note(shared, f"written: {shared.output}")
    else:
        _write(sys.stdout, text)


def deliver_page(shared: Common, text: str, inputs: Sequence[str] = ()) -> None:
    """Write an HTML document to stdout or to the file that was named."""
    if shared.output in (None, "-"):
        encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
        text = text.encode(encoding, "xmlcharrefreplace").decode(encoding)
    deliver_text(shared, text, inputs)


class TextPage(StringIO):
    """Text kept in memory that takes the encoding and the terminal of the stream it is meant for."""

    def __init__(self, model: TextIO | None = None) -> None:
        super().__init__()
        self._encoding = getattr(model, "encoding", None) or "utf-8"
        self._terminal = model is not None and model.isatty()

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """Encoding of the stream that the page is meant for."""
        return self._encoding

    def isatty(self) -> bool:
        """Whether the page is meant for a terminal."""
        return self._terminal

    def text(self) -> str:
        """Give what was written, without blanks at the ends of lines and with one empty line where there were several."""
        lines = [line.rstrip() for line in self.getvalue().splitlines()]
        return "".join(f"{line}\n" for before, line in pairwise(["", *lines]) if line or before)


def _write(stream: TextIO, text: str) -> None:
    encoding = stream.encoding or "utf-8"
    if not encoding.lower().startswith("utf"):
        text = text.translate(SIGNS).encode(encoding, errors="replace").decode(encoding)
    stream.write(text)


def asked_console(stream: TextIO, shared: Common) -> AnswerConsole:
    """Console on a stream that shows what the user asked to see."""
    from chain.setup_report.tables import Detail

    console = console_for(stream, shared.color)
    console.detail = Detail(
        shared.assumed or shared.verbose, shared.method or shared.verbose, shared.quiet and shared.output in (None, "-")
    )
    return console


def console_for(stream: TextIO, color: str) -> AnswerConsole:
    """Console on a stream: as wide as the terminal, or 80 columns (or `COLUMNS`) where there is none."""
    from chain.setup_report.tables import AnswerConsole

    terminal = stream.isatty()
    width = int(os.environ.get("COLUMNS", 0)) or (None if terminal else PLAIN_WIDTH)
    wanted = {"always": True, "never": False, "auto": terminal}[color]
    return AnswerConsole(
        file=stream,
        width=width,
        force_terminal=wanted or terminal,
        no_color=True if color == "never" else None,
        color_system="auto" if wanted else None,
        markup=False,
        emoji=False,
        highlight=False,
        legacy_windows=False,
    )


def note(shared: Common, text: str) -> None:
    """Report something on stderr, unless `--quiet` was given."""
    if not shared.quiet:
        from chain.errors import plain

        click.echo(plain(text), err=True)


PATIENCE_S = 1.0
STDERR = 2
CELLS = 30


def bar(share: float, columns: int) -> str:
    """A bar of plain characters, shorter on a narrow terminal."""
    words = f"simulating {share:4.0%}"
    cells = min(CELLS, columns - len(words) - 4)
    if cells < 5:
        return words
    full = int(cells * min(max(share, 0.0), 1.0))
    return f"simulating [{'#' * full}{'.' * (cells - full)}] {share:4.0%}"


@contextmanager
def progress(shared: Common) -> Iterator[Callable[[float], None]]:
    """Give a function that shows the finished share on stderr, after the first second and only to a person."""
    refuse_what_was_read()
    begun = time.monotonic()
    watched = not shared.quiet and sys.stderr.isatty()
    shown = False
    width = terminal_columns(STDERR) if watched else 0

    def report(share: float) -> None:
        nonlocal shown
        if watched and time.monotonic() - begun > PATIENCE_S:
            shown = True
            sys.stderr.write(f"\r{bar(share, width)}")
            sys.stderr.flush()

    try:
        yield report
    finally:
        if shown:
            sys.stderr.write("\r" + " " * len(bar(0.0, width)) + "\r")
            sys.stderr.flush()


Function = TypeVar("Function", bound=Callable[..., Any])

SUFFIXES = (".png", ".svg")
INPUTS = (".toml", ".s1p", ".s2p", ".ts", ".csv", ".tsv", ".txt", ".dat")
"""Suffixes of what a command reads: such a word after a bare `--plot` is its argument, not the picture's name."""
TERMINAL = ""


class PlotCommand(Command):
    """A command whose `--plot` may stand alone."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Give a bare `--plot` its meaning before the options are distinguished."""
        end = args.index("--") if "--" in args else len(args)
        reported = [
            f"--plot={TERMINAL}"
            if word == "--plot" and number < end and not _names_picture(args[number + 1 : end])
            else word
            for number, word in enumerate(args)
        ]
        return super().parse_args(ctx, reported)


def _names_picture(following: Sequence[str]) -> bool:
    if not following or following[0].startswith("-"):
        return False
    return Path(following[0]).suffix.lower() not in INPUTS


def plot_option(function: Function) -> Function:
    """Add `--plot [FILE]` to a command of the class `PlotCommand`."""
    return click.option(
        "--plot",
        metavar="[FILE]",
        shell_complete=any_file,
        help="Draw it: on the terminal after the text, or to FILE (.png or .svg).",
    )(function)


def check_plot(shared: Common, plot: str | None, inputs: Sequence[str] = ()) -> None:
    """Refuse at once, before anything is computed, a plot that could not be drawn."""
    if plot is None:
        return
    if plot == TERMINAL:
        if shared.json:
            raise Refusal("--json leaves no place for a chart; draw it to a file: --plot FILE.svg")
        return
    if Path(plot).suffix.lower() not in SUFFIXES:
        stem = str(Path(plot).with_suffix("")) if Path(plot).name.strip(".") else "plot"
        raise Refusal(f"{plot}: a plot is drawn as .png or .svg; name it {stem}.png or {stem}.svg")
    refuse_overwriting(plot, shared.force, inputs)
    from chain.plots.picture import needs_matplotlib

    needs_matplotlib()


def draw_after(plot: str | None, describe: Callable[[], Sequence[Plot]], console: Console) -> None:
    """Draw on the terminal, after the text, if a bare `--plot` was given."""
    if plot != TERMINAL:
        return
    from chain.plots.terminal import draw

    for each in describe():
        console.print()
        draw(each, console)


def write_plot(
    shared: Common,
    plot: str | None,
    describe: Callable[[], Sequence[Plot]],
    title: str,
    inputs: Sequence[str] = (),
) -> None:
    """Draw to a file, whole or not at all, if `--plot FILE` was given."""
    if plot is None or plot == TERMINAL:
        return
    from chain.plots.picture import picture

    made = picture(describe(), Path(plot).suffix.lower()[1:], title)
    write_whole(plot, made, shared.force, inputs)
    note(shared, f"written: {plot}")
