"""Checks of what may be damaged or hurt: DC on the lead, power, and the cautions that always hold."""

from __future__ import annotations

from math import log10

from chain.analyses.dc_feed import DirectCurrent, ResistorHeat, direct_current, pad_arms
from chain.assembly.graph import Connection, SetupGraph
from chain.findings import Finding
from chain.setups import Item, Setup
from library.records import Pad

METER = "unplug receivers, injectors and supplies, then meter centre to shield before connecting"
BLOCK = "or put a DC block, rated for the volts, between antenna and pad: at the analyzer it would not save the pad"

STANDING = (
    (
        "static: a lead that floats charges up in rain or dry wind; never work on it in a thunderstorm",
        "short its centre to its shield before connecting it, and connect it without delay",
    ),
    (
        "masts and power lines: a mast or lead that touches a power line kills",
        "keep clear by more than twice the mast's height; local codes and a licensed rigger have the last word",
    ),
    (
        "mains: the chassis of a receiver, and so the lead's shield, may carry mains voltage",
        "unplug the receivers and measure lead to earth first; earthing and bonding follow local codes and are work for a "
        "licensed electrician",
    ),
    ("DC: masthead amplifiers and dishes are fed 5 to 24 V through the lead", METER),
)
"""What, and what to do; published cautions, the distance from power lines common practice."""


def safety(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Give the cautions that hold for every antenna lead."""
    # With no feed stated, the check of the DC path itself asks for the meter.
    reported = STANDING if setup.far.dc_feed_v is not None else STANDING[:-1]
    return [Finding("caution", "far", text, remedy, "safety") for text, remedy in reported]


def dc_path(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Follow the stated DC feed down the chain: volts at the analyzer, heat in every resistor."""
    feed_v = setup.far.dc_feed_v
    if feed_v is None:
        return [
            Finding(
                "caution",
                "far",
                "the file does not say if DC comes down the lead; masthead amplifiers and dishes are fed 5 to 24 V",
                f"{METER}; then state dc_feed",
                "dc",
            )
        ]
    if feed_v == 0:
        return []
    cases = [direct_current(graph, abs(feed_v), ohm) for ohm in (None, setup.near.impedance_ohm)]
    if cases[0].shorted:
        text = (
            f"the {abs(feed_v):g} V of the lead meet a DC short: the supply is short-circuited, the analyzer gets 0 V"
        )
        return [Finding("caution", "far", text, METER, "dc")]
    return [_at_port(setup, cases), *_heat(setup.items, cases)]


def _at_port(setup: Setup, cases: list[DirectCurrent]) -> Finding:
    feed_v, limit_v = cases[0].feed_v, setup.near.max_dc_v
    blocked, loaded = (case.port_v for case in cases)
    if blocked == 0:
        return Finding("note", "near", f"the {feed_v:g} V of the lead do not reach the analyzer's port", "", "dc")
    text = (
        f"{feed_v:g} V on the lead put {blocked:.1f} V on the analyzer's port if it blocks DC inside, and {loaded:.1f} V "
        f"({loaded / setup.near.impedance_ohm * 1e3:.0f} mA) if its input is {setup.near.impedance_ohm:g} ohm to DC"
    )
    if limit_v is None:
        return Finding("caution", "near", f"{text}; how much it takes is not stated", f"{METER}, {BLOCK}", "dc")
    if blocked > limit_v:
        return Finding("stop", "near", f"{text}; it takes at most {limit_v:g} V", f"{METER}, {BLOCK}", "dc")
    return Finding("note", "near", f"{text}; it takes at most {limit_v:g} V", "", "dc")


def _heat(items: tuple[Item, ...], cases: list[DirectCurrent]) -> list[Finding]:
    found = []
    for name in dict.fromkeys(each.item for case in cases for each in case.resistors if each.item != "near"):
        own = [[each for each in case.resistors if each.item == name] for case in cases]
        if not any(each.power_w for case in own for each in case):
            continue
        sums_w = [sum(each.power_w for each in case) for case in own]
        texts = [
            f"{sum_w:.2f} W in all {port} ({', '.join(map(_resistor, case))})"
            for sum_w, case, port in zip(
                sums_w, own, ("with the port blocking DC", "with a DC-coupled port"), strict=True
            )
        ]
        rating_w = own[0][0].rating_w
        worst_w = max(each.power_w for case in own for each in case)
        level = "caution" if not rating_w else "stop" if worst_w > rating_w else "note"
        rated = f"rated {rating_w:g} W each" if rating_w else "of unknown rating"
        feed = f"{abs(cases[0].feed_v):g} V DC"
        text = f"{feed} puts up to {max(sums_w):.2f} W into its resistors, {rated}; {'; '.join(texts)}"
        found.append(Finding(level, name, text, "" if level == "note" else f"{METER}, {BLOCK}", "dc-heat"))
    return found


def _resistor(each: ResistorHeat) -> str:
    return f"{each.name} {each.power_w:.2f} W"


def pad_input_limit_w(pad: Pad, from_far: bool = True) -> float:
    """Most power that may enter a pad before one of its resistors is past its rating, the other end matched [W].

    Source: Share of the input power in each arm of the ladder; the largest of the minimum-loss pad's is 0.5774 (50 to
    75 ohm).
    """
    arms = pad_arms(pad)[::-1] if from_far else pad_arms(pad)
    end_ohm = pad.near_ohm if from_far else pad.far_ohm
    # Seen from the matched end: volts and amperes at 1 V there, arm by arm towards the input.
    volts, amperes = 1.0, 1.0 / end_ohm
    heat_w = []
    for kind, ohm in reversed(arms):
        if kind == "series":
            heat_w.append(amperes**2 * ohm)
            volts += amperes * ohm
        else:
            heat_w.append(volts**2 / ohm)
            amperes += volts / ohm
    return pad.resistor_power_w * volts * amperes / max(heat_w) if heat_w else float("inf")


def power_limits(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """State the power that the pads and the analyzer's port stand."""
    found = []
    loss_db = 0.0
    for item in setup.items:
        pad = item.part
        if not isinstance(pad, Pad):
            continue
        loss_db += max(0.0, pad.loss_db - pad.loss_tolerance_db)
        limit_w = min(pad_input_limit_w(pad, from_far) for from_far in (True, False))
        if limit_w < float("inf"):
            text = (
                f"takes at most {limit_w:.2f} W ({10 * log10(limit_w * 1e3):.1f} dBm) at either end, "
                f"its resistors {pad.resistor_power_w:g} W each"
            )
            found.append(Finding("note", item.id, text, "never transmit into it", "power"))
    limit_dbm = setup.near.max_power_dbm
    if limit_dbm is not None:
        text = f"its port takes at most {limit_dbm:.3g} dBm"
        text += f", reached with {limit_dbm + loss_db:.1f} dBm at the antenna" if loss_db else ""
        found.append(Finding("note", "near", text, "keep transmitters near the antenna off", "power"))
    return found
