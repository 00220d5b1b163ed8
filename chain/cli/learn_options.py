"""From the options of `chain learn` to what its functions take: figures of the analyzer, ends of the part, what is assumed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from chain.characterize.error_model import Analyzer
    from chain.characterize.part_making import About, PartEnds
    from chain.setups import Item, Near, Setup
    from library.records import Coax

KINDS = {"pad": "pad", "adapter": "adapter", "lead": "coax"}
STANDARDS = {"open": ("open_capacitance", "capacitance"), "short": ("short_inductance", "inductance")}
USUAL_LENGTH_TOLERANCE_M = 0.003
USUAL_DIFFERENCE_DB = 0.2
USUAL_FACING_DB = 26.0


@dataclass(frozen=True)
class Asked:
    """Everything that was asked for, in SI units; `given` holds the options as written."""

    given: Mapping[str, Any]
    setup: Setup | None
    item: Item | None
    about: About
    analyzer: Analyzer

    def value(self, name: str, kind: str) -> float | None:
        """Quantity of an option, or None where it was left out."""
        return _value(self.given, name, kind)

    def kind(self) -> str:
        """Kind of part to make: stated, that of the item, or a pad."""
        if self.given["kind"]:
            return KINDS[self.given["kind"]]
        return self.item.part.kind if self.item is not None and self.item.part.kind in KINDS.values() else "pad"

    def ends(self, kind: str) -> PartEnds:
        """Connectors and impedances of the part."""
        from chain.characterize.part_making import PartEnds

        part = None if self.item is None or self.item.part.kind != kind else self.item.part
        if kind == "coax":
            ohm = self.value("impedance", "impedance") or (part.impedance_ohm if part else None)  # type: ignore[union-attr]
            if ohm is None:
                raise click.UsageError("A lead's nominal impedance is needed: --impedance '75 ohm'.")
            return PartEnds("", "", ohm, ohm)
        texts, ohms = [], []
        for end in ("near", "far"):
            text = self.given[end] or (str(getattr(part, f"{end}_connector")) if part else "")
            if not text:
                example = "--near 'N-50 plug' --far 'BNC-75 jack'"
                raise click.UsageError(f"The part's connectors are needed: {example}, or --in SETUP --item ID.")
            own = getattr(part, f"{end}_ohm") or getattr(part, "impedance_ohm", 0.0) if part else 0.0
            ohms.append(self.value(f"{end}_impedance", "impedance") or own or _nominal(text, end))
            texts.append(text)
        power = getattr(part, "resistor_power_w", None)
        return PartEnds(texts[0], texts[1], ohms[0], ohms[1], str(getattr(part, "dc", "pass")), power)

    def like(self) -> Coax | None:
        """Type of cable that a lead is made of: stated, or that of the item."""
        from library.errors import LibraryError
        from library.load import load_library
        from library.records import Coax

        if self.given["like"] is None:
            return self.item.part if self.item is not None and isinstance(self.item.part, Coax) else None
        part = load_library().part(self.given["like"])
        if not isinstance(part, Coax):
            raise LibraryError(f"'{part.id}' is no cable but of kind {part.kind}")
        return part

    def assuming(self, *texts: str) -> Asked:
        """The same with more that is assumed."""
        return replace(self, about=replace(self.about, assumed=(*self.about.assumed, *texts)))


def _nominal(connector: str, end: str) -> float:
    from library.load import load_library
    from library.mating import parse_connector

    ohm = load_library().family(parse_connector(connector).family).impedance_ohm
    if not ohm:
        raise click.UsageError(f"{connector} has no impedance of its own: state --{end}-impedance '75 ohm'.")
    return ohm


def _value(given: Mapping[str, Any], name: str, kind: str) -> float | None:
    from chain.units import parse_quantity

    text = given.get(name)
    return None if text is None else parse_quantity(text, kind)


def asked(given: Mapping[str, Any], standards: Sequence[str]) -> Asked:
    """Settle what the options leave open, from the set-up they name or by common practice."""
    from chain.characterize.part_making import About

    _named(given["id"])
    day = _day(given["date"])
    setup = item = None
    if given["setup_path"]:
        from chain.characterize.part_use import item_of
        from chain.cli.loading import load_stated

        setup = load_stated(given["setup_path"])
        if not given["item"]:
            raise click.UsageError(f"Which item of {given['setup_path']} was measured? Name it: --item ID.")
        item = item_of(setup, given["item"])
    analyzer, assumed = _analyzer(given, setup, standards)
    about = About(given["id"], day, given["name"] or "", _span(given, setup), assumed)
    return Asked(given, setup, item, about, analyzer)


def _named(name: str) -> None:
    """See that set-up files can call the part so."""
    from library.files.schematypes import ID, LONGEST_ID

    # In a pattern, the end of a text may have a line break behind it.
    if not re.search(ID, name) or name.endswith("\n"):
        raise click.UsageError(
            f"--id {_quoted(name)}: an id is made of letters, digits, '.', '_' and '-', and begins with one of the first two."
        )
    if len(name) > LONGEST_ID:
        raise click.UsageError(f"--id {_quoted(name)} is longer than {LONGEST_ID} characters.")


def _quoted(text: str) -> str:
    from chain.errors import quoted

    return quoted(text)


def _day(text: str | None) -> str:
    """Day of the measurement as year, month and day; today where none is stated."""
    from datetime import date, datetime

    if text is None:
        return date.today().isoformat()
    try:
        # Other spellings of ISO 8601, such as by weeks, would be read as well.
        return datetime.strptime(text.strip(), "%Y-%m-%d").date().isoformat()
    except ValueError:
        raise click.UsageError(f"--date {_quoted(text)} is no day: write it as in 2026-05-01.") from None


def _span(given: Mapping[str, Any], setup: Setup | None) -> tuple[float, float] | None:
    """Span the part is described for: stated, or that of the set-up it goes into."""
    low, high = _value(given, "from_", "frequency"), _value(given, "to", "frequency")
    if (low is None) != (high is None):
        raise click.UsageError("Give both --from and --to, or neither.")
    if low is not None and high is not None:
        if low >= high:
            raise click.UsageError(f"--from {_quoted(given['from_'])} is not below --to {_quoted(given['to'])}.")
        return low, high
    return None if setup is None else (setup.sweep.start_hz, setup.sweep.stop_hz)


def _with(near: Near, levels_db: Mapping[str, float]) -> Near:
    values: dict[str, Any] = {f"{name}_db": level for name, level in levels_db.items()}
    return replace(near, **values)


def _analyzer(
    given: Mapping[str, Any], setup: Setup | None, standards: Sequence[str]
) -> tuple[Analyzer, tuple[str, ...]]:
    """Errors of the analyzer and the standards: stated here, in the set-up, or usual."""
    from chain.characterize.error_model import Analyzer
    from chain.setups import RESIDUALS, Calibration, Near, with_typical_residuals, with_typical_standards
    from chain.units import format_quantity
    from library.load import load_library
    from library.records import Connector

    kinds = {name: "reading_error" if name in ("tracking", "trace_noise") else "loss" for name in RESIDUALS}
    stated = {name: level for name, kind in kinds.items() if (level := _value(given, name, kind)) is not None}
    assumed: list[str] = []
    if setup is None:
        library = load_library()
        near = with_typical_residuals(_with(Near(Connector("", "")), stated), library)
        plane = with_typical_standards(Calibration(), near, library)
        if near.typical:
            words = ", ".join(f"{name.replace('_', ' ')} {getattr(near, f'{name}_db'):g} dB" for name in near.typical)
            assumed.append(f"analyzer: {words} (typical of a {near.analyzer}, practice)")
    else:
        near, plane = _with(setup.near, stated), setup.calibration
    load_db = _value(given, "load_match", "return_loss")
    if load_db is None and "load" in standards:
        load_db = plane.load_db
        if load_db is not None and "load" in plane.typical:
            assumed.append(f"load: return loss {load_db:g} dB (typical with a {near.analyzer}, practice)")
    sizes = {}
    for end, (name, kind) in STANDARDS.items():
        unit = "f" if kind == "capacitance" else "h"
        size = _value(given, name, kind)
        sizes[f"{name}_{unit}"] = float(getattr(plane, f"{name}_{unit}")) if size is None else size
        if end in standards and size is None and name in plane.typical:
            assumed.append(f"{end}: {kind} up to {format_quantity(sizes[f'{name}_{unit}'], kind)} (typical, practice)")
    return Analyzer.of(near, load_db, **sizes), tuple(assumed)
