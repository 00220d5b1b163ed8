"""The exact front of buildable chains over cost, loss, sum of reflection limits and number of joints, stock counted.

`chain.selection.cost_to_go` gives the front that unlimited stock would have. Chains of it that the stock allows belong to the
answer at once.
Where some are not allowed, chains are built part by part from the analyzer on; a beginning is given up only when none of
its completions, stock apart, could still beat what is found. A chain that lays the same connector open twice with the same
marks is never needed: without what lies between it has fewer joints, costs no more and uses less of the stock.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from heapq import heappop, heappush

import numpy as np
from numpy.typing import NDArray

from chain.selection.catalogue import Catalogue, without_dominated
from chain.selection.cost_to_go import Layer, State, layers
from chain.selection.pareto import beaten, nondominated

Ints = NDArray[np.int64]


@dataclass(frozen=True, order=True)
class Walk:
    """One chain: its figures in the units of `Catalogue`, and its parts near to far as (index, reversed)."""

    cost: int
    loss: int
    reflection: int
    joints: int
    steps: tuple[tuple[int, bool], ...]


@dataclass(order=True)
class _Label:
    """A chain's beginning: what it has cost, where it ends, what it has laid open."""

    hope: float
    number: int
    vector: Ints = field(compare=False)
    state: State = field(compare=False)
    steps: tuple[tuple[int, bool], ...] = field(compare=False)
    seen: frozenset[State] = field(compare=False)


@dataclass(frozen=True)
class _Exits:
    """Parts that can be entered at one node, towards one far node, with one set of marks."""

    entry: int
    far: int
    marks: int
    vectors: Ints
    elements: Ints


def best_chains(catalogue: Catalogue, most_items: int) -> tuple[Walk, ...]:
    """Find the exact front; of chains with the same four figures one is given."""
    cost_to_go = layers(catalogue, most_items)
    front = _Front()
    allowed = [_follow(catalogue, cost_to_go, count, row) for count, row in _starts(catalogue, cost_to_go)]
    for walk in allowed:
        if walk is not None:
            front.add(walk)
    if not all(allowed):
        _complete(catalogue, most_items, cost_to_go, front)
    return tuple(sorted(front.walks))


class _Front:
    """Chains found so far that no other found one beats."""

    def __init__(self) -> None:
        self.walks: list[Walk] = []
        self.rows: Ints = np.empty((0, 4), dtype=np.int64)

    def add(self, walk: Walk) -> None:
        row = np.array([[walk.cost, walk.loss, walk.reflection, walk.joints]], dtype=np.int64)
        if beaten(row, self.rows)[0]:
            return
        kept = np.flatnonzero(~(self.rows >= row).all(axis=1))
        self.walks = [*(self.walks[index] for index in kept), walk]
        self.rows = np.concatenate([self.rows[kept], row])


def _starts(catalogue: Catalogue, cost_to_go: list[Layer]) -> list[tuple[int, int]]:
    """Rows of the layers that make up the front of unlimited stock: (number of parts, row)."""
    state = catalogue.start, 0
    found = [
        (count, row)
        for count, layer in enumerate(cost_to_go)
        if state in layer
        for row in range(len(layer[state].vectors))
    ]
    if not found:
        return []
    rows = np.array([[*cost_to_go[count][state].vectors[row], count] for count, row in found], dtype=np.int64)
    return [found[index] for index in nondominated(rows)]


def _follow(catalogue: Catalogue, cost_to_go: list[Layer], count: int, row: int) -> Walk | None:
    """Chain of a row of the layers, or None where the stock does not allow it."""
    state: State = (catalogue.start, 0)
    cost, loss, reflection = (int(value) for value in cost_to_go[count][state].vectors[row])
    steps = []
    for left in range(count, 0, -1):
        element, reversed_, node, marks, row = (int(value) for value in cost_to_go[left][state].steps[row])
        steps.append((element, bool(reversed_)))
        state = node, marks
    return Walk(cost, loss, reflection, count + 1, tuple(steps)) if _in_stock(catalogue, steps) else None


def _in_stock(catalogue: Catalogue, steps: list[tuple[int, bool]]) -> bool:
    return all(catalogue.stock[element] >= count for element, count in Counter(element for element, _ in steps).items())


