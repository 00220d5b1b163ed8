"""A plain belt of its own for the proof of coverage: fine grid, fine bins, no interpolation."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d

STEP = 0.0025
MAGNITUDES = np.linspace(0, 1, round(1 / STEP) + 1)
BINS = 400
KERNEL_BINS = 2.5


class PlainBelt:
    """Likelihood-ratio belt from statistics of shape (magnitudes, draws)."""

    def __init__(self, samples, coverage=0.95):
        self.top = samples.max() * (1 + 1e-9)
        at = self._bin(samples)
        counts = np.stack([np.bincount(row, minlength=BINS) for row in at]).astype(float)
        density = gaussian_filter1d(counts, KERNEL_BINS, axis=1, mode="reflect") + 1e-4
        self.ratio = density / density.max(axis=0)
        own = np.take_along_axis(self.ratio, at, axis=1)
        self.accepted = self.ratio >= np.quantile(own, 1 - coverage, axis=1)[:, None]

    def _bin(self, values):
        return np.minimum((values / self.top * BINS).astype(int), BINS - 1)

    def interval(self, observed):
        """Ends of the accepted magnitudes, each grid value standing for the step around it; NaN for an empty one."""
        low = self.accepted.argmax(axis=0) * STEP - STEP / 2
        high = 1 - self.accepted[::-1].argmax(axis=0) * STEP + STEP / 2
        some = self.accepted.any(axis=0)
        low, high = np.where(some, np.maximum(low, 0), np.nan), np.where(some, np.minimum(high, 1), np.nan)
        at = self._bin(np.minimum(observed, self.top))
        beyond = observed > self.top
        return np.where(beyond, np.nan, low[at]), np.where(beyond, np.nan, high[at])
