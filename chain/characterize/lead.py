"""What an open and a short at the far end of a lead show of it: loss, its coefficients, velocity, impedance, reflection."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from chain.arrays import Complex, Real
from chain.errors import RangeError
from library.formulas import NEPER_PER_DB

DB_PER_NEPER = 1 / NEPER_PER_DB
FIRST_ROUNDS, NEXT_ROUNDS = 8, 2
TWO_TERMS_FROM = 2.0
"""Least ratio of the ends of the span at which conductor and dielectric loss can be distinguished."""
MOST_SCATTER = 1.0
MOST_REST, EXCHANGED = 0.25, 0.4
"""Parts of a turn that may be left at zero frequency; near a half, two ends were taken for one another."""
LEAST_HOLD = 0.05
"""Mean of |1 - w^2|^2 below which the sweep says next to nothing of the line's impedance."""


def design(freq_hz: Real, two_terms: bool) -> Real:
    """Columns that the loss of a line is fitted with: sqrt(f), and f where the span distinguishes both [sqrt(MHz), MHz].

    Source: Skin effect grows with sqrt(f), dielectric loss with f.
    """
    mhz = freq_hz / 1e6
    return np.stack([np.sqrt(mhz), mhz][: 2 if two_terms else 1], axis=-1)


@dataclass(frozen=True)
class LeastSquares:
    """A least-squares fit: `coefficients` of shape (..., columns), and the residuals of what was fitted."""

    coefficients: Real
    residual: Real


def fitted(columns: Real, values: Real) -> LeastSquares:
    """Least squares of curves over the same columns (ordinary least squares, by the pseudo-inverse)."""
    # One inverse serves all drawn curves at once.
    coefficients = values @ np.linalg.pinv(columns).T
    return LeastSquares(coefficients, values - coefficients @ columns.T)


def not_negative(parts: Real, at_hz: Real) -> Real:
    """Loss coefficients of shape (..., 1 or 2), refitted to the same curve with one term where one of two would be negative.

    Source: Conductors and dielectric both take power.
    """
    if parts.shape[-1] == 1:
        return parts
    both = design(at_hz, True)
    out = np.array(parts)
    for kept, gone in ((0, 1), (1, 0)):
        alone = (parts @ both.T) @ both[:, kept] / (both[:, kept] @ both[:, kept])
        wrong = parts[..., gone] < 0
        out[..., kept] = np.where(wrong, alone, out[..., kept])
        out[..., gone] = np.where(wrong, 0.0, out[..., gone])
    return out


def unwrapped(freq_hz: Real, wave: Complex, seconds: float | None, what: str) -> Real:
    """Phase of a wave that has passed a length of line, with its whole turns [rad].

    Source: Phase of a line: -2 pi f t, zero at zero frequency.
    """
    phase = np.unwrap(np.angle(wave))
    steps = np.abs(np.diff(phase))
    # Unwrapping goes wrong from half a turn a step; noise needs the rest.
    if steps.max() > 0.75 * np.pi:
        degrees = float(np.rad2deg(steps.max()))
        raise RangeError(
            f"{what}: its phase turns by {degrees:.0f} degrees or more from one point of the sweep to the next",
            "sweep with more points, or over a shorter span",
        )
    if seconds is None:
        turns = _counted(freq_hz, phase, what)
    else:
        turns = float(np.round(np.mean(phase + 2 * np.pi * freq_hz * seconds) / (2 * np.pi)))
        _agreeing(freq_hz, phase - 2 * np.pi * turns, seconds, what)
    return np.asarray(phase - 2 * np.pi * turns)


def _at_zero(freq_hz: Real, phase: Real) -> tuple[float, float]:
    """Phase carried back to zero frequency in turns, and how far it scatters over the span [rad]."""
    # In parts of the highest frequency, so that the fit does not mix 1 with 1e9.
    place = freq_hz / freq_hz[-1]
    slope, offset = np.polyfit(place, phase, 1)
    scatter = float(np.std(phase - offset - slope * place)) / float(np.ptp(place))
    return float(offset / (2 * np.pi)), scatter


