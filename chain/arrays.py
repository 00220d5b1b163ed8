"""The two kinds of arrays that cross a boundary, by name, and their middle and quantiles.

Those of numpy load its masked arrays, a tenth of the time in which a whole command may answer.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


def median(values: ArrayLike, axis: int = 0) -> Real:
    """Middle value along an axis; between the two in the middle where their number is even."""
    along = np.moveaxis(np.asarray(values), axis, -1)
    high = along.shape[-1] // 2
    low = (along.shape[-1] - 1) // 2
    ordered = np.partition(along, (low, high), axis=-1)
    return np.asarray((ordered[..., low] + ordered[..., high]) / 2)


def quantiles(values: ArrayLike, shares: ArrayLike) -> Real:
    """Quantiles along the first axis, linear between order statistics, shape (shares, ...).

    Source: R. J. Hyndman, Y. Fan, "Sample quantiles in statistical packages", Am. Stat. 50 (1996), definition 7.
    """
    ordered = np.sort(np.asarray(values), axis=0)
    at = np.asarray(shares, dtype=float) * (len(ordered) - 1)
    below = np.floor(at).astype(int)
    above = np.minimum(below + 1, len(ordered) - 1)
    part = (at - below).reshape(at.shape + (1,) * (ordered.ndim - 1))
    return np.asarray(ordered[below] + part * (ordered[above] - ordered[below]))
