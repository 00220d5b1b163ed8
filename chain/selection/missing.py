"""Nothing fits: which two connectors lack a part between them, and the parts of the library that would close the gap."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chain.assembly.graph import BLOCKING, End, connect, connection_elements, item_ends
from chain.rf.elements import nominal
from chain.selection.catalogue import Catalogue
from chain.selection.stock import DC_BLOCK, LEAD, NANO, SearchSpace, own_values
from chain.setups import Item
from library.files.rows import MATCHING
from library.frozen import dataclass
from library.mating import bridging_adapters

FAR_AWAY = 10**6
MOST_NAMED = 3
BLOCKS, LEADS = "blocks DC", "is a lead"
REMEDIES = {
    BLOCKS: "Put a DC block on the antenna's side of the pad, rated for the volts on the lead: write yours as an [[adapter]] "
    'with dc = "block" into the need file or a parts file, and offer it with [[have]] or [[offer]]. Without DC on the lead, '
    "leave dc out of [need]",
    LEADS: "Offer a cable with its connectors and its price per metre, or leave the lead out of [need]",
}
"""What to do where a part of that kind is lacking; how a block is placed and rated is common practice."""
HANDICAP = 0.1
"""Reflection that anything but an adapter is charged with: it costs several adapters, so it must be worth them."""


@dataclass(frozen=True)
class Missing:
    """What is missing. `near` and `far` are the connectors that lie open; `parts` would join them, nearest first.

    `remedy` says what to do where no part of the library helps.
    """

    near: str
    far: str
    parts: tuple[str, ...]
    reason: str
    remedy: str = ""


def missing_item(room: SearchSpace) -> Missing:
    """Say why no chain can be built.

    Source: Least sums of reflections from both ends over the parts at hand, then every part of the library in the
    gap; the nearest part is that which leaves the whole chain the least sum, adapters preferred.
    """
    shop, most = room.catalogue, room.need.most_items
    near, far = str(room.need.near.connector), str(room.need.far.connector)
    back = _back(shop)
    least = int(back[shop.start])
    if most < least < FAR_AWAY:
        reason = f"the two ends are joined with {least} items, and most_items allows {most}"
        return Missing(near, far, (), f"{reason}: raise it, or look for a part that does the work of two")
    if least <= most and shop.needed:
        asked = [word for bit, word in ((DC_BLOCK, BLOCKS), (LEAD, LEADS)) if shop.needed & bit]
        reason = f"no chain of at most {most} items has a part that {' and one that '.join(asked)}"
        return Missing(near, far, (), reason, "; ".join(REMEDIES[word] for word in asked))
    if least <= most:
        return Missing(near, far, (), "parts would fit, but there are not enough of one that is needed twice")
    gaps = sorted(_gaps(room, most))
    if gaps:
        _, _, here, there = gaps[0]
        names = dict.fromkeys(name for _, name, *ends in gaps if ends == [here, there])
        reason = f"nothing owned or on offer goes from the {here} to the {there}"
        return Missing(here, there, tuple(names)[:MOST_NAMED], reason)
    pairs = bridging_adapters(room.need.near.connector, room.need.far.connector, room.library)
    reason = f"nothing owned or on offer leads from the {near} to the {far}, and no single part of the library would do"
    return Missing(near, far, tuple(pairs[:MOST_NAMED]), reason)


def _steps(shop: Catalogue) -> NDArray[np.bool_]:
    found = np.zeros(shop.mates.shape, dtype=bool)
    live = shop.stock > 0
    found[shop.near[live], shop.far[live]] = found[shop.far[live], shop.near[live]] = True
    return found


def _back(shop: Catalogue) -> NDArray[np.int64]:
    """Fewest items that lead from each exposed node to the goal."""
    steps, mates = _steps(shop), shop.mates
    found = np.where(mates[:, shop.goal], 0, FAR_AWAY)
    for _ in range(len(mates)):
        entered = np.where(steps, found[None, :], FAR_AWAY).min(axis=1) + 1
        found = np.minimum(found, np.where(mates, entered[None, :], FAR_AWAY).min(axis=1))
    return found


def _gaps(room: SearchSpace, most: int) -> Iterator[tuple[float, str, str, str]]:
    """Parts that would close the gap: (sum of reflections of the whole chain then, id, near and far connector)."""
    shop = room.catalogue
    out, behind = _least_out(shop, most), _least_behind(shop, most)
    # Many parts have the same ends: what joining one to every node costs is asked once for all of them.
    onto: dict[End, NDArray[np.float64]] = {}
    off: dict[End, NDArray[np.float64]] = {}
    for item in _library_items(room):
        own = own_values(item, room.freq_hz[-1:])[1] + HANDICAP * (item.part.kind != "adapter")
        ends = tuple(replace(end, name="") for end in item_ends(item))
        for x, y in dict.fromkeys((ends, ends[::-1])):
            if x not in onto:
                onto[x] = np.array([_joint_cost(end, x, room) for end in room.ends])
            if y not in off:
                off[y] = np.array([_joint_cost(y, end, room) for end in room.ends])
            before, after = out + onto[x], behind + off[y]
            sums = [(float(before[k].min() + after[most - 1 - k].min()), k) for k in range(most)]
            total, count = min(sums)
            if total < np.inf:
                near, far = (room.ends[int(np.argmin(row))] for row in (before[count], after[most - 1 - count]))
                yield total + own, item.id, str(near.connector), str(far.connector)


def _least_out(shop: Catalogue, most: int) -> NDArray[np.float64]:
    """Least sum of reflections with which each node lies exposed after at most 0, 1, 2 ... items."""
    found = np.full((most, len(shop.mates)), np.inf)
    found[:, shop.start] = 0
    for count in range(1, most):
        entered = (found[count - 1][:, None] + _joint_table(shop)).min(axis=0)
        found[count] = np.minimum(found[count - 1], (entered[:, None] + _step_table(shop)).min(axis=0))
    return found


def _least_behind(shop: Catalogue, most: int) -> NDArray[np.float64]:
    """The same from each waiting node on to the antenna's connector, which is a waiting node itself."""
    found = np.full((most, len(shop.mates)), np.inf)
    found[:, shop.goal] = 0
    for count in range(1, most):
        exposed = (_joint_table(shop) + found[count - 1][None, :]).min(axis=1)
        found[count] = np.minimum(found[count - 1], (_step_table(shop) + exposed[None, :]).min(axis=1))
    return found


