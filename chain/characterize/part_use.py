"""What a learnt part changes in a set-up: the item's part replaced, its limit reported before and after."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chain.analyses.expect import Expectation, expect
from chain.analyses.recover import recover
from chain.characterize.records import BeforeAfter, Learnt, Side
from chain.errors import RangeError, quoted
from chain.reflection import magnitude_from_vswr
from chain.results import SEED
from chain.setups import Item, Setup
from chain.sweeps.readings import Readings
from library.files.rows import record
from library.records import Part

USUAL_LIMIT = 2.0


def item_of(setup: Setup, name: str) -> Item:
    """The item of an id."""
    for item in setup.items:
        if item.id == name:
            return item
    raise RangeError(
        f"the set-up has no item {quoted(name)}", f"its items: {', '.join(each.id for each in setup.items)}"
    )


def part_of(learnt: Learnt) -> Part:
    """The learnt part as the library's record."""
    part: Part = record(learnt.kind, learnt.row)
    return part


def with_part(setup: Setup, name: str, learnt: Learnt) -> Setup:
    """The set-up with the learnt part in place of an item's."""
    item = item_of(setup, name)
    if item.part.kind != learnt.kind:
        raise RangeError(
            f"item {quoted(name)} is of kind {item.part.kind}, and a {learnt.kind} was learnt",
            "name the item that was measured, or learn the part as that kind (--kind)",
        )
    length = learnt.length_m if learnt.kind == "coax" and learnt.length_m else item.length_m
    changed = replace(item, part=part_of(learnt), length_m=length, stated=())
    items = tuple(changed if each.id == name else each for each in setup.items)
    return replace(setup, items=items)


def compared(
    setup: Setup, name: str, learnt: Learnt, seed: int = SEED, progress: Callable[[float], None] | None = None
) -> BeforeAfter:
    """A set-up before and after."""
    after = with_part(setup, name, learnt)
    limit = setup.far.limit_vswr or USUAL_LIMIT
    reported = progress or (lambda share: None)
    first = expect(setup, [limit], seed=seed, progress=lambda share: reported(share / 2))
    second = expect(after, [limit], seed=seed, progress=lambda share: reported((1 + share) / 2))
    worst = int(np.argmax(first.freq_hz == first.worst_hz))
    before = _side(setup, first, worst, item_of(setup, name).part.id, seed)
    return BeforeAfter(setup.title, name, limit, first.worst_hz, before, _side(after, second, worst, learnt.id, seed))


def _side(setup: Setup, found: Expectation, index: int, part: str, seed: int) -> Side:
    """The limit at one frequency, and the true interval of the reading that an end just at the limit gives."""
    reading, low, high = (float(found.sweep[key][0, index]) for key in ("reading_vswr", "reading_low", "reading_high"))
    size = np.atleast_1d(np.asarray(magnitude_from_vswr(reading)))
    seen = Readings(found.freq_hz[index : index + 1], size, None, "VSWR")
    true = recover(setup, seen, seed=seed)
    return Side(part, reading, low, high, float(true.low[0]), float(true.high[0]), found.aim_reading.vswr)
