"""Which rows of a table no other row beats: every column a criterion, small is good, whole numbers so that sums are exact."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

THREE = 3
BLOCK_CELLS = 2_000_000


def nondominated(rows: Ints) -> NDArray[np.intp]:
    """Indices of the rows that no other row beats; of equal rows the first.

    Source: Vilfredo Pareto's order: a row beats another if it is nowhere larger and somewhere smaller.
    """
    order = np.lexsort(rows.T[::-1])
    return order[(_stepped if rows.shape[1] == THREE else _swept)(rows[order])]


def _stepped(rows: Ints) -> NDArray[np.intp]:
    """Of rows of three columns in lexicographic order those that no earlier one beats.

    What earlier rows rule out in the other two columns is bounded by a staircase, whose steps stand in order.

    Source: Kung, Luccio and Preparata, "On finding the maxima of a set of vectors", J. ACM 22 (1975) (memory).
    """
    kept: list[int] = []
    places: list[int] = []
    heights: list[int] = []
    for index, (place, height) in enumerate(zip(rows[:, 1].tolist(), rows[:, 2].tolist(), strict=True)):
        begin = bisect_right(places, place)
        if begin and heights[begin - 1] <= height:
            continue
        kept.append(index)
        end = begin
        while end < len(places) and heights[end] >= height:
            end += 1
        if begin and places[begin - 1] == place:
            begin -= 1
        places[begin:end], heights[begin:end] = [place], [height]
    return np.array(kept, dtype=np.intp)


def _swept(rows: Ints) -> NDArray[np.intp]:
    """Rows in lexicographic order: only an earlier one can beat a later one."""
    kept = np.empty(0, dtype=np.intp)
    start = 0
    while start < len(rows):
        width = max(16, min(256, len(kept)))
        block = np.arange(start, min(start + width, len(rows)))
        fresh = block[~beaten(rows[block], rows[kept])]
        here = rows[fresh]
        worse = (here[:, None, :] >= here[None, :, :]).all(axis=2)
        # Rows are sorted: row i falls to an earlier row j only.
        fresh = fresh[~np.tril(worse, -1).any(axis=1)]
        kept = np.concatenate([kept, fresh])
        start += width
    return kept


def beaten(rows: Ints, front: Ints) -> NDArray[np.bool_]:
    """Recognise which rows are nowhere smaller than some row of a front; equality counts."""
    found = np.zeros(len(rows), dtype=bool)
    if not len(front) or not len(rows):
        return found
    step = max(1, BLOCK_CELLS // len(front))
    for start in range(0, len(rows), step):
        part = rows[start : start + step]
        worse = np.ones((len(part), len(front)), dtype=bool)
        for column in range(rows.shape[1]):
            worse &= part[:, column, None] >= front[None, :, column]
        found[start : start + step] = worse.any(axis=1)
    return found
