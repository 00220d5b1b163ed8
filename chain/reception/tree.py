"""The tree of an installation: what follows what, every output used once, DC from one supply to the amplifiers."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from typing import Any

from chain.errors import plain, quoted
from chain.files.tables import Diagnostics
from chain.files.toml import Where, closest
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet, ReceivingAntenna, Supply
from library.reception import Amplifier, Inline
from library.records import Coax, Pad, Splitter

Row = tuple[Where, InstalledItem]
End = tuple[Where, Outlet]
RESISTORS = "resistors"


def link(
    items: list[Row],
    outlets: list[End],
    antenna: ReceivingAntenna | None,
    rows: dict[str, list[Any]],
    into: Diagnostics,
) -> tuple[Supply, ...]:
    """See that the items form one tree with every output used, and find its supply of DC."""
    ports = {ANTENNA: ANTENNA} | {port: item.id for _, item in items for port in item.outputs}
    known = {item.id: item for _, item in items}
    whole = len(items) == len(rows["item"]) and len(outlets) == len(rows["outlet"])
    used: dict[str, str] = {}
    rows_of: list[tuple[Where, InstalledItem | Outlet]] = [*items, *outlets]
    for where, each in rows_of:
        _follow(where, each, ports, known, used, whole, into)
    if whole:
        _unused(items, ports, used, into)
        _cycles(items, used, into)
    if into.defects or antenna is None:
        return ()
    return _supplies(items, outlets, antenna, rows, into)


def _follow(
    where: Where,
    each: InstalledItem | Outlet,
    ports: dict[str, str],
    known: dict[str, InstalledItem],
    used: dict[str, str],
    whole: bool,
    into: Diagnostics,
) -> None:
    """Take down what one row of the tree follows."""
    spot, after = (*where, "after"), each.after
    if after not in ports:
        if after in known:
            names = ", ".join(known[after].outputs)
            into.defect(spot, f"{quoted(after)} has several outputs", f"name one: {names}")
        elif after.partition(".")[0] in known:
            outputs = known[after.partition(".")[0]].outputs
            # By its number alone one output is meant, and is no free one.
            meant = [port for port in outputs if port.partition(".")[2] == f"out{after.partition('.')[2]}"]
            for port in meant:
                used.setdefault(port, each.id)
            remedy = f"write {meant[0]}" if meant else f"its outputs: {', '.join(outputs)}"
            into.defect(spot, f"there is no output {quoted(after)}", remedy)
        elif whole:
            hint = closest(after, ports)
            into.defect(spot, f"nothing is called {quoted(after)}", hint or "name the item it follows, or antenna")
    elif after.partition(".")[0] == each.id:
        into.defect(spot, f"{quoted(each.id)} follows itself", "name what stands before it, or antenna")
    elif after in used:
        what = "the antenna has" if after == ANTENNA else f"output {quoted(after)} has"
        into.defect(
            spot, f"{what} a follower already: {quoted(used[after])}", "put a splitter there, and name its outputs"
        )
    else:
        used[after] = each.id


def _unused(items: list[Row], ports: dict[str, str], used: dict[str, str], into: Diagnostics) -> None:
    homes = {item.id: where for where, item in items}
    for port, owner in ports.items():
        if port in used:
            continue
        remedy = f'add [[outlet]] after = "{port}" with end = "75 ohm" (or "open") and an id of its own'
        where = homes.get(owner, ("antenna",))
        what = "nothing follows the antenna" if owner == ANTENNA else f"output {quoted(port)} is not used"
        into.defect(where, what, remedy, "header")


def _cycles(items: list[Row], used: dict[str, str], into: Diagnostics) -> None:
    """Items that no way leads to from the antenna: each has a predecessor, so they run in circles."""
    known = {item.id: item for _, item in items}
    todo, reached = [ANTENNA], set()
    while todo:
        port = todo.pop()
        follower = used.get(port)
        if follower in known and follower not in reached:
            reached.add(follower)
            todo += known[follower].outputs
    if any(defect.where[-1:] == ("after",) for defect in into.defects):
        return
    for where, item in items:
        if item.id not in reached:
            trail = [item.id]
            while len(trail) <= len(items):
                before = known[trail[-1]].after.partition(".")[0]
                if before in trail:
                    circle = " after ".join(quoted(each) for each in [*trail[trail.index(before) :], before])
                    into.defect(
                        (*where, "after"), f"goes round in a circle: {circle}", "let one of them follow the antenna"
                    )
                    break
                trail.append(before)
            return


def dc_passes(item: InstalledItem) -> str:
    """What an item does with DC between input and output: pass, block, short, or resistors."""
    part = item.part
    if isinstance(part, Pad) or (isinstance(part, Splitter) and "resistive" in part.id):
        return RESISTORS
    if isinstance(part, Amplifier):
        return "block"
    if isinstance(part, Coax):
        return "pass"
    dc = str(getattr(part, "dc", "pass"))
    return "pass" if dc == "inject" else dc


@dataclass
class DirectCurrentWay:
    """Where the DC of a supply goes: the amplifiers that it feeds, what stops it, and what it reaches that may suffer."""

    supply: Supply
    fed: list[str] = field(default_factory=list)
    stopped: list[str] = field(default_factory=list)
    harmed: list[tuple[str, str]] = field(default_factory=list)
    unsure: list[str] = field(default_factory=list)
    """Measured two-ports on its way: their file does not say whether DC passes."""


def followers_of(items: tuple[InstalledItem, ...], outlets: tuple[Outlet, ...]) -> dict[str, InstalledItem | Outlet]:
    """What follows each port."""
    found: dict[str, InstalledItem | Outlet] = {item.after: item for item in items}
    found.update({outlet.after: outlet for outlet in outlets})
    return found


def dc_walk(
    supply: Supply, items: tuple[InstalledItem, ...], outlets: tuple[Outlet, ...], antenna: ReceivingAntenna
) -> DirectCurrentWay:
    """Follow DC from its supply: towards the antenna, and out of every output of a splitter that passes it on.

    An injector feeds its input; a receiver what it hangs on. An amplifier takes DC at its output and lets none through.
    """
    known = {item.id: item for item in items}
    followers = followers_of(items, outlets)
    start: InstalledItem | Outlet = known.get(supply.at) or next(each for each in outlets if each.id == supply.at)
    way = DirectCurrentWay(supply)
    todo = [(start.after, True)]
    while todo:
        port, upwards = todo.pop()
        todo += _up(port, known, antenna, way) if upwards else _down(port, followers, way)
    return way


def _up(
    port: str, known: dict[str, InstalledItem], antenna: ReceivingAntenna, way: DirectCurrentWay
) -> list[tuple[str, bool]]:
    """DC that enters an item at one of its outputs."""
    if port == ANTENNA:
        way.harmed += [(ANTENNA, "short")] if antenna.dc == "short" else []
        return []
    above = known[port.partition(".")[0]]
    if isinstance(above.part, Amplifier):
        (way.fed if above.part.power_v else way.stopped).append(above.id)
        return []
    passes = dc_passes(above)
    if passes == "block":
        way.stopped.append(above.id)
        return []
    if passes != "pass":
        way.harmed.append((above.id, passes))
        return []
    if above.part.kind == "measured":
        way.unsure.append(above.id)
    return [(above.after, True), *((each, False) for each in above.outputs if each != port)]


def _down(port: str, followers: dict[str, InstalledItem | Outlet], way: DirectCurrentWay) -> list[tuple[str, bool]]:
    """DC that leaves a splitter by another output."""
    below = followers.get(port)
    if isinstance(below, InstalledItem):
        passes = dc_passes(below)
        if passes == "pass":
            return [(each, False) for each in below.outputs]
        if passes != "block":
            way.harmed.append((below.id, passes))
    elif below is not None and below.id != way.supply.at and below.end != "open":
        way.harmed.append((below.id, "load" if below.end else "receiver"))
    return []


def _supplies(
    items: list[Row], outlets: list[End], antenna: ReceivingAntenna, rows: dict[str, list[Any]], into: Diagnostics
) -> tuple[Supply, ...]:
    """The supply of DC: at most one, and nothing in its way that cannot stand it."""
    from chain.files.quantities import reader

    found: list[tuple[Where, Supply]] = []
    for key, placed in (("item", items), ("outlet", outlets)):
        for where, each in placed:
            text = rows[key][int(where[1])].get("supply")
            if text is not None:
                found.append(((*where, "supply"), Supply(each.id, reader("voltage")(text))))
    for where, _ in found[1:]:
        into.defect(where, f"DC is fed at {quoted(found[0][1].at)} already", "one supply: leave the other out", "key")
    if not found or into.defects:
        return ()
    where, supply = found[0]
    way = dc_walk(supply, tuple(item for _, item in items), tuple(outlet for _, outlet in outlets), antenna)
    for name, how in way.harmed:
        what = {
            "short": f"{quoted(name)} is a short for DC: {supply.volts:g} V would be shorted there",
            RESISTORS: f"{supply.volts:g} V would reach {quoted(name)}, whose resistors are not rated for it",
            "load": f"{supply.volts:g} V would reach the load at {quoted(name)}: {supply.volts**2 / 75:.1f} W in 75 ohm",
            "receiver": f"{supply.volts:g} V would reach the receiver at {quoted(name)}",
        }[how]
        if how == "receiver":
            into.warnings.append(f"{plain(what)}; a splitter that passes DC on one output alone avoids it")
        else:
            into.defect(where, what, 'put a DC block (part = "dc-block-f") before it, or feed the amplifier elsewhere')
    return (supply,)


BYPASS_TOLERANCE_DB = 1.0
"""Half-width of a bypass loss; practice: 1 to 3 dB where 2 are usual."""


def bypassed(installation: Installation, names: Collection[str]) -> Installation:
    """The installation with the named amplifiers as their bypasses; one that has none passes its reverse loss only."""
    items = tuple(
        replace(item, part=_bypass(item.part)) if item.id in names and isinstance(item.part, Amplifier) else item
        for item in installation.items
    )
    fed = any(isinstance(item.part, Amplifier) and item.part.power_v for item in items)
    # A supply that has nothing left to feed is no fault of its own.
    return replace(installation, items=items, supplies=installation.supplies if fed else ())


def _bypass(part: Amplifier) -> Inline:
    loss_db = part.bypass_loss_db or part.reverse_loss_db
    return Inline(
        part.id,
        part.name,
        "bypass",
        part.input_connector,
        part.output_connector,
        (0.0,),
        (loss_db,),
        BYPASS_TOLERANCE_DB,
        part.limit,
        "block",
        part.min_hz,
        part.max_hz,
        part.evidence,
    )


def way_to(installation: Installation, place: str) -> list[str]:
    """Items between the antenna and a place, the antenna's first."""
    ends = {outlet.id: outlet.after for outlet in installation.outlets}
    homes = {item.id: item for item in installation.items}
    port, way = ends.get(place, homes[place].after if place in homes else ANTENNA), []
    while port != ANTENNA:
        item = homes[port.partition(".")[0]]
        way.append(item.id)
        port = item.after
    return way[::-1]


def bypass_words(installation: Installation, names: Collection[str]) -> str:
    """What stands in for amplifiers without their feed, in words."""
    parts = {item.id: item.part for item in installation.items if item.id in names}
    words = []
    for name, part in parts.items():
        assert isinstance(part, Amplifier)
        bypass = f"as a bypass of {part.bypass_loss_db:g} dB" if part.bypass_loss_db else "passes nothing"
        words.append(f"'{name}' {bypass}")
    return f"Levels without the feed: {', '.join(words)}."