def _complete(catalogue: Catalogue, most_items: int, cost_to_go: list[Layer], front: _Front) -> None:
    """Build chains from the analyzer on, most hopeful first, as long as one of them may still beat the front."""
    exits = _exits(catalogue, most_items)
    tables = _tables(cost_to_go)
    start = _Label(0.0, 0, np.zeros(3, dtype=np.int64), (catalogue.start, 0), (), frozenset([(catalogue.start, 0)]))
    heap, number = [start], 0
    while heap:
        label = heappop(heap)
        left = most_items - len(label.steps)
        table = tables[left].get(label.state)
        if table is None or beaten(_ends(label.vector, len(label.steps), table), front.rows).all():
            continue
        if label.state[1] == catalogue.needed and catalogue.mates[label.state[0], catalogue.goal]:
            total = label.vector + catalogue.joint(label.state[0], catalogue.goal)
            cost, loss, reflection = (int(value) for value in total)
            front.add(Walk(cost, loss, reflection, len(label.steps) + 1, label.steps))
        if not left:
            continue
        for child in _children(catalogue, label, exits, tables[left - 1], front.rows):
            number += 1
            child.number = number
            heappush(heap, child)


def _exits(catalogue: Catalogue, most_items: int) -> dict[int, list[_Exits]]:
    """What can be put on each exposed node."""
    elements = without_dominated(catalogue, most_items)
    turned = elements[catalogue.near[elements] != catalogue.far[elements]]
    directed = [(int(element), 0) for element in elements] + [(int(element), 1) for element in turned]
    grouped: dict[tuple[int, int, int], list[int]] = {}
    for element, reversed_ in directed:
        ends = int(catalogue.near[element]), int(catalogue.far[element])
        entry, far = ends[::-1] if reversed_ else ends
        grouped.setdefault((entry, far, int(catalogue.marks[element]) & catalogue.needed), []).append(
            2 * element + reversed_
        )
    vectors = catalogue.vectors
    found: dict[int, list[_Exits]] = {node: [] for node in range(len(catalogue.mates))}
    for (entry, far, marks), members in grouped.items():
        chosen = np.array(members)
        group = _Exits(entry, far, marks, vectors[chosen // 2], chosen)
        for node in np.flatnonzero(catalogue.mates[:, entry]):
            found[int(node)].append(group)
    return found


def _tables(cost_to_go: list[Layer]) -> list[dict[State, Ints]]:
    """Completions with at most 0, 1, 2 and so on parts, their number as a fourth column."""
    found: list[dict[State, Ints]] = []
    now: dict[State, Ints] = {}
    for count, layer in enumerate(cost_to_go):
        now = dict(now)
        for state, rows in layer.items():
            more = np.concatenate([rows.vectors, np.full((len(rows.vectors), 1), count)], axis=1)
            now[state] = np.concatenate([now[state], more]) if state in now else more
        found.append(now)
    return found


def _ends(vector: Ints, count: int, table: Ints) -> Ints:
    """Figures of the chains that a beginning can become, stock apart; joints are one more than parts."""
    return np.asarray(table + np.array([*vector, count + 1], dtype=np.int64))


def _children(
    catalogue: Catalogue, label: _Label, exits: dict[int, list[_Exits]], table: dict[State, Ints], front: Ints
) -> list[_Label]:
    used = Counter(element for element, _ in label.steps)
    found = []
    for group in exits[label.state[0]]:
        state = group.far, label.state[1] | group.marks
        if state in label.seen or state not in table:
            continue
        base = label.vector + catalogue.joint(label.state[0], group.entry)
        vectors = group.vectors + base
        joined = np.concatenate([vectors, np.full((len(vectors), 1), len(label.steps) + 2)], axis=1)
        ends = (joined[:, None, :] + table[state][None, :, :]).reshape(-1, 4)
        open_ = ~beaten(ends, front).reshape(len(vectors), -1).all(axis=1)
        for index in np.flatnonzero(open_):
            element, reversed_ = divmod(int(group.elements[index]), 2)
            if used[element] < catalogue.stock[element]:
                hope = float((vectors[index] + table[state][:, :3].min(axis=0)).sum())
                steps = (*label.steps, (element, bool(reversed_)))
                found.append(_Label(hope, 0, vectors[index], state, steps, label.seen | {state}))
    return found
