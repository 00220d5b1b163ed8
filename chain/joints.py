"""What happens where two connectors meet: the verdict, the step of impedance, and any section of wrong impedance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chain.ends import End, far_end, item_ends, near_end
from chain.models.adapter import LIGHT_M_PER_S
from chain.records import Setup
from chain.stages import Line
from library.load import Library, load_library
from library.mating import mate

__all__ = ["BLOCKING", "Joint", "joint", "joint_pieces", "joints_of"]

BLOCKING = ("no-contact", "no-mate", "destructive")
"""Verdicts that mean the two ends do not fit together."""

WRONG_HALF_M = 0.010
WRONG_HALF_LOW, WRONG_HALF_HIGH = 0.7, 1.5
"""Electrical length of a connector half of the wrong impedance, and its range as factors (7 to 15 mm)."""


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

    Parameters
    ----------
    near, far : the two ends that meet.
    library : gives families and mating rules.

    Returns
    -------
    Joint. Its mismatch loss is that of the step between the two line impedances.

    Examples
    --------
    >>> from library.load import load_library
    >>> from library.mating import parse_connector
    >>> a = End("pad", parse_connector("BNC-75 jack"), 75.0, 75.0)
    >>> b = End("lead", parse_connector("BNC-50 plug"), 75.0, 75.0)
    >>> found = joint(a, b, load_library())
    >>> found.verdict, found.sections
    ('costed', ((50.0, 0.01),))

    Source
    ------
    Mating rules of the library; -10 log10(1 - rho^2) for the step.
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

    Parameters
    ----------
    setup : the set-up.
    library : families and mating rules; the built-in library if left out.

    Returns
    -------
    tuple of Joint, one more than there are items.

    Examples
    --------
    See `chain.cascade.build`.

    Source
    ------
    The set-up and the mating rules.
    """
    library = library or load_library()
    ends = [near_end(setup.near)]
    for item in setup.items:
        ends.extend(item_ends(item))
    ends.append(far_end(setup.far))
    return tuple(joint(ends[index], ends[index + 1], library) for index in range(0, len(ends), 2))


def joint_pieces(found: Joint, freq_hz: NDArray[np.float64]) -> tuple[Line, ...]:
    """Lines that a joint adds to the chain.

    Parameters
    ----------
    found : the joint.
    freq_hz : shape (frequencies,) [Hz].

    Returns
    -------
    tuple of lossless lines, empty for a joint that only changes or keeps the impedance.

    Examples
    --------
    See `chain.cascade.build`.

    Source
    ------
    10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    lines = []
    for ohm, length_m in found.sections:
        half = length_m == WRONG_HALF_M
        lines.append(
            Line(
                found.id,
                ohm,
                ohm,
                np.full(freq_hz.shape, ohm, dtype=complex),
                np.zeros(freq_hz.shape),
                2 * np.pi * freq_hz * length_m / LIGHT_M_PER_S,
                length_low=WRONG_HALF_LOW if half else 1.0,
                length_high=WRONG_HALF_HIGH if half else 1.0,
            )
        )
    return tuple(lines)
