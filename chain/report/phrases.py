"""The chain on one line, near to far, and where it is calibrated."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chain.report.tables import say, title

if TYPE_CHECKING:
    from rich.console import Console

    from chain.analyses.expect import Expectation
    from chain.analyses.planes import Planes
    from chain.analyses.recovery import Recovery
    from chain.setups import Setup

__all__ = ["draws_words", "plane_words", "render", "upward"]


def render(result: Setup, console: Console) -> None:
    """Print title, chain and calibration plane of a set-up."""
    title(console, result.title)
    near = f"near ({result.near.connector}, {result.near.impedance_ohm:g} ohm)"
    far = f"far ({result.far.connector}, {result.far.impedance_ohm:g} ohm)"
    items = [f"{item.id} (reversed)" if item.reversed else item.id for item in result.items]
    say(console, " > ".join([near, *items, far]), indent=2)
    say(console, f"calibrated {plane_words(result.calibration.plane)}")
    console.print()


def plane_words(plane: str) -> str:
    """Calibration plane in words."""
    return "at the analyzer's port" if plane == "near" else f"after {plane}"


def draws_words(result: Expectation | Planes | Recovery) -> str:
    """How many draws made the intervals, and how well their ends are known by them."""
    text, found = f"{result.draws} draws, seed {result.seed}", result.accuracy
    if found is None or not found.end_tolerance:
        return text
    digits = "1 digit of the uncertainty allows" if found.digits == 1 else "2 digits of the uncertainty allow"
    most = "" if found.settled or found.digits == 1 else ", the most that is tried"
    moved = f"drawn anew, ends move by up to {upward(found.end_error)} in reflection"
    return f"{text}{most}; {moved} ({digits} {found.end_tolerance:g})"


def upward(value: float) -> str:
    """A difference to one digit, rounded up.

    Source: Arithmetic.
    """
    if value <= 0:
        return "0"
    unit = 10.0 ** math.floor(math.log10(value))
    return f"{math.ceil(value / unit - 1e-9) * unit:.1g}"
