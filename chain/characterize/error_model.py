"""Errors of the analyzer and of the standards, put on measured sweeps at random: what repeats show, and what they cannot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.reflection import magnitude_from_return_loss
from chain.setups import SPREAD_RESIDUALS, Near
from chain.uncertainty.streams import unit_reflections

Traces = Mapping[str, Complex]


@dataclass(frozen=True)
class Analyzer:
    """Sizes of the errors: limits of magnitudes, and the standard deviation `noise` of real and imaginary part.

    Directivity, source match, tracking and the standards stay the same from sweep to sweep. Noise, drift and the mating of
    connectors do not, so that repeats show them.
    """

    directivity: float = 0.0
    source_match: float = 0.0
    tracking: float = 0.0
    noise: float = 0.0
    repeatability: float = 0.0
    drift: float = 0.0
    load: float = 0.0
    """Largest reflection of the load that stands for a match."""
    open_capacitance_f: float = 0.0
    short_inductance_h: float = 0.0
    kinds: tuple[tuple[str, str], ...] = ()
    """(name of a size, how it is spread) where that is not over the disc."""

    def drawn(self, what: str, rng: np.random.Generator, count: int) -> Complex:
        """Trials of one of the sizes, spread as stated, shape (count, 1)."""
        return np.asarray(getattr(self, what) * unit_reflections(rng, count, dict(self.kinds).get(what, "disc")))

    @classmethod
    def of(
        cls, near: Near, load_db: float | None = None, open_capacitance_f: float = 0.0, short_inductance_h: float = 0.0
    ) -> Analyzer:
        """Sizes from the figures of a set-up's analyzer; what is not stated counts as perfect."""
        return cls(
            _radius(near.directivity_db),
            _radius(near.source_match_db),
            _excess(near.tracking_db),
            _excess(near.trace_noise_db),
            _radius(near.repeatability_db),
            _radius(near.drift_db),
            _radius(load_db),
            open_capacitance_f,
            short_inductance_h,
            tuple((key, getattr(near, f"{key}_kind")) for key in SPREAD_RESIDUALS),
        )


def _radius(loss_db: float | None) -> float:
    return 0.0 if loss_db is None else float(magnitude_from_return_loss(loss_db))


def _excess(loss_db: float | None) -> float:
    return 0.0 if loss_db is None else 10 ** (loss_db / 20) - 1


def _noise(rng: np.random.Generator, shape: tuple[int, ...], size: float) -> Complex | float:
    if not size:
        return 0.0
    return np.asarray(size * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)))


def _seen(inner: Complex, residuals: tuple[Complex, Complex, Complex]) -> Complex:
    """Reading of a reflection through what the calibration left."""
    directivity, tracking, match = residuals
    return directivity + (1 + tracking) * inner / (1 - match * inner)


def disturbed_one_port(
    freq_hz: Real,
    traces: Traces,
    analyzer: Analyzer,
    far_ohm: float,
    rng: np.random.Generator,
    count: int,
    single: bool,
) -> dict[str, Complex]:
    """Sweeps of known terminations as they might have come out instead.

    Source: Reading = D + (1 + T) G/(1 - M G). A lossless junction r in front of an open or a short turns its phase by
    2 Im r. What changes at the far end comes through as t, half the difference of open and short.
    """
    residuals = tuple(analyzer.drawn(what, rng, count) for what in ("directivity", "tracking", "source_match"))
    # The part of a trace that has been at the far end: open and short share all that turned back before.
    through = (traces["open"] - traces["short"]) / 2
    # Where the part was taken off between sweeps, their scatter shows joints, drift and noise; drawn too they would count twice.
    junction = analyzer.drawn("repeatability", rng, count) * single
    changes = _ends(freq_hz, analyzer, far_ohm, rng, count, single)
    drawn = {}
    for end, trace in traces.items():
        inner = trace + through * changes[end]
        inner = (junction + inner) / (1 + np.conj(junction) * inner)
        drawn[end] = _seen(inner, residuals)  # type: ignore[arg-type]
        if single:
            shape = (count, freq_hz.size)
            drawn[end] = drawn[end] + analyzer.drawn("drift", rng, count) + _noise(rng, shape, analyzer.noise)
    return drawn


def _ends(
    freq_hz: Real, analyzer: Analyzer, far_ohm: float, rng: np.random.Generator, count: int, single: bool
) -> dict[str, Complex]:
    """Departure of each end from the ideal."""
    omega = 2 * np.pi * freq_hz
    # One capacitance and one inductance for the whole sweep, anywhere from none to the stated.
    opened = 1j * omega * far_ohm * analyzer.open_capacitance_f * rng.random((count, 1))
    shorted = 1j * omega / far_ohm * analyzer.short_inductance_h * rng.random((count, 1))
    changes = {
        "open": (1 - opened) / (1 + opened) - 1,
        "short": (shorted - 1) / (shorted + 1) + 1,
        "load": analyzer.drawn("load", rng, count),
    }
    if single:
        for end, change in changes.items():
            junction = analyzer.drawn("repeatability", rng, count)
            # A lossless junction cannot lessen a full reflection, only
            # turn it: (r + 1)/(1 + conj(r)) is 1 + 2j Im r to first order.
            changes[end] = change + (junction if end == "load" else 2j * junction.imag)
    return changes


def disturbed_two_port(s: Complex, analyzer: Analyzer, rng: np.random.Generator, count: int, single: bool) -> Complex:
    """A measured two-port as it might have come out instead.

    Source: First order of the error model of two ports: S21 (1 + T)/((1 - M1 S11)(1 - M2 S22)).
    """
    single_disc = (
        (lambda: analyzer.drawn("repeatability", rng, count)) if single else (lambda: np.zeros((count, 1), complex))
    )
    junction = [single_disc(), single_disc()]
    out = np.empty((count, *s.shape), dtype=complex)
    down: Complex | float = 1.0
    for port in (0, 1):
        near = (analyzer.drawn("directivity", rng, count), analyzer.drawn("tracking", rng, count))
        match = analyzer.drawn("source_match", rng, count)
        own = s[..., port, port]
        turned = np.conj(junction[port])
        out[..., port, port] = _seen((junction[port] + own) / (1 + turned * own), (*near, match))
        down = down * (1 - match * own) * (1 + turned * own)
    # The transmission's tracking is one error each way; taken as shared, it does not average out.
    tracking = 1 + analyzer.drawn("tracking", rng, count)
    for row, column in ((0, 1), (1, 0)):
        out[..., row, column] = s[..., row, column] * tracking / down
    if single:
        out += analyzer.drawn("drift", rng, count)[..., None, None]
        out += _noise(rng, out.shape, analyzer.noise)
    return out
