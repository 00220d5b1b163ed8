"""From what is owned and on offer to a catalogue for the search: nodes, joints and the additive figures of each part.

Loss of a part is its attenuation matched at both of its own impedances, and its reflection the larger of its two limits (of
what has no limit, the reflection of its nominal model); a joint counts with what its step of impedance and its wrong
halves lose and reflect. Each is taken at its own worst frequency of the band, so the sums are the worst there can be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable
from dataclasses import replace
from functools import cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.assembly.graph import (
    BLOCKING,
    End,
    connect,
    connection_elements,
    far_end,
    item_ends,
    item_ohm,
    near_end,
)
from chain.errors import ChainError, quoted
from chain.rf.elements import limit_radius, nominal
from chain.rf.parts import elements_of
from chain.selection.catalogue import Catalogue
from chain.selection.need import LIMITS, Need, Offer
from chain.selection.search import Walk
from chain.setups import Calibration, Item, Setup, with_conductors
from library.frozen import dataclass
from library.mating import mate
from library.parts import Library
from library.records import Limit

NANO = 1e9
"""Whole units of loss in 1 dB, of reflection in 1."""
DC_BLOCK, LEAD = 1, 2
"""Marks that a need may ask a chain to collect."""
MOST_NOTES = 20
identity = object.__hash__
"""Which object it is: unlike `id` no audit hook hears of it, and it is asked for tens of thousands of times."""


@dataclass(frozen=True)
class SearchSpace:
    """A need made ready for the search. `offers` are those of the catalogue's parts, in its order."""

    need: Need
    library: Library
    freq_hz: Real
    offers: tuple[Offer, ...]
    ends: tuple[End, ...]
    """The nodes."""
    catalogue: Catalogue
    standards: tuple[Offer, ...]
    """Terminations owned or on offer: no parts of a chain, but loads to calibrate with."""
    notes: tuple[str, ...]


def band_hz(need: Need) -> Real:
    """Frequencies at which a need is judged [Hz]."""
    return np.linspace(need.sweep.start_hz, need.sweep.stop_hz, need.sweep.points)


def own_values(item: Item, freq_hz: Real) -> tuple[float, float]:
    """Loss and reflection of an item taken by itself, each at its worst frequency [dB].

    Source: -20 log10 |S21| of the nominal model; 10^(-RL/20) of the limit.
    """
    return _limited(item, _bare(item, freq_hz), partial(_largest, freq_hz=freq_hz))


Bare = tuple[float, tuple[float, float]]


def _bare(item: Item, freq_hz: Real) -> Bare:
    """Loss of an item's nominal model, and the reflection at its two ends."""
    s = nominal(elements_of(item, freq_hz), *item_ohm(item), freq_hz)
    loss_db = max(0.0, float((-20 * np.log10(np.abs(s[..., 1, 0]))).max()))
    return loss_db, (float(np.abs(s[..., 0, 0]).max()), float(np.abs(s[..., 1, 1]).max()))


def _largest(limit: Limit, freq_hz: Real) -> float:
    radius = limit_radius(limit, freq_hz)
    assert radius is not None
    return float(radius.max())


def _limited(item: Item, bare: Bare, largest: Callable[[Limit], float]) -> tuple[float, float]:
    """Loss of an item, and the larger reflection of its ends: the limit's, of an end without one the model's."""
    part: Any = item.part
    loss_db, own = bare
    if item.ideal:
        return loss_db, max(own)
    limits = [part.limit] * 2 if hasattr(part, "limit") else [getattr(part, name, None) for name in LIMITS[1:]]
    return loss_db, max(ohm if limit is None else largest(limit) for limit, ohm in zip(limits, own, strict=True))


