"""F plugs told by the cable they sit on, since the cable's own conductor is the pin."""

from __future__ import annotations

from dataclasses import replace

from chain.setups import Arm, Item, Setup
from library.mating import f_plug_variant
from library.records import Coax, Connector

__all__ = ["F_FAMILY", "with_conductors"]

F_FAMILY = "F-75"


def with_conductors(setup: Setup) -> Setup:
    """The same set-up, every F plug of a lead marked with what its cable's conductor means for a jack.

    Source: `library.mating.f_plug_variant`.
    """
    return replace(setup, items=tuple(_item(item) for item in setup.items))


def _item(item: Item) -> Item:
    if item.arms:
        return replace(item, arms=tuple(_arm(arm) for arm in item.arms))
    if not isinstance(item.part, Coax):
        return item
    variant = f_plug_variant(item.part)
    near, far = (_plug(each, variant) for each in (item.near_connector, item.far_connector))
    return replace(item, near_connector=near, far_connector=far)


def _arm(arm: Arm) -> Arm:
    return replace(arm, items=tuple(_item(item) for item in arm.items))


def _plug(connector: Connector, variant: str) -> Connector:
    bare = connector.family == F_FAMILY and connector.gender == "plug" and not connector.variant
    return replace(connector, variant=variant) if bare else connector
