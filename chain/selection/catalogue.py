"""A catalogue of parts as arrays of whole numbers: what the search for chains works on.

A node is a connector with the line behind it, as it lies exposed or as it waits at the end of a part. A part turns either
way round. Sums of whole numbers do not depend on their order, so two ways of adding a chain up agree to the last digit.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from chain.selection.pareto import nondominated
from library.frozen import dataclass

Ints = NDArray[np.int64]

FIELDS_OF_PARTS = ("near", "far", "cost", "loss", "reflection", "stock", "marks")


@dataclass(frozen=True)
class Catalogue:
    """Parts (one entry of each array), and what happens where two nodes meet.

    `joint_loss` and `joint_reflection` have shape (nodes, nodes); a loss of -1 means that the two do not go together. `start`
    is the analyzer's connector, `goal` the antenna's. `marks` are bits that a chain collects; it needs all of `needed`.
    Unit of `cost` is a hundredth of the currency, of `loss` 1e-9 dB, of `reflection` 1e-9.
    """

    near: Ints
    far: Ints
    cost: Ints
    loss: Ints
    reflection: Ints
    stock: Ints
    marks: Ints
    joint_loss: Ints
    joint_reflection: Ints
    start: int
    goal: int
    needed: int = 0

    @property
    def vectors(self) -> Ints:
        """Cost, loss and reflection of each part, shape (parts, 3)."""
        return np.stack([self.cost, self.loss, self.reflection], axis=1)

    @property
    def mates(self) -> NDArray[np.bool_]:
        """Which nodes go together, shape (nodes, nodes)."""
        return self.joint_loss >= 0

    def joint(self, node: int, other: int) -> Ints:
        """Cost, loss and reflection of a joint, shape (3,)."""
        return np.array([0, self.joint_loss[node, other], self.joint_reflection[node, other]], dtype=np.int64)

    def only(self, chosen: NDArray[np.intp]) -> Catalogue:
        """The catalogue of some of its parts."""
        known = {field.name for field in fields(self)}
        return replace(self, **{name: getattr(self, name)[chosen] for name in FIELDS_OF_PARTS if name in known})


def without_dominated(catalogue: Catalogue, most_items: int) -> NDArray[np.intp]:
    """Parts that a best chain may need, stock counted.

    A part goes only where parts between the same two nodes that are no worse in anything have, together, a stock of
    at least `most_items`: then one of them is left over in any chain that uses the part, and can take its place.

    Source: Exchange argument: the chain uses at most `most_items` - 1 other parts.
    """
    live = np.flatnonzero(catalogue.stock > 0)
    low = np.minimum(catalogue.near, catalogue.far)[live]
    high = np.maximum(catalogue.near, catalogue.far)[live]
    vectors, marks = catalogue.vectors[live], catalogue.marks[live]
    order = np.lexsort((*vectors.T[::-1], marks, high, low))
    keys = np.stack([low, high, marks], axis=1)[order]
    edges = np.flatnonzero((keys[1:] != keys[:-1]).any(axis=1)) + 1
    stock = np.minimum(catalogue.stock[live], most_items)
    kept = [_kept(vectors[group], stock[group], group, most_items) for group in np.split(order, edges) if len(group)]
    return np.sort(live[np.concatenate(kept)]) if kept else live


def _kept(vectors: Ints, stock: Ints, group: NDArray[np.intp], most_items: int) -> NDArray[np.intp]:
    """Parts of one group, sorted so that only an earlier one can be no worse than a later one."""
    if most_items == 1:
        return group[nondominated(vectors)]
    worse = np.zeros(len(group), dtype=np.int64)
    for start in range(0, len(group), 512):
        part = slice(start, start + 512)
        better = (vectors[None, :, :] <= vectors[part, None, :]).all(axis=2)
        earlier = np.arange(len(group))[None, :] < np.arange(len(group))[part, None]
        worse[part] = (better & earlier) @ stock
    return group[worse < most_items]


def count_walks(catalogue: Catalogue, most_items: int) -> float:
    """Number of chains that can be thought of, stock apart, parts either way round. Source: Powers of the graph's adjacency matrix."""
    live = catalogue.stock > 0
    nodes = len(catalogue.joint_loss)
    steps = np.zeros((nodes, nodes))
    np.add.at(steps, (catalogue.near[live], catalogue.far[live]), 1.0)
    turned = live & (catalogue.near != catalogue.far)
    np.add.at(steps, (catalogue.far[turned], catalogue.near[turned]), 1.0)
    mates = catalogue.mates.astype(float)
    exposed = np.zeros(nodes)
    exposed[catalogue.start] = 1.0
    total = exposed @ mates[:, catalogue.goal]
    for _ in range(most_items):
        exposed = exposed @ mates @ steps
        total += exposed @ mates[:, catalogue.goal]
    return float(total)
