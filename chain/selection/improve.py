"""What to change about a set-up that exists: every single change with its interval before and after, and its price."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from difflib import SequenceMatcher
from functools import lru_cache

import numpy as np

from chain.analyses.improvements import GOOD_LOAD_DB, MOST_POINTS, RESOLVED, TIED, improvements, widest_interval
from chain.arrays import Real
from chain.assembly.cascade import build
from chain.assembly.graph import BLOCKING, End, far_end, item_ends, item_ohm, near_end
from chain.errors import ChainError
from chain.reflection import magnitude_from_vswr, vswr
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.selection.choose import Chosen, choose
from chain.selection.need import Need, Offer
from chain.selection.pareto import nondominated
from chain.selection.ranking import DRAWS
from chain.selection.stock import own_values, turned
from chain.setups import Item, Setup, of_another_cable
from library.files.rows import PART_KINDS
from library.frozen import dataclass
from library.mating import mate
from library.parts import Library
from library.records import Coax, Connector, Termination

LIMIT_VSWR = 2.0
"""Taken where the set-up states no limit."""
EXCHANGED = (*(kind for kind, each in PART_KINDS.items() if each.exchanged), "measured")
OF_THE_ANTENNA = ("network",)
"""Made for one antenna, with which it stays: neither left out nor exchanged for the sake of a measurement."""


@dataclass(frozen=True)
class ChainChange:
    """One change, and the interval it would give. `price` is None where nothing is known of it; 0: it costs nothing."""

    kind: str
    """`care` (of the measuring), `swap`, `remove`, `plane` or `load`."""
    what: str
    price: float | None
    low: float
    high: float
    width: float
    gain: float
    """Width of today's interval less this one, as reflection magnitude [-]."""
    where: str = ""

    @property
    def gain_per_money(self) -> float | None:
        """Gain for one unit of currency; None without a price, infinite for a change that costs nothing and helps."""
        if self.price is None:
            return None
        return self.gain / self.price if self.price else float("inf") if self.gain > RESOLVED else 0.0


@dataclass(frozen=True, repr=False)
class Improvement(ResultTable):
    """Answer of `improve`; ends of intervals are VSWR, at the frequency where each is widest."""

    ROWS = "changes"
    COLUMNS = ("kind", "what", "price", "low", "high", "gain")

    title: str
    limit_vswr: float
    now_low: float
    now_high: float
    now_width: float
    changes: tuple[ChainChange, ...]
    currency: str
    elsewhere: str
    """The best chain that can be built from what is owned and on offer, and whether it is among the changes; empty without a need."""
    points: int
    seed: int
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]

    def headline(self) -> str:
        """Title, and today's interval at the limit."""
        return f"{self.title}: VSWR {self.limit_vswr:g} now comes out as {self.now_low:.2f} to {self.now_high:.2f}"

    def column_units(self) -> dict[str, str]:
        """Prices are in the currency of the need's."""
        return {"price": self.currency or "currency of the prices"}

    def to_dict(self) -> dict[str, object]:
        """Plain values."""
        changes = [{**vars(each), "gain_per_money": each.gain_per_money} for each in self.changes]
        own = {"schema_version": SCHEMA_VERSION, **vars(self), "changes": changes, "coverage": COVERAGE, "draws": DRAWS}
        nulls = {
            "price": "nothing is known of the price",
            "gain_per_money": "the change costs nothing, or nothing is known of its price",
        }
        own["null_means"] = nulls
        return plain_values(own)  # type: ignore[return-value]


@dataclass(frozen=True)
class _Idea:
    kind: str
    what: str
    setup: Setup
    price: float | None
    where: str = ""


