"""A set-up as plain frozen records: what the engine sees of a set-up file, figures resolved and in SI units.

What a set-up does not state is filled in with what is typical of its class of analyzer; perfection has to be stated.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import field, replace
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

from chain.errors import ChainError, quoted
from chain.results import ResultTable
from library.files.replacing import write_file
from library.files.rows import fields_of
from library.frozen import dataclass
from library.mating import F_FAMILY, f_plug_variant
from library.records import Coax, Connector, Pad, Part, evidence_for, weakest

if TYPE_CHECKING:
    from os import PathLike
    from pathlib import Path

    from chain.errors import Defect
    from library.parts import Library

    Locator = Callable[[Sequence[tuple[str | int, ...]], str, str], Defect]
    """From the keys that a defect may be shown at, best first, its message and its remedy."""


@dataclass(frozen=True)
class Sweep:
    """Frequencies to compute at: an even grid, and the channels to judge where a region is named."""

    start_hz: float
    stop_hz: float
    points: int
    region: str = ""
    channels: tuple[tuple[str, float, float], ...] = ()
    """Each channel: (name, lower edge, upper edge), edges in Hz."""

    def without(self, freq_hz: Iterable[float]) -> tuple[str, ...]:
        """A remark where something was read at frequencies that the sweep does not hold."""
        inside = [self.start_hz <= each <= self.stop_hz for each in freq_hz]
        if all(inside):
            return ()
        several = len(inside) > 1
        which = f"{inside.count(False)} of {len(inside)} readings lie" if several else "what was read lies"
        asked = "is it the right sweep?" if several else "is it the right frequency?"
        return (
            f"{which} outside the set-up's sweep of {self.start_hz / 1e6:g} to {self.stop_hz / 1e6:g} MHz: {asked}",
        )


@dataclass(frozen=True)
class Near:
    """The analyzer's port, and what is left of its errors after calibration (None: absent, or not judged)."""

    connector: Connector
    impedance_ohm: float = 50.0
    directivity_db: float | None = None
    source_match_db: float | None = None
    tracking_db: float | None = None
    trace_noise_db: float | None = None
    repeatability_db: float | None = None
    drift_db: float | None = None
    max_power_dbm: float | None = None
    max_dc_v: float | None = None
    analyzer: str = "handheld"
    """Class of the analyzer: it gives what is not stated."""
    shows: str = "complex"
    """`complex`, `return loss` or `vswr`: what its screen or file gives at most."""
    calibrates_at: tuple[str, ...] = ()
    """`near`, `far` or ids of items; empty: anywhere where it shows phase, else at its own port only."""
    ideal: bool = field(default=False, compare=False)
    typical: tuple[str, ...] = field(default=(), compare=False)
    """Keys of the figures that are those of the class, not stated ones."""
    directivity_kind: str = "disc"
    source_match_kind: str = "disc"
    tracking_kind: str = "disc"
    repeatability_kind: str = "disc"
    drift_kind: str = "disc"
    """How they are spread, see `library.records.MAGNITUDE_KINDS`."""

    @property
    def has_phase(self) -> bool:
        """Whether it shows more than a magnitude."""
        return self.shows == "complex"

    def calibrates(self, plane: str, last: str = "") -> bool:
        """Whether it can be calibrated at a plane; `last` is the id of the item at the antenna."""
        planes = self.calibrates_at or (() if self.has_phase else ("near",))
        return not planes or plane in planes or (plane in ("far", last) and "far" in planes)


class ShortLine(NamedTuple):
    """A length of line inside a connection, of another impedance than the lines it joins; its electrical length."""

    impedance_ohm: float
    length_m: float


@dataclass(frozen=True)
class Arm:
    """What hangs on a port of a splitter that is not on the path: `matched` end of `end_ohm`, `open`, or items ending in a load."""

    port: str
    end: str
    end_ohm: float = 0.0
    items: tuple[Item, ...] = ()
    sections: tuple[tuple[ShortLine, ...], ...] = ()
    """Lines of wrong impedance at each of its connections, the splitter's port first. Filled in when the chain is built."""


@dataclass(frozen=True)
class Item:
    """One part placed in the set-up, overrides already applied to `part`. Near and far are of the item as placed."""

    id: str
    part: Part
    near_connector: Connector
    far_connector: Connector
    reversed: bool = False
    ideal: bool = False
    length_m: float = 0.0
    length_tolerance_m: float = 0.0
    temperature_c: float = 20.0
    path: tuple[str, str] = ("", "")
    arms: tuple[Arm, ...] = ()
    stated: tuple[str, ...] = field(default=(), compare=False)
    """Names of the figures that the user gave on the item instead of the library's."""


