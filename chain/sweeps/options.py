"""How the user settles what a sweep file leaves open: columns, quantity, unit of frequency, decimal sign, reference, block."""

from __future__ import annotations

from library.frozen import dataclass

FREQUENCY_UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}

QUANTITIES = {
    "vswr": ("VSWR", 1),
    "return-loss": ("return loss", 1),
    "reflection-db": ("reflection in dB", 1),
    "magnitude": ("magnitude of the reflection", 1),
    "real-and-imaginary": ("real and imaginary part of the reflection", 2),
    "db-and-degrees": ("reflection in dB and degrees", 2),
    "magnitude-and-degrees": ("magnitude of the reflection and degrees", 2),
    "r-and-x": ("R and X", 2),
    "z-and-degrees": ("|Z| and degrees", 2),
}
"""What a file may hold: name of the option, words for people, number of columns."""


@dataclass(frozen=True)
class SweepOptions:
    """What the user says about a sweep file; an empty value leaves it to the file.

    `impedance_ohm` is the reference in which the analyzer turned a reflection into R and X or |Z|.
    """

    columns: tuple[str, ...] = ()
    """Columns to read, by number from 1 or by header; of a Touchstone file of several ports `S11`, `S22` and so on."""
    quantity: str = ""
    frequency_unit: str = ""
    decimal: str = ""
    """`point` or `comma`."""
    impedance_ohm: float | None = None
    block: int | None = None
    """Which of several tables in one file, from 1."""

    @property
    def stated(self) -> bool:
        """Whether anything is settled here."""
        return self != DEFAULTS


DEFAULTS = SweepOptions()
