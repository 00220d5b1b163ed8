"""What may be wrong with a chain whose known terminations read oddly: the kinds of fault, where each may sit, how large it may be.

Every kind counts the same beforehand. A size is drawn from a range that reaches zero, so a kind includes faults too small to
matter. What lies ahead of the calibration plane is calibrated out, and is not among the kinds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from chain.analyses.ohmmeter import DC_BLOCKED, broken_pads, resistor_tolerance
from chain.arrays import Real
from chain.assembly.graph import item_ohm, setup_graph
from chain.rf.parts import elements_of
from chain.setups import Item, Setup
from library.formulas import minimum_loss_db
from library.records import Coax, Evidence, Limit, Measured, Pad

MOST_EXTRA_DB, MOST_LESS_DB = 10.0, 1.5
MOST_CONNECTOR = 0.999
CONNECTOR_SPAN = 1.5
"""Reflections of a poor connector are drawn evenly from 0 to this; those above the most there is are a broken or shorted one."""
MOST_STALE = 0.5
LOSS_AT_HZ = np.array([100e6])
"""Where the loss of a pad of resistors is computed, too low for its parasitics to count."""
BETWEEN_OHM = 60.0
OTHER_LENGTH_M, OTHER_PER_SQRT_MHZ_DB, OTHER_LIMIT_DB = 1.0, 10.0, 20.0
"""An element that stands where a measured one is stated: a line of 0 to 2 m, of 3 dB a metre at 1 GHz and 20 dB at its ends; practice."""
OTHER_LOSS = 0.5
"""A cable of the same impedance in a lead's place: as long as that one give or take all of it, its loss a metre this share more or
less; practice."""
RESOLVED_FROM_DB = 1.0
"""Loss of a stated lead, one way, from which on such a cable shows in magnitudes: ends then read up to 2 dB better, or 4 worse."""
RIGHT = "right"
REVERSED = "pad reversed"
MISSING = "pad missing"
LOSS = "pad's loss differs"
NEAR_OR_STALE = "near connector poor or calibration out of date"
NEAR_CONNECTOR = "near connector poor"
STALE = "calibration out of date"
FAR_CONNECTOR = "far connector poor"
OPEN_END = "open end not open"
WRONG_LOAD = "wrong load (50 ohm)"
WRONG_LEAD = "another lead than stated"
BLOCKS_DC = "pad blocks DC"
RESISTOR = "pad's resistor failed"
BAD_END = "load or short bad"
BAD_ENDS = {
    "load": ((0.4, "open"), (0.4, "short"), (0.2, "")),
    "load50": ((0.4, "open"), (0.4, "short"), (0.2, "")),
} | {"short": ((1.0, ""),)}
"""How a known end may be bad: with which share it is an open or a short, else any resistance; own choice."""
LENGTH_SHARE = 0.03
"""What a lead's electrical length is known to: a sound pad hides it, one whose resistor failed does not; practice."""
TOPOLOGY_DB = 0.05
"""A pad between unequal impedances whose loss is stated this close to the least there can be is the one of two resistors."""

RANGES = {
    "pad's loss": f"{MOST_LESS_DB:g} dB less to {MOST_EXTRA_DB:g} dB more than stated",
    "poor connector": (
        f"a reflection of 0 to 1 in front of it, of any phase, another at each making; {1 - 1 / CONNECTOR_SPAN:.0%} broken or shorted"
    ),
    "calibration out of date": f"directivity, tracking and source match each off by up to a size of 0 to {MOST_STALE:g}",
    "open end": "a resistance across it from infinity down to a short: reflection +1 to -1",
    "load or short": "a load as likely open as shorted, one in five of any resistance; a short of any resistance",
    "another lead": (
        "a cable of 50 ohm where one of 75 is stated, or of 75 where another is; where the stated one loses "
        f"{RESOLVED_FROM_DB:g} dB or more, also one of its impedance, up to twice as long; of a measured element, any line to 2 m"
    ),
}
"""Sizes of the kinds that have one, each uniform over its range."""


@dataclass(frozen=True)
class SuspectedFault:
    """One thing that may be wrong, at one place. `setup` is the chain as it then is; `weight` its share of its kind."""

    what: str
    setup: Setup
    weight: float = 1.0
    item: str = ""
    """Id of the item or joint that is at fault."""
    joint: str = ""
    """Where a poor connector sits."""
    flipped: str = ""
    """The item that is turned round."""
    dc_blocked: bool = False
    loss_db: float = 0.0
    """Loss that the item is stated to have [dB]."""
    detail: str = ""
    """What the fault is, in words, where its kind has several at one place."""
    reads_as: str = ""
    """What a bad known end is instead: open or short; nothing for any resistance."""


