"""The two ends of an item as placed: which impedance and which connector it shows to its neighbours."""

from __future__ import annotations

from dataclasses import dataclass

from chain.setups import Far, Item, Near
from library.records import Adapter, Coax, Connector, Splitter, Termination

__all__ = ["End", "far_end", "item_ends", "item_ohm", "near_end"]


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
