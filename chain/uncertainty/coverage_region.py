"""Coverage regions of a complex reflection in its plane: an ellipse, and the smallest region that holds the stated share.

Both are made from drawn recovered reflections and are plain arrays, for a plot of the plane. For a magnitude they are not
the answer: a region projected onto |G| is too wide, and the tests of `chain.uncertainty.one_sided_tests` are inverted instead.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chain.arrays import Complex, Real, quantiles
from chain.results import COVERAGE, SEED
from chain.uncertainty.measurement import Measurement, recovering
from chain.uncertainty.streams import BATCH, halved
from library.frozen import dataclass

OUTLINE = 180


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


def recovered_trials(
    measurement: Measurement, far_reflection: ArrayLike, draws: int = 4000, seed: int = SEED
) -> Complex:
    """Recovered reflections of simulated measurements of one antenna.

    Source: Simulated readings, each undone by the nominal bilinear map.
    """
    far: Complex = np.asarray(far_reflection, dtype=complex)
    batches = range(max(1, -(-draws // BATCH)))
    # Half the precision: what trials scatter by is not known to seven digits.
    return np.concatenate([recovering(measurement, batch, seed).reading(halved(far, True)) for batch in batches])


def ellipse(drawn: Complex, coverage: float = COVERAGE, normal: bool = False) -> Ellipse:
    """Ellipse of the trials' own shape that holds the stated share of them.

    Source: JCGM 102:2011, 6.5 and 7.7.2 (memory); chi-square with two degrees of freedom: k^2 = -2 ln(1 - p).
    """
    center = drawn.mean(axis=0)
    parts = np.stack([(drawn - center).real, (drawn - center).imag])
    covariance = np.moveaxis(np.einsum("adf,bdf->abf", parts, parts), -1, 0) / max(len(drawn) - 1, 1)
    # Trials that do not scatter have no root; next to nothing is added.
    root = np.linalg.cholesky(covariance + 1e-30 * np.eye(2))
    if normal:
        factor = np.full(center.shape, np.sqrt(-2 * np.log(1 - coverage)))
    else:
        # Recovered reflections are no normal ones, so the ellipse
        # is scaled by the trials' own quantile (JCGM 102, 7.7.2).
        unit = np.linalg.solve(root, np.moveaxis(parts, -1, 0))
        factor = quantiles(np.sqrt((unit**2).sum(axis=1)).T, coverage)
    angle = 2 * np.pi * np.arange(OUTLINE) / OUTLINE
    edge = root @ np.stack([np.cos(angle), np.sin(angle)]) * factor[:, None, None]
    return Ellipse(center, covariance, factor, center[:, None] + edge[:, 0] + 1j * edge[:, 1], coverage)