@dataclass(frozen=True)
class FaultKind:
    """A kind of fault with every place it may sit; the weights of its faults add up to 1."""

    what: str
    faults: tuple[SuspectedFault, ...]


def pads_in_view(setup: Setup) -> tuple[Item, ...]:
    """Pads between the calibration plane and the far end (what lies ahead of the plane is calibrated out)."""
    return tuple(item for item in _behind_plane(setup) if isinstance(item.part, Pad))


def _behind_plane(setup: Setup) -> tuple[Item, ...]:
    plane = setup.calibration.plane
    names = [item.id for item in setup.items]
    return setup.items[0 if plane == "near" else names.index(plane) + 1 :]


def leads_unresolved(setup: Setup, freq_hz: Real) -> tuple[Item, ...]:
    """Leads in whose place another cable of the same impedance would not show in magnitudes at these frequencies.

    Source: An open or a short reads twice the lead's loss lower, whatever the length does to its phase.
    """
    return tuple(
        item for item in _behind_plane(setup) if isinstance(item.part, Coax) and not _is_resolved(item, freq_hz)
    )


def _is_resolved(item: Item, freq_hz: Real) -> bool:
    return _loss_db(item, freq_hz) >= RESOLVED_FROM_DB


def connector_sizes(uniform: Real) -> Real:
    """Reflection of a poor connector for where it stands in its range, 0 to 1."""
    return np.minimum(CONNECTOR_SPAN * uniform, MOST_CONNECTOR)


def kinds_of(setup: Setup, freq_hz: Real, ends: set[str], reseated: bool, with_ohms: bool) -> tuple[FaultKind, ...]:
    """Kinds of fault that the readings of a session may come from."""
    pads = pads_in_view(setup)
    unequal = [item for item in pads if item_ohm(item)[0] != item_ohm(item)[1]]
    near, far = _sides(setup, pads, unequal)
    found = {
        RIGHT: [SuspectedFault(RIGHT, setup)],
        REVERSED: [
            SuspectedFault(REVERSED, _turned(setup, each), item=each.id, flipped=each.id)
            for each in unequal
            if _may_be_turned(setup, each)
        ],
        MISSING: [SuspectedFault(MISSING, _without(setup, each), item=each.id) for each in pads],
        LOSS: [SuspectedFault(LOSS, setup, item=each.id, loss_db=_loss_db(each, LOSS_AT_HZ)) for each in pads],
        NEAR_CONNECTOR: [SuspectedFault(NEAR_CONNECTOR, setup, item=name, joint=name) for name in near],
        STALE: [SuspectedFault(STALE, setup)],
        FAR_CONNECTOR: [SuspectedFault(FAR_CONNECTOR, setup, item=name, joint=name) for name in far],
        OPEN_END: [SuspectedFault(OPEN_END, setup)] if "open" in ends else [],
        WRONG_LOAD: [SuspectedFault(WRONG_LOAD, setup)] if "load" in ends and setup.far.impedance_ohm != 50 else [],
        WRONG_LEAD: [
            SuspectedFault(WRONG_LEAD, _with(setup, each, other), item=each.id)
            for each in _behind_plane(setup)
            for other in _other_leads(each, freq_hz)
        ],
        RESISTOR: [fault for each in pads for fault in _failed_resistors(setup, each)],
        BAD_END: [
            SuspectedFault(BAD_END, setup, share, item=end, reads_as=other)
            for end, ways in BAD_ENDS.items()
            if end in ends
            for share, other in ways
        ],
        BLOCKS_DC: [SuspectedFault(BLOCKS_DC, setup, item=each.id, dc_blocked=True) for each in pads if with_ohms],
    }
    kinds = [_weighed(what, faults) for what, faults in found.items() if faults]
    if reseated or not near:
        return tuple(kinds)
    together = [kind for kind in kinds if kind.what in (NEAR_CONNECTOR, STALE)]
    joined = FaultKind(NEAR_OR_STALE, tuple(replace(f, weight=f.weight / 2) for kind in together for f in kind.faults))
    place = kinds.index(together[0])
    rest = [kind for kind in kinds if kind not in together]
    return (*rest[:place], joined, *rest[place:])


def _weighed(what: str, faults: list[SuspectedFault]) -> FaultKind:
    total = sum(fault.weight for fault in faults)
    return FaultKind(what, tuple(replace(fault, weight=fault.weight / total) for fault in faults))


