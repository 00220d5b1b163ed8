"""What happens where two connectors meet: the verdict, the step of impedance, and any section of wrong impedance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.assembly.ends import End
from chain.rf.elements import Line
from chain.rf.references import WRONG_HALF_M, section_lines
from chain.setups import ShortLine
from library.load import Library
from library.mating import mate

__all__ = ["BLOCKING", "Connection", "connect", "connection_elements"]

BLOCKING = ("no-contact", "no-mate", "destructive")
"""Verdicts that mean the two ends do not fit together."""


@dataclass(frozen=True)
class Connection:
    """Two mated connectors. `sections` are the lines of wrong impedance it adds."""

    near: End
    far: End
    verdict: str
    reason: str
    mismatch_loss_db: float
    sections: tuple[ShortLine, ...] = ()

    @property
    def id(self) -> str:
        """Name of the connection, from the items it lies between."""
        return f"{self.near.name}/{self.far.name}"


def connect(near: End, far: End, library: Library) -> Connection:
    """Judge one connection and list what it adds to the chain.

    Source: Mating rules of the library; -10 log10(1 - rho^2) for the step.
    """
    pair = mate(near.connector, far.connector, library)
    verdict, reason = pair.verdict, pair.reason
    sections: list[ShortLine] = []
    if verdict not in BLOCKING:
        for end in (near, far):
            family = library.family(end.connector.family)
            if family.impedance_ohm and end.nominal_ohm and family.impedance_ohm != end.nominal_ohm:
                sections.append(ShortLine(family.impedance_ohm, WRONG_HALF_M))
        family = library.family(near.connector.family)
        if family.section_ohm and not (near.models_own_pair or far.models_own_pair):
            sections.append(ShortLine(family.section_ohm, family.section_m))
    if sections and verdict == "ok":
        wrong = " and ".join(f"{each.impedance_ohm:g}-ohm" for each in sections)
        verdict, reason = "costed", f"mates, but with a {wrong} connector half on a line of another impedance"
    rho = (far.line_ohm - near.line_ohm) / (far.line_ohm + near.line_ohm)
    loss_db = float(-10 * np.log10(1 - rho * rho))
    return Connection(near, far, verdict, reason, loss_db + 0.0, tuple(sections))


def connection_elements(found: Connection, freq_hz: NDArray[np.float64]) -> tuple[Line, ...]:
    """Lines that a connection adds to the chain.

    Source: 10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    return section_lines(found.id, found.sections, freq_hz)
