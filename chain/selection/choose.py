"""Choose before buying: the buildable chains that no other beats, ranked by what they show of an antenna."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import inf
from typing import Any

from chain.analyses.improvements import RESOLVED
from chain.assembly.graph import Connection, setup_graph
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.selection.catalogue import count_walks
from chain.selection.missing import Missing, missing_item
from chain.selection.need import Need, Offer
from chain.selection.ranking import DRAWS, PlaneInterval, plane_intervals
from chain.selection.search import Walk, best_chains
from chain.selection.stock import NANO, SearchSpace, own_values, search_space, setup_of
from chain.setups import Item, Setup
from library.frozen import dataclass
from library.parts import Library

LOOKS = 1260
"""Frequencies to look at, over all chains and planes together, before each look is made coarser."""
MOST_POINTS, LEAST_POINTS = 21, 3
NULLS = {
    "high": "infinite: nothing but a full reflection is ruled out",
    "ceiling_vswr": "infinite, or no plane that is allowed exists on the chain",
    "load_db": "no load is read behind the port",
    "least_cost_beyond_budget": "some chain keeps within the budget, or nothing fits together",
    "plane": "no plane that is allowed exists on the chain",
}
"""What nulls stand for."""
EXACT = "cost, loss, sum of reflection limits and number of joints: exact front, within the stock"
RANKED_BY = "interval at the limit (worst frequency, best allowed plane): puts the chains of that front in order"


@dataclass(frozen=True)
class Placed:
    """One item of a chain, with what it adds."""

    id: str
    part: str
    near: str
    far: str
    reversed: bool
    length_m: float
    owned: bool
    where: str
    cost: float
    loss_db: float
    reflection: float


@dataclass(frozen=True)
class Meeting:
    """One joint of a chain, with its verdict."""

    near: str
    far: str
    verdict: str
    reason: str
    mismatch_loss_db: float


@dataclass(frozen=True)
class Bought:
    """Something to buy."""

    part: str
    count: int
    price: float
    where: str


@dataclass(frozen=True)
class Chosen:
    """One chain of the front. `setup` is it as a set-up calibrated at the plane recommended; ends of intervals are VSWR."""

    number: int
    items: tuple[Placed, ...]
    meetings: tuple[Meeting, ...]
    buy: tuple[Bought, ...]
    cost: float
    loss_db: float
    sum_reflection: float
    joints: int
    planes: tuple[PlaneInterval, ...]
    setup: Setup

    @property
    def best(self) -> PlaneInterval | None:
        """The allowed plane with the narrowest interval, None where the chain has none."""
        return self.planes[0] if self.planes else None

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        best = self.best
        return {
            "number": self.number,
            "items": [vars(each) for each in self.items],
            "joint_list": [vars(each) for each in self.meetings],
            "buy": [vars(each) for each in self.buy],
            "cost": self.cost,
            "loss_db": self.loss_db,
            "sum_reflection": self.sum_reflection,
            "joints": self.joints,
            "ceiling_vswr": best.ceiling_vswr if best else None,
            "plane": best.plane if best else None,
            "plane_after": best.after if best else None,
            "standards": best.standards if best else None,
            "low": best.low if best else None,
            "high": best.high if best else None,
            "width": best.width if best else None,
            "worst_hz": best.worst_hz if best else None,
            "planes": [vars(each) for each in self.planes],
            "pareto": True,
        }


@dataclass(frozen=True, repr=False)
class Choice(ResultTable):
    """Answer of `choose`. `beyond` is the least a chain costs where all of them cost more than the budget."""

    ROWS = "chains"

    title: str
    need: Need
    chains: tuple[Chosen, ...]
    rank: str
    missing: Missing | None
    beyond: float | None
    considered: float
    points: int
    seed: int
    warnings: tuple[str, ...]
    assumed: tuple[str, ...]

    def headline(self) -> str:
        """Title, and how many chains are worth building."""
        return f"{self.title}: {len(self.chains)} chains that no other beats, by {self.rank}"

    def table(self) -> dict[str, Any]:
        """One row per chain, intervals at the best allowed plane."""
        plain = [each.to_dict() for each in self.chains]
        names = ("number", "cost", "loss_db", "sum_reflection", "joints", "plane", "low", "high", "ceiling_vswr")
        parts = [", ".join(item.part for item in each.items) for each in self.chains]
        return {**{name: [each[name] for each in plain] for name in names}, "items": parts}

    @property
    def limit_in_db(self) -> bool:
        """The limit is stated as a return loss, so that tables show one."""
        return self.need.far.limit_in_db

    def column_units(self) -> dict[str, str]:
        """Costs are in the currency of the need's prices."""
        return {"cost": self.need.currency or "currency of the prices"}

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        return plain_values(  # type: ignore[return-value]
            {
                "schema_version": SCHEMA_VERSION,
                "title": self.title,
                "currency": self.need.currency,
                "limit_vswr": self.need.limit_vswr,
                "chains": [each.to_dict() for each in self.chains],
                "missing": [vars(self.missing)] if self.missing else [],
                "least_cost_beyond_budget": self.beyond,
                "rank": self.rank,
                "exact": EXACT,
                "reranked": RANKED_BY,
                "chains_considered": self.considered,
                "coverage": COVERAGE,
                "draws": DRAWS,
                "frequencies": self.points,
                "seed": self.seed,
                "warnings": self.warnings,
                "assumed": self.assumed,
                "null_means": NULLS,
            }
        )


