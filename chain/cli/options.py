"""Options that every command takes, those that settle what a sweep file leaves open, and shared arguments."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from functools import wraps
from typing import Any, TypeVar

import click

from chain.cli.completing import any_file, setup_files
from chain.cli.writing import check_ending, kind_of
from chain.results import LEAST_DRAWS, MOST_DRAWS
from chain.sweeps.options import FREQUENCY_UNITS, QUANTITIES, SweepOptions
from library.frozen import dataclass

Function = TypeVar("Function", bound=Callable[..., Any])


class Command(click.Command):
    """A command whose help lists its own options first, then those of sweep files and those that every command takes."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options in their sections."""
        sections: dict[str, list[tuple[str, str]]] = {
            "Options": [],
            "If a sweep file leaves it open": [],
            "As in every command": [],
        }
        shared = {field.name for field in fields(Common)}
        for param in self.get_params(ctx):
            record = param.get_help_record(ctx) if isinstance(param, click.Option) else None
            if record is not None:
                title = "As in every command" if param.name in shared or "--help" in param.opts else "Options"
                sections["If a sweep file leaves it open" if param.name in OF_SWEEPS else title].append(record)
        for title, records in sections.items():
            if records:
                with formatter.section(title):
                    formatter.write_dl(records)


class Whole(click.IntRange):
    """A whole number whose limits the help does not spell out; what lies beyond is refused with them."""

    name = "number"

    def _describe_range(self) -> str:
        return ""


@dataclass(frozen=True)
class Common:
    """What the shared options stated."""

    json: bool
    quiet: bool
    color: str
    seed: int | None
    output: str | None
    force: bool
    debug: bool
    assumed: bool = False
    method: bool = False
    verbose: bool = False
    units: str | None = None


UNITS_STATED = {"vswr": "vswr", "swr": "vswr", "rl": "rl", "db": "rl", "return loss": "rl", "both": "both"}


def _units(context: click.Context, option: click.Parameter, stated: str | None) -> str | None:
    if stated is None or stated.lower() in UNITS_STATED:
        return None if stated is None else UNITS_STATED[stated.lower()]
    remedy = "write one of 'vswr', 'rl', 'both'; levels stay in dBuV"
    raise click.BadParameter(f"{stated!r} is no way to show a match: {remedy}", context, option)


UNITS = click.option(
    "--units",
    metavar="[vswr|rl|both]",
    callback=_units,
    help="Show a match as VSWR, as return loss (rl) or as both; left out, as the limit is stated.",
)
WITHOUT_MATCH = ("chain.cli.new", "chain.cli.parts", "chain.cli.schema")
"""Commands whose answer shows no match."""
OPTIONS = (
    click.option("--json", is_flag=True, help="One JSON object instead of text."),
    click.option("-q", "--quiet", is_flag=True, help="Only the answer: its first three lines, warnings, and errors."),
    click.option(
        "--color",
        type=click.Choice(["auto", "always", "never"]),
        default="auto",
        help="Colour: by the terminal (auto), always, never.",
    ),
    click.option(
        "--seed",
        type=Whole(0, 2**63 - 1),
        help="Seed of the simulation: the same seed gives the same figures.",
    ),
    click.option(
        "-o",
        "--output",
        metavar="FILE",
        shell_complete=any_file,
        help="Write to FILE instead of the screen ('-': the screen); its ending decides what: .txt, .json, .csv and others.",
    ),
    click.option("--force", is_flag=True, help="Overwrite an existing FILE."),
    click.option("--assumed", is_flag=True, help="Show every assumption."),
    click.option("--method", is_flag=True, help="Show how it was computed: simulations, seed, how the file was read."),
    click.option("-v", "--verbose", is_flag=True, help="Same as --assumed --method."),
    UNITS,
    click.option("--debug", is_flag=True, help="Show the traceback of an error."),
)


