"""Figures of a pad, an adapter or a lead from its two-port: loss over frequency, delay, reflection at either end."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from chain.arrays import Complex, Real
from chain.characterize.lead import along_line, design, fitted, not_negative, unwrapped
from chain.errors import RangeError
from chain.uncertainty.calibration import solve

ToBoxes = Callable[[Mapping[str, Complex]], Complex]

MOST_WINDOWS = 8
LEAST_POINTS = 4
LEAST_DEGREE, MOST_DEGREE = 3, 40
TERMINATIONS = {"open": 1.0, "short": -1.0, "load": 0.0}
LEAST_APART = 1e-3
"""Least difference of two readings of unlike terminations: what lies between lets almost nothing through."""


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
        inside: slice = slice(None),
    ) -> BoxFit:
        """Prepare for a mean two-port; seconds is its delay as far as it is known.

        What lies outside the span `inside` serves to count the turns of the phase alone.
        """
        phase = np.zeros(freq_hz.shape)
        if shape != "smooth":
            phase = unwrapped(freq_hz, s[:, 1, 0], seconds, "this part")
        freq_hz, s, phase = freq_hz[inside], s[inside], phase[inside]
        two = shape == "line" and bool(freq_hz[-1] / freq_hz[0] >= 2)
        turn = float(np.ptp(np.unwrap(np.angle(s[:, 1, 0]))))
        degree = min(math.ceil(LEAST_DEGREE + turn), freq_hz.size // LEAST_POINTS, MOST_DEGREE)
        return cls(freq_hz, at_hz, shape, boxes, s, phase, degree, two, pairs)

    def columns(self, freq_hz: Real) -> Real:
        """Columns of the course of the loss."""
        if self.shape == "smooth":
            # From 0 to 1: squares of hertz beside a one would leave the fit without digits.
            place = (freq_hz - self.freq_hz[0]) / np.ptp(self.freq_hz)
            return np.stack([np.ones_like(place), place, place**2], axis=-1)
        return design(freq_hz, self.two_terms)

    def smooth(self, reflection: Complex) -> Complex:
        """Reflection without its noise, as a curve in the complex plane, shape (..., frequencies)."""
        place = 2 * (self.freq_hz - self.freq_hz[0]) / np.ptp(self.freq_hz) - 1
        # Chebyshev's columns stay well apart where powers of such a degree would be all but alike.
        columns = np.polynomial.chebyshev.chebvander(place, self.degree)
        return np.asarray((reflection @ np.linalg.pinv(columns).T) @ columns.T)

    def loss_db(self, s: Complex) -> Real:
        """Loss of one part, both ways averaged, shape (any, frequencies)."""
        # A passive part passes the same both ways; a difference is the analyzer's, and the mean halves it.
        return np.asarray(-10 * np.log10(np.abs(s[..., 0, 1] * s[..., 1, 0])) / self.pairs)

    def figures(self, traces: Mapping[str, Complex]) -> dict[str, Real]:
        """Figures of sweeps: see the keys; `loss_db` is fitted, at `at_hz`; reflections are the largest in each window."""
        s = self.boxes(traces)
        loss = self.loss_db(s)
        parts = fitted(self.columns(self.freq_hz), loss).coefficients
        found = {
            "mean_loss_db": loss.mean(axis=-1),
            "loss_db": parts @ self.columns(self.at_hz).T,
        }
        if self.shape == "line":
            found["coefficients"] = not_negative(parts, self.at_hz)
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


def box_of_ends(freq_hz: Real, traces: Mapping[str, Complex], seconds: float | None = None) -> Complex:
    """Two-port between the analyzer and three terminations that are taken as ideal, in the load's impedance at the far port.

    Source: a product S21 S12 leaves the sign of S21 open: half its phase, carried back to zero frequency or held
    against the length.
    """
    _apart(traces)
    out, product = _error_box(traces)
    # There and back: the delay of the product is twice that of the part.
    phase = unwrapped(freq_hz, product, None if seconds is None else 2 * seconds, "this part")
    out[:, 0, 1] = out[:, 1, 0] = np.sqrt(np.abs(product)) * np.exp(0.5j * phase)
    return out


def boxes_near(traces: Mapping[str, Complex], nominal: Complex) -> Complex:
    """Two-ports from many sweeps at once that depart a little from a known one."""
    out, product = _error_box(traces)
    root = nominal[:, 1, 0]
    # The quotient stays near 1, where the root's principal value is the branch that the nominal one chose.
    out[..., 0, 1] = out[..., 1, 0] = root * np.sqrt(product / root**2)
    return out


def _error_box(traces: Mapping[str, Complex]) -> tuple[Complex, Complex]:
    """Two-ports without their transmission, and its product S21 S12.

    Source: raw = (p G + q)/(r G + 1): S11 = q, S22 = -r, S21 S12 = p - q r.
    """
    ideal = [np.full(1, value, dtype=complex) for value in TERMINATIONS.values()]
    maps = solve([np.asarray(traces[end]) for end in TERMINATIONS], ideal)
    out = np.empty((*maps.p.shape, 2, 2), dtype=complex)
    out[..., 0, 0], out[..., 1, 1] = maps.q, -maps.r
    return out, np.asarray(maps.p - maps.q * maps.r)


def _apart(traces: Mapping[str, Complex]) -> None:
    for first, second in combinations(TERMINATIONS, 2):
        gap = float(np.abs(traces[first] - traces[second]).min())
        if gap < LEAST_APART:
            raise RangeError(
                f"{first} and {second} read alike (they differ by {gap:.1g} at least)",
                "check that the ends were changed, and that the part lets anything through",
            )