@dataclass(frozen=True)
class Far:
    """The antenna's own connector and impedance, and the limit it is judged by."""

    connector: Connector
    impedance_ohm: float = 75.0
    limit_vswr: float | None = None
    dc_feed_v: float | None = None
    antenna_q: float | None = None
    """Narrowest resonance that the antenna may have, as f over its bandwidth; noise is averaged only where it is stated."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that answers are given as one."""


@dataclass(frozen=True)
class Antenna:
    """What is known of the antenna's own make, for those who tune it; nothing of it counts in a reading's interval."""

    element: str = ""
    """`half-wave`, `folded`, `loop`, `several` (driven or coupled elements); empty: not stated."""
    length_m: float | None = None
    """Overall length of the element, tip to tip or once round."""
    diameter_m: float | None = None
    feed: tuple[Item, ...] = ()
    """Items between the antenna's connector and the element's own terminals, such as a transformer."""


@dataclass(frozen=True)
class Calibration:
    """Where the analyzer was calibrated and what with. `plane` is `near`, or the id of the item it lies after."""

    plane: str = "near"
    load_db: float | None = None
    load_impedance_ohm: float | None = None
    load_inductance_h: float = 0.0
    open_capacitance_f: float = 0.0
    short_inductance_h: float = 0.0
    flex_deg: float = 0.0
    """Largest turn of the leads when handled, one way, alike at every frequency."""
    swap_adapter: str = ""
    known: tuple[str, ...] = ()
    """Standards whose stated value is used in the calibration instead of being taken as ideal."""
    flex_deg_at_1ghz: float = 0.0
    """Largest turn of a moved lead before the plane, one way, in proportion to frequency."""
    load_kind: str = "disc"
    """How the load's reflection is spread, see `library.records.MAGNITUDE_KINDS`."""
    ideal: bool = field(default=False, compare=False)
    typical: tuple[str, ...] = field(default=(), compare=False)
    """Keys of the figures that usually go with the analyzer, not stated ones."""


@dataclass(frozen=True, repr=False)
class Setup(ResultTable):
    """A whole measuring chain, near to far; equal to another where the figures are, whatever was remarked while reading."""

    writer: ClassVar[Callable[[Setup, Path | None], str] | None] = None
    """Gives its text as a file."""

    title: str
    sweep: Sweep
    near: Near
    items: tuple[Item, ...]
    far: Far
    calibration: Calibration = field(default_factory=Calibration)
    assumed: tuple[str, ...] = field(default=(), compare=False)
    warnings: tuple[str, ...] = field(default=(), compare=False)
    path: str = field(default="", compare=False)
    own_library: Library | None = field(default=None, compare=False)
    """The library the parts came from, where it is not the built-in one."""
    antenna: Antenna = field(default_factory=Antenna)
    locator: Locator | None = field(default=None, compare=False, repr=False)
    """Gives a defect its place in the file that the set-up was read from."""
    made_with: tuple[Any, ...] = field(default=(), compare=False, repr=False)
    """The records that it was first made with, which what was assumed and stated speaks of; filled in when it is made."""

    def __post_init__(self) -> None:
        if not self.made_with:
            vars(self)["made_with"] = self._records()

    def _records(self) -> tuple[Any, ...]:
        return self.sweep, self.near, self.items, self.far, self.calibration, self.antenna

    @property
    def changed(self) -> bool:
        """Whether a record was replaced since, so that remarks may speak of figures that are gone."""
        return any(one is not other for one, other in zip(self._records(), self.made_with, strict=True))

    @property
    def library(self) -> Library:
        """Connector families, mating rules and parts that hold for this set-up."""
        from library.load import load_library

        return self.own_library or load_library()

    def calibrates(self, plane: str) -> bool:
        """Whether the analyzer can be calibrated at a plane, `near` or the id of an item; the stated plane always counts."""
        last = self.items[-1].id if self.items else ""
        return plane == self.calibration.plane or self.near.calibrates(plane, last)

    def places_to_calibrate(self, most: int = 20) -> tuple[Item, ...]:
        """Items behind which the analyzer can be calibrated; of more than `most` those evenly spread, the outer ones included.

        Each place costs the drawing of the whole chain, and neighbours among dozens differ little.
        """
        every = [item for item in self.items if item.part.kind != "splitter" and self.calibrates(item.id)]
        if len(every) <= most:
            return tuple(every)
        chosen = {round(step * (len(every) - 1) / (most - 1)) for step in range(most)}
        return tuple(item for number, item in enumerate(every) if number in chosen or item.id == self.calibration.plane)

    @property
    def shows_db(self) -> bool:
        """Whether a bare number on the screen may be meant in dB."""
        return self.near.shows == "return loss" or (self.far.limit_in_db and self.near.shows != "vswr")

    @staticmethod
    def written_by(writer: Callable[[Setup, Path | None], str]) -> None:
        """Take the function that gives a set-up as the text of a file: it belongs to a room above this one."""
        Setup.writer = staticmethod(writer)

    def to_toml(self, folder: str | PathLike[str] | None = None) -> str:
        """The set-up as the text of a set-up file, which `load_setup` reads back as an equal one.

        Files that it names are given from `folder`, where the text is to lie; by their whole paths if it is left out.
        """
        if Setup.writer is None:
            # Read back in a process that has used none of the public functions, which bring the writer with them.
            raise ChainError(
                "nothing that writes a set-up is loaded here", "write 'from chain import load_setup' first"
            )
        from pathlib import Path

        return Setup.writer(self, None if folder is None else Path(folder))

    def save(self, path: str | PathLike[str], force: bool = False) -> None:
        """Write the set-up as a file; what is there already stays, unless `force` is true."""
        from pathlib import Path

        target = Path(path)
        if target.is_dir():
            what = f"{quoted(path)} is a folder" if str(path) else "there is no name to save under"
            raise ChainError(what, "name a file: setup.save('my-chain.toml')")
        text = self.to_toml(target.parent)
        try:
            write_file(target, text.encode(), force)
        except FileExistsError:
            raise ChainError(f"{quoted(target)} is there already", "save(path, force=True) overwrites it") from None
        except OSError as error:
            raise ChainError(
                f"{quoted(target)} cannot be written: {error.strerror}", "name a file in a folder"
            ) from None

    def headline(self) -> str:
        """Title, span, and where it is calibrated."""
        span = f"{self.sweep.start_hz / 1e6:g} to {self.sweep.stop_hz / 1e6:g} MHz"
        return f"{self.title}: {span}, calibrated at plane '{self.calibration.plane}'"

    def table(self) -> dict[str, Any]:
        """One row per item, near to far."""
        return {
            "id": [each.id for each in self.items],
            "part": [each.part.id for each in self.items],
            "near": [str(each.near_connector) for each in self.items],
            "far": [str(each.far_connector) for each in self.items],
            "length_m": [each.length_m or None for each in self.items],
        }