def improve(
    setup: Setup,
    need: Need | None = None,
    seed: int = SEED,
    library: Library | None = None,
    progress: Callable[[float], None] | None = None,
) -> Improvement:
    """Weigh every single change of a set-up.

    Parameters
    ----------
    setup : the set-up.
    need : gives what is owned and on offer, with prices; without it parts of the library, prices unknown.
    seed : of the simulation.
    library : families and mating rules; the set-up's own if left out.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Improvement. What gains most comes first, whatever is known of its price.

    Raises
    ------
    FitError, RangeError : the set-up itself does not fit together, or a model does not cover its sweep.

    Examples
    --------
    >>> from chain import improve, load_setup
    >>> found = improve(load_setup("demo/boathouse.toml"))
    >>> found.changes[0].kind, found.changes[0].price, found.changes[0].gain > 0.1
    ('plane', 0.0, True)

    Source
    ------
    `chain.uncertainty.intervals.interval_of` before and after each change.
    """
    library = library or setup.library
    points = min(MOST_POINTS, setup.sweep.points)
    freq_hz = np.linspace(setup.sweep.start_hz, setup.sweep.stop_hz, points)
    limit = LIMIT_VSWR if setup.far.limit_vswr is None else setup.far.limit_vswr
    build(setup, freq_hz, library)
    now_low, now_high = _widest(setup, freq_hz, limit, library, seed)
    ideas = list(_ideas(setup, need, freq_hz, library))
    changes = []
    for number, idea in enumerate(ideas, 1):
        try:
            low, high = _widest(idea.setup, freq_hz, limit, library, seed)
        except ChainError:
            continue  # a part whose model does not cover the sweep is no improvement
        gain = (now_high - now_low) - (high - low)
        ends = float(vswr(low)), float(vswr(high))
        changes.append(ChainChange(idea.kind, idea.what, idea.price, *ends, high - low, gain, idea.where))
        if progress is not None:
            progress(number / len(ideas))
    return Improvement(
        setup.title,
        limit,
        float(vswr(now_low)),
        float(vswr(now_high)),
        now_high - now_low,
        _ranked(changes),
        need.currency if need else "",
        _elsewhere(setup, need, seed, library) if need else "",
        points,
        seed,
        (*setup.warnings, *(need.warnings if need else ())),
        setup.assumed
        if setup.far.limit_vswr is not None
        else (*setup.assumed, f"limit VSWR {LIMIT_VSWR:g} (none stated)"),
    )


def _elsewhere(setup: Setup, need: Need, seed: int, library: Library) -> str:
    """The best chain of a need in a sentence, and why no single change leads to it."""
    # What can be calibrated, and how well, is the set-up's own analyzer.
    planes = tuple(plane for plane in need.planes if setup.near.calibrates(plane)) or ("near",)
    asked = replace(need, near=setup.near, planes=planes)
    found = choose(asked, seed=seed, library=library).chains
    if not found or found[0].best is None:
        return ""
    best, now = found[0], [item.part.id for item in setup.items]
    parts = [each.part for each in best.items]
    blocks = SequenceMatcher(None, now, parts, autojunk=False).get_opcodes()
    other = [each for each in blocks if each[0] != "equal"]
    left = [setup.items[place].id for _, start, stop, _, _ in other for place in range(start, stop)]
    put = sum(end - begin for *_, begin, end in other)
    # The command that answers the need by itself may rank another chain first, by planes that this analyzer has not.
    plain = asked == need or _first_parts(choose(need, seed=seed, library=library).chains) == parts
    whose = "('chain choose')" if plain else f"with this set-up's analyzer (planes: {', '.join(planes)})"
    text = f"The best chain of the need {whose}: {' > '.join(parts)}"
    more = [plane for plane in need.planes if plane not in planes]
    hint = f" The need allows {', '.join(more)} too: if this analyzer can, add that to calibrates_at." if more else ""
    return _compared(text, other, left, put) + hint


def _first_parts(chains: Sequence[Chosen]) -> list[str]:
    return [each.part for each in chains[0].items] if chains else []


def _compared(text: str, other: Sequence[object], left: Sequence[str], put: int) -> str:
    """The sentence, with what leads from the set-up's chain to the best one."""
    if not other:
        return f"{text}, as it is here."
    if max(len(left), put) == 1 and len(other) == 1:
        return f"{text}; it differs in one part."
    apart = f"other parts for {' and '.join(left)}" if left else f"{put} parts more"
    return f"{text}. It takes {apart} at once, so it is no single change."


