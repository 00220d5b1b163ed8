"""Readings that are each well for a right chain and together are not: which one speaks against which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from chain.arrays import Real
from chain.diagnosis.known_ends import KnownReading
from chain.reflection import vswr

__all__ = ["Contradiction", "contradiction"]


COVERED = (0.025, 0.975)
NEAREST = 0.02
"""Share of a right chain's draws that lie nearest to a reading, and stand for chains that show it; own choice."""


@dataclass(frozen=True)
class Contradiction:
    """Readings that a right chain shows one by one, and hardly together.

    Where two of them tell it: of right chains that show reading number `given`, 95 % show reading number `other` from
    `low_vswr` to `high_vswr`, without what was read. All four are None where it takes more than two.
    """

    given: int | None
    other: int | None
    low_vswr: float | None
    high_vswr: float | None


def contradiction(typical: Real, readings: Sequence[KnownReading]) -> Contradiction | None:
    """The two readings that least go together at a right chain, where each alone would do.

    Source: Conditional distribution by nearest draws.
    """
    seen = np.array([each.magnitude for each in readings])
    low, high = np.quantile(typical, COVERED, axis=0)
    if seen.size < 2 or np.any((seen < low) | (seen > high)):
        return None
    worst, found = 0.0, Contradiction(None, None, None, None)
    count = max(1, round(NEAREST * typical.shape[0]))
    for given, other in permutations(range(seen.size), 2):
        near = np.argpartition(np.abs(typical[:, given] - seen[given]), count - 1)[:count]
        first, middle, last = np.quantile(typical[near, other], (COVERED[0], 0.5, COVERED[1]))
        span = readings[other]
        # Digits that reach into the interval are no contradiction.
        off = max(first - span.high, span.low - last) / max(last - middle, middle - first, 1e-9)
        if off > worst:
            worst = off
            found = Contradiction(given, other, *(float(vswr(min(value, 1.0))) for value in (first, last)))
    return found
