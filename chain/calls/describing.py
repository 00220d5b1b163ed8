"""What `help()` says of a public function: arguments as they are taken, in its signature and in its text."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

PATH = "str | PathLike[str]"
PATHS = f"{PATH} | Sequence[{PATH}]"
READINGS = f"Readings | {PATHS} | tuple[ArrayLike, ArrayLike] | DataFrame | Mapping[str, ArrayLike] | Network"
TAKEN_AS = {
    "Setup": (f"Setup | {PATH}", "a Setup, or the path of its file"),
    "Chain": (f"Chain | Setup | {PATH}", "a Chain, a Setup, or the path of a set-up file"),
    "Need": (f"Need | {PATH}", "a Need, or the path of its file"),
    "Installation": (f"Installation | {PATH}", "an Installation, or the path of its file"),
    "Readings": (
        READINGS,
        """Readings; the path of a sweep file, or several of them, which are averaged;
    a text as it is typed, 'VSWR 1.30 at 210 MHz', or several; arrays (freq_hz, reflection) or (freq_hz, magnitude);
    a DataFrame or a mapping with freq_hz, freq_mhz or channel and vswr, return_loss_db, reflection, magnitude or ohm;
    a scikit-rf Network of one port, in the reference of the set-up's plane""",
    ),
    "Mapping[str, Sequence[str]]": (f"Mapping[str, {PATHS}]", "for each name the path of a file, or several"),
    "Sequence[str]": (PATHS, "the path of a file, or several"),
    "Sequence[float]": (
        "float | str | Sequence[float | str] | ArrayLike",
        "a VSWR, a text such as 'RL 12 dB', or several",
    ),
}
"""By the annotation of an argument inside: what is taken for it, as a type and in words."""


def described(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function with a signature and a docstring that tell what it takes."""
    signature = inspect.signature(function)
    shown, told = [], []
    for name, each in signature.parameters.items():
        base = str(each.annotation).removesuffix(" | None").partition(" | Setup")[0]
        if base not in TAKEN_AS:
            shown.append(each)
            continue
        kinds, words = TAKEN_AS[base]
        optional = str(each.annotation).endswith("| None")
        shown.append(each.replace(annotation=f"{kinds} | None" if optional else kinds))
        told.append(f"{name} : {words}.")
    function.__signature__ = signature.replace(parameters=shown)  # type: ignore[attr-defined]
    text = inspect.cleandoc(function.__doc__ or "")
    if told:
        ahead, mark, behind = text.partition("\nReturns\n")
        listed = "\n".join(told)
        text = f"{ahead}\nWhat is taken\n-------------\n{listed}\n{mark}{behind}"
    function.__doc__ = text
    return function
