"""One table of a set-up file against its model: everything that is wrong with it, and what is left when that is put aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from chain.errors import Defect, quoted
from chain.files.keys import Table, named
from chain.files.positions import SyntaxFault, Where, closest
from chain.files.schema import REQUIRED

if TYPE_CHECKING:
    from library.parts import Library

Model = TypeVar("Model", bound=Table)

OTHER_NAMES = {
    "attenuator": "pad",
    "calibrated_at": "plane",
    "dc": "dc_feed",
    "f_start": "start",
    "f_stop": "stop",
    "from": "start",
    "items": "chain",
    "kind": "part",
    "len": "length",
    "l": "length",
    "model": "part",
    "name": "id",
    "nf": "points",
    "return_loss": "reflection",
    "rl": "reflection",
    "reverse": "reversed",
    "flipped": "reversed",
    "rs": "series",
    "rp": "shunt",
    "temp": "temperature",
    "to": "stop",
    "type": "part",
    "velocity": "velocity_factor",
    "vf": "velocity_factor",
    "vswr": "limit",
    "z": "impedance",
    "z0": "impedance",
}
"""What people write for a key; used in hints only."""


@dataclass
class Notes:
    """What comes up while a set-up is read."""

    library: Library
    folder: Path
    faults: list[SyntaxFault] = field(default_factory=list)
    ids_whole: bool = True
    """Whether every item has an id of its own that can be named."""
    library_whole: bool = True
    """Whether every part file that the set-up names could be read."""
    elsewhere: list[Defect] = field(default_factory=list)
    """Defects of other files that the set-up names."""
    assumed: list[str] = field(default_factory=list)
    tells_assumed: bool = True
    """Whether anybody asks what was assumed of items."""
    warnings: list[str] = field(default_factory=list)
    highest_hz: float = 0.0
    """Highest frequency of the sweep, where it is known."""
    measured_hz: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Lowest and highest frequency of each measured file, by its path."""

    def fault(self, where: Where, message: str, help: str = "", spot: str = "value") -> None:
        """Take down one fault."""
        self.faults.append(SyntaxFault(where, message, help, spot))


def read_table(model: type[Model], raw: object, where: Where, notes: Notes) -> Model:
    """Read one table; its faults go to the notes."""
    if not isinstance(raw, dict):
        notes.fault(where, f"a table is needed here, not {named(raw)}", f"write [{where[0]}] on a line of its own")
        return model()
    suggested: set[str] = set()
    missing = [key for key in REQUIRED[model] if key not in raw]
    found, faults = model.read(raw, notes.library)
    for fault in faults:
        place = (*where, *fault.where)
        if fault.unknown_to:
            suggested |= unknown_key(place, fault.unknown_to, missing, notes)
        else:
            notes.fault(place, fault.what, fault.remedy)
    return _complete(found, missing, suggested, where, notes)


def _complete(model: Model, missing: list[str], suggested: set[str], where: Where, notes: Notes) -> Model:
    """Take down the keys that are missing, but for those that a misspelt key stands for."""
    for key in missing:
        if key not in suggested:
            example = type(model).keys[key].examples[0]
            notes.fault(where, f"{key} is missing", f'add {key} = "{example}"', "header")
    return model


def unknown_key(where: Where, known: Any, missing: list[str], notes: Notes, top: str = "the set-up") -> set[str]:
    """Take down a key that a table does not have."""
    key = str(where[-1])
    hint = closest(key, missing, OTHER_NAMES)
    if not hint.startswith("did you mean"):
        hint = closest(key, known, OTHER_NAMES)
    table = ".".join(each for each in where[:-1] if isinstance(each, str))
    place = f"[[{table}]]" if isinstance(where[-2:][0], int) else f"[{table}]" if table else top
    notes.fault(where, f"{quoted(key)} is not a key of {place}", hint, "key")
    return {each for each in missing if hint == f"did you mean {quoted(each)}?"}
