"""What a header says that its column holds, and the unit of a frequency."""

from __future__ import annotations

import re

from chain.sweeps.options import FREQUENCY_UNITS
from library.sweepwords import concepts, spelt

__all__ = ["ROLES", "frequency_factor", "role"]

ROLES = {
    "frequency": "frequency",
    "vswr": "VSWR",
    "return_loss": "return loss",
    "db": "dB",
    "magnitude": "magnitude",
    "reflection": "reflection without a unit",
    "phase": "angle",
    "real": "real part",
    "imaginary": "imaginary part",
    "r": "R",
    "x": "X",
    "z": "|Z|",
    "foreign": "no reflection of this port",
    "": "not known",
}
"""What a column may be, and its words for people."""
PARTS = {"real": ("real", "r"), "imaginary": ("imaginary", "x")}
DIRECT = (("reactance", "x"), ("resistance", "r"), ("vswr", "vswr"), ("return_loss", "return_loss"))


def role(text: str) -> str:
    """What a column holds, by its header.

    Source: `library/data/sweep_words.csv`.
    """
    said = concepts(text)
    if "foreign" in said or "second_port" in said:
        return "foreign"
    for part, (of_reflection, of_impedance) in PARTS.items():
        if part in said:
            return of_impedance if said.keys() & {"impedance", "ohm"} and "reflection" not in said else of_reflection
    if "phase" in said:
        return "phase"
    if "frequency" in said:
        return "frequency"
    direct = next((found for concept, found in DIRECT if concept in said), "")
    # Some call the share of the reflected voltage, in percent, by a word that others use for the ratio.
    if direct:
        return "magnitude" if direct == "vswr" and "percent" in said else direct
    return _size(said)


def _size(said: dict[str, str]) -> str:
    """Role of a header that speaks of a size only."""
    if said.keys() & {"impedance", "ohm"}:
        return "z"
    if "decibel" in said:
        return "db"
    if said.keys() & {"magnitude", "percent"} or said.get("reflection", "s11") != "s11":
        return "magnitude"
    return "reflection" if "reflection" in said else ""


def frequency_factor(text: str) -> float:
    """Factor of the unit of frequency that a header names [Hz].

    Source: SI prefixes.
    """
    units = {unit.lower(): factor for unit, factor in FREQUENCY_UNITS.items()}
    found = [units[word] for word in re.split(r"[^a-z]+", spelt(text)) if word in units]
    return found[0] if len(set(found)) == 1 else 0.0
