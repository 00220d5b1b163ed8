"""What happens where two connectors meet: the verdict, the step of impedance, and any section of wrong impedance."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chain.assembly.ends import End, far_end, item_ends, near_end
from chain.rf.elements import Line
from chain.rf.references import WRONG_HALF_M, section_lines
from chain.setups import Item, Setup
from library.load import Library
from library.mating import mate
from library.records import Splitter

__all__ = ["BLOCKING", "Joint", "joint", "joint_pieces", "joints_of", "with_arm_sections"]

BLOCKING = ("no-contact", "no-mate", "destructive")
"""Verdicts that mean the two ends do not fit together."""


@dataclass(frozen=True)
class Joint:
    """Two mated connectors. `sections` are the lines of wrong impedance it adds: (impedance_ohm, length_m)."""

    near: End
    far: End
    verdict: str
    reason: str
    mismatch_loss_db: float
    sections: tuple[tuple[float, float], ...] = ()

    @property
    def id(self) -> str:
        """Name of the joint, from the items it lies between."""
        return f"{self.near.name}/{self.far.name}"


def joint(near: End, far: End, library: Library) -> Joint:
    """Judge one joint and list what it adds to the chain.

    Source: Mating rules of the library; -10 log10(1 - rho^2) for the step.
    """
    pair = mate(near.connector, far.connector, library)
    verdict, reason = pair.verdict, pair.reason
    sections: list[tuple[float, float]] = []
    if verdict not in BLOCKING:
        for end in (near, far):
            family = library.family(end.connector.family)
            if family.impedance_ohm and end.nominal_ohm and family.impedance_ohm != end.nominal_ohm:
                sections.append((family.impedance_ohm, WRONG_HALF_M))
        family = library.family(near.connector.family)
        if family.section_ohm and not (near.models_own_pair or far.models_own_pair):
            sections.append((family.section_ohm, family.section_m))
    if sections and verdict == "ok":
        wrong = " and ".join(f"{ohm:g}-ohm" for ohm, _ in sections)
        verdict, reason = "costed", f"mates, but with a {wrong} connector half on a line of another impedance"
    rho = (far.line_ohm - near.line_ohm) / (far.line_ohm + near.line_ohm)
    loss_db = float(-10 * np.log10(1 - rho * rho))
    return Joint(near, far, verdict, reason, loss_db + 0.0, tuple(sections))


def joints_of(setup: Setup, library: Library | None = None) -> tuple[Joint, ...]:
    """Every joint of a set-up, near to far.

    Source: The set-up and the mating rules.
    """
    library = library or setup.library
    ends = [near_end(setup.near)]
    for item in setup.items:
        ends.extend(item_ends(item))
    ends.append(far_end(setup.far))
    return tuple(joint(ends[index], ends[index + 1], library) for index in range(0, len(ends), 2))


def joint_pieces(found: Joint, freq_hz: NDArray[np.float64]) -> tuple[Line, ...]:
    """Lines that a joint adds to the chain.

    Source: 10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    return section_lines(found.id, found.sections, freq_hz)


def with_arm_sections(item: Item, library: Library) -> Item:
    """A splitter with what the joints in its arms add; any other item as it is.

    Source: `joint`.
    """
    part = item.part
    if not isinstance(part, Splitter) or not any(arm.items for arm in item.arms):
        return item
    arms = []
    for arm in item.arms:
        items = tuple(with_arm_sections(each, library) for each in arm.items)
        connector = part.connectors[part.ports.index(arm.port)]
        last = End(f"{item.id}.{arm.port}", connector, part.impedance_ohm, part.impedance_ohm)
        sections = []
        for each in items:
            near, far = item_ends(each)
            # Opens and shorts have no impedance of their own: a joint with one is no step.
            near = replace(near, line_ohm=near.line_ohm or last.line_ohm)
            sections.append(joint(last, near, library).sections)
            last = far
        arms.append(replace(arm, items=items, sections=tuple(sections)))
    return replace(item, arms=tuple(arms))
