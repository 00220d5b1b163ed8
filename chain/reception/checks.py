"""Connectors, direct current, open ends, overload: what to see to before anything is connected, and where levels are amiss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

from chain.assembly.graph import BLOCKING
from chain.findings import Finding
from chain.reception.levels import most_in_all_dbuv, nominal_levels
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet
from chain.reception.tree import dc_walk, way_to
from chain.results import SCHEMA_VERSION, ResultTable
from library.frozen import dataclass
from library.mating import mate
from library.reception import Amplifier, Inline
from library.records import Connector, Evidence, Splitter

if TYPE_CHECKING:
    from chain.reception.seen import SeenRow


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


SHORT_LEAD = 'put a lead made up to fit between them: part = "rg6", length = "0.5 m"'
"""What joins any two connectors of a house."""


def blocking_joints(installation: Installation) -> tuple[TreeJoint, ...]:
    """Joints that do not go together."""
    return tuple(each for each in tree_joints(installation) if each.verdict in BLOCKING)


@dataclass(frozen=True, repr=False)
class InstallationCheck(ResultTable):
    """Whether the connectors of an installation fit, where its DC goes, and what to beware of."""

    title: str
    fits: bool
    joints: tuple[TreeJoint, ...]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]

    ROWS = "joints"
    COLUMNS = ("above", "below", "above_connector", "below_connector", "verdict")

    @property
    def sound(self) -> bool:
        """Whether it fits and nothing says stop."""
        return self.fits and all(each.level != "stop" for each in self.findings)

    def to_dict(self) -> dict[str, object]:
        """Give the check as plain values."""
        return {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(self.assumed),
            "fits": self.fits,
            "joints": [
                {
                    "near": each.above,
                    "far": each.below,
                    "near_connector": each.above_connector,
                    "far_connector": each.below_connector,
                    "verdict": each.verdict,
                    "reason": each.reason,
                }
                for each in self.joints
            ],
            "cautions": [each.to_dict() for each in self.findings],
        }


def check_installation(installation: Installation) -> InstallationCheck:
    """Check an installation before anything is connected.

    Parameters
    ----------
    installation : the receiving installation.

    Returns
    -------
    InstallationCheck: joints with their verdicts, the DC followed to its amplifiers, ports left open, overload, and the
    cautions of the trade.

    Examples
    --------
    >>> from chain import check_installation, load_installation
    >>> check_installation(load_installation("demo/outlets.toml")).fits
    True

    Source
    ------
    Mating rules of the library; cautions of the trade (practice).
    """
    joints = tree_joints(installation)
    fits = all(each.verdict not in BLOCKING for each in joints)
    findings = [
        Finding("stop", f"{each.above}/{each.below}", each.reason, SHORT_LEAD, "joint")
        for each in joints
        if each.verdict in BLOCKING
    ]
    findings += [
        Finding("caution", f"{each.above}/{each.below}", each.reason, "", "joint")
        for each in joints
        if each.verdict == "caution"
    ]
    findings += [*_direct_current(installation), *_open_ends(installation), *_overload(installation), *CAUTIONS]
    return InstallationCheck(
        installation.title, fits, joints, tuple(findings), installation.warnings, installation.assumed
    )


def unpowered(installation: Installation) -> tuple[Finding, ...]:
    """What is amiss with the direct current: until it is mended, nothing that is computed is a verdict."""
    return tuple(each for each in _direct_current(installation) if each.level != "note")


def unfed_amplifiers(installation: Installation) -> tuple[str, ...]:
    """Amplifiers that get no direct current, or not their own volts."""
    amplifiers = {item.id for item in installation.items if isinstance(item.part, Amplifier)}
    return tuple(each.where for each in unpowered(installation) if each.where in amplifiers)


def _remedy_without_supply(installation: Installation, amplifier: str, volts: float, stopped: list[str]) -> str:
    """How an amplifier comes to its supply, with what the tree has already."""
    idle = [
        item.id
        for item in installation.items
        if getattr(item.part, "kind", "") == "injector"
        and amplifier in way_to(installation, item.id)
        and item.id not in {each.at for each in installation.supplies}
    ]
    if stopped:
        return f"put the injector between '{amplifier}' and '{stopped[0]}'"
    if idle:
        return f"add supply = \"{volts:g} V\" to '{idle[0]}'"
    return f'add an item part = "power-injector" with supply = "{volts:g} V"'


def _direct_current(installation: Installation) -> list[Finding]:
    """Every amplifier that needs DC gets it, at its volts; nothing else does."""
    found = []
    ways = [
        dc_walk(each, installation.items, installation.outlets, installation.antenna) for each in installation.supplies
    ]
    fed = {name: way.supply for way in ways for name in way.fed}
    for item in installation.items:
        if not isinstance(item.part, Amplifier) or not item.part.power_v:
            continue
        supply = fed.get(item.id)
        need = f"{item.part.power_v:g} V up the lead"
        if supply is None:
            stopped = [name for way in ways for name in way.stopped]
            why = f"; {stopped[0]} stops it" if stopped else ""
            remedy = _remedy_without_supply(installation, item.id, item.part.power_v, stopped)
            found.append(Finding("caution", item.id, f"gets no DC, it needs {need}{why}", remedy, "dc"))
        elif abs(supply.volts - item.part.power_v) > 0.2 * item.part.power_v:
            text = f"gets {supply.volts:g} V and is made for {item.part.power_v:g} V"
            remedy = f"take the supply that belongs to it: supply = \"{item.part.power_v:g} V\" at '{supply.at}'"
            found.append(Finding("stop", item.id, text, remedy, "dc"))
        else:
            text = f"fed with {supply.volts:g} V from {supply.at}, about {item.part.current_ma:g} mA"
            found.append(Finding("note", item.id, text, "unplug the supply before a joint is opened", "dc"))
    for way in ways:
        found += [
            Finding(
                "caution",
                name,
                f"{way.supply.volts:g} V from {way.supply.at} reach it",
                'put a DC block (part = "dc-block-f") before it',
                "dc",
            )
            for name, _ in way.harmed
        ]
        found += [
            Finding("caution", name, "its file does not say whether DC passes", "meter it before you rely on it", "dc")
            for name in way.unsure
        ]
        if not way.fed:
            found.append(Finding("caution", way.supply.at, "feeds no amplifier", "leave the supply out", "dc"))
    return found


def _open_ends(installation: Installation) -> list[Finding]:
    return [
        Finding("caution", outlet.id, "an open port sends everything back into the others", "end it in 75 ohm", "open")
        for outlet in installation.outlets
        if outlet.end == "open"
    ]


def _overload(installation: Installation) -> list[Finding]:
    """Receivers and amplifiers that get too much, nominally."""
    if any(each.verdict in BLOCKING for each in tree_joints(installation)):
        return []
    nominal = nominal_levels(installation)
    found = []
    for row, (outlet, limit) in enumerate(zip(installation.outlets, most_in_all_dbuv(installation), strict=True)):
        total = float(nominal.total_dbuv[row])
        if total > limit:
            text = f"gets {total:.0f} dBuV in all, its receiver takes at most {limit:.0f}"
            found.append(Finding("caution", outlet.id, text, "less gain, a filter or an attenuator", "overload"))
    for name, distance in nominal.amplifier_distance_db.items():
        if float(distance.min()) < LEAST_DISTANCE_DB:
            text = f"is driven to {nominal.amplifier_total_dbuv[name]:.0f} dBuV: its own products lie {distance.min():.0f} dB down"
            found.append(Finding("caution", name, text, "less gain, or a filter before it", "overload"))
    return found


CAUTIONS = (
    Finding("note", "", "mains: amplifiers and supplies with a mains plug are for indoors and dry places", "", "mains"),
    Finding("note", "", "DC on the lead: meter centre to shield before an analyzer or a meter is connected", "", "dc"),
    Finding("note", "", "roof and mast: never alone, never near power lines, not in wind, wet or thunder", "", "roof"),
    Finding(
        "note",
        "",
        "earthing, bonding and surge protection of mast and lead follow local codes and are for licensed people",
        "",
        "earth",
    ),
)
"""What holds for every installation."""
LEAST_DISTANCE_DB = 25.0

SUSPECT_DB = 3.0
LEAST_GAIN_DB = 6.0
"""A gain that a poor joint could take as well tells nothing of the amplifier."""


@dataclass(frozen=True)
class DeadAmplifier:
    """An amplifier behind which everything seen is low by about what it should give."""

    id: str
    gain_db: float
    bypass_loss_db: float
    power_v: float
    levels: int
    """Levels seen behind it."""
    lacking_db: float
    """The middle one of what they lack."""


def dead_amplifier(installation: Installation, rows: Sequence[SeenRow]) -> DeadAmplifier | None:
    """The amplifier that seems not to work, from rows that are held against the antenna's level or the signal as stated.

    Every place behind it lacks its gain, or that and its bypass loss, within what was expected there; no other place lacks
    as much.
    """
    ways = {place: way_to(installation, place) for place in {row.place for row in rows} - {ANTENNA}}
    found = []
    for item in installation.items:
        part = item.part
        if not isinstance(part, Amplifier) or part.gain_db < LEAST_GAIN_DB:
            continue
        behind = [row for row in rows if item.id in ways.get(row.place, ())]
        beside = [row for row in rows if row not in behind]
        most_db = part.gain_db + part.bypass_loss_db
        lacks = all(
            row.difference_db + most_db >= row.low_db and row.difference_db + part.gain_db <= row.high_db
            for row in _typical(behind)
        )
        if not behind or any(row.fits for row in behind) or not lacks:
            continue
        if any(row.difference_db < -part.gain_db / 2 for row in beside):
            continue
        lacking = -median(row.difference_db for row in behind)
        found.append(DeadAmplifier(item.id, part.gain_db, part.bypass_loss_db, part.power_v, len(behind), lacking))
    return min(found, key=lambda each: abs(each.lacking_db - each.gain_db - each.bypass_loss_db), default=None)


def _typical(rows: Sequence[SeenRow]) -> list[SeenRow]:
    """The middle row of each place: one channel may have a fault of its own beside."""
    places = {
        row.place: sorted((r for r in rows if r.place == row.place), key=lambda r: r.difference_db) for row in rows
    }
    return [each[len(each) // 2] for each in places.values()]


def with_losses(installation: Installation, rows: Sequence[SeenRow]) -> Installation:
    """The installation with what the levels seen lack as a loss before each outlet that differs from the model."""
    losses: dict[str, dict[float, float]] = {}
    for row in rows:
        if not row.fits and row.place != ANTENNA and row.difference_db < 0:
            losses.setdefault(row.place, {})[row.freq_hz] = -row.difference_db
    items, ends = list(installation.items), []
    taken = {item.id for item in items}
    for end in installation.outlets:
        if end.id not in losses:
            ends.append(end)
            continue
        name = next(each for each in (f"lost-{end.id}{'-' * n}" for n in range(99)) if each not in taken)
        points = sorted(losses[end.id].items())
        part = _loss(tuple(freq for freq, _ in points), tuple(loss for _, loss in points))
        items.append(InstalledItem(name, part, end.after, input_connector=None, output_connector=None))
        ends.append(replace(end, after=name))
    return replace(installation, items=tuple(items), outlets=tuple(ends)) if losses else installation


def _loss(freq_hz: tuple[float, ...], loss_db: tuple[float, ...]) -> Inline:
    """A matched loss, as it was seen; where it lies nobody knows."""
    own = Connector("F-75", "jack")
    return Inline(
        "loss", "loss as seen", "loss", own, own, freq_hz, loss_db, 0.0, None, "pass", 0.0, 1e12, Evidence("stated", "")
    )


def suspects_of(
    rows: Sequence[SeenRow],
    installation: Installation,
    resolution_hz: float | None,
    odd: set[str],
) -> list[str]:
    """Whom to suspect where the differences do not fit; the way to a place that differs from others, not the field."""
    places = list(dict.fromkeys(row.place for row in rows))
    off = {place: [row for row in rows if row.place == place and not row.fits] for place in places}
    sound = {name for place in places if not off[place] for name in way_to(installation, place)}
    reasons: dict[str, list[tuple[str, float]]] = {}
    for place in places:
        if not off[place]:
            continue
        typical = median(row.difference_db for row in off[place])
        if abs(typical) < SUSPECT_DB and len(off[place]) < 2:
            continue
        if typical > 0:
            reason = "the meter (75 or 50 ohm, pad, dBuV or dBm) or an amplifier's gain"
        elif place == ANTENNA or (
            place not in odd and any(row.against == "the signal as stated" for row in off[place])
        ):
            reason = "the field assumed, pointing, the balun, water in a joint" + (
                "" if resolution_hz else "; or a marker read instead of channel power"
            )
        else:
            reason = WAY
        reasons.setdefault(reason, []).append((place, typical))
    found = []
    for reason, those in reasons.items():
        for group in _groups(those, installation, sound) if reason == WAY else [those]:
            own = _shared([place for place, _ in group], installation, sound)
            why = f"{', '.join(own) or 'what lies on its way'}: {WAY}" if reason == WAY else reason
            found.append(f"{', '.join(place for place, _ in group)}: {_size(group)}: suspect {why}")
    return found


WAY = "a bad joint, a longer or poorer lead, a port left open"


def _size(group: Sequence[tuple[str, float]]) -> str:
    sizes = sorted({f"{abs(typical):.0f}" for _, typical in group}, key=float)
    span = sizes[0] if len(sizes) == 1 else f"{sizes[0]} to {sizes[-1]}"
    return f"{span} dB {'less' if group[0][1] < 0 else 'more'} than predicted"


def _shared(places: Sequence[str], installation: Installation, sound: set[str]) -> list[str]:
    """What lies on the ways to all of some places and on none to a place where all fits, amplifiers first."""
    ways = [way_to(installation, place) for place in places]
    names = [name for name in ways[0] if name not in sound and all(name in way for way in ways)]
    amplifiers = {item.id for item in installation.items if isinstance(item.part, Amplifier)}
    return sorted(names, key=lambda name: name not in amplifiers)


def _groups(
    those: list[tuple[str, float]], installation: Installation, sound: set[str]
) -> list[list[tuple[str, float]]]:
    """All places in one where they lack about the same and share what may be at fault, else each by itself."""
    sizes = [typical for _, typical in those]
    alike = max(sizes) - min(sizes) <= SUSPECT_DB and _shared([place for place, _ in those], installation, sound)
    return [those] if alike else [[each] for each in those]
