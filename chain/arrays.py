"""The two kinds of arrays that cross a boundary, by name."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Complex", "Real"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
