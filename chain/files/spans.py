"""Whether the frequencies of a set-up lie within what its parts and connectors hold for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from chain.errors import plain, quoted
from chain.files.positions import Where
from chain.files.tables import Notes
from chain.setups import Far, Item, Near, Sweep
from chain.units import format_quantity
from library.records import Coax, Measured

__all__ = ["span_checks"]

ROUNDING = 1e-9


def span_checks(
    sweep: Sweep,
    raw: dict[str, Any],
    near: Near | None,
    items: Sequence[tuple[Where, Item]],
    far: Far | None,
    notes: Notes,
) -> None:
    """See that the frequencies lie within what the parts hold for.

    Source: Spans of the library's entries.
    """
    low_key, high_key = ("start", "stop") if "start" in raw else ("channels", "channels")
    for item in _with_arms(items):
        low_hz, high_hz = _span(item, notes)
        name = f"{quoted(item.id)} ({item.part.name})"
        span = f"{format_quantity(low_hz, 'frequency')} to {format_quantity(high_hz, 'frequency')}"
        if low_hz == 0:
            span = f"up to {format_quantity(high_hz, 'frequency')}"
        if sweep.start_hz < low_hz * (1 - ROUNDING):
            notes.fault(
                ("sweep", low_key), f"below what {plain(name)} holds for: {span}", "raise it, or choose another part"
            )
        if sweep.stop_hz > high_hz * (1 + ROUNDING):
            notes.fault(
                ("sweep", high_key), f"above what {plain(name)} holds for: {span}", "lower it, or choose another part"
            )
    ends = [end.connector for end in (near, far) if end]
    ends += [end for item in _with_arms(items) for end in (item.near_connector, item.far_connector)]
    for name in dict.fromkeys(end.family for end in ends):
        family = notes.library.family(name)
        if sweep.stop_hz > family.max_hz * (1 + ROUNDING):
            usual = format_quantity(family.max_hz, "frequency")
            notes.warnings.append(f"{plain(family.id)} connectors: the sweep goes above their usual {usual}")


def _with_arms(items: Sequence[tuple[Where, Item]]) -> Iterator[Item]:
    for _, item in items:
        yield item
        for arm in item.arms:
            yield from arm.items


def _span(item: Item, notes: Notes) -> tuple[float, float]:
    part = item.part
    if isinstance(part, Measured):
        return notes.measured_hz[part.path]
    if isinstance(part, Coax):
        return part.valid_from_hz, part.valid_to_hz
    return getattr(part, "min_hz", 0.0), getattr(part, "max_hz", float("inf"))
