"""Ends of items as placed, and what happens where two meet: the verdict, the step of impedance, short lines of a wrong one.

F plugs are named by the cable they sit on, since its own conductor is the pin.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chain.rf.elements import Line
from chain.rf.references import WRONG_HALF_M, section_lines
from chain.setups import Far, Item, Near, ShortLine
from library.frozen import dataclass
from library.load import Library
from library.mating import F_FAMILY, mate
from library.records import Adapter, Coax, Connector, Splitter, Termination

__all__ = [
    "BLOCKING",
    "F_FAMILY",
    "Connection",
    "End",
    "connect",
    "connection_elements",
    "far_end",
    "item_ends",
    "item_ohm",
    "near_end",
]

BLOCKING = ("no-contact", "no-mate", "destructive")
"""Verdicts that mean the two ends do not fit together."""


@dataclass(frozen=True)
class End:
    """What one side of a joint brings: the line's impedance, the impedance its connector is meant for, and the connector."""

    name: str
    connector: Connector
    line_ohm: float
    nominal_ohm: float
    models_own_pair: bool = False
    """The item's own model already holds the section that an unmatched pair forms."""


def item_ohm(item: Item) -> tuple[float, float]:
    """Impedances of an item's own model at its near and far end, as placed [ohm].

    Source: The part's record.
    """
    part = item.part
    if isinstance(part, (Adapter, Coax, Splitter, Termination)):
        return part.impedance_ohm, part.impedance_ohm
    ohm = (part.near_ohm, part.far_ohm)
    return ohm[::-1] if item.reversed else ohm


def item_ends(item: Item) -> tuple[End, End]:
    """Both ends of an item as placed.

    Source: The part's record.
    """
    near_ohm, far_ohm = item_ohm(item)
    nominal = [near_ohm, far_ohm]
    part = item.part
    unmatched = False
    if isinstance(part, Adapter):
        pair = (part.near_ohm or part.impedance_ohm, part.far_ohm or part.impedance_ohm)
        nominal = list(pair[::-1] if item.reversed else pair)
        unmatched = "UHF" in (item.near_connector.family, item.far_connector.family)
    return (
        End(item.id, item.near_connector, near_ohm, nominal[0], unmatched),
        End(item.id, item.far_connector, far_ohm, nominal[1], unmatched),
    )


def near_end(near: Near) -> End:
    """The analyzer's port as an end.

    Source: The set-up.
    """
    return End("near", near.connector, near.impedance_ohm, near.impedance_ohm)


def far_end(far: Far) -> End:
    """The antenna's connector as an end.

    Source: The set-up.
    """
    return End("far", far.connector, far.impedance_ohm, far.impedance_ohm)


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
