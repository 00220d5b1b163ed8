"""The best ways from every exposed connector to the antenna as if stock never ran out: an exact bound for the search.

Layer `e` holds what exactly `e` more parts cost. Without stock a part that is beaten by another between the same two nodes
is of no use, so few are left and the layers are quickly found, from the antenna backwards.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from chain.arrays import distinct
from chain.selection.catalogue import Catalogue, without_dominated
from chain.selection.pareto import beaten, nondominated
from library.frozen import dataclass

Ints = NDArray[np.int64]
State = tuple[int, int]
"""An exposed node, and the marks collected on the way to it."""


@dataclass(frozen=True)
class Completions:
    """Best completions from one state: vectors (cost, loss, reflection), and the first step of each.

    `steps` has the columns part, reversed (0 or 1), then node, marks and row of the next layer that the step leads to.
    """

    vectors: Ints
    steps: Ints


Layer = dict[State, Completions]
NO_STEP = np.array([[-1, 0, 0, 0, 0]], dtype=np.int64)


@dataclass(frozen=True)
class _PartGroup:
    """Parts from one node to another that no other between the same two beats, all with the same marks."""

    far: int
    marks: int
    vectors: Ints
    elements: Ints


def layers(catalogue: Catalogue, most_items: int) -> list[Layer]:
    """Best completions of every state with exactly 0, 1, 2 and so on more parts.

    Source: Backward recursion (R. Bellman) over fronts instead of single figures.
    """
    groups = _groups(catalogue)
    reach = _reach(catalogue, groups, most_items)
    masks = _masks(catalogue)
    first: Layer = {}
    for node in np.flatnonzero(catalogue.mates[:, catalogue.goal]):
        vector = catalogue.joint(int(node), catalogue.goal)[None, :]
        first[int(node), catalogue.needed] = Completions(vector, NO_STEP)
    found = [first]
    for count in range(1, most_items + 1):
        exposed = np.flatnonzero(reach[most_items - count])
        found.append(_layer(catalogue, groups, found, exposed, masks))
    return found


def _masks(catalogue: Catalogue) -> list[int]:
    bits = [int(mark) & catalogue.needed for mark in distinct(catalogue.marks)]
    found = {0}
    for _ in bits:
        found |= {mask | bit for mask in found for bit in bits}
    return sorted(found)


def _groups(catalogue: Catalogue) -> dict[int, list[_PartGroup]]:
    """Groups by the node at which they are entered."""
    elements = without_dominated(catalogue, 1)
    near, far = catalogue.near[elements], catalogue.far[elements]
    turned = near != far
    entry = np.concatenate([near, far[turned]])
    exit_ = np.concatenate([far, near[turned]])
    directed = np.concatenate([2 * elements, 2 * elements[turned] + 1])
    marks = catalogue.marks[directed // 2] & catalogue.needed
    order = np.lexsort((directed, marks, exit_, entry))
    keys = np.stack([entry, exit_, marks], axis=1)[order]
    edges = np.flatnonzero((keys[1:] != keys[:-1]).any(axis=1)) + 1
    found: dict[int, list[_PartGroup]] = {}
    vectors = catalogue.vectors
    for group in np.split(order, edges):
        if len(group):
            start, stop, mark = (int(value[group[0]]) for value in (entry, exit_, marks))
            found.setdefault(start, []).append(_PartGroup(stop, mark, vectors[directed[group] // 2], directed[group]))
    return found


def _reach(catalogue: Catalogue, groups: dict[int, list[_PartGroup]], most_items: int) -> list[NDArray[np.bool_]]:
    """Nodes that can lie exposed after at most 0, 1, 2 and so on parts."""
    steps = np.zeros(catalogue.mates.shape, dtype=bool)
    for node, here in groups.items():
        steps[node, [group.far for group in here]] = True
    now = np.zeros(len(steps), dtype=bool)
    now[catalogue.start] = True
    found = [now]
    for _ in range(most_items):
        entered = catalogue.mates[found[-1]].any(axis=0)
        found.append(found[-1] | steps[entered].any(axis=0))
    return found


def _layer(
    catalogue: Catalogue,
    groups: dict[int, list[_PartGroup]],
    shorter: list[Layer],
    exposed: NDArray[np.intp],
    masks: list[int],
) -> Layer:
    """One more part in front of the last layer: first from where a part is entered, then from what is exposed."""
    made: Layer = {}
    mates = catalogue.mates
    entries = [int(node) for node in np.flatnonzero(mates[exposed].any(axis=0)) if int(node) in groups]
    for mask in masks:
        entered = {
            node: rows
            for node in entries
            if (rows := _best(list(_entered(groups[node], shorter[-1], mask)))) is not None
        }
        for node in map(int, exposed):
            parts = []
            for entry, rows in entered.items():
                if mates[node, entry]:
                    parts.append(Completions(rows.vectors + catalogue.joint(node, entry), rows.steps))
            best = _best(parts)
            if best is None:
                continue
            fresh = np.ones(len(best.vectors), dtype=bool)
            for layer in shorter:
                if (node, mask) in layer:
                    fresh &= ~beaten(best.vectors, layer[node, mask].vectors)
            if fresh.any():
                made[node, mask] = Completions(best.vectors[fresh], best.steps[fresh])
    return made


def _entered(groups: list[_PartGroup], after: Layer, mask: int) -> Iterator[Completions]:
    for group in groups:
        state = group.far, mask | group.marks
        rows = after.get(state)
        if rows is None:
            continue
        vectors = (group.vectors[:, None, :] + rows.vectors[None, :, :]).reshape(-1, 3)
        elements = np.repeat(group.elements, len(rows.vectors))
        steps = np.empty((len(vectors), 5), dtype=np.int64)
        steps[:, 0], steps[:, 1] = elements // 2, elements % 2
        steps[:, 2], steps[:, 3] = state
        steps[:, 4] = np.tile(np.arange(len(rows.vectors)), len(group.elements))
        yield Completions(vectors, steps)


def _best(parts: list[Completions]) -> Completions | None:
    if not parts:
        return None
    vectors = np.concatenate([part.vectors for part in parts])
    steps = np.concatenate([part.steps for part in parts])
    chosen = nondominated(vectors)
    return Completions(vectors[chosen], steps[chosen])
