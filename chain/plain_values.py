"""Arrays as plain values for JSON: lists, complex numbers as pairs, no NaN and no infinity."""

from __future__ import annotations

import math

import numpy as np

__all__ = ["SCHEMA_VERSION", "plain_values"]

SCHEMA_VERSION = 1


def plain_values(value: object) -> object:
    """Turn arrays, numbers and containers into what JSON can hold [real, imaginary]."""
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
