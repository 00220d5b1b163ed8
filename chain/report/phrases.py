"""The chain on one line, near to far, and where it is calibrated."""

from __future__ import annotations

import math

from rich.console import Console

from chain.analyses.expect import Expectation
from chain.analyses.planes import Planes
from chain.analyses.recovery import Recovery
from chain.report.tables import say, title
from chain.setups import Setup

__all__ = ["draws_words", "plane_words", "render", "upward"]


def render(result: Setup, console: Console) -> None:
    """Print title, chain and calibration plane of a set-up.

    Parameters
    ----------
    result : the set-up.
    console : where to.

    Examples
    --------
    `chain budget demo/boathouse.toml` begins with it.

    Source
    ------
    Own convention.
    """
    title(console, result.title)
    near = f"near ({result.near.connector}, {result.near.impedance_ohm:g} ohm)"
    far = f"far ({result.far.connector}, {result.far.impedance_ohm:g} ohm)"
    items = [f"{item.id} (reversed)" if item.reversed else item.id for item in result.items]
    say(console, " > ".join([near, *items, far]), indent=2)
    say(console, f"calibrated {plane_words(result.calibration.plane)}")
    console.print()


def plane_words(plane: str) -> str:
    """Calibration plane in words.

    Parameters
    ----------
    plane : `near` or the id of an item.

    Returns
    -------
    str that continues the word "calibrated".

    Examples
    --------
    >>> plane_words("near"), plane_words("pad")
    ("at the analyzer's port", 'after pad')

    Source
    ------
    Own convention.
    """
    return "at the analyzer's port" if plane == "near" else f"after {plane}"


def draws_words(result: Expectation | Planes | Recovery) -> str:
    """How many draws made the intervals, and how well their ends are known by them.

    Parameters
    ----------
    result : an answer made from simulated draws.

    Returns
    -------
    str, a sentence without its full stop.

    Examples
    --------
    `chain expect demo/boathouse.toml` prints one under its table.

    Source
    ------
    Own convention.
    """
    text, found = f"{result.draws} draws, seed {result.seed}", result.accuracy
    if found is None or not found.end_tolerance:
        return text
    digits = "1 digit of the uncertainty allows" if found.digits == 1 else "2 digits of the uncertainty allow"
    most = "" if found.settled else ", the most that is tried"
    moved = f"drawn anew, ends move by up to {upward(found.end_error)} in reflection"
    return f"{text}{most}; {moved} ({digits} {found.end_tolerance:g})"


def upward(value: float) -> str:
    """A difference to one digit, rounded up.

    Parameters
    ----------
    value : at least 0 [-].

    Returns
    -------
    str.

    Examples
    --------
    >>> upward(0.0042), upward(0.0)
    ('0.005', '0')

    Source
    ------
    Arithmetic.
    """
    if value <= 0:
        return "0"
    unit = 10.0 ** math.floor(math.log10(value))
    return f"{math.ceil(value / unit - 1e-9) * unit:.1g}"