def _agreeing(freq_hz: Real, phase: Real, seconds: float, what: str) -> None:
    """See that the turns that a stated delay chose leave no phase at zero frequency, where the span shows."""
    offset, scatter = _at_zero(freq_hz, phase)
    if scatter <= MOST_SCATTER and abs(offset) > EXCHANGED:
        slope = -float(np.polyfit(2 * np.pi * freq_hz, phase, 1)[0])
        raise RangeError(
            f"{what}: the stated length and velocity factor contradict its phase: their delay is {seconds / slope:.2f} times "
            "that by which the phase turns with frequency",
            "correct either of them, or leave one out and it is measured",
        )


def _counted(freq_hz: Real, phase: Real, what: str) -> float:
    """Whole turns at zero frequency, where the phase of what only takes time is zero."""
    offset, scatter = _at_zero(freq_hz, phase)
    turns = float(np.round(offset))
    rest = abs(offset - turns)
    if scatter > MOST_SCATTER or EXCHANGED > rest > MOST_REST:
        raise RangeError(
            f"{what}: the span of {freq_hz[0] / 1e6:g} to {freq_hz[-1] / 1e6:g} MHz is too short to count the whole "
            "turns of its phase",
            "sweep from a lower frequency, or state both length and velocity factor as far as they are known",
        )
    if rest >= EXCHANGED:
        raise RangeError(
            f"{what}: carried back to zero frequency, its phase is half a turn off",
            "look whether open and short were exchanged, or sweep from a lower frequency",
        )
    return turns


def along_line(freq_hz: Real, phase: Real) -> Real:
    """Delay that fits a phase best, zero phase at zero frequency [s] (least squares through the origin)."""
    return np.asarray(-(phase @ freq_hz) / (2 * np.pi * freq_hz @ freq_hz))


