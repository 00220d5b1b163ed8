"""A need as plain frozen records: what is wanted, what is owned and what can be bought."""

from __future__ import annotations

from dataclasses import field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from chain.results import Named, span_words
from chain.setups import Calibration, Far, Item, Near, Sweep
from library.frozen import dataclass
from library.records import Limit

if TYPE_CHECKING:
    from library.parts import Library

LIMITS = ("limit", "near_limit", "far_limit")
"""Fields of parts that hold limits of reflections."""


@dataclass(frozen=True)
class Offer:
    """Something owned or on offer: an item ready to be placed, its near and far ends those of the part itself."""

    model: Item
    """The item but for `limit`: one for many offers of a shop, which differ in their limits alone."""
    price: int
    """For one part [1/100 of the currency]; 0 for what is owned."""
    stock: int
    owned: bool
    where: str
    """File and line it comes from."""
    limit: Limit | None = None
    """Limit of the item's reflection, in place of every limit that the model states."""

    @cached_property
    def item(self) -> Item:
        """The item, made when it is asked for: of the offers of a shop few ever are."""
        if self.limit is None:
            return self.model
        limits: dict[str, Any] = {
            name: self.limit for name in LIMITS if getattr(self.model.part, name, None) is not None
        }
        return replace(self.model, part=replace(self.model.part, **limits))

    @property
    def name(self) -> str:
        """What the item is called."""
        return self.model.id


@dataclass(frozen=True, repr=False)
class Need(Named):
    """What a chain is needed for, and what there is to build it from."""

    title: str
    near: Near
    far: Far
    sweep: Sweep
    offers: tuple[Offer, ...]
    most_items: int = 4
    budget: int | None = None
    """Most that may be spent [1/100 of the currency]."""
    currency: str = ""
    planes: tuple[str, ...] = ("near", "after-pad", "far")
    dc: str = ""
    """`block`, `pass`, or empty for no matter."""
    needs_lead: bool = False
    standards: Calibration = field(default_factory=Calibration)
    """Standards for planes behind the port; `load_stated` where the need names their load."""
    load_stated: bool = False
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    path: str = ""
    own_library: Library | None = field(default=None, compare=False)
    """The library the parts came from, where it is not the built-in one."""

    def headline(self) -> str:
        """Title, span, limit and how much there is to choose from."""
        owned = sum(each.owned for each in self.offers)
        span = span_words([self.sweep.start_hz, self.sweep.stop_hz])
        return (
            f"{self.title}: {span}, limit VSWR {self.limit_vswr:.4g}; {owned} owned, {len(self.offers) - owned} offered"
        )

    @property
    def library(self) -> Library:
        """Connector families, mating rules and parts that hold for this need."""
        from library.load import load_library

        return self.own_library or load_library()

    @property
    def has_phase(self) -> bool:
        """Whether readings come with their phase."""
        return self.near.has_phase

    @property
    def limit_vswr(self) -> float:
        """Limit that the chain must distinguish [-]."""
        assert self.far.limit_vswr is not None, "a need states its limit"
        return self.far.limit_vswr