def _joint_table(shop: Catalogue) -> NDArray[np.float64]:
    return np.where(shop.mates, shop.joint_reflection / NANO, np.inf)


def _step_table(shop: Catalogue) -> NDArray[np.float64]:
    """Least reflection of a part between two nodes."""
    found = np.full(shop.mates.shape, np.inf)
    live = shop.stock > 0
    near, far, own = shop.near[live], shop.far[live], shop.reflection[live] / NANO
    np.minimum.at(found, (near, far), own)
    np.minimum.at(found, (far, near), own)
    return found


def _joint_cost(one: End, other: End, room: SearchSpace) -> float:
    """Reflection of a joint, infinite where the two do not go together."""
    found = connect(one, other, room.library)
    if found.verdict in BLOCKING:
        return np.inf
    top = room.freq_hz[-1:]
    return float(np.abs(nominal(connection_elements(found, top), one.line_ohm, other.line_ohm, top)[0, 0, 0]))


def _library_items(room: SearchSpace) -> Iterator[Item]:
    """Two-ports of the library in their ordinary grade that cover the band, leads apart."""
    for kind in ("adapter", *MATCHING):
        for name in room.library.ids(kind):
            part = room.library.part(name)
            near, far = getattr(part, "near_connector", None), getattr(part, "far_connector", None)
            # An id that ends in a grade is a variant of the plain one.
            ordinary = not name.endswith(f"-{getattr(part, 'grade', 'general')}")
            if near and far and ordinary and getattr(part, "max_hz", 0.0) >= room.freq_hz[-1]:
                yield Item(name, part, near, far)
