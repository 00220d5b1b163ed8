"""Figures of a pad, an adapter or a lead from its two-port: loss over frequency, delay, reflection at either end."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chain.arrays import Complex, Real
from chain.characterize.lead import along_line, design, fitted, unwrapped

__all__ = ["BoxFit", "windows"]

ToBoxes = Callable[[Mapping[str, Complex]], Complex]

MOST_WINDOWS = 8
LEAST_POINTS = 4
LEAST_DEGREE, MOST_DEGREE = 3, 40


def windows(freq_hz: Real) -> list[slice]:
    """Even parts of a sweep, over each of which a reflection limit is stated."""
    count = max(1, min(MOST_WINDOWS, (freq_hz.size - 1) // LEAST_POINTS))
    edges = np.round(np.linspace(0, freq_hz.size - 1, count + 1)).astype(int)
    return [slice(int(low), int(high) + 1) for low, high in pairwise(edges)]


def _largest(freq_hz: Real, size: Real) -> Real:
    """Largest value in each window."""
    return np.stack([size[..., span].max(axis=-1) for span in windows(freq_hz)], axis=-1)


@dataclass(frozen=True)
class BoxFit:
    """How the figures of a part come from sweeps that `boxes` turns into two-ports in the part's own impedances.

    `shape` is the course that the loss is fitted with: `smooth` (a parabola, for a pad), `root` (the square root of frequency,
    for an adapter) or `line` (square root and linear part, for a lead). `s` is the mean two-port.
    """

    freq_hz: Real
    at_hz: Real
    shape: str
    boxes: ToBoxes
    s: Complex
    phase: Real
    degree: int
    """Of the curve that a reflection is smoothed with: an echo from the other end turns twice as far as S21."""
    two_terms: bool = False
    pairs: int = 1
    """How many equal parts the two-port is made of, end to end."""

    @classmethod
    def of(
        cls,
        freq_hz: Real,
        s: Complex,
        shape: str,
        boxes: ToBoxes,
        at_hz: Real,
        seconds: float | None = None,
        pairs: int = 1,
    ) -> BoxFit:
        """Prepare for a mean two-port; seconds is its delay as far as it is known."""
        phase = np.zeros(freq_hz.shape)
        if shape != "smooth":
            phase = unwrapped(freq_hz, s[:, 1, 0], seconds, "this part")
        two = shape == "line" and bool(freq_hz[-1] / freq_hz[0] >= 2)
        turn = float(np.ptp(np.unwrap(np.angle(s[:, 1, 0]))))
        degree = min(math.ceil(LEAST_DEGREE + turn), freq_hz.size // LEAST_POINTS, MOST_DEGREE)
        return cls(freq_hz, at_hz, shape, boxes, s, phase, degree, two, pairs)

    def columns(self, freq_hz: Real) -> Real:
        """Columns of the course of the loss."""
        if self.shape == "smooth":
            place = (freq_hz - self.freq_hz[0]) / np.ptp(self.freq_hz)
            return np.stack([np.ones_like(place), place, place**2], axis=-1)
        return design(freq_hz, self.two_terms)

    def smooth(self, reflection: Complex) -> Complex:
        """Reflection without its noise, as a curve in the complex plane, shape (..., frequencies)."""
        place = 2 * (self.freq_hz - self.freq_hz[0]) / np.ptp(self.freq_hz) - 1
        columns = np.polynomial.chebyshev.chebvander(place, self.degree)
        return np.asarray((reflection @ np.linalg.pinv(columns).T) @ columns.T)

    def loss_db(self, s: Complex) -> Real:
        """Loss of one part, both ways averaged, shape (any, frequencies)."""
        return np.asarray(-10 * np.log10(np.abs(s[..., 0, 1] * s[..., 1, 0])) / self.pairs)

    def figures(self, traces: Mapping[str, Complex]) -> dict[str, Real]:
        """Figures of sweeps: see the keys; `loss_db` is fitted, at `at_hz`; reflections are the largest in each window."""
        s = self.boxes(traces)
        loss = self.loss_db(s)
        parts = fitted(self.columns(self.freq_hz), loss).coefficients
        found = {
            "mean_loss_db": loss.mean(axis=-1),
            "coefficients": parts,
            "loss_db": parts @ self.columns(self.at_hz).T,
        }
        for port, end in ((0, "near"), (1, "far")):
            mean, own = self.smooth(self.s[..., port, port]), self.smooth(s[..., port, port])
            found[f"{end}_reflection"] = _largest(self.freq_hz, np.abs(own))
            found[f"{end}_reflection_turned"] = _largest(self.freq_hz, np.abs(2 * mean - own))
            found[f"{end}_reflection_apart"] = _largest(self.freq_hz, np.abs(own - mean))
        if self.shape != "smooth":
            # Both ways together, so that a lead and its turned sweep give one delay.
            turned = np.sqrt(s[..., 1, 0] * s[..., 0, 1] * np.exp(-2j * self.phase))
            found["delay_s"] = along_line(self.freq_hz, self.phase + np.angle(turned)) / self.pairs
        return found

    def rest_db(self) -> Real:
        """What the fitted course leaves of the mean loss, shape (frequencies,) [dB]."""
        return fitted(self.columns(self.freq_hz), self.loss_db(self.s)).residual
