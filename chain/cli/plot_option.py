"""The option `--plot`: a chart on the terminal after the text, or a picture in a file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chain.cli.completing import any_file
from chain.cli.options import Command, Common
from chain.cli.output import note
from chain.cli.writing import Refusal, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot

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
