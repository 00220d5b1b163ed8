"""Terms of a sweep's model: delayed echoes and resonances, and the shape that each has over the span."""

from __future__ import annotations

import numpy as np

from chain.arrays import Complex, Real
from library.frozen import dataclass

__all__ = ["Echo", "Model", "Pole", "echo_shape", "pole_shape"]


@dataclass(frozen=True)
class Echo:
    """A delayed reflection: its ripples in the span (negative: before the main one), and how its amplitude varies.

    Degree 0: not at all; 1: by the factor exp(-slope x), as a loss in dB that grows with frequency; 2: by a square too.
    """

    periods: float
    degree: int = 0
    slope: float = 0.0


@dataclass(frozen=True)
class Pole:
    """A resonance: its place on `x` and half its width."""

    place: float
    width: float


@dataclass(frozen=True)
class Model:
    """Which terms there are: polynomial of the smooth part, echoes, resonances."""

    degree: int
    echoes: tuple[Echo, ...] = ()
    poles: tuple[Pole, ...] = ()

    def parameters(self, has_phase: bool) -> int:
        """Count of real numbers that are fitted."""
        smooth = (self.degree + 1) * (2 if has_phase else 1)
        return smooth + sum((3, 4, 6)[echo.degree] for echo in self.echoes) + 4 * len(self.poles)


def echo_shape(x: Real, periods: float, slope: float = 0.0) -> Complex:
    """Turn of a delayed reflection over the span, zero at its middle.

    Source: exp(-j 2 pi f t).
    """
    return np.asarray(np.exp(-(slope + 1j * np.pi * periods) * x))


def pole_shape(x: Real, pole: Pole) -> Complex:
    """Reflection of a resonance, 1 at its middle.

    Source: 1/(1 + j (x - place)/width).
    """
    return np.asarray(1 / (1 + 1j * (x - pole.place) / pole.width))