ASSUMED_ANALYZER = "handheld"
RESIDUALS = ("directivity", "source_match", "tracking", "trace_noise", "repeatability", "drift")
"""Keys of what an analyzer's calibration leaves; in the records each ends in `_db`."""
SPREAD_RESIDUALS = tuple(key for key in RESIDUALS if key != "trace_noise")
"""Those that lie within a limit and may be spread otherwise than over a disc: their keys with `_kind`."""
STANDARDS = {
    "load": "load_db",
    "load_inductance": "load_inductance_h",
    "open_capacitance": "open_capacitance_f",
    "short_inductance": "short_inductance_h",
    "flex": "flex_deg_at_1ghz",
}
"""Keys of what the standards and a moved lead may be off by, and the field of the records."""


def with_typical_residuals(near: Near, library: Library) -> Near:
    """The analyzer's port with the residuals of its class where none is stated."""
    absent = tuple(key for key in RESIDUALS if getattr(near, f"{key}_db") is None)
    if near.ideal or not absent:
        return near
    usual = library.analyzer(near.analyzer)
    return replace(near, typical=absent, **{f"{key}_db": getattr(usual, f"{key}_db") for key in absent})


def with_typical_standards(
    calibration: Calibration, near: Near, library: Library, stated: Collection[str] = ()
) -> Calibration:
    """The calibration with the standards that usually come with its analyzer, but for what is stated (keys of `STANDARDS`).

    Source: `library/data/typical.toml`. A moved lead turns in proportion to frequency.
    """
    if calibration.ideal:
        return calibration
    usual = library.standards(library.analyzer(near.analyzer).standards)
    absent = {key: name for key, name in STANDARDS.items() if key not in stated}
    return replace(calibration, typical=tuple(absent), **{name: getattr(usual, name) for name in absent.values()})


OF_ANALYZER = {
    "near": ("directivity", "source_match", "tracking"),
    "noise": ("trace_noise",),
    "drift": ("drift",),
    "re-mating": ("repeatability",),
}
OF_STANDARDS = {
    "load": ("load", "load_inductance"),
    "open": ("open_capacitance",),
    "short": ("short_inductance",),
    "flex": ("flex",),
}


JOINT_STANDING = "practice"
"""Of the length of a connector half of the wrong impedance in a joint: a rule of thumb about one that was measured."""


