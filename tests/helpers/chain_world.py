"""Invented catalogues of pieces for the search, and the front of one by plain enumeration."""

from __future__ import annotations

from collections import Counter

import numpy as np

from chain.selection.catalogue import Catalogue

MOST_CHAINS = 6000
FIELDS = ("near", "far", "cost", "loss", "reflection", "stock", "marks")


def catalogue_of(rows, joints, nodes, start, goal, needed=0):
    """Catalogue from rows (near, far, cost, loss, reflection, stock[, marks]) and {(node, node): (loss, reflection)}."""
    columns = {
        name: np.array(
            [(*row, 0)[place] if place == 6 and len(row) == 6 else row[place] for row in rows], dtype=np.int64
        )
        for place, name in enumerate(FIELDS)
    }
    loss = np.full((nodes, nodes), -1, dtype=np.int64)
    reflection = np.zeros((nodes, nodes), dtype=np.int64)
    for (one, other), (lost, mirrored) in joints.items():
        loss[one, other] = loss[other, one] = lost
        reflection[one, other] = reflection[other, one] = mirrored
    return Catalogue(**columns, joint_loss=loss, joint_reflection=reflection, start=start, goal=goal, needed=needed)


def every_chain(shop, most_items):
    """Yield (cost, loss, reflection, joints) of every walk that the stock allows, by depth-first enumeration."""
    near, far, cost, loss, reflection, stock, marks = (getattr(shop, name).tolist() for name in FIELDS)
    joint_loss, joint_reflection = shop.joint_loss.tolist(), shop.joint_reflection.tolist()
    elements = range(len(near))

    def go(node, figures, mark, used, count):
        if joint_loss[node][shop.goal] >= 0 and mark & shop.needed == shop.needed:
            yield (
                figures[0],
                figures[1] + joint_loss[node][shop.goal],
                figures[2] + joint_reflection[node][shop.goal],
                count + 1,
            )
        if count == most_items:
            return
        for element in elements:
            if used[element] >= stock[element]:
                continue
            for entry, leave in {(near[element], far[element]), (far[element], near[element])}:
                step = joint_loss[node][entry]
                if step < 0:
                    continue
                used[element] += 1
                then = (
                    figures[0] + cost[element],
                    figures[1] + loss[element] + step,
                    figures[2] + reflection[element] + joint_reflection[node][entry],
                )
                yield from go(leave, then, mark | marks[element], used, count + 1)
                used[element] -= 1

    yield from go(shop.start, (0, 0, 0), 0, Counter(), 0)


def front_of(vectors):
    """Set of the vectors that no other beats."""
    distinct = sorted(set(vectors))
    kept = []
    for each in distinct:
        if not any(all(a <= b for a, b in zip(other, each, strict=True)) for other in kept):
            kept.append(each)
    return set(kept)


def random_shop(rng, needed=0):
    """Small catalogue of up to 60 parts, stock 0 to 3, and a longest chain of up to 5 items, so that all can be counted out."""
    count = int(rng.integers(3, 61))
    families = int(rng.integers(2, 9))
    nodes = 2 * families
    branching = max(1.5, 2 * count / nodes)
    most_items = int(np.clip(np.log(MOST_CHAINS) / np.log(branching), 1, 5))
    joints = {(2 * each, 2 * each + 1): (0, 0) for each in range(families)}
    for _ in range(int(rng.integers(0, 3))):
        one, other = sorted(int(value) for value in rng.integers(0, nodes, 2))
        if one != other:
            joints.setdefault((one, other), (int(rng.integers(0, 4)), int(rng.integers(0, 4))))
    wide = int(rng.choice([3, 8, 40]))
    rows = [_piece(rng, rng.integers(0, nodes, 2), wide, 0.2 * bool(needed)) for _ in range(count)]
    start, goal = (int(value) for value in rng.integers(0, nodes, 2))
    return catalogue_of(rows, joints, nodes, start, goal, needed), most_items


def mirror_shop(rng):
    """Catalogue in which the chain must come back to the connector it began with, so that a good piece is wanted twice."""
    families = int(rng.integers(2, 4))
    nodes = 2 * families
    joints = {(2 * each, 2 * each + 1): (0, 0) for each in range(families)}
    rows = []
    for _ in range(int(rng.integers(2, 7))):
        # Between the first family and another: wanted on the way out and again on the way back.
        ends = 1, 2 * int(rng.integers(1, families)) + 1
        rows.append(_piece(rng, ends if rng.random() < 0.5 else ends[::-1], 12, 0.0, (1, 2)))
    for _ in range(int(rng.integers(2, 5))):
        family = int(rng.integers(1, families))
        rows.append(_piece(rng, (2 * family, 2 * family), 6, 0.0, (1, 3)))
    rows += [_piece(rng, rng.integers(0, nodes, 2), 40, 0.0) for _ in range(int(rng.integers(0, 8)))]
    return catalogue_of(rows, joints, nodes, 0, 0), 5


def detour_shop(rng):
    """Catalogue whose goal only the reversed cheap piece can reach, so that a beginning made with it leads nowhere."""
    joints = {(0, 1): (0, 0), (0, 5): (0, 0), (2, 3): (0, 0), (1, 6): (0, 0)}
    rows = [(1, 3, *(int(value) for value in rng.integers(0, 3, 3)), 1)]
    rows += [(5, 3, *(int(value) for value in rng.integers(3, 9, 3)), int(rng.integers(1, 3))) for _ in range(3)]
    rows += [_piece(rng, (2, 2), 6, 0.0, (1, 3)) for _ in range(3)]
    rows += [_piece(rng, rng.integers(1, 7, 2), 60, 0.0) for _ in range(int(rng.integers(0, 6)))]
    return catalogue_of(rows, joints, 7, 0, 6), 5


def _piece(rng, ends, wide, marked, stock=(0, 4)):
    figures = [int(value) for value in rng.integers(0, wide, 3)]
    return (*map(int, ends), *figures, int(rng.integers(*stock)), int(rng.random() < marked))
