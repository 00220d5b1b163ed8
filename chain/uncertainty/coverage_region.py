"""Coverage regions of a complex reflection in its plane: an ellipse, and the smallest region that holds the stated share.

Both are made from drawn recovered reflections and are plain arrays, for a plot of the plane. For a magnitude they are not
the answer: a region projected onto |G| is too wide, and the belt of `chain.uncertainty.confidence_belt` is used instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chain.arrays import Complex, Real
from chain.rf.bilinear import compose, inverse
from chain.uncertainty.intervals import COVERAGE, SEED
from chain.uncertainty.measurement import BATCH, Measurement, nominal_maps, simulate

__all__ = ["Ellipse", "SmallestRegion", "ellipse", "recovered_draws", "smallest_region"]


OUTLINE = 180
LEAST_CELLS, MOST_CELLS = 24, 120
SMOOTH = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9


@dataclass(frozen=True)
class Ellipse:
    """Ellipses over frequency. `covariance` is of real and imaginary part; `factor` scales the standard ellipse."""

    center: Complex
    covariance: Real
    factor: Real
    outline: Complex
    """Points on the edge, shape (frequencies, 180)."""
    coverage: float

    @property
    def area(self) -> Real:
        """Area in the reflection plane, shape (frequencies,)."""
        return np.asarray(np.pi * self.factor**2 * np.sqrt(np.maximum(np.linalg.det(self.covariance), 0)))


@dataclass(frozen=True)
class SmallestRegion:
    """Cells of a grid that together hold the stated share on the least area, at one frequency.

    `density` has shape (imaginary cells, real cells), the share of draws per area; a cell belongs to the region where its
    density is at least `level`.
    """

    real_edges: Real
    imag_edges: Real
    density: Real
    level: float
    coverage: float

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Cells that belong to the region."""
        return np.asarray(self.density >= self.level)

    @property
    def area(self) -> float:
        """Area in the reflection plane."""
        cell = (self.real_edges[1] - self.real_edges[0]) * (self.imag_edges[1] - self.imag_edges[0])
        return float(self.inside.sum() * cell)


def recovered_draws(
    measurement: Measurement, far_reflection: ArrayLike, draws: int = 4000, seed: int = SEED
) -> Complex:
    """Recovered reflections of simulated measurements of one antenna.

    Source: Simulated readings, each undone by the nominal bilinear map.
    """
    undo, batches = inverse(nominal_maps(measurement)), max(1, -(-draws // BATCH))
    far = np.asarray(far_reflection, dtype=complex)
    return np.concatenate([compose(undo, simulate(measurement, batch, seed)).reading(far) for batch in range(batches)])


def ellipse(drawn: Complex, coverage: float = COVERAGE, normal: bool = False) -> Ellipse:
    """Ellipse of the draws' own shape that holds the stated share of them.

    Source: JCGM 102:2011, 6.5 and 7.7.2 (memory); chi-square with two degrees of freedom: k^2 = -2 ln(1 - p).
    """
    center = drawn.mean(axis=0)
    parts = np.stack([(drawn - center).real, (drawn - center).imag])
    covariance = np.moveaxis(np.einsum("adf,bdf->abf", parts, parts), -1, 0) / max(len(drawn) - 1, 1)
    root = np.linalg.cholesky(covariance + 1e-30 * np.eye(2))
    if normal:
        factor = np.full(center.shape, np.sqrt(-2 * np.log(1 - coverage)))
    else:
        unit = np.linalg.solve(root, np.moveaxis(parts, -1, 0))
        factor = np.quantile(np.sqrt((unit**2).sum(axis=1)), coverage, axis=1)
    angle = 2 * np.pi * np.arange(OUTLINE) / OUTLINE
    edge = root @ np.stack([np.cos(angle), np.sin(angle)]) * factor[:, None, None]
    return Ellipse(center, covariance, factor, center[:, None] + edge[:, 0] + 1j * edge[:, 1], coverage)


def smallest_region(drawn: Complex, coverage: float = COVERAGE) -> SmallestRegion:
    """Region of least area that holds the stated share of the draws, whatever its shape.

    Source: JCGM 102:2011, 7.7.4 (memory): cells of a grid, those with the most draws first, until the share is
    reached.
    """
    cells = int(np.clip(np.sqrt(len(drawn)) / 2, LEAST_CELLS, MOST_CELLS))
    spans = []
    for part in (drawn.real, drawn.imag):
        room = 0.06 * max(float(np.ptp(part)), 1e-12)
        spans.append(np.linspace(part.min() - room, part.max() + room, cells + 1))
    counts = np.histogram2d(drawn.imag, drawn.real, bins=(spans[1], spans[0]))[0]
    smooth = counts
    for axis in (0, 1):
        smooth = np.apply_along_axis(np.convolve, axis, smooth, SMOOTH, mode="same")
    # Smoothing only settles the order of the cells; the share is counted from the draws themselves.
    order = np.argsort(smooth, axis=None)[::-1]
    last = order[np.searchsorted(np.cumsum(counts.ravel()[order]), coverage * counts.sum())]
    scale = 1 / (counts.sum() * (spans[0][1] - spans[0][0]) * (spans[1][1] - spans[1][0]))
    return SmallestRegion(spans[0], spans[1], smooth * scale, float(smooth.ravel()[last] * scale), coverage)