def _of_both(key: str) -> tuple[str, ...]:
    """Key that states a limit of both ends at once."""
    return ("reflection",) if key.endswith("_reflection") else ()


def _kind(part: Part, figure: str, setup: Setup) -> str:
    return evidence_for(part, figure, setup.sweep.stop_hz).kind


def standing(setup: Setup, unknown: str) -> str:
    """Weakest standing of the figures that give the size of an unknown: an item's id, or what else `contributions` names.

    Source: The evidence of each figure; `stated` where the user gives it, also where nothing of it is unknown.
    """
    item = _item(setup, unknown)
    inside = (
        [standing(replace(setup, items=arm.items), each.id) for arm in item.arms for each in arm.items] if item else []
    )
    return weakest([*figure_standings(setup, unknown).values(), *inside]) or "stated"


def figure_standings(setup: Setup, unknown: str) -> dict[str, str]:
    """Standing of each figure that gives the size of an unknown, by its key or field; those inside an arm are left out."""
    usual = setup.library.analyzer(setup.near.analyzer)
    if unknown in OF_ANALYZER:
        return _assumed_or_stated(OF_ANALYZER[unknown], setup.near.typical, usual.evidence.kind)
    if unknown in OF_STANDARDS:
        kind = setup.library.standards(usual.standards).evidence.kind
        return _assumed_or_stated(OF_STANDARDS[unknown], setup.calibration.typical, kind)
    if unknown == "swap":
        return {"swap": setup.library.part(setup.calibration.swap_adapter).evidence.kind}
    item = _item(setup, unknown)
    if item is None:
        return {"length": JOINT_STANDING}
    if item.ideal:
        return {}
    part = item.part
    return {
        each.field: "stated"
        if each.item and {each.item, *_of_both(each.item)} & set(item.stated)
        else _kind(part, each.field, setup)
        for each in fields_of(part.kind)
        if each.size and getattr(part, each.field)
        if not isinstance(part, Pad) or (part.model == "resistors") == (each.field == "arm_tolerance")
    }


def _item(setup: Setup, name: str) -> Item | None:
    return next((each for each in setup.items if each.id == name), None)


def _assumed_or_stated(keys: tuple[str, ...], typical: Collection[str], kind: str) -> dict[str, str]:
    return {key: kind if key in typical else "stated" for key in keys}


def exact_values(setup: Setup, unknown: str, values: Collection[str]) -> Setup:
    """The same set-up with some figures of an unknown, named as by `figure_standings`, taken as exact."""
    if unknown in OF_ANALYZER:
        none: dict[str, Any] = dict.fromkeys((f"{key}_db" for key in values), None)
        return replace(setup, near=replace(setup.near, **none))
    if unknown in OF_STANDARDS:
        nothing: dict[str, Any] = {STANDARDS[key]: None if key == "load" else 0.0 for key in values}
        return replace(setup, calibration=replace(setup.calibration, **nothing))
    item = _item(setup, unknown)
    assert item is not None
    exact: dict[str, Any] = {field: 0.0 if isinstance(getattr(item.part, field), float) else None for field in values}
    changed = replace(item, part=replace(item.part, **exact))
    items = tuple(changed if each is item else each for each in setup.items)
    return replace(setup, items=items)


def with_conductors(setup: Setup) -> Setup:
    """The same set-up, every F plug of a lead marked with what its cable's conductor means for a jack."""
    return replace(setup, items=tuple(_with_conductor(item) for item in setup.items))


def of_another_cable(lead: Item, name: str, part: Coax) -> Item:
    """A lead cut from another cable, whose conductor then is the pin of the same F plugs."""
    before = f_plug_variant(lead.part) if isinstance(lead.part, Coax) else ""
    near, far = (
        replace(each, variant="") if before and each.variant == before else each
        for each in (lead.near_connector, lead.far_connector)
    )
    return _with_conductor(replace(lead, id=name, part=part, near_connector=near, far_connector=far))


def _with_conductor(item: Item) -> Item:
    if item.arms:
        return replace(item, arms=tuple(_arm(arm) for arm in item.arms))
    if not isinstance(item.part, Coax):
        return item
    variant = f_plug_variant(item.part)
    near, far = (_plug(each, variant) for each in (item.near_connector, item.far_connector))
    if near is item.near_connector and far is item.far_connector:
        return item
    return replace(item, near_connector=near, far_connector=far)


def _arm(arm: Arm) -> Arm:
    return replace(arm, items=tuple(_with_conductor(item) for item in arm.items))


def _plug(connector: Connector, variant: str) -> Connector:
    bare = connector.family == F_FAMILY and connector.gender == "plug" and not connector.variant
    return replace(connector, variant=variant) if bare else connector
