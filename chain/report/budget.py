"""Where every decibel goes, at the band's edges, its centre and its worst point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from rich.console import Console

from chain.arrays import Real
from chain.assembly.power import Account
from chain.report import phrases as outline
from chain.report.numbers import db, frequency, percent
from chain.report.tables import Column, notes, say, show_table

__all__ = ["render", "verdict_line"]

Rows = Iterator[list[str]]

SUMS = 6
"""Lines after those of items, joints and their interaction."""
SHOWN_DB = 0.005
"""Joints that lose less than this share one line."""


def render(result: Account, console: Console) -> None:
    """Print a budget."""
    found = result.budget
    chosen = _points(found.freq_hz, found.worst)
    outline.render(result.setup, console)
    say(console, verdict_line(result))
    console.print()
    columns = [
        Column("dB at", figures=False),
        *(Column(f"{frequency(found.freq_hz[index])}\n{name}") for index, name in chosen.items()),
    ]
    at = list(chosen)
    losses = list(_losses(result, at))
    show_table(console, columns, losses, ruled=[len(losses) - SUMS - 1])
    console.print()
    power = [Column("share of the source's power", figures=False), *columns[1:]]
    show_table(console, power, list(_shares(result, at)))
    console.print()
    show_table(
        console, [Column("add to a near level for the far", figures=False), *columns[1:]], list(_levels(result, at))
    )
    notes(console, result.setup.warnings, result.setup.assumed)


def _points(freq_hz: Real, worst: int) -> dict[int, str]:
    """Indices to show, each with what it is."""
    centre = int(np.argmin(np.abs(freq_hz - (freq_hz[0] + freq_hz[-1]) / 2)))
    names: dict[int, list[str]] = {}
    for index, name in ((0, "lower"), (centre, "centre"), (freq_hz.size - 1, "upper"), (worst, "worst")):
        names.setdefault(index, []).append(name)
    return {index: "\n".join(names[index]) for index in sorted(names)}


def verdict_line(result: Account) -> str:
    """What is lost on the way up, and where most of it."""
    found = result.budget
    worst = found.worst
    text = (
        f"Going up, {db(found.transducer_loss_db[worst])} dB of the power is lost on the way to the antenna at "
        f"{frequency(found.freq_hz[worst])}, the worst point"
    )
    losses = {item.id: float(item.attenuation_db[worst]) for item in found.items}
    if losses:
        most = max(losses, key=lambda name: losses[name])
        text += f"; {most} alone takes {db(losses[most])} dB"
    return f"{text}. What comes back loses as much again."


def _losses(result: Account, at: Sequence[int]) -> Rows:
    """Items and joints in the order of the chain, then the sums."""
    found = result.budget
    items = {item.id: item for item in found.items}
    quiet = [joint for joint in found.joints if joint.mismatch_loss_db < SHOWN_DB]
    for joint in found.joints:
        if joint not in quiet:
            yield [f"step at joint {joint.near}/{joint.far}", *(db(joint.mismatch_loss_db) for _ in at)]
        if joint.far in items:
            yield [joint.far, *_figures(items[joint.far].attenuation_db, at)]
    if quiet:
        others = "other " if len(quiet) < len(found.joints) else ""
        yield [f"{len(quiet)} {others}joints, no step", *(db(0) for _ in at)]
    yield ["interaction of mismatches", *_figures(found.interaction_db, at, signed=True)]
    yield ["transducer loss", *_figures(found.transducer_loss_db, at)]
    yield ["  of it reflected (mismatch)", *_figures(result.near_mismatch_loss_db, at)]
    yield ["  of it left in the chain (dissipative)", *_figures(result.dissipative_loss_db, at)]
    yield ["insertion loss", *_figures(found.insertion_loss_db, at)]
    yield [f"near return loss, {found.near_ohm:g} ohm", *_figures(found.near_return_loss_db, at)]
    yield [f"far return loss, {found.far_ohm:g} ohm", *_figures(found.far_return_loss_db, at)]


def _shares(result: Account, at: Sequence[int]) -> Rows:
    found = result.budget
    yield ["reflected at the near end", *(percent(found.reflected_share[index]) for index in at)]
    for item in found.items:
        yield [f"lost in {item.id}", *(percent(item.dissipated_share[index]) for index in at)]
    yield ["delivered at the far end", *(percent(found.delivered_share[index]) for index in at)]


def _levels(result: Account, at: Sequence[int]) -> Rows:
    found, level = result.budget, result.levels_db
    yield ["power in dB", *_figures(level["power_db"], at, signed=True)]
    yield ["voltage in dB", *_figures(level["voltage_db"], at, signed=True)]
    yield [f"dBm to dBuV at {found.far_ohm:g} ohm", *_figures(level["dbm_to_far_dbuv"], at, signed=True)]
    yield ["(voltage lost going up)", *_figures(level["near_to_far_voltage_db"], at)]


def _figures(values: Real, at: Sequence[int], signed: bool = False) -> list[str]:
    return [db(float(values[index]), signed) for index in at]
