"""Whether the frequencies of a set-up lie within what its parts and connectors hold for."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from chain.errors import plain, quoted
from chain.files.tables import Diagnostics
from chain.files.toml import Where
from chain.setups import Far, Item, Near, Sweep
from chain.units import format_quantity
from library.formulas import attenuation_db_per_100m, span_hz
from library.records import Adapter, Coax, Measured, Splitter

ROUNDING = 1e-9
MOST_LOSS_DB = 150.0
"""Most that a chain may lose one way: 300 dB there and back, far below any instrument's noise."""


def span_checks(
    sweep: Sweep,
    raw: dict[str, Any],
    near: Near | None,
    items: Sequence[tuple[Where, Item]],
    far: Far | None,
    into: Diagnostics,
) -> None:
    """See that the frequencies lie within what the parts hold for."""
    low_key, high_key = ("start", "stop") if "start" in raw else ("channels", "channels")
    for item in _with_arms(items):
        low_hz, high_hz = _span(item, into)
        name = f"{quoted(item.id)} ({item.part.name})"
        span = f"{format_quantity(low_hz, 'frequency')} to {format_quantity(high_hz, 'frequency')}"
        if low_hz == 0:
            span = f"up to {format_quantity(high_hz, 'frequency')}"
        if sweep.start_hz < low_hz * (1 - ROUNDING):
            into.defect(
                ("sweep", low_key), f"below what {plain(name)} holds for: {span}", "raise it, or choose another part"
            )
        if sweep.stop_hz > high_hz * (1 + ROUNDING):
            into.defect(
                ("sweep", high_key), f"above what {plain(name)} holds for: {span}", "lower it, or choose another part"
            )
    _total_loss(sweep, items, into)
    ends = [end.connector for end in (near, far) if end]
    ends += [end for item in _with_arms(items) for end in (item.near_connector, item.far_connector)]
    lowest: dict[str, float] = {}
    for end in ends:
        usual_hz = into.parts.family(end.family).usual_hz(end)
        lowest[end.family] = min(usual_hz, lowest.get(end.family, usual_hz))
    for name, usual_hz in lowest.items():
        if sweep.stop_hz > usual_hz * (1 + ROUNDING):
            usual = format_quantity(usual_hz, "frequency")
            into.warnings.append(f"{plain(name)} connectors: the sweep goes above their usual {usual}")


def _total_loss(sweep: Sweep, items: Sequence[tuple[Where, Item]], into: Diagnostics) -> None:
    """Refuse a chain that swallows everything: behind it no reading tells anything, and figures would run out of range."""
    losses = [(loss_db(item, sweep.stop_hz), where, item) for where, item in items]
    total = sum(loss for loss, _, _ in losses)
    if total > MOST_LOSS_DB:
        loss, where, item = max(losses, key=lambda each: each[0])
        key = "length" if item.part.kind == "coax" else "part"
        at = format_quantity(sweep.stop_hz, "frequency")
        what = (
            f"the chain loses {total:.0f} dB one way at {at}, {loss:.0f} dB of it here: nothing comes back through it"
        )
        into.defect((*where, key), what, f"{MOST_LOSS_DB:g} dB at most can be computed; is this figure meant?")


def loss_db(item: Item, freq_hz: float) -> float:
    """Attenuation of an item at a frequency, as far as its part states one [dB].

    Source: The part's own figures; an adapter's loss grows with the square root of frequency.
    """
    part = item.part
    if isinstance(part, Coax):
        low, high = span_hz(part)
        return attenuation_db_per_100m(part, min(max(freq_hz, low), high)) * item.length_m / 100
    if isinstance(part, Adapter):
        return part.loss_at_1ghz_db * math.sqrt(freq_hz / 1e9)
    if isinstance(part, Splitter):
        return next((loss for one, other, loss in part.loss_db if {one, other} == set(item.path)), 0.0)
    return float(getattr(part, "loss_db", 0.0))


def _with_arms(items: Sequence[tuple[Where, Item]]) -> Iterator[Item]:
    for _, item in items:
        yield item
        for arm in item.arms:
            yield from arm.items


def _span(item: Item, into: Diagnostics) -> tuple[float, float]:
    part = item.part
    if isinstance(part, Measured):
        return into.measured_hz[part.path]
    if isinstance(part, Coax):
        return part.valid_from_hz, part.valid_to_hz
    return getattr(part, "min_hz", 0.0), getattr(part, "max_hz", float("inf"))