def _widest(setup: Setup, freq_hz: Real, limit_vswr: float, library: Library, seed: int) -> tuple[float, float]:
    return widest_interval(setup, freq_hz, float(magnitude_from_vswr(limit_vswr)), seed, DRAWS, library)


def _ranked(changes: Sequence[ChainChange]) -> tuple[ChainChange, ...]:
    """By what they gain, whatever is known of their price; of those that gain the same, the cheaper first, then by name."""
    left, out = sorted(changes, key=lambda each: -each.gain), []
    while left:
        # From the best one down, so that no edge between two classes lies where many are.
        # What gains nothing that shows is no equal of what does.
        least = max(left[0].gain - TIED, RESOLVED if left[0].gain > RESOLVED else -np.inf)
        alike = [each for each in left if each.gain > least]
        out += sorted(alike, key=lambda each: (float("inf") if each.price is None else each.price, each.what))
        left = left[len(alike) :]
    return tuple(out)


def _ideas(setup: Setup, need: Need | None, freq_hz: Real, library: Library) -> Iterator[_Idea]:
    for kind, what, changed in improvements(setup):
        if kind in ("free", "joints"):
            yield _Idea("care", what, changed, 0.0)
    yield from _planes(setup)
    yield from _removals(setup, need, library)
    yield from _loads(setup, need, library)
    for index in range(len(setup.items)):
        yield from _swaps(setup, index, need, freq_hz, library)


def _planes(setup: Setup) -> Iterator[_Idea]:
    here = setup.calibration
    price = None if "load" in here.typical else 0.0
    if here.plane != "near" and setup.calibrates("near"):
        moved = replace(here, plane="near")
        yield _Idea("plane", "calibrate at the analyzer's port", replace(setup, calibration=moved), 0.0)
    for item in setup.places_to_calibrate():
        if item.id == here.plane:
            continue
        end = item_ends(item)[1]
        moved = replace(here, plane=item.id, load_impedance_ohm=None)
        load = "perfect" if here.load_db is None else f"{here.load_db:g} dB"
        words = f"calibrate after {item.id}, with open, short and {end.line_ohm:g}-ohm load ({load})"
        yield _Idea("plane", f"{words} at its {end.connector}", replace(setup, calibration=moved), price)


def _neighbours(setup: Setup, index: int) -> tuple[End, End]:
    """Ends that an item lies between."""
    before = item_ends(setup.items[index - 1])[1] if index else near_end(setup.near)
    after = item_ends(setup.items[index + 1])[0] if index + 1 < len(setup.items) else far_end(setup.far)
    return before, after


def _fits(one: End, other: End, library: Library) -> bool:
    return _mate(one.connector, other.connector, library)


@lru_cache(maxsize=10_000)
def _mate(one: Connector, other: Connector, library: Library) -> bool:
    return mate(one, other, library).verdict not in BLOCKING


def _removals(setup: Setup, need: Need | None, library: Library) -> Iterator[_Idea]:
    for index, item in enumerate(setup.items):
        if item.part.kind in OF_THE_ANTENNA or not _fits(*_neighbours(setup, index), library):
            continue
        if _is_needed_lead(setup, item, need):
            continue
        left = (*setup.items[:index], *setup.items[index + 1 :])
        calibration = setup.calibration
        if calibration.plane == item.id:
            calibration = replace(calibration, plane=setup.items[index - 1].id if index else "near")
        words = f"remove {item.id}" if len(left) else f"remove {item.id}, the antenna straight on the port"
        yield _Idea("remove", words, replace(setup, items=left, calibration=calibration), 0.0)


def _is_needed_lead(setup: Setup, item: Item, need: Need | None) -> bool:
    """Whether an item is the only lead of a chain that must have one."""
    leads = [each for each in setup.items if isinstance(each.part, Coax)]
    return need is not None and need.needs_lead and leads == [item]