def search_space(need: Need, library: Library | None = None) -> SearchSpace:
    """Make a need ready for the search (mating rules of the library; figures as at the top of this module)."""
    library = library or need.library
    freq_hz = band_hz(need)
    standards = tuple(offer for offer in need.offers if offer.model.part.kind == "termination")
    others = [offer for offer in need.offers if offer.model.part.kind != "termination"]
    notes: list[str] = []
    kept = [offer for offer in _conducting(others, need) if _serves(offer, need, notes)]
    worst, kept, alike = _worst_of_each(kept, freq_hz, notes)
    nodes: dict[End, int] = {}
    start, goal = (_node(replace(end, name=""), nodes) for end in (near_end(need.near), far_end(need.far)))
    pairs: dict[Hashable, tuple[int, ...]] = {}
    for offer, each in zip(kept, alike, strict=True):
        if each not in pairs:
            pairs[each] = tuple(_node(replace(end, name=""), nodes) for end in item_ends(offer.model))
    ends = [pairs[each] for each in alike]
    loss, reflection = _joints(list(nodes), freq_hz, library)
    counts = Counter(node for pair, many in Counter(ends).items() for node in set(pair) for _ in range(many))
    useless = cache(partial(_useless, loss, counts, (start, goal)))
    for offer, pair in zip(kept, ends, strict=True):
        node = useless(pair, offer.stock < 2)
        if node is not None:
            end = list(nodes)[node].connector
            notes.append(
                f"{offer.where}: {quoted(offer.name)}: its {end} end mates with nothing owned, offered or given"
            )
    catalogue = _catalogue(kept, ends, worst, need, (loss, reflection, start, goal))
    return SearchSpace(need, library, freq_hz, tuple(kept), tuple(nodes), catalogue, standards, _short(notes))


def _conducting(offers: list[Offer], need: Need) -> list[Offer]:
    """Leads known by their conductor, which is the pin of an F plug."""
    # Rows of a table share their models, and go on sharing them.
    models = {identity(offer.model): offer.model for offer in offers}
    reported = with_conductors(Setup("", need.sweep, need.near, tuple(models.values()), need.far)).items
    marked = {key: new for (key, old), new in zip(models.items(), reported, strict=True) if new is not old}
    if not marked:
        return offers
    return [replace(each, model=marked.get(identity(each.model), each.model)) for each in offers]


def _serves(offer: Offer, need: Need, notes: list[str]) -> bool:
    """See that the direct current may take the way that the need asks for."""
    dc = getattr(offer.model.part, "dc", "pass")
    if need.dc and dc not in ("pass", need.dc):
        does = {"block": "blocks DC", "short": "shorts DC"}[dc]
        notes.append(f"{offer.where}: {quoted(offer.name)} {does}, and the need asks to {need.dc} it: left out")
        return False
    return True


def _worst_of_each(
    offers: list[Offer], freq_hz: Real, notes: list[str]
) -> tuple[list[tuple[float, float]], list[Offer], list[Hashable]]:
    """Figures of each offer that its models cover over the band, and what it is apart from its limits."""
    # Rows of a table share their models, and many models differ in their limits alone.
    known: dict[int, tuple[Bare | str, Hashable]] = {}
    bare: dict[Hashable, Bare | str] = {}
    largest = cache(partial(_largest, freq_hz=freq_hz))
    found, kept, alike = [], [], []
    for offer in offers:
        model = offer.model
        one = identity(model)
        if one not in known:
            key = _apart_from_limits(model)
            if key not in bare:
                bare[key] = _covered(model, freq_hz)
            known[one] = bare[key], key
        own, key = known[one]
        if isinstance(own, str):
            notes.append(f"{offer.where}: {quoted(offer.name)} does not cover the band and is left out: {own}")
            continue
        found.append(_limited(model, own, largest) if offer.limit is None else (own[0], largest(offer.limit)))
        kept.append(offer)
        alike.append(key)
    return found, kept, alike


def _covered(item: Item, freq_hz: Real) -> Bare | str:
    """Figures of an item's nominal model, or why it does not cover the band."""
    low, high = getattr(item.part, "min_hz", 0.0), getattr(item.part, "max_hz", np.inf)
    try:
        found = _bare(item, freq_hz)
    except ChainError as error:
        return error.message
    if freq_hz[0] < low * (1 - 1e-9) or freq_hz[-1] > high * (1 + 1e-9):
        return f"it is for {low / 1e6:g} to {high / 1e6:g} MHz"
    return found


