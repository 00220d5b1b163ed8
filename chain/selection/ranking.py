"""The second look at a chain: the interval at the limit at every allowed plane, from simulated measurements of the whole chain."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from chain.arrays import Real, distinct
from chain.assembly.cascade import build
from chain.assembly.graph import BLOCKING, item_ends
from chain.reflection import magnitude_from_vswr, vswr
from chain.selection.stock import SearchSpace
from chain.setups import Calibration, Setup
from chain.uncertainty.intervals import interval_of
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps
from chain.uncertainty.parallel import in_order
from chain.uncertainty.stacked import form_of, stacked
from library.files.rows import MATCHING
from library.frozen import dataclass
from library.mating import mate
from library.records import Termination

DRAWS = 2000
"""Simulated measurements of each chain: enough to put chains in order."""
TOGETHER = 96
"""Frequencies of chains drawn as one: more than a core keeps at hand would cost more than the calls they save."""


@dataclass(frozen=True)
class PlaneInterval:
    """What a chain calibrated at one plane shows of an antenna that just keeps the limit. Ends are VSWR at `worst_hz`."""

    plane: str
    after: str
    """Id of the item the plane lies after; `near` for the analyzer's port."""
    standards: str
    load_db: float | None
    low: float
    high: float
    width: float
    """Width of the interval as reflection magnitude [-]."""
    worst_hz: float
    ceiling_vswr: float


def calibrations(room: SearchSpace, setup: Setup) -> Iterator[tuple[str, Calibration, str]]:
    """Planes that a need allows on a chain, each once."""
    need = room.need
    seen = set()
    for name in need.planes:
        after = _after(setup, name)
        if after is None or after in seen:
            continue
        seen.add(after)
        if after == "near":
            yield name, need.standards, "the analyzer's own standards"
            continue
        end = item_ends(next(item for item in setup.items if item.id == after))[1]
        load_db, words = _load(room, end.connector, end.line_ohm)
        text = f"open, short and {end.line_ohm:g}-ohm load ({words}) at the {end.connector}"
        yield name, replace(need.standards, plane=after, load_db=load_db), text


def _after(setup: Setup, plane: str) -> str | None:
    if plane == "near":
        return "near"
    items = [item for item in setup.items if item.part.kind != "splitter"]
    if plane == "after-pad":
        items = [item for item in items if item.part.kind in MATCHING]
    elif items and items[-1] is not setup.items[-1]:
        return None
    return items[-1].id if items else None


def _load(room: SearchSpace, connector: object, ohm: float) -> tuple[float | None, str]:
    """Return loss of the load for a plane: the need's, the best one owned that fits, or what usually goes with the analyzer."""
    usual_db = room.need.standards.load_db
    if usual_db is None:
        return None, "perfect"
    if room.need.load_stated:
        return usual_db, f"{usual_db:g} dB"
    best: tuple[float, str] | None = None
    for offer in room.standards:
        part = offer.item.part
        assert isinstance(part, Termination)
        fits = mate(offer.item.near_connector, connector, room.library).verdict not in BLOCKING  # type: ignore[arg-type]
        if offer.owned and part.type == "load" and part.impedance_ohm == ohm and part.limit and fits:
            load_db = min(part.limit.return_loss_db)
            if best is None or load_db > best[0]:
                best = load_db, f"{load_db:g} dB, the {offer.name} owned"
    return best or (usual_db, f"{usual_db:g} dB assumed")


def plane_intervals(
    room: SearchSpace,
    setups: Sequence[Setup],
    points: int,
    seed: int,
    progress: Callable[[float], None] | None = None,
) -> list[list[PlaneInterval]]:
    """Look at each chain from every plane that the need allows, narrowest interval first."""
    chosen = distinct(np.linspace(0, room.freq_hz.size - 1, points).round().astype(int))
    views = [view for number, setup in enumerate(setups) for view in _views(room, number, setup, room.freq_hz[chosen])]
    forms: dict[Hashable, list[int]] = {}
    for index, view in enumerate(views):
        forms.setdefault(form_of(view.measurement), []).append(index)
    step = max(1, TOGETHER // chosen.size)
    shares = [group[at : at + step] for group in forms.values() for at in range(0, len(group), step)]
    found: list[list[PlaneInterval]] = [[] for _ in setups]
    seen: dict[int, PlaneInterval] = {}
    looked = in_order(lambda share: _look(room, [views[each] for each in share], seed), shares, many=True)
    for share, looks in zip(shares, looked, strict=True):
        seen |= dict(zip(share, looks, strict=True))
        if progress is not None:
            progress(len(seen) / len(views))
    # In the order of the planes, so that of two alike the first stays ahead.
    for index, view in enumerate(views):
        found[view.number].append(seen[index])
    return [sorted(each, key=lambda one: one.width) for each in found]


@dataclass(frozen=True)
class _View:
    """One chain, by its number, calibrated at one plane."""

    number: int
    plane: str
    calibration: Calibration
    standards: str
    measurement: Measurement


def _views(room: SearchSpace, number: int, setup: Setup, freq_hz: Real) -> Iterator[_View]:
    chain = build(setup, freq_hz, fit=False)
    for name, calibration, standards in calibrations(room, setup):
        measurement = measurement_of(replace(setup, calibration=calibration), chain)
        yield _View(number, name, calibration, standards, measurement)


def _look(room: SearchSpace, views: Sequence[_View], seed: int) -> list[PlaneInterval]:
    """Intervals of chains of one form, drawn together."""
    together = stacked([view.measurement for view in views])
    limit = float(magnitude_from_vswr(room.need.limit_vswr))
    ends = interval_of(together, limit, room.need.has_phase, DRAWS, seed)
    low, high = (each.reshape(len(views), -1) for each in ends)
    ceiling = vswr(nominal_maps(together).ceiling()[0].reshape(len(views), -1).max(axis=1))
    worst = np.argmax(high - low, axis=1)
    return [
        PlaneInterval(
            view.plane,
            view.calibration.plane,
            view.standards,
            view.calibration.load_db,
            float(vswr(low[row, at])),
            float(vswr(high[row, at])),
            float(high[row, at] - low[row, at]),
            float(view.measurement.freq_hz[at]),
            float(ceiling[row]),
        )
        for row, (view, at) in enumerate(zip(views, worst, strict=True))
    ]
