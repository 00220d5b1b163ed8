"""Where every decibel goes, at the band's edges, its centre and its worst point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from chain.analyses.loss_range import LossRange
from chain.arrays import Real
from chain.assembly.power import Account
from chain.results import counted
from chain.setup_report.numbers import db, frequency, percent
from chain.setup_report.phrases import fitted, short
from chain.setup_report.tables import Column, answer, notes, show_table

Rows = Iterator[list[str]]

SUMS = 6
"""Lines after those of items, joints and their interaction."""
MOST_RANGES = 401
"""Frequencies over a sweep for which a document holds ranges."""
SHOWN_DB = 0.005
"""Joints that lose less than this share one line."""


def render(result: Account, console: Console, ranges: LossRange) -> None:
    """Print a budget."""
    chosen = _points(result)
    found = result.budget
    answer(console, verdict_lines(result, ranges), result.setup.warnings)
    at = list(chosen)
    columns = [Column(f"{frequency(found.freq_hz[index])}\n{name}") for index, name in chosen.items()]
    losses = list(_losses(result, ranges, at))
    show_table(console, [Column("dB at", numeric=False, wraps=True), *columns], losses, ruled=[len(losses) - SUMS - 1])
    console.print()
    show_table(
        console, [Column("share of the source's power", numeric=False, wraps=True), *columns], list(_shares(result, at))
    )
    console.print()
    title = "from a level at the analyzer\nto that at the antenna, add"
    show_table(console, [Column(title, numeric=False, wraps=True), *columns], list(_levels(result, at)))
    method = (
        f"Source {found.near_ohm:g} ohm, antenna {found.far_ohm:g} ohm, both matched. Range: 95 % of {ranges.draws} simulated "
        f"chains, seed {ranges.seed}."
    )
    notes(console, result.setup.assumed, [method])


def range_freq_hz(result: Account, all_of_it: bool) -> Real:
    """Frequencies that ranges are asked for: those shown, and for a document some over the whole sweep."""
    freq_hz = result.budget.freq_hz
    some = np.linspace(0, freq_hz.size - 1, MOST_RANGES if all_of_it else 0).round()
    return np.asarray(freq_hz[sorted({*some.astype(int).tolist(), *_points(result)})])


def _points(result: Account) -> dict[int, str]:
    """Indices of the frequencies that are shown, each with what it is."""
    freq_hz, worst = result.budget.freq_hz, result.budget.worst
    centre = int(np.argmin(np.abs(freq_hz - (freq_hz[0] + freq_hz[-1]) / 2)))
    names: dict[int, list[str]] = {}
    for index, name in ((0, "lower"), (centre, "centre"), (freq_hz.size - 1, "upper"), (worst, "worst")):
        names.setdefault(index, []).append(name)
    return {index: "\n".join(names[index]) for index in sorted(names)}


def verdict_lines(result: Account, ranges: LossRange) -> list[str]:
    """Loss on the way to the antenna and where most of it goes; its range at the worst point; the next step."""
    found, worst = result.budget, result.budget.worst
    at = int(np.searchsorted(ranges.freq_hz, found.freq_hz[worst]))
    low, high = db(float(ranges.loss_low_db[at])), db(float(ranges.loss_high_db[at]))
    assumed = len(result.setup.assumed)
    rests = f" Rests on {counted(assumed, 'assumption')}." if assumed else " Every part as stated."
    return [
        loss_line(result),
        fitted(f"Worst, {frequency(found.freq_hz[worst])}: {low} to {high} dB (95 %).{rests}"),
        "Next: 'chain expect' says what the screen shows; the way back loses as much.",
    ]


def loss_line(result: Account) -> str:
    """What is lost on the way to the antenna at the worst point, and where most of it."""
    found, worst = result.budget, result.budget.worst
    first = f"{db(found.transducer_loss_db[worst])} dB is lost on the way to the antenna"
    losses = {item.id: float(item.attenuation_db[worst]) for item in found.items}
    most = max(losses, key=lambda name: losses[name], default="")
    return f"{first}, {db(losses[most])} of it in '{short(most)}'." if most else f"{first}."


def _losses(result: Account, ranges: LossRange, at: Sequence[int]) -> Rows:
    """Items and joints in the order of the chain, then the sums."""
    found = result.budget
    items = {item.id: item for item in found.items}
    drawn = np.searchsorted(ranges.freq_hz, found.freq_hz[list(at)])
    quiet = [joint for joint in found.joints if joint.mismatch_loss_db < SHOWN_DB]
    for joint in found.joints:
        if joint not in quiet:
            yield [f"step at joint {joint.near}/{joint.far}", *(db(joint.mismatch_loss_db) for _ in at)]
        if joint.far in items:
            yield [joint.far, *_values(items[joint.far].attenuation_db, at)]
    if quiet:
        others = "other " if len(quiet) < len(found.joints) else ""
        yield [f"{counted(len(quiet), f'{others}connector joint')}, same impedance on both sides", *(db(0) for _ in at)]
    yield ["mismatches together", *_values(found.interaction_db, at, signed=True)]
    yield ["lost in all (transducer loss)", *_values(found.transducer_loss_db, at)]
    yield ["  95 %", *_range(ranges.loss_low_db, ranges.loss_high_db, drawn)]
    yield ["  of it heat in the chain", *_values(result.dissipative_loss_db, at)]
    yield ["insertion loss", *_values(found.insertion_loss_db, at)]
    yield [
        "return loss at the analyzer, 95 %",
        *_range(ranges.near_return_loss_low_db, ranges.near_return_loss_high_db, drawn),
    ]
    yield [
        "return loss at the antenna, 95 %",
        *_range(ranges.far_return_loss_low_db, ranges.far_return_loss_high_db, drawn),
    ]


def _shares(result: Account, at: Sequence[int]) -> Rows:
    found = result.budget
    yield ["reflected at the analyzer's end", *(percent(found.reflected_share[index]) for index in at)]
    for item in found.items:
        yield [f"lost in {item.id}", *(percent(item.dissipated_share[index]) for index in at)]
    yield ["delivered to the antenna", *(percent(found.delivered_share[index]) for index in at)]


def _levels(result: Account, at: Sequence[int]) -> Rows:
    found, level = result.budget, result.levels_db
    yield ["to a power, dB", *_values(level["power_db"], at, signed=True)]
    yield ["to a voltage, dB", *_values(level["voltage_db"], at, signed=True)]
    yield [f"to dBm, for dBuV at {found.far_ohm:g} ohm", *_values(level["dbm_to_far_dbuv"], at, signed=True)]
    yield ["(voltage lost going up, dB)", *_values(level["near_to_far_voltage_db"], at)]


def _range(low: Real, high: Real, at: NDArray[np.intp]) -> list[str]:
    pairs = ((low[index], high[index]) for index in at)
    return [f"{down:.1f} to {up:.1f}" if abs(up) < 200 else f"{down:.1f} or more" for down, up in pairs]


def _values(values: Real, at: Sequence[int], signed: bool = False) -> list[str]:
    return [db(float(values[index]), signed) for index in at]
