"""Connectors along the tree: what mates with what, by the same rules as in a measuring chain."""

from __future__ import annotations

from dataclasses import dataclass

from chain.assembly.connections import BLOCKING
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet
from library.mating import mate
from library.records import Splitter

__all__ = ["TreeJoint", "blocking_joints", "tree_joints"]


@dataclass(frozen=True)
class TreeJoint:
    """Two connectors that meet, the one nearer the antenna first; empty where a lead is made up to fit."""

    above: str
    below: str
    above_connector: str
    below_connector: str
    verdict: str
    reason: str


def tree_joints(installation: Installation) -> tuple[TreeJoint, ...]:
    """Every joint of the tree, as the file orders it.

    Source: Mating rules of the library; a lead whose connector is not stated is made up to fit.
    """
    found = []
    homes = {item.id: item for item in installation.items}
    rows: list[InstalledItem | Outlet] = [*installation.items, *installation.outlets]
    for each in rows:
        name, _, own = each.after.partition(".")
        if each.after == ANTENNA:
            above = installation.antenna.connector
        elif isinstance(homes[name].part, Splitter):
            part = homes[name].part
            above = part.connectors[part.ports.index(own)]  # type: ignore[union-attr]
        else:
            above = homes[name].output_connector
        below = each.input_connector if isinstance(each, InstalledItem) else each.connector
        if above is None or below is None:
            found.append(TreeJoint(each.after, each.id, str(above or ""), str(below or ""), "ok", "made up to fit"))
            continue
        pair = mate(above, below, installation.library)
        found.append(TreeJoint(each.after, each.id, str(above), str(below), pair.verdict, pair.reason))
    return tuple(found)


def blocking_joints(installation: Installation) -> tuple[TreeJoint, ...]:
    """Joints that do not go together."""
    return tuple(each for each in tree_joints(installation) if each.verdict in BLOCKING)