def _sides(setup: Setup, pads: tuple[Item, ...], unequal: list[Item]) -> tuple[list[str], list[str]]:
    """Joints on the near and on the far side of the pad; without a pad, the first joint after the plane is the near one."""
    plane = setup.calibration.plane
    first = 0 if plane == "near" else [item.id for item in setup.items].index(plane) + 1
    in_view = setup_graph(setup).connections[first : len(setup.items) + 1]
    joints = [joint.id for joint in in_view]
    if len(joints) == 1:
        # The ends are screwed to the plane itself: every reading makes that joint again.
        return [], joints
    if not pads:
        return joints[:1], joints[1:]
    pad = (unequal or list(pads))[0].id
    cut = [joint.far.name for joint in in_view].index(pad) + 1
    return joints[:cut], joints[cut:]


def _loss_db(item: Item, freq_hz: Real) -> float:
    """Nominal loss of a part between its own impedances, resistors at their nominal values, the mean over frequencies [dB]."""
    nominal = elements_of(item, freq_hz)[0].nominal()
    return float(np.mean(-20 * np.log10(np.abs(nominal[:, 1, 0]))))


def _other_leads(item: Item, freq_hz: Real) -> Iterator[Item]:
    """What may stand in a lead's place: cables of the other usual impedance and of its own; for a measured element, any line."""
    part = item.part
    if isinstance(part, Coax):
        ohm = 50.0 if part.impedance_ohm > BETWEEN_OHM else 75.0
        yield replace(item, part=replace(part, impedance_ohm=ohm, impedance_points_hz=(), impedance_points_ohm=()))
        if _is_resolved(item, freq_hz):
            yield replace(item, part=replace(part, loss_tolerance=OTHER_LOSS), length_tolerance_m=item.length_m)
    elif isinstance(part, Measured) and part.near_ohm == part.far_ohm:
        limit = Limit((0.0,), (OTHER_LIMIT_DB,))
        made = Evidence("practice", "any line")
        loss_db = OTHER_PER_SQRT_MHZ_DB
        any_line = Coax(
            part.id, part.name, part.near_ohm, 0.0, 0.66, 0.0, loss_db, 0.0, 0.1, 1e12, 20.0, 0.5, limit, made, made
        )
        yield replace(item, part=any_line, length_m=OTHER_LENGTH_M, length_tolerance_m=OTHER_LENGTH_M)


def _failed_resistors(setup: Setup, item: Item) -> Iterator[SuspectedFault]:
    """A pad with each of its resistors burnt out or bridged, where it is known which resistors it has."""
    pad = item.part
    assert isinstance(pad, Pad)
    ends = pad.near_ohm, pad.far_ohm
    least = not pad.arms and ends[0] != ends[1] and pad.loss_db - minimum_loss_db(max(ends), min(ends)) <= TOPOLOGY_DB
    if pad.dc != "pass" or not (pad.arms or least):
        return
    # Of the least loss, it has two resistors; a hundredth of a decibel more would make a third of them, which no pad has.
    known = replace(item, part=replace(pad, loss_db=0.0) if least else pad)
    for words, failed in broken_pads(known):
        assert isinstance(failed.part, Pad)
        as_resistors = replace(failed.part, model="resistors", arm_tolerance=resistor_tolerance(pad))
        items = (replace(item, part=as_resistors) if each is item else _loosely_long(each) for each in setup.items)
        other = replace(setup, items=tuple(items))
        yield SuspectedFault(RESISTOR, other, item=item.id, detail=words.removesuffix(DC_BLOCKED))


def _loosely_long(item: Item) -> Item:
    """A lead of no better known electrical length than leads usually are."""
    if not isinstance(item.part, Coax):
        return item
    return replace(item, length_tolerance_m=max(item.length_tolerance_m, LENGTH_SHARE * item.length_m))


def _with(setup: Setup, item: Item, other: Item) -> Setup:
    return replace(setup, items=tuple(other if each is item else each for each in setup.items))


def _turned(setup: Setup, item: Item) -> Setup:
    turned = replace(
        item,
        reversed=not item.reversed,
        near_connector=item.far_connector,
        far_connector=item.near_connector,
    )
    return _with(setup, item, turned)


def _may_be_turned(setup: Setup, item: Item) -> bool:
    """Whether an item turned round still mates: one with unlike connectors, such as BNC and F, does not."""
    # Plug and jack of one kind do not count: what is sold under one name has either, and a barrel makes one of the other.
    near, far = item.near_connector, item.far_connector
    turned = replace(
        item,
        reversed=not item.reversed,
        near_connector=replace(far, gender=near.gender),
        far_connector=replace(near, gender=far.gender),
    )
    return all(joint.verdict != "no-mate" for joint in setup_graph(_with(setup, item, turned)).connections)


def _without(setup: Setup, item: Item) -> Setup:
    return replace(setup, items=tuple(each for each in setup.items if each is not item))