def misfit_db(at: Real, columns: Real, rest: Real, noise_db: Real) -> Real:
    """Standard deviation that ripple gives a fitted curve, beyond what the stated noise explains [dB].

    Source: Covariance of least squares under residuals that hang together, weights falling to zero over the lags
    (Bartlett).
    """
    # Chi-square over its degrees of freedom scatters by sqrt(2/free): only four times that is ripple and not chance.
    free = rest.size - columns.shape[1]
    ratio = float(np.sum((rest / np.maximum(noise_db, 1e-9)) ** 2)) / free
    if ratio < 1 + 4 * np.sqrt(2 / free):
        return np.zeros(at.shape[0])
    # What each residual pulls the curve by; neighbours of one ripple pull alike, so products over short lags count too.
    pull = (at @ np.linalg.pinv(columns)) * rest
    lags = max(4, rest.size // 8)
    alone = total = (pull**2).sum(-1)
    for lag in range(1, min(lags, rest.size)):
        total = total + 2 * (1 - lag / lags) * (pull[:, lag:] * pull[:, :-lag]).sum(-1)
    return np.asarray(np.sqrt(np.maximum(total, alone) * rest.size / free))


@dataclass(frozen=True)
class LeadFit:
    """How the figures of a lead come from its open and its short.

    `wave` is what a wave keeps on its way there and back, and `phase` its phase with whole turns; both are those of the mean
    sweep, from which drawn sweeps depart a little. `length_m` may be unknown, then it follows from `velocity_factor`.
    """

    freq_hz: Real
    at_hz: Real
    reference_ohm: float
    start_ohm: float
    fit_ohm: bool
    two_terms: bool
    has_phase: bool
    wave: Complex
    phase: Real
    found_ohm: float = 0.0
    """Impedance of the mean sweep, from which drawn ones start."""
    both: Complex | complex = 0j
    """What open and short of the mean sweep have in common."""

    @classmethod
    def of(
        cls,
        freq_hz: Real,
        traces: Mapping[str, Complex],
        ohm: tuple[float, float],
        at_hz: Real,
        seconds: float | None,
        has_phase: bool = True,
    ) -> LeadFit:
        """Prepare for the mean sweeps; ohm is (reference, about the lead's own); seconds the delay one way, if known."""
        two = bool(freq_hz[-1] / freq_hz[0] >= TWO_TERMS_FROM)
        ones = np.ones(freq_hz.shape, dtype=complex)
        begun = cls(freq_hz, at_hz, *ohm, False, two, has_phase, ones, np.zeros(freq_hz.shape))
        opened, shorted = (traces[end].mean(axis=0) for end in ("open", "short"))
        if not has_phase:
            assert seconds is not None
            phase = -4 * np.pi * freq_hz * seconds
            return replace(begun, wave=np.sqrt(np.abs(opened * shorted)) * np.exp(1j * phase), phase=phase)
        wave = begun.waves(opened, shorted, ohm[1])[0]
        hold = float(np.mean(np.abs(1 - wave**2) ** 2))
        begun = replace(begun, fit_ohm=hold > LEAST_HOLD)
        phase = unwrapped(freq_hz, wave, None if seconds is None else 2 * seconds, "lead")
        begun = replace(begun, wave=wave, phase=phase)
        wave, _, own = begun.solved(opened, shorted)
        phase = phase + np.angle(wave * np.exp(-1j * phase))
        return replace(begun, wave=wave, phase=phase, found_ohm=float(own), both=begun.common(opened, shorted))

    def within(self, traces: Mapping[str, Complex], inside: slice) -> LeadFit:
        """The same over a part of the sweep, the turns of the phase counted over the whole; traces are those of the part."""
        freq = self.freq_hz[inside]
        two = bool(freq[-1] / freq[0] >= TWO_TERMS_FROM)
        kept = replace(
            self, freq_hz=freq, two_terms=two, wave=self.wave[inside], phase=self.phase[inside], found_ohm=0.0, both=0j
        )
        if not self.has_phase:
            return kept
        opened, shorted = (traces[end].mean(axis=0) for end in ("open", "short"))
        kept = replace(kept, fit_ohm=float(np.mean(np.abs(1 - kept.wave**2) ** 2)) > LEAST_HOLD)
        wave, _, own = kept.solved(opened, shorted)
        phase = kept.phase + np.angle(wave * np.exp(-1j * kept.phase))
        return replace(kept, wave=wave, phase=phase, found_ohm=float(own), both=kept.common(opened, shorted))

    def waves(self, opened: Complex, shorted: Complex, ohm: Complex | Real | float) -> tuple[Complex, Complex]:
        """What comes back of a wave inside the line, (mean, product) of open and short, for a line of impedance `ohm`."""
        rho = (ohm - self.reference_ohm) / (ohm + self.reference_ohm)
        # Seen in the line's own impedance the wave comes back once: +w from an open, -w from a short.
        from_open = (opened - rho) / (1 - rho * opened)
        from_short = (rho - shorted) / (1 - rho * shorted)
        return np.asarray((from_open + from_short) / 2), np.asarray(from_open * from_short)

    def seen(self, stretched: Real) -> dict[str, Complex]:
        """Open and short as the wave and the nominal impedance make them in the reference, the phase times `stretched`.

        Source: Change of the reference: (p + w)/(1 + p w) of an open, (p - w)/(1 - p w) of a short, p = (Z - R)/(Z + R).
        """
        rho = (self.start_ohm - self.reference_ohm) / (self.start_ohm + self.reference_ohm)
        wave = np.abs(self.wave) * np.exp(1j * self.phase * stretched)
        return {"open": (rho + wave) / (1 + rho * wave), "short": (rho - wave) / (1 - rho * wave)}

    def solved(self, opened: Complex, shorted: Complex) -> tuple[Complex, Real, Real]:
        """(wave, loss one way in dB, impedance of the line), the impedance fitted to what open and short have in common."""
        ohm = np.full((*opened.shape[:-1], 1), self.found_ohm or self.start_ohm)
        if not self.has_phase:
            loss = -5 * np.log10(np.abs(opened * shorted))
            return self.wave, np.asarray(loss), ohm[..., 0]
        # With ideal ends open + short = 2 rho (1 - w^2)/(1 - rho^2 w^2),
        # which vanishes in the line's own impedance: what is left shows rho.
        even = (opened + shorted) / 2
        columns = design(self.freq_hz, self.two_terms)
        drop: Real | float = 0.0
        for _ in range(NEXT_ROUNDS if self.found_ohm else FIRST_ROUNDS):
            # A lossy line is a little capacitive: Z = R (1 - j (a_c - a_d)/b).
            line = ohm * (1 - 1j * np.asarray(drop))
            wave, product = self.waves(opened, shorted, line)
            loss = -5 * np.log10(np.abs(product))
            parts = fitted(columns, loss).coefficients
            ratio = np.array([1.0, -1.0][: parts.shape[-1]])
            drop = (parts * ratio) @ columns.T / DB_PER_NEPER / np.maximum(-self.phase / 2, 1e-3)
            if not self.fit_ohm:
                break
            rho = (line - self.reference_ohm) / (line + self.reference_ohm)
            basis = (1 - product) / (1 - rho * rho * product)
            # A step of least squares for one real number, the weight
            # being how much the sweep says of it at each frequency.
            gain = (np.conj(basis) * (even - rho * basis)).real.sum(-1) / (np.abs(basis) ** 2).sum(-1)
            own = (ohm - self.reference_ohm) / (ohm + self.reference_ohm) + gain[..., None]
            # A wild first round must not leave the passive range, from where it would not come back.
            own = np.clip(own, -0.9, 0.9)
            ohm = self.reference_ohm * (1 + own) / (1 - own)
        return wave, np.asarray(loss), ohm[..., 0]

    def figures(self, traces: Mapping[str, Complex]) -> dict[str, Real]:
        """Figures of sweeps of shape (any, frequencies): see the keys; `loss_db` is fitted, at `at_hz`."""
        opened, shorted = traces["open"], traces["short"]
        wave, loss, ohm = self.solved(opened, shorted)
        columns = design(self.freq_hz, self.two_terms)
        parts = fitted(columns, loss).coefficients
        found = {
            "mean_loss_db": loss.mean(axis=-1),
            "coefficients": not_negative(parts, self.at_hz),
            "loss_db": parts @ design(self.at_hz, self.two_terms).T,
        }
        if self.has_phase:
            phase = self.phase + np.angle(wave * np.exp(-1j * self.phase))
            found |= {
                "delay_s": along_line(self.freq_hz, phase) / 2,
                "impedance_ohm": ohm,
                "reflection": np.abs(self.common(opened, shorted)).max(axis=-1),
                "reflection_turned": np.abs(2 * self.both - self.common(opened, shorted)).max(axis=-1),
                "reflection_apart": np.abs(self.common(opened, shorted) - self.both).max(axis=-1),
            }
        return found

    def common(self, opened: Complex, shorted: Complex) -> Complex:
        """What open and short have in common, in the nominal impedance: reflections of the ends, shape (any, frequencies)."""
        rho = (self.start_ohm - self.reference_ohm) / (self.start_ohm + self.reference_ohm)
        both = [(each - rho) / (1 - rho * each) for each in (opened, shorted)]
        return np.asarray((both[0] + both[1]) / 2)

    def rest_db(self, opened: Complex, shorted: Complex) -> Real:
        """What the fitted course leaves of the loss, shape (frequencies,) [dB]."""
        return fitted(design(self.freq_hz, self.two_terms), self.solved(opened, shorted)[1]).residual