def common(function: Function) -> Function:
    """Add the shared options to a command, which gets them as one argument `common`."""
    shown = [each for each in OPTIONS if each is not UNITS or function.__module__ not in WITHOUT_MATCH]

    @wraps(function)
    def called(*args: Any, **given: Any) -> Any:
        from chain.setup_report.numbers import Units, in_units

        shared = Common(**{field.name: given.pop(field.name) for field in fields(Common) if field.name in given})
        check_ending(shared.output, str(click.get_current_context().command.name), shared.json)
        shared = replace(shared, json=shared.json or kind_of(shared.output) == "json")
        wanted = Units(shared.units == "rl", shared.units == "both", shared.units is not None)
        with in_units(wanted):
            return function(shared, *args, **given)

    for option in reversed(shown):
        called = option(called)
    return called  # type: ignore[return-value]


def enforce(function: Function) -> Function:
    """Add `--enforce`: exit with status 1 where what the set-up demands is not met."""
    return click.option(
        "--enforce", is_flag=True, help="Exit with 1 unless the limit is shown to be met and the parts fit."
    )(function)


def draws_option(function: Function) -> Function:
    """Add `--draws`: how many measurements are simulated."""
    return click.option(
        "--draws",
        type=Whole(LEAST_DRAWS, MOST_DRAWS),
        help="How many measurements are simulated, rounded up to thousands; left out, as many as the intervals need.",
    )(function)


def digits_option(function: Function) -> Function:
    """Add `--digits`: how well the ends of an interval must be known.

    Source: JCGM 101:2008, 7.9.2 (memory): numerical tolerance from the significant digits of the standard
    uncertainty.
    """
    return click.option(
        "--digits",
        type=click.Choice(["1", "2"]),
        default="1",
        callback=lambda context, option, value: int(value),
        help="How exact the ends of intervals are: digits of the uncertainty (1 if left out; 2 takes longer).",
    )(function)


def setup_argument(function: Function) -> Function:
    """Add the argument SETUP."""
    return click.argument("setup", metavar="SETUP", shell_complete=setup_files)(function)


SWEEP_OPTIONS = (
    click.option(
        "--column",
        multiple=True,
        metavar="COLUMN",
        help="Column to read, by number or header (twice for a pair); S11, S22 or such where a file has several ports.",
    ),
    click.option(
        "--quantity",
        type=click.Choice(list(QUANTITIES)),
        metavar="QUANTITY",
        help=f"What the columns hold: {', '.join(QUANTITIES)}.",
    ),
    click.option(
        "--frequency-unit",
        type=click.Choice(list(FREQUENCY_UNITS), case_sensitive=False),
        metavar="UNIT",
        help="Unit of the frequency column: Hz, kHz, MHz or GHz.",
    ),
    click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal sign of the figures."),
    click.option(
        "--impedance", metavar="OHM", help="Reference the analyzer was set to for R and X or |Z|, such as '50 ohm'."
    ),
    click.option("--block", type=Whole(1), metavar="N", help="Which of several tables in one file."),
)
OF_SWEEPS = ("column", "quantity", "frequency_unit", "decimal", "impedance", "block")


def sweep_options(function: Function) -> Function:
    """Add the options of sweep files to a command, which gets them as one argument `sweep`."""

    @wraps(function)
    def called(*args: Any, **given: Any) -> Any:
        columns, ohm = given.pop("column"), given.pop("impedance")
        settled = SweepOptions(
            columns=tuple(name.strip() for name in columns),
            quantity=given.pop("quantity") or "",
            frequency_unit=given.pop("frequency_unit") or "",
            decimal=given.pop("decimal") or "",
            impedance_ohm=None if ohm is None else _ohm(ohm),
            block=given.pop("block"),
        )
        return function(*args, sweep=settled, **given)

    for option in reversed(SWEEP_OPTIONS):
        called = option(called)
    return called  # type: ignore[return-value]


def _ohm(text: str) -> float:
    from chain.units import parse_quantity

    return parse_quantity(text if not _bare(text) else f"{text} ohm", "impedance")


def _bare(text: str) -> bool:
    """Whether a figure has no unit: this option has only one."""
    try:
        float(text)
    except ValueError:
        return False
    return True
