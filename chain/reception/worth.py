"""What each thing costs in carrier-to-noise ratio: the antenna's match, the lead, the splitter. The question people ask."""

from __future__ import annotations

from dataclasses import dataclass, replace

from chain.reception.levels import matched_antenna, nominal_levels
from chain.reception.records import ANTENNA, Installation, InstalledItem
from chain.reception.sections import reflection_at
from library.reception import Amplifier

__all__ = ["Worth", "without_item", "worth_of"]


@dataclass(frozen=True)
class Worth:
    """Cost in dB of carrier-to-noise ratio at the worst outlet and channel, each thing taken away alone."""

    outlet: str
    channel: str
    vswr: float
    match_db: float
    items: tuple[tuple[str, str, float], ...]
    """Id, what it is, and what it costs; negative for an amplifier that pays."""

    def to_dict(self) -> dict[str, object]:
        """Give it as plain values."""
        rows = [{"id": name, "part": part, "cost_db": cost} for name, part, cost in self.items]
        return {**vars(self), "items": rows}


def without_item(installation: Installation, name: str, port: str) -> Installation:
    """The installation without one item: what follows its port `port` takes its place, other branches go."""
    gone = next(item for item in installation.items if item.id == name)
    items = [
        replace(item, after=gone.after) if item.after == port else item
        for item in installation.items
        if item is not gone
    ]
    ends = [replace(end, after=gone.after) if end.after == port else end for end in installation.outlets]
    reached = {ANTENNA}
    kept: list[InstalledItem] = []
    todo = list(items)
    while todo:
        ready = [item for item in todo if item.after in reached]
        if not ready:
            break
        kept += ready
        reached |= {each for item in ready for each in item.outputs}
        todo = [item for item in todo if item not in ready]
    return replace(
        installation, items=tuple(kept), outlets=tuple(end for end in ends if end.after in reached), supplies=()
    )


def worth_of(installation: Installation, outlet: int, channel: int) -> Worth:
    """Costs at one outlet and channel.

    Source: Differences of nominal C/N, available gain throughout: what a thing costs depends on what stands before it.
    """
    wanted, end = installation.channels[channel], installation.outlets[outlet]
    # The level at the terminals is held: a change must not be paid for by the source.
    source = replace(installation.sources[wanted.signal], kind="field", value=0.0)
    alone = replace(installation, channels=(replace(wanted, signal=0),), sources=(source,), interferers=())
    found, _ = reflection_at(installation.antenna.match, wanted.centre_hz)
    size = min(abs(complex(found)), 0.99)
    base = nominal_levels(matched_antenna(alone, size))
    row = float(base.cn_db[outlet, 0])
    matched = float(nominal_levels(matched_antenna(alone)).cn_db[outlet, 0])
    items: list[tuple[str, str, float]] = []
    port = end.after
    while port != ANTENNA and len(items) < MOST_ITEMS:
        item = next(each for each in installation.items if each.id == port.partition(".")[0])
        less = without_item(matched_antenna(alone, size), item.id, port)
        at = [each.id for each in less.outlets].index(end.id)
        cost = float(nominal_levels(less).cn_db[at, 0]) - row
        what = (
            "amplifier" if isinstance(item.part, Amplifier) else "lead" if item.part.kind == "coax" else item.part.kind
        )
        items.append((item.id, what, cost))
        port = item.after
    return Worth(end.id, wanted.name, (1 + size) / (1 - size), matched - row, tuple(items[::-1]))


MOST_ITEMS = 40
"""Most items on the way of one outlet whose cost is computed."""
