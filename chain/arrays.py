"""The two kinds of arrays that cross a boundary, by name, their middle and quantiles, and what is distinct of others.

Those of numpy load its masked arrays, a tenth of the time in which a whole command may answer.
"""

from __future__ import annotations

import sys
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


Whole = TypeVar("Whole", bound=NDArray[Any])


def masked(values: object) -> bool:
    """Whether this is an array with a mask; without loading what makes them, since nobody can have made one before."""
    loaded = sys.modules.get("numpy.ma")
    return loaded is not None and isinstance(values, loaded.MaskedArray)


def distinct(values: Whole) -> Whole:
    """Values in order, each once."""
    # Asked for indices as well, numpy does not look for masks.
    return np.unique(values, return_index=True)[0]  # type: ignore[return-value]


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
