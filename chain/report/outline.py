"""The chain on one line, near to far, and where it is calibrated."""

from __future__ import annotations

from rich.console import Console

from chain.records import Setup
from chain.report.look import say, title

__all__ = ["plane_words", "render"]


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
