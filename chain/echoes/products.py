"""Products of tall, thin matrices without a BLAS, whose threads on a busy machine cost far more than work as small as this."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["combined", "orthonormal", "products"]

Values = NDArray[Any]

LEAST_PIVOT = 1e-7
"""Share of a column that must be new for it to count as independent."""


def products(left: Values, right: Values) -> Values:
    """Inner products of columns.

    Source: Definition.
    """
    return np.asarray(np.einsum("nm,nk->mk", left.conj(), right))


def combined(columns: Values, factors: Values) -> Values:
    """Sums of columns times factors.

    Source: Definition.
    """
    return np.asarray(np.einsum("nm,m...->n...", columns, factors))


def orthonormal(matrix: Values) -> Values:
    """Orthonormal columns of the same span.

    Source: Cholesky factors taken twice (CholeskyQR2); Gram-Schmidt where columns nearly depend on one another.
    """
    sizes = np.sqrt(np.sum(np.abs(matrix) ** 2, axis=0))
    q = matrix / np.where(sizes > 0, sizes, 1.0)
    try:
        for _ in range(2):
            # A = L L': q L'^-1 is orthonormal up to the condition squared; the second round takes that off.
            lower = np.linalg.cholesky(products(q, q))
            if lower.size and np.min(np.abs(np.diag(lower))) < LEAST_PIVOT:
                return _one_by_one(matrix, sizes)
            q = combined(q, np.linalg.inv(lower).conj().T)
    except np.linalg.LinAlgError:
        return _one_by_one(matrix, sizes)
    return q


def _one_by_one(matrix: Values, sizes: NDArray[np.float64]) -> Values:
    """Gram-Schmidt, each column twice; one that depends on those before it becomes zero."""
    out = np.array(matrix)
    for i in range(out.shape[1]):
        # Twice is enough (Kahan, Parlett): the second pass removes what cancellation left of the first.
        column, before = out[:, i], out[:, :i]
        for _ in range(2):
            column = column - combined(before, products(before, column[:, None])[:, 0])
        left = float(np.sqrt(np.sum(np.abs(column) ** 2)))
        out[:, i] = column / left if left > LEAST_PIVOT * sizes[i] else 0.0
    return out
