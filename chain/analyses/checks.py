"""Does a set-up fit together, is anything about to be damaged, and what is worth knowing before it is connected.

Each check is one function `(setup, joints, graph) -> list[Finding]`; `CHECKS` lists them in the order of their remarks.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from chain.analyses.hazards import dc_path, power_limits, safety
from chain.analyses.impedances import (
    costed_joints,
    impedance_changes,
    missing_match,
    reversed_part,
    wrong_impedance,
)
from chain.assembly.graph import BLOCKING, Connection, SetupGraph, setup_graph, without_adapter
from chain.findings import LEVELS, REVERSED, Finding
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from chain.setups import Item, Setup, with_conductors
from library.frozen import dataclass
from library.mating import bridging_adapters
from library.parts import Library
from library.records import Coax, Connector

MOST_NAMED = 3
"""Adapters named for one joint, at most."""
ROUNDING = 1e-9

Check = Callable[[Setup, tuple[Connection, ...], SetupGraph], list[Finding]]


@dataclass(frozen=True)
class CheckedConnection:
    """One joint as judged. `missing` names adapters that would join its two ends, empty where they fit."""

    near: str
    far: str
    near_connector: str
    far_connector: str
    verdict: str
    reason: str
    mismatch_loss_db: float
    missing: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether the two ends go together, with or without a cost."""
        return self.verdict not in BLOCKING

    def to_dict(self) -> dict[str, Any]:
        """The joint as plain values."""
        return {
            "near": self.near,
            "far": self.far,
            "near_connector": self.near_connector,
            "far_connector": self.far_connector,
            "verdict": self.verdict,
            "reason": self.reason,
            "mismatch_loss_db": plain_values(self.mismatch_loss_db),
            "missing": list(self.missing),
        }


@dataclass(frozen=True, repr=False)
class CheckResult(ResultTable):
    """Answer of all checks. `findings` run from stop to note; `fits` is about the joints alone."""

    ROWS = "joints"
    COLUMNS = ("near", "far", "near_connector", "far_connector", "verdict", "mismatch_loss_db", "reason")

    title: str
    fits: bool
    joints: tuple[CheckedConnection, ...]
    findings: tuple[Finding, ...]
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether it fits and nothing says stop."""
        return self.fits and all(each.level != "stop" for each in self.findings)

    def headline(self) -> str:
        """Title, whether it fits, and how many remarks of each level there are."""
        counts = ((level, sum(each.level == level for each in self.findings)) for level in LEVELS)
        reported = ", ".join(f"{count} x {level}" for level, count in counts if count)
        return f"{self.title}: {'fits together' if self.fits else 'does not fit together'}" + (
            f"; {reported}" if reported else ""
        )

    def to_dict(self) -> dict[str, Any]:
        """The answer as plain values for JSON; the findings are its `cautions`."""
        return {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(self.assumed),
            "fits": self.fits,
            "joints": [each.to_dict() for each in self.joints],
            "cautions": [each.to_dict() for each in self.findings],
        }


def check(setup: Setup, library: Library | None = None) -> CheckResult:
    """Judge every joint of a set-up and run every check on it.

    Parameters
    ----------
    setup : the set-up; it need not fit together.
    library : families, mating rules and adapters; the set-up's own if left out.

    Returns
    -------
    CheckResult.

    Examples
    --------
    >>> from chain import check, load_setup
    >>> found = check(load_setup("demo/boathouse.toml"))
    >>> found.fits, [each.verdict for each in found.joints]
    (True, ['ok', 'ok', 'ok', 'caution'])

    Source
    ------
    Mating rules of the library; each check names its own.
    """
    setup = with_conductors(setup)
    graph = setup_graph(setup, library)
    joints = graph.connections
    checked = tuple(_checked(each, graph.library) for each in joints)
    found = [finding for each in CHECKS for finding in each(setup, joints, graph)]
    # A part the wrong way round makes every reading a wrong one: of what does no damage nothing is graver.
    found.sort(key=lambda finding: (LEVELS.index(finding.level), finding.rule == "safety", finding.rule != REVERSED))
    fits = all(each.fits for each in checked)
    return CheckResult(setup.title, fits, checked, tuple(found), setup.assumed, setup.warnings)


def _checked(found: Connection, library: Library) -> CheckedConnection:
    missing = _missing(found.near.connector, found.far.connector, library) if found.verdict in BLOCKING else ()
    return CheckedConnection(
        found.near.name,
        found.far.name,
        str(found.near.connector),
        str(found.far.connector),
        found.verdict,
        found.reason,
        found.mismatch_loss_db,
        missing,
    )


@lru_cache(maxsize=256)
def _missing(near: Connector, far: Connector, library: Library) -> tuple[str, ...]:
    return tuple(bridging_adapters(near, far, library)[:MOST_NAMED])


def bad_joints(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Report joints that do not fit, with the adapter that would join them, and those that fit with a doubt."""
    found = []
    for each in joints:
        ends = f"{each.near.connector} to {each.far.connector}"
        if each.verdict in BLOCKING:
            names = _missing(each.near.connector, each.far.connector, graph.library)
            remedy = f"join them by {' or '.join(names)}" if names else without_adapter(each)
            text = f"{ends}, {each.verdict}: {each.reason}"
            found.append(Finding("stop", each.id, text, remedy, "joint"))
        elif each.verdict == "caution":
            found.append(
                Finding(
                    "caution", each.id, f"{ends}: {each.reason}", "watch the trace while moving this joint", "joint"
                )
            )
    return found


