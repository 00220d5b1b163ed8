"""The library as a table, or one part in full; parts of reception too."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields
from textwrap import wrap
from typing import Any

from rich.console import Console

from chain.analyses.parts import Entry, Listing
from chain.setup_report.numbers import db, frequency
from chain.setup_report.tables import Column, say, show_table, title
from chain.units import format_quantity
from library.records import Connector, Evidence, Limit, Part
from library.words import everyday, plainly

WHAT = 2
"""Place of the column of words."""
GAP, NARROWEST = 2, 20

SUFFIXES = {
    "_db_per_100m": "dB per 100 m",
    "_db_per_sqrt_ghz": "dB per sqrt GHz",
    "_pf_per_m": "pF per m",
    "_db": "dB",
    "_ohm": "ohm",
    "_mm": "mm",
    "_w": "W",
    "_c": "degrees Celsius",
}
KINDS_OF_UNIT = {"_hz": "frequency", "_m": "length", "_h": "inductance", "_f": "capacitance"}
STATED_APART = ("id", "name", "kind")
LABELS = {
    "flat_db_per_100m": "constant term",
    "per_sqrt_mhz_db_per_100m": "times sqrt(f in MHz)",
    "per_mhz_db_per_100m": "times f in MHz",
    "valid_from_hz": "curve from",
    "valid_to_hz": "curve to",
    "min_hz": "meant from",
    "max_hz": "meant to",
    "design_hz": "designed for",
    "near_ohm": "near impedance",
    "far_ohm": "far impedance",
    "inner_mm": "inner conductor",
    "loss_at_1ghz_db": "loss at 1 GHz",
    "loss_db": "loss",
    "limit": "reflection",
    "near_limit": "near reflection",
    "far_limit": "far reflection",
    "fit_max": "worst misfit of the curve",
    "static_evidence": "evidence of the rest",
    "lead_evidence": "evidence of reflection",
    "dc": "DC",
}
ITEM_UNITS = {"loss_db": " dB", "arms": " ohm", "points_hz": " Hz", "points_db_per_100m": " dB"}
SHARES = ("loss_tolerance", "arm_tolerance", "fit_max")
"""Figures that are shares and are shown in percent."""


MOST_LINES = 13
"""Lines of a list that are shown unless all are asked for; with its head and its count it makes 20."""


def render(result: Listing, console: Console, every: bool = False) -> None:
    """Print parts."""
    if len(result.entries) == 1 and not result.reception:
        _in_full(result.entries[0], result.length_m, console)
        return
    if not result.entries and len(result.reception) == 1:
        render_rows(result.reception, console)
        _called_so(result.words, console)
        return
    columns = [Column("part", numeric=False), Column("ohm", numeric=False), Column("what it is", False, wraps=True)]
    columns += [Column(f"dB at\n{frequency(freq)}") for freq in result.asked_hz]
    rows = []
    for entry in result.entries:
        losses = [_loss(loss.loss_db) for loss in entry.losses] if result.asked_hz else []
        rows.append([entry.part.id, _impedance(entry.part), entry.part.name, *losses])
    blank = ["-"] * len(result.asked_hz)
    rows += [[str(row["id"]), "-", f"{row['name']} ({row['kind']})", *blank] for row in result.reception]
    shown = rows if every else rows[: fitting(rows, WHAT, console.width, MOST_LINES)]
    show_table(console, columns, shown)
    console.print()
    if result.asked_hz and any(entry.part.kind == "coax" for entry in result.entries):
        say(console, f"Losses of cables are of {format_quantity(result.length_m, 'length')}.")
    say(console, counted(len(shown), len(rows), result.of_all))
    _called_so(result.words, console)


def _called_so(words: str, console: Console) -> None:
    """Name the connectors that an everyday word stands for, where it is looked for as a part."""
    families = everyday("family").get(plainly(words), ())
    if families:
        searches = " and ".join(f"'chain parts {name}'" for name in families)
        say(console, f"Connectors called so: {searches}.")


def counted(shown: int, fit: int, of_all: int) -> str:
    """How many of a list are shown, and what narrows it."""
    if shown < fit:
        return f"{shown} of {fit} that fit ({of_all} in all). More words narrow it; --all shows every one."
    return f"{fit} of {of_all} parts. 'chain parts ID' shows one in full."


def fitting(rows: Sequence[Sequence[str]], wide: int, width: int, most: int) -> int:
    """Rows from the start that take at most so many lines, the cell in the wide column wrapped to what the others leave."""
    widths = [0] * (len(rows[0]) if rows else 0)
    for number, row in enumerate(rows):
        widths = [max(known, len(cell)) for known, cell in zip(widths, row, strict=True)]
        room = max(NARROWEST, width - sum(each + GAP for place, each in enumerate(widths) if place != wide))
        if number and sum(len(wrap(each[wide], room)) or 1 for each in rows[: number + 1]) > most:
            return number
    return len(rows)


def _loss(value: float | None) -> str:
    return "-" if value is None else db(value)


def _impedance(part: Part) -> str:
    near = getattr(part, "near_ohm", 0.0) or getattr(part, "impedance_ohm", 0.0)
    far = getattr(part, "far_ohm", 0.0) or getattr(part, "impedance_ohm", 0.0)
    if not near or math.isinf(near):
        return "-"
    return f"{near:g}" if near == far else f"{near:g}/{far:g}"


def _in_full(entry: Entry, length_m: float, console: Console) -> None:
    part = entry.part
    title(console, f"{part.id}: {part.name}")
    rows = [(label, text) for label, text in _values(part) if text]
    show_table(console, [Column(part.kind, numeric=False), Column("", False, wraps=True)], rows)
    if any(loss.loss_db is not None or loss.return_loss_db is not None for loss in entry.losses):
        console.print()
        _losses(entry, length_m, console)
    for reason in dict.fromkeys(each.reason for each in entry.losses if each.reason):
        say(console, f"No loss: {reason}.")


def _losses(entry: Entry, length_m: float, console: Console) -> None:
    loss_of = f"loss of\n{format_quantity(length_m, 'length')}, dB" if entry.part.kind == "coax" else "loss, dB"
    columns = [Column("at", numeric=False), Column(loss_of), Column("return loss\nat least, dB")]
    rows = [[frequency(each.freq_hz), _loss(each.loss_db), _loss(each.return_loss_db)] for each in entry.losses]
    if any(each.nominal_return_loss_db is not None for each in entry.losses):
        columns.append(Column("its own\nreturn loss, dB"))
        rows = [[*row, _loss(each.nominal_return_loss_db)] for row, each in zip(rows, entry.losses, strict=True)]
    show_table(console, columns, rows)


def _values(part: Part) -> Iterator[tuple[str, str]]:
    for each in fields(part):
        if each.name not in STATED_APART:
            yield from _figure(each.name, getattr(part, each.name))


def _figure(name: str, value: object) -> Iterator[tuple[str, str]]:
    label = LABELS.get(name, name.replace("_", " "))
    if isinstance(value, Evidence):
        yield label, f"{value.kind}: {value.source}" if value.source else value.kind
        yield f"{label}, note", value.note
    elif isinstance(value, Limit):
        yield label, _limit(value)
    elif name == "pieces" and isinstance(value, tuple):
        yield label, ", ".join(f"{ohm:.6g} ohm for {length:.6g} wavelength" for ohm, length in value)
    elif name == "evidence_of" and isinstance(value, tuple):
        yield "evidence, figures", ", ".join(f"{field.replace('_', ' ')}: {own.kind}" for field, own in value)
    elif isinstance(value, (tuple, list)):
        yield label, ", ".join(_item(item, ITEM_UNITS.get(name, "")) for item in value)
    elif isinstance(value, (bool, str, Connector)):
        yield label, ("yes" if value else "no") if isinstance(value, bool) else str(value)
    elif isinstance(value, (int, float)) and value:
        yield _with_unit(name, float(value))


def _item(value: object, unit: str) -> str:
    if isinstance(value, (tuple, list)):
        return " ".join(_item(each, unit) for each in value)
    return f"{value:.6g}{unit}" if isinstance(value, float) else str(value)


def _with_unit(name: str, value: float) -> tuple[str, str]:
    stem, text = name, f"{value:.6g}"
    if name in SHARES:
        return LABELS.get(name, name.replace("_", " ")), f"{100 * value:.6g} %"
    for suffix, unit in SUFFIXES.items():
        if name.endswith(suffix):
            stem, text = name[: -len(suffix)], f"{value:.6g} {unit}"
            break
    else:
        for suffix, kind in KINDS_OF_UNIT.items():
            if name.endswith(suffix):
                stem, text = name[: -len(suffix)], format_quantity(float(f"{value:.6g}"), kind)
    return LABELS.get(name, stem.replace("_", " ")), text


def _limit(limit: Limit) -> str:
    spread = {"ring": " (a magnitude that was measured)", "uniform-radius": " (every size alike)"}
    known = spread.get(limit.kind, "")
    if len(limit.freq_hz) == 1:
        return f"return loss at least {limit.return_loss_db[0]:.4g} dB{known}"
    low, high = min(limit.return_loss_db), max(limit.return_loss_db)
    return f"return loss at least {high:.4g} to {low:.4g} dB over frequency{known}"


APART = ("id", "name", "kind", "evidence", "source", "note")


MOST = 14
"""Rows of a list that are shown unless all are asked for."""


def render_rows(result: Sequence[dict[str, Any]], console: Console, every: bool = False) -> None:
    """Print the rows as a list, or one in full."""
    if len(result) == 1:
        row = result[0]
        title(console, f"{row['id']}: {row['name']}")
        values = [[key.replace("_", " "), _text(value)] for key, value in row.items() if key not in APART]
        values.append(["evidence", f"{row['evidence']}: {row['source']}"])
        values += [["note", row["note"]]] if row.get("note") else []
        show_table(console, [Column(row["kind"], False), Column("", False, wraps=True)], values)
        return
    shown = result if every else result[:MOST]
    columns = [Column("part", False), Column("kind", False), Column("what it is", False, wraps=True)]
    show_table(
        console, [*columns, Column("evidence", False)], [[r["id"], r["kind"], r["name"], r["evidence"]] for r in shown]
    )
    console.print()
    more = "" if len(shown) == len(result) else f"{len(shown)} of {len(result)} that fit; --all shows every one. "
    say(console, f"{more or f'{len(result)} of reception. '}'chain parts ID' shows one in full.")


def _text(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key.replace('_', ' ')} {_text(each)}" for key, each in value.items())
    if isinstance(value, list):
        return "; ".join(" ".join(f"{each:g}" for each in row) if isinstance(row, list) else str(row) for row in value)
    return str(value)