def choose(
    need: Need,
    rank: str = "interval",
    seed: int = SEED,
    library: Library | None = None,
    progress: Callable[[float], None] | None = None,
) -> Choice:
    """Find the chains worth building.

    Parameters
    ----------
    need : the need.
    rank : `interval`, `cost`, `loss`, `reflection` or `joints`.
    seed : of the simulation.
    library : families and mating rules; the need's own if left out.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Choice; its chains are numbered in the order of the rank.

    Examples
    --------
    >>> from chain import choose, load_need
    >>> found = choose(load_need("demo/need.toml"))
    >>> best = found.chains[0]
    >>> [item.part for item in best.items], best.cost, best.best.plane
    (['n-plug-bnc-jack', 'bnc75-plug-f-plug'], 6.9, 'far')

    Source
    ------
    `chain.selection.search` for the front, `chain.selection.ranking` for the order.
    """
    room = search_space(need, library)
    walks = best_chains(room.catalogue, need.most_items)
    within = [walk for walk in walks if need.budget is None or walk.cost <= need.budget]
    considered = count_walks(room.catalogue, need.most_items)
    points = max(LEAST_POINTS, min(MOST_POINTS, LOOKS // max(1, len(within) * len(need.planes))))
    chosen = _looked_at(room, within, points, seed, progress)
    ordered = _in_order(chosen, rank)
    numbered = tuple(replace(each, number=number) for number, each in enumerate(ordered, 1))
    return Choice(
        need.title,
        need,
        numbered,
        rank,
        None if walks else missing_item(room),
        walks[0].cost / 100 if walks and not within else None,
        considered,
        min(points, room.freq_hz.size),
        seed,
        (*need.warnings, *room.notes),
        need.assumed,
    )


def _looked_at(
    room: SearchSpace, walks: list[Walk], points: int, seed: int, progress: Callable[[float], None] | None
) -> list[Chosen]:
    setups = [setup_of(room, walk) for walk in walks]
    seen = plane_intervals(room, setups, points, seed, progress)
    # Either way round an item loses and reflects the same.
    own = cache(lambda element: own_values(room.offers[element].item, room.freq_hz))
    return [_chosen(room, own, *each) for each in zip(walks, setups, seen, strict=True)]


def _chosen(
    room: SearchSpace,
    own: Callable[[int], tuple[float, float]],
    walk: Walk,
    setup: Setup,
    seen: list[PlaneInterval],
) -> Chosen:
    offers = [room.offers[element] for element, _ in walk.steps]
    best = room.need.standards
    if seen:
        best = replace(best, plane=seen[0].after, load_db=seen[0].load_db)
    return Chosen(
        0,
        tuple(
            _placed(item, offer, own(element))
            for item, offer, (element, _) in zip(setup.items, offers, walk.steps, strict=True)
        ),
        tuple(_meeting(each) for each in setup_graph(setup, room.library).path_connections.values()),
        _to_buy(offers),
        walk.cost / 100,
        walk.loss / NANO,
        walk.reflection / NANO,
        walk.joints,
        tuple(seen),
        replace(setup, calibration=best),
    )


def _placed(item: Item, offer: Offer, own: tuple[float, float]) -> Placed:
    return Placed(
        item.id,
        offer.name,
        str(item.near_connector),
        str(item.far_connector),
        item.reversed,
        item.length_m,
        offer.owned,
        offer.where,
        offer.price / 100,
        *own,
    )


def _meeting(found: Connection) -> Meeting:
    near, far = (f"{end.name} ({end.connector})" for end in (found.near, found.far))
    return Meeting(near, far, found.verdict, found.reason, found.mismatch_loss_db)


def _to_buy(offers: list[Offer]) -> tuple[Bought, ...]:
    counts = Counter(offer for offer in offers if not offer.owned)
    return tuple(Bought(offer.name, count, offer.price / 100, offer.where) for offer, count in counts.items())


def _in_order(chains: list[Chosen], rank: str) -> list[Chosen]:
    """Chains by the rank, ties by the other figures."""

    def by_cost(each: Chosen) -> tuple[float, ...]:
        return each.cost, each.loss_db, each.sum_reflection, float(each.joints)

    if rank != "interval":
        name = {"cost": "cost", "loss": "loss_db", "reflection": "sum_reflection", "joints": "joints"}[rank]
        return sorted(chains, key=lambda each: (getattr(each, name), *by_cost(each)))
    ordered: list[Chosen] = []
    left = sorted(chains, key=lambda each: (_width(each), *by_cost(each)))
    while left:
        # Widths closer to the narrowest than the simulation resolves count as the same.
        same = [each for each in left if _width(each) <= _width(left[0]) + RESOLVED]
        ordered += sorted(same, key=by_cost)
        left = left[len(same) :]
    return ordered


def _width(each: Chosen) -> float:
    return each.best.width if each.best else inf