def _loads(setup: Setup, need: Need | None, library: Library) -> Iterator[_Idea]:
    """Better loads for the plane in use: those on offer that fit it, or a good one whose price is not known."""
    here = setup.calibration
    if here.plane == "near" or here.load_db is None:
        return
    now_db = here.load_db
    end = item_ends(next(item for item in setup.items if item.id == here.plane))[1]
    offered = False
    for offer in need.offers if need else ():
        part = offer.item.part
        if not isinstance(part, Termination) or part.type != "load" or part.limit is None:
            continue
        load_db = min(part.limit.return_loss_db)
        if (
            _mate(offer.item.near_connector, end.connector, library)
            and part.impedance_ohm == end.line_ohm
            and load_db > now_db
        ):
            offered = True
            better = replace(here, load_db=load_db, load_inductance_h=part.inductance_h)
            words = f"load {offer.name} ({load_db:g} dB) for the calibration"
            yield _Idea("load", words, replace(setup, calibration=better), offer.price / 100, offer.where)
    if not offered and now_db < GOOD_LOAD_DB:
        better = replace(here, load_db=GOOD_LOAD_DB)
        yield _Idea(
            "load", f"a load of {GOOD_LOAD_DB:g} dB for the calibration", replace(setup, calibration=better), None
        )


def _swaps(setup: Setup, index: int, need: Need | None, freq_hz: Real, library: Library) -> Iterator[_Idea]:
    """Parts that fit in an item's place, those left out that another beats in price, loss and reflection."""
    item = setup.items[index]
    if item.part.kind not in EXCHANGED:
        return
    offers = list(need.offers) if need else _of_the_library(item, library)
    before, after = _neighbours(setup, index)
    lead = _is_needed_lead(setup, item, need)
    found: list[tuple[Offer, Item]] = []
    rows = []
    now = own_values(item, freq_hz)
    for offer in offers:
        placed = _in_place(offer.item, item, before, after, library)
        if placed is None or (lead and not isinstance(placed.part, Coax)):
            continue
        try:
            loss_db, reflection = own_values(placed, freq_hz)
        except ChainError:
            continue
        if reflection < now[1] or loss_db < now[0]:
            found.append((offer, placed))
            rows.append((offer.price, round(1e9 * loss_db), round(1e9 * reflection)))
    for number in nondominated(np.array(rows, dtype=np.int64).reshape(-1, 3)):
        offer, placed = found[number]
        price = offer.price / 100 if need else None
        items = (*setup.items[:index], placed, *setup.items[index + 1 :])
        own = " owned" if offer.owned and need else ""
        yield _Idea("swap", f"{offer.name}{own} in place of {item.id}", replace(setup, items=items), price, offer.where)


def _of_the_library(item: Item, library: Library) -> list[Offer]:
    """Parts of the same kind, a lead of the same length and connectors."""
    found = []
    for name in library.ids(item.part.kind) if item.part.kind != "measured" else ():
        part = library.part(name)
        if part == item.part:
            continue
        if isinstance(part, Coax):
            other = of_another_cable(item, name, part)
        else:
            ends = part.near_connector, part.far_connector  # type: ignore[union-attr]
            other = Item(name, part, *ends)
        found.append(Offer(other, 0, 1, False, ""))
    return found


def _in_place(new: Item, old: Item, before: End, after: End, library: Library) -> Item | None:
    """The new item as placed where the old one is, whichever way round it fits; None if it does not, or is the same."""
    if new.part.kind not in EXCHANGED:
        return None
    for measurement in (new, turned(new)):
        near, far = item_ends(measurement)
        # A part for other impedances would be another chain, not a better part.
        same = item_ohm(measurement) == item_ohm(old)
        if same and _fits(before, near, library) and _fits(far, after, library):
            placed = replace(measurement, id=old.id)
            return None if placed == old else placed
    return None
