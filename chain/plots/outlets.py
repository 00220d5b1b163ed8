"""Levels along the way to the worst outlet: from the antenna through every item, lowest to highest channel."""

from __future__ import annotations

import numpy as np

from chain.errors import plain
from chain.plots.figure import Axis, CurveChart, Level, Series, Tick, cut, even_axis
from chain.reception.levels import on_the_way
from chain.reception.outlets import Reception

LONGEST_NAME = 9
MOST_TICKS = 9
ROOM_DB = 5.0


def describe(result: Reception) -> tuple[CurveChart]:
    """Describe the level diagram of the worst outlet."""
    outlet, channel = result.order()[0]
    installation, nominal = result.installation, result.nominal
    plan = nominal.compiled.plan
    way = [installation.items[number] for number in on_the_way(nominal.compiled, int(plan.outlets[outlet]))]
    ports = [0]
    port = int(plan.outlets[outlet])
    while port > 0:
        ports.insert(1, port)
        port = int(plan.parent[port])
    names = ["antenna", *(item.id for item in way)]
    # Behind an amplifier without its feed and without a bypass nothing arrives.
    alive = [n for n, name in enumerate(names) if n == 0 or not result.silent_at(name)]
    ports, names = [ports[n] for n in alive], [names[n] for n in alive]
    levels = nominal.at_port[ports]
    places = np.arange(len(ports), dtype=float)
    step = -(-len(ports) // MOST_TICKS)
    ticks = tuple(Tick(float(n), cut(plain(names[n]), LONGEST_NAME)) for n in range(0, len(names), step))
    found = installation.channels[channel]
    low = float(levels.min())
    if len(alive) > len(way):
        low = min(low, float(result.drawn.level_dbuv[0, outlet, channel]))
    edges = [edge for edge in (found.window_low_dbuv, found.window_high_dbuv) if edge is not None]
    axis = even_axis("level", "dBuV", min([low, *edges]) - ROOM_DB, max([float(levels.max()), *edges]) + ROOM_DB)
    series = (
        Series("all channels", "interval", places, None, levels.min(axis=1), levels.max(axis=1)),
        Series(f"channel {plain(found.name)}", "true", places, levels[:, channel]),
    )
    words = ("at least", "at most")
    windows = zip(words, (found.window_low_dbuv, found.window_high_dbuv), strict=True)
    marks = tuple(Level(f"{word} {edge:g}", "limit", edge) for word, edge in windows if edge is not None)
    name = plain(installation.outlets[outlet].id)
    return (
        CurveChart(
            "levels",
            f"Level on the way to {name}, the worst outlet",
            f"Level behind each item, every part as stated; the lines are what an outlet should keep for channel {plain(found.name)}.",
            Axis("behind", "item by item", 0.0, max(float(len(ports) - 1), 1.0), ticks),
            axis,
            series,
            marks,
        ),
    )