def open_arms(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Report ports of splitters that are left open or of which nothing is stated."""
    found = []
    for port, arm in graph.free_ports.items():
        name, ohm = graph.ends[port].name, graph.ends[port].line_ohm
        remedy = f"end it in a {ohm:g}-ohm load"
        if arm is None:
            text = f"nothing is stated of this port: it is taken as ended in {ohm:g} ohm"
            found.append(Finding("caution", name, text, f"{remedy}, and state it as an arm", "open-arm"))
        elif arm.end == "open":
            text = "this port is left open: what comes back from it adds ripple to the path"
            found.append(Finding("caution", name, text, remedy, "open-arm"))
    return found


def frequency_span(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Report connectors and parts used outside their usual frequencies."""
    start_hz, stop_hz = setup.sweep.start_hz, setup.sweep.stop_hz
    wheres: dict[tuple[str, float], list[str]] = {}
    for each in joints:
        for end in (each.near.connector, each.far.connector):
            most_hz = graph.library.family(end.family).usual_hz(end)
            where = wheres.setdefault((end.family, most_hz), [])
            where += [] if each.id in where else [each.id]
    found = []
    for (name, most_hz), where in wheres.items():
        if stop_hz > most_hz * (1 + ROUNDING):
            text = f"{name} connectors are usual up to {most_hz / 1e6:g} MHz, the sweep goes to {stop_hz / 1e6:g} MHz"
            found.append(Finding("caution", ", ".join(where), text, "do not trust the top of the sweep", "frequency"))
    for item in _all_items(setup.items):
        low_hz, high_hz = getattr(item.part, "min_hz", 0.0), getattr(item.part, "max_hz", stop_hz)
        if start_hz < low_hz * (1 - ROUNDING) or stop_hz > high_hz * (1 + ROUNDING):
            span = f"{low_hz / 1e6:g} to {high_hz / 1e6:g} MHz" if low_hz else f"up to {high_hz / 1e6:g} MHz"
            text = f"meant for {span}, the sweep is {start_hz / 1e6:g} to {stop_hz / 1e6:g} MHz"
            found.append(Finding("caution", item.id, text, "keep the sweep inside that span", "frequency"))
    return found


def cable_values(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Remark on cables whose attenuation is the most a specification allows."""
    return [
        Finding(
            "note",
            item.id,
            "its attenuation is the most its specification allows: the cable itself loses less",
            "",
            "maximum",
        )
        for item in _all_items(setup.items)
        if isinstance(item.part, Coax) and item.part.attenuation_kind == "max"
    ]


def weak_evidence(setup: Setup, joints: tuple[Connection, ...], graph: SetupGraph) -> list[Finding]:
    """Remark on parts whose figures rest on memory alone."""
    weak = [item.id for item in _all_items(setup.items) if item.part.evidence.kind == "memory"]
    if not weak:
        return []
    text = "figures from memory of what is typical, not from a document"
    return [
        Finding("note", ", ".join(weak), text, "state the figures of your own parts where you have them", "evidence")
    ]


def _all_items(items: tuple[Item, ...]) -> list[Item]:
    """Items of the path and of all arms."""
    return [each for item in items for each in (item, *(deep for arm in item.arms for deep in _all_items(arm.items)))]


CHECKS: tuple[Check, ...] = (
    bad_joints,
    dc_path,
    reversed_part,
    missing_match,
    wrong_impedance,
    impedance_changes,
    open_arms,
    frequency_span,
    costed_joints,
    power_limits,
    cable_values,
    weak_evidence,
    safety,
)
