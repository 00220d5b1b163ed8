"""An answer drawn on matplotlib axes of the caller's, from the same description as its picture file."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from chain.errors import RangeError, quoted
from chain.plots.picture import draw_one, needs_matplotlib
from chain.results import ResultTable
from chain.setup_report.numbers import Units, in_units

DRAWN = {
    "Account": "budget",
    "AntennaComparison": "differences",
    "Expectation": "expect",
    "LogTrends": "log",
    "Matching": "match",
    "Planes": "planes",
    "Reception": "outlets",
    "Recovery": "recover",
    "Ripple": "ripple",
    "Tuning": "tune",
}
"""Answers that have a plot, and the module that describes it."""


def draw(result: ResultTable, ax: Any = None) -> Any:
    """Draw the first plot of an answer within the room of the axes; they are returned, made new where none are given."""
    home = DRAWN.get(type(result).__name__)
    if home is None:
        what = type(result).__name__
        remedy = "account(setup).plot() draws it" if what == "Budget" else f"{', '.join(DRAWN)} have one"
        raise RangeError(f"{what} has no plot", remedy)
    needs_matplotlib()
    if ax is not None and not hasattr(ax, "get_position"):
        raise RangeError(f"{quoted(ax)} is no Axes of matplotlib", "write plot(ax=figure.add_subplot())")
    with in_units(Units(in_db=getattr(result, "limit_in_db", False))):
        return draw_one(import_module(f"chain.plots.{home}").describe(result)[0], ax)
