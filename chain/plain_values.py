"""Arrays as plain values for JSON: lists, complex numbers as pairs, no NaN and no infinity."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["SCHEMA_VERSION", "plain_values"]

SCHEMA_VERSION = 1


def plain_values(value: object) -> object:
    """Turn arrays, numbers and containers into what JSON can hold.

    Parameters
    ----------
    value : number, complex, array, tuple, list or dict of these, None or text.

    Returns
    -------
    The same in lists, dicts, floats, ints, text and None. NaN and infinity become None; a complex number becomes
    [real, imaginary].

    Examples
    --------
    >>> plain_values({"a": np.array([1.0, np.inf]), "b": 1 + 2j})
    {'a': [1.0, None], 'b': [1.0, 2.0]}

    Source
    ------
    Own convention.
    """
    if isinstance(value, dict):
        return {str(key): plain_values(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_values(item) for item in value]
    if isinstance(value, np.ndarray):
        return [plain_values(item) for item in value] if value.ndim else plain_values(value.item())
    if isinstance(value, np.generic):
        return plain_values(value.item())
    if isinstance(value, complex):
        return [plain_values(value.real), plain_values(value.imag)]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