def _apart_from_limits(item: Item) -> Hashable:
    """What the model and the ends of an item rest on. Values that are one object are alike, and need not be compared."""
    own = [identity(value) for name, value in vars(item).items() if name not in ("id", "part", "stated")]
    return type(item.part), *own, *(identity(value) for name, value in vars(item.part).items() if name not in LIMITS)


def _node(end: End, nodes: dict[End, int]) -> int:
    return nodes.setdefault(end, len(nodes))


def _joints(nodes: list[End], freq_hz: Real, library: Library) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Loss and reflection of every joint, in whole units; a loss of -1 for ends that do not go together."""
    loss = np.full((len(nodes), len(nodes)), -1, dtype=np.int64)
    reflection = np.zeros_like(loss)
    fits: dict[Any, bool] = {}
    for row, one in enumerate(nodes):
        for column, other in enumerate(nodes[: row + 1]):
            key = one.connector, other.connector
            if key not in fits:
                fits[key] = mate(*key, library).verdict not in BLOCKING
            if not fits[key]:
                continue
            found = connect(one, other, library)
            s = nominal(connection_elements(found, freq_hz), one.line_ohm, other.line_ohm, freq_hz)
            lost = max(0, round(float((-20 * np.log10(np.abs(s[..., 1, 0]))).max()) * NANO))
            loss[row, column] = loss[column, row] = lost
            reflection[row, column] = reflection[column, row] = round(float(np.abs(s[..., 0, 0]).max()) * NANO)
    return loss, reflection


def _useless(
    loss: NDArray[np.int64], counts: Counter[int], outer: tuple[int, int], pair: tuple[int, ...], single: bool
) -> int | None:
    """The end of a part that nothing at hand mates with, the part itself only if there are two of it; None where both have a mate."""
    for node in pair:
        others = map(int, np.flatnonzero(loss[node] >= 0))
        if not any(other in outer or counts[other] > (other in pair) * single for other in others):
            return node
    return None


def _catalogue(
    offers: list[Offer], ends: list[tuple[int, ...]], worst: list[tuple[float, float]], need: Need, joints: Any
) -> Catalogue:
    def column(values: Iterable[int]) -> NDArray[np.int64]:
        return np.array(list(values), dtype=np.int64)

    marks = [
        DC_BLOCK * (getattr(offer.model.part, "dc", "") == "block") + LEAD * (offer.model.part.kind == "coax")
        for offer in offers
    ]
    loss, reflection, start, goal = joints
    return Catalogue(
        column(pair[0] for pair in ends),
        column(pair[1] for pair in ends),
        column(offer.price for offer in offers),
        column(round(loss_db * NANO) for loss_db, _ in worst),
        column(round(magnitude * NANO) for _, magnitude in worst),
        column(min(offer.stock, need.most_items) for offer in offers),
        column(marks),
        loss,
        reflection,
        start,
        goal,
        DC_BLOCK * (need.dc == "block") + LEAD * need.needs_lead,
    )


def _short(notes: list[str]) -> tuple[str, ...]:
    if len(notes) <= MOST_NOTES:
        return tuple(notes)
    return (*notes[:MOST_NOTES], f"{len(notes) - MOST_NOTES} more remarks of this kind, from {notes[MOST_NOTES]}")


def turned(item: Item) -> Item:
    """The same item the other way round."""
    return replace(
        item,
        near_connector=item.far_connector,
        far_connector=item.near_connector,
        reversed=not item.reversed,
        path=item.path[::-1],
    )


def setup_of(room: SearchSpace, walk: Walk, calibration: Calibration | None = None) -> Setup:
    """Set-up of a chain that was found, each item with an id of its own."""
    items: list[Item] = []
    taken: Counter[str] = Counter()
    for element, reversed_ in walk.steps:
        item = room.offers[element].item
        taken[item.id] += 1
        name = item.id if taken[item.id] == 1 else f"{item.id}-{taken[item.id]}"
        items.append(replace(turned(item) if reversed_ else item, id=name))
    need = room.need
    return Setup(
        need.title,
        need.sweep,
        need.near,
        tuple(items),
        need.far,
        calibration or Calibration(),
        path=need.path,
        own_library=room.library,
    )
