"""Where every decibel goes, stacked over frequency in the order of the chain."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from chain.arrays import Real
from chain.assembly.budget import Budget
from chain.assembly.power import Account
from chain.errors import plain
from chain.plots.figure import CurveChart, Series, even_axis, frequency_axis, part_look
from chain.setup_report.numbers import db

SHOWN_DB = 0.005
"""A step at a joint that loses less than this has no band of its own."""


def describe(result: Account) -> tuple[CurveChart]:
    """Describe the stack of losses over frequency."""
    found = result.budget
    top = np.zeros(found.freq_hz.shape)
    bands = []
    joined = found.freq_hz.size > 1
    for number, (name, loss_db) in enumerate(_losses(found)):
        label = f"{_range(loss_db)} {plain(name)}"
        bands.append(
            Series(label, "part", found.freq_hz, low=top, high=top + loss_db, joined=joined, look=part_look(number))
        )
        top = top + loss_db
    total = found.transducer_loss_db
    series = (*bands, Series(f"{_range(total)} transducer loss", "total", found.freq_hz, total, joined=joined))
    known = np.concatenate([total[np.isfinite(total)], top])
    return (
        CurveChart(
            "losses",
            "Loss from the source to the antenna, stacked in the order of the chain",
            f"Source {found.near_ohm:g} ohm, antenna {found.far_ohm:g} ohm, both matched. From the top of the stack to the "
            f"line: interaction of mismatches, {_range(found.interaction_db)}.",
            frequency_axis(found.freq_hz),
            even_axis("loss", "dB", 0.0, 1.05 * float(known.max()) or 1.0),
            series,
        ),
    )


def _losses(found: Budget) -> Iterator[tuple[str, Real]]:
    """Items and steps in the order of the chain, each with its loss over frequency."""
    items = {item.id: item.attenuation_db for item in found.items}
    for joint in found.joints:
        if joint.mismatch_loss_db >= SHOWN_DB:
            yield f"step {joint.near}/{joint.far}", np.full(found.freq_hz.shape, joint.mismatch_loss_db)
        if joint.far in items:
            yield joint.far, items[joint.far]


def _range(loss_db: Real) -> str:
    low, high = db(float(np.min(loss_db))), db(float(np.max(loss_db)))
    return f"{low} dB" if low == high else f"{low} to {high} dB"
