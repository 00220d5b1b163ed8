"""Options that settle what a sweep file leaves open, for every command that reads one."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

import click

from chain.sweeps.options import FREQUENCY_UNITS, QUANTITIES, SweepOptions

__all__ = ["sweep_options"]

Function = TypeVar("Function", bound=Callable[..., Any])

OPTIONS = (
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
    click.option("--block", type=click.IntRange(1), metavar="N", help="Which of several tables in one file."),
)


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

    for option in reversed(OPTIONS):
        called = option(called)
    return called  # type: ignore[return-value]


def _ohm(text: str) -> float:
    from chain.units import parse_quantity

    return parse_quantity(text if not _bare(text) else f"{text} ohm", "impedance")


def _bare(text: str) -> bool:
    """Tell whether a figure has no unit: this option has only one."""
    try:
        float(text)
    except ValueError:
        return False
    return True
