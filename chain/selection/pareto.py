"""Which rows of a table no other row beats: every column a criterion, small is good, whole numbers so that sums are exact."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

SIEVES = 6
"""Good rows tried against all others at once, before the thorough pass."""
BLOCK_CELLS = 2_000_000


def nondominated(rows: Ints) -> NDArray[np.intp]:
    """Indices of the rows that no other row beats; of equal rows the first.

    Source: Vilfredo Pareto's order: a row beats another if it is nowhere larger and somewhere smaller.
    """
    chosen = np.arange(len(rows))
    for number in range(SIEVES):
        if len(chosen) < 2 * SIEVES:
            break
        left = rows[chosen]
        low, high = left.min(axis=0), left.max(axis=0)
        # Each sieve weighs the criteria differently, so that it finds another good row.
        weights = np.ones(rows.shape[1])
        weights[number % rows.shape[1]] = 1 + 3 * (number > 0)
        best = left[np.argmin(((left - low) / np.maximum(high - low, 1)) @ weights)]
        chosen = chosen[(left < best).any(axis=1) | (left == best).all(axis=1)]
    order = chosen[np.lexsort(rows[chosen].T[::-1])]
    return order[_swept(rows[order])]


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
    """Tell which rows are nowhere smaller than some row of a front; equality counts."""
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
