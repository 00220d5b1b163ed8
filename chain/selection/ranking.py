"""The second look at a chain: the interval at the limit at every allowed plane, from simulated measurements of the whole chain."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from chain.assembly.cascade import build
from chain.assembly.graph import BLOCKING, item_ends
from chain.reflection import magnitude_from_vswr, vswr
from chain.selection.stock import SearchSpace
from chain.setups import Calibration, Setup
from chain.uncertainty.intervals import interval_of
from chain.uncertainty.measurement import measurement_of, nominal_maps
from library.mating import mate
from library.records import Termination

DRAWS = 2000
"""Simulated measurements of each chain: enough to put chains in order."""
MATCHING = ("pad", "section", "transformer", "network")


@dataclass(frozen=True)
class PlaneInterval:
    """What a chain calibrated at one plane tells of an antenna that just keeps the limit. Ends are VSWR at `worst_hz`."""

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


def sights(room: SearchSpace, setup: Setup, points: int, seed: int) -> list[PlaneInterval]:
    """Look at a chain from every plane that the need allows."""
    chosen = np.unique(np.linspace(0, room.freq_hz.size - 1, points).round().astype(int))
    found = []
    for name, calibration, standards in calibrations(room, setup):
        there = replace(setup, calibration=calibration)
        measurement = measurement_of(there, build(there, room.freq_hz[chosen], room.library, fit=False))
        limit = float(magnitude_from_vswr(room.need.limit_vswr))
        low, high = interval_of(measurement, limit, room.need.has_phase, DRAWS, seed)
        worst = int(np.argmax(high - low))
        ceiling = float(vswr(nominal_maps(measurement).ceiling()[0].max()))
        found.append(
            PlaneInterval(
                name,
                calibration.plane,
                standards,
                calibration.load_db,
                float(vswr(low[worst])),
                float(vswr(high[worst])),
                float(high[worst] - low[worst]),
                float(measurement.freq_hz[worst]),
                ceiling,
            )
        )
    return sorted(found, key=lambda each: each.width)
