"""The option `--plot`: a chart on the terminal after the text, or a picture in a file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from chain.cli.completing import any_file
from chain.cli.options import Common
from chain.cli.output import Refusal, note, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot

__all__ = ["PlotCommand", "check_plot", "draw_after", "plot_option", "write_plot"]

Function = TypeVar("Function", bound=Callable[..., Any])

SUFFIXES = (".png", ".svg")
INPUTS = (".toml", ".s1p", ".s2p", ".ts", ".csv", ".tsv", ".txt", ".dat")
"""Suffixes of what a command reads: such a word after a bare `--plot` is its argument, not the picture's name."""
TERMINAL = ""


class PlotCommand(click.Command):
    """A command whose `--plot` may stand alone."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Give a bare `--plot` its meaning before the options are told apart."""
        end = args.index("--") if "--" in args else len(args)
        told = [
            f"--plot={TERMINAL}"
            if word == "--plot" and number < end and not _names_picture(args[number + 1 : end])
            else word
            for number, word in enumerate(args)
        ]
        return super().parse_args(ctx, told)


def _names_picture(following: Sequence[str]) -> bool:
    if not following or following[0].startswith("-"):
        return False
    return Path(following[0]).suffix.lower() not in INPUTS


def plot_option(function: Function) -> Function:
    """Add `--plot [FILE]` to a command of the class `PlotCommand`.

    Parameters
    ----------
    function : callback of a command with a parameter `plot`: None, empty for the terminal, or a path.

    Returns
    -------
    the callback with the option attached.

    Examples
    --------
    >>> @click.command(cls=PlotCommand)
    ... @click.argument("setup")
    ... @plot_option
    ... def show(setup: str, plot: str | None) -> None:
    ...     click.echo(f"{setup} {plot!r}")
    >>> show(["--plot", "a.toml"], standalone_mode=False)
    a.toml ''
    >>> show(["a.toml", "--plot", "a.svg"], standalone_mode=False)
    a.toml 'a.svg'

    Source
    ------
    Own convention.
    """
    return click.option(
        "--plot",
        metavar="[FILE]",
        shell_complete=any_file,
        help="Draw it: on the terminal after the text, or to FILE (.png or .svg).",
    )(function)


def check_plot(shared: Common, plot: str | None, inputs: Sequence[str] = (), others: Sequence[str | None] = ()) -> None:
    """Refuse at once, before anything is computed, a plot that could not be drawn.

    Parameters
    ----------
    shared : the shared options.
    plot : value of `--plot`.
    inputs : files that are read.
    others : other files that the command writes.

    Raises
    ------
    Refusal : a chart on the terminal beside JSON, another suffix, a file in the way, or one file for two things.
    ChainError : matplotlib is not installed.

    Examples
    --------
    >>> check_plot(Common(False, False, "auto", None, None, False, False), "a.pdf")
    Traceback (most recent call last):
    chain.cli.output.Refusal: a.pdf: a plot is drawn as .png or .svg; name it a.png or a.svg

    Source
    ------
    Own convention.
    """
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
    taken = [each for each in (shared.output, *others) if each not in (None, "-")]
    if any(Path(str(each)).absolute() == Path(plot).absolute() for each in taken):
        raise Refusal(f"{plot} is named twice; give the plot a file of its own")
    from chain.plots.picture import needs_matplotlib

    needs_matplotlib()


def draw_after(plot: str | None, describe: Callable[[], Sequence[Plot]], console: Console) -> None:
    """Draw on the terminal, after the text, if a bare `--plot` was given.

    Parameters
    ----------
    plot : value of `--plot`.
    describe : gives the plots.
    console : where the text was printed.

    Examples
    --------
    >>> draw_after(None, tuple, None)

    Source
    ------
    Own convention.
    """
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
    """Draw to a file, whole or not at all, if `--plot FILE` was given.

    Parameters
    ----------
    shared : the shared options.
    plot : value of `--plot`.
    describe : gives the plots.
    title : title of the set-up.
    inputs : files that are read and must stay.

    Raises
    ------
    Refusal : the file may not or cannot be written.

    Examples
    --------
    >>> write_plot(Common(False, False, "auto", None, None, False, False), None, tuple, "")

    Source
    ------
    Own convention.
    """
    if plot is None or plot == TERMINAL:
        return
    from chain.plots.picture import picture

    made = picture(describe(), Path(plot).suffix.lower()[1:], title)
    write_whole(plot, made, shared.force, inputs)
    note(shared, f"written: {plot}")
