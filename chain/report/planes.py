"""The same set-up calibrated at each possible plane, side by side, and the plane that is recommended."""

from __future__ import annotations

from rich.console import Console

from chain.analyses.planes import Plane, Planes
from chain.report.numbers import db, frequency, percent, span
from chain.report.phrases import draws_words
from chain.report.tables import Column, notes, say, show_table, title

__all__ = ["render"]


def render(result: Planes, console: Console) -> None:
    """Print a comparison of planes."""
    title(console, result.title)
    say(console, result.reason[:1].upper(), result.reason[1:], "." if not result.reason.endswith(".") else "")
    console.print()
    first = result.planes[0]
    columns = [
        Column("calibrated", figures=False, wraps=True),
        Column(f"a true {first.true_vswr:g}\ncomes out as"),
        Column(f"a true {first.limit_vswr:g}\ncomes out as"),
        Column("noise,\ndB"),
    ]
    rows = [
        [
            _what(plane, plane.plane == result.recommended),
            span(plane.low, plane.high),
            span(plane.limit_low, plane.limit_high),
            db(plane.noise_gain_db, signed=True),
        ]
        for plane in result.planes
    ]
    show_table(console, columns, rows)
    console.print()
    share = percent(result.coverage).replace(".0", "")
    say(
        console,
        f"VSWR at {frequency(result.freq_hz)}, intervals of {share}; inf: everything may come back. Noise: what the trace "
        f"noise of one raw reading grows by at the antenna. {draws_words(result)}.",
    )
    notes(console, result.warnings, result.assumed)


def _what(plane: Plane, best: bool) -> str:
    return f"{'best: ' if best else ''}{plane.what}; {plane.standards}{', assumed' if plane.assumed else ''}"
