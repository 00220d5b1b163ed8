"""Connectors along the tree, direct current, open ends, overload: what to see to before anything is connected."""

from __future__ import annotations

from dataclasses import dataclass

from chain.assembly.graph import BLOCKING
from chain.findings import Finding
from chain.reception.formulas import DBUV_OF_DBM
from chain.reception.levels import nominal_levels
from chain.reception.records import ANTENNA, Installation, InstalledItem, Outlet
from chain.reception.tree import dc_walk
from chain.results import SCHEMA_VERSION, ResultTable
from library.mating import mate
from library.reception import Amplifier
from library.records import Splitter


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
        Finding("stop", f"{each.above}/{each.below}", each.reason, "'chain parts' lists adapters and leads", "joint")
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


def unpowered(installation: Installation) -> tuple[str, ...]:
    """Amplifiers that get no direct current, or not their own volts: what is computed of them does not hold yet."""
    return tuple(f"'{each.where}' {each.text}" for each in _direct_current(installation) if each.level != "note")


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
            remedy = 'add an item part = "power-injector" with supply = ...'
            found.append(Finding("caution", item.id, f"gets no DC, it needs {need}{why}", remedy, "dc"))
        elif abs(supply.volts - item.part.power_v) > 0.2 * item.part.power_v:
            text = f"gets {supply.volts:g} V and is made for {item.part.power_v:g} V"
            found.append(Finding("stop", item.id, text, "take the supply that belongs to it", "dc"))
        else:
            text = f"fed with {supply.volts:g} V from {supply.at}, about {item.part.current_ma:g} mA"
            found.append(Finding("note", item.id, text, "unplug the supply before a joint is opened", "dc"))
    for way in ways:
        found += [
            Finding(
                "caution",
                name,
                f"{way.supply.volts:g} V from {way.supply.at} reach it",
                "put a DC block before it",
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
    for row, outlet in enumerate(installation.outlets):
        limit = outlet.receiver.overload_dbm + DBUV_OF_DBM if outlet.receiver else float("inf")
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
