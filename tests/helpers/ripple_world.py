"""Known-answer sweeps of two reflections on a line, and how well their distance can be known at best; none of `chain`'s code."""

from dataclasses import dataclass

import numpy as np

LIGHT_M_PER_S = 299_792_458.0


@dataclass(frozen=True)
class World:
    """A line between two reflections, swept by an analyzer with noise in real and imaginary part."""

    freq_hz: np.ndarray
    near: complex
    far: complex
    length_m: float
    velocity_factor: float
    noise: float

    @property
    def delay_s(self):
        """There and back."""
        return 2 * self.length_m / (LIGHT_M_PER_S * self.velocity_factor)

    @property
    def periods(self):
        """Ripples in the span."""
        return self.delay_s * (self.freq_hz[-1] - self.freq_hz[0])

    @property
    def turns(self):
        """Ripples from point to point."""
        return self.delay_s * (self.freq_hz[1] - self.freq_hz[0])

    def reflection(self, parameters=None):
        """Exact reflection with every one between the two; parameters: both reflections and the delay."""
        a, b, c, d, delay = self.parameters() if parameters is None else parameters
        turn = (c + 1j * d) * np.exp(-2j * np.pi * self.freq_hz * delay)
        near = a + 1j * b
        return (near + turn) / (1 + np.conj(near) * turn)

    def parameters(self):
        """Unknowns of the world."""
        return np.array([self.near.real, self.near.imag, self.far.real, self.far.imag, self.delay_s])

    def bound_m(self, has_phase):
        """Cramer-Rao bound of the length's standard deviation: inverse of the Fisher information, all five unknown."""
        start, steps = self.parameters(), np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-6 * self.delay_s])
        # One turn of both reflections together is not seen without phase: it is left out.
        columns = []
        for index in range(5) if has_phase else (0, 2, 3, 4):
            move = np.zeros(5)
            move[index] = steps[index]
            change = (self._seen(start + move, has_phase) - self._seen(start - move, has_phase)) / (2 * steps[index])
            columns.append(change)
        scale = np.array([1.0] * (len(columns) - 1) + [self.delay_s])
        jacobian = np.stack(columns, axis=1) * scale
        covariance = np.linalg.inv(jacobian.T @ jacobian) * self.noise**2
        return float(np.sqrt(covariance[-1, -1]) * self.length_m)

    def _seen(self, parameters, has_phase):
        value = self.reflection(parameters)
        return np.concatenate([value.real, value.imag]) if has_phase else np.abs(value)

    def read(self, rng):
        """One noisy sweep."""
        noise = rng.normal(size=(2, self.freq_hz.size)) * self.noise
        return self.reflection() + noise[0] + 1j * noise[1]


def drawn(rng, kind):
    """One world: `resolved` (three ripples in the span, 2.2 points to each), `narrow` or `coarse`."""
    start = rng.uniform(100e6, 500e6)
    span = rng.uniform(100e6, 400e6)
    points = int(rng.choice([101, 133, 201]))
    freq_hz = np.linspace(start, start + span, points)
    factor = float(rng.choice([0.66, 0.7, 0.82, 0.85]))
    step = span / (points - 1)
    delay = {
        "resolved": rng.uniform(3.0 / span, 0.45 / step),
        "narrow": rng.uniform(0.4 / span, 1.3 / span),
        "coarse": rng.uniform(0.55 / step, 0.9 / step),
    }[kind]
    near, far = np.exp(rng.uniform(np.log(0.05), np.log(0.35), 2)) * np.exp(2j * np.pi * rng.random(2))
    # Two reflections of one size meet in nulls, where a magnitude has no Gaussian noise left.
    while not 0.0 < abs(abs(near) - abs(far)) > 0.03:
        far = far * rng.uniform(0.5, 1.4)
        far = far if abs(far) < 0.5 else far / 3
    noise = float(np.exp(rng.uniform(np.log(5e-4), np.log(3e-3))))
    return World(freq_hz, complex(near), complex(far), delay * LIGHT_M_PER_S * factor / 2, factor, noise)


BAND_III_HZ = np.linspace(174e6, 240e6, 133)


def band_iii_antenna(rng):
    """Reflection over band III of an even antenna, of one resonance, or of two as a driven element near another has them."""
    f = BAND_III_HZ
    kind = rng.integers(3)
    if kind == 0:
        turn = np.exp(-2j * np.pi * (rng.random() + (f - f.mean()) * rng.uniform(0, 2e-9)))
        return rng.uniform(0.1, 0.4) * turn
    tuned = np.sort(rng.uniform(175e6, 240e6, 2))
    arms = [75 * rng.uniform(0.7, 1.5) * (1 + 1j * rng.uniform(3, 10) * (f / at - at / f)) for at in tuned]
    ohm = arms[0] if kind == 1 else 1.2 / (1 / arms[0] + 0.4 / arms[1])
    return (ohm - 75) / (ohm + 75)


def band_iii_vswr(rng, echo=True, most=0.5):
    """VSWR of two decimals of an antenna at 5.5 to 10 m of solid polyethylene, a joint before it or none; and that length."""
    f = BAND_III_HZ
    antenna = band_iii_antenna(rng)
    while np.abs(antenna).max() > most:
        antenna = band_iii_antenna(rng)
    length_m = rng.uniform(5.5, 10)
    turn = 0.97 * antenna * np.exp(-4j * np.pi * f * length_m / (0.66 * LIGHT_M_PER_S))
    near = rng.uniform(0.04, 0.15) * np.exp(2j * np.pi * rng.random()) if echo else 0.0
    noise = rng.normal(size=(2, f.size)) * rng.choice([0.001, 0.002])
    size = np.abs((near + turn) / (1 + np.conj(near) * turn) + noise[0] + 1j * noise[1])
    ratio = np.round((1 + size) / (1 - size), 2)
    return (ratio - 1) / (ratio + 1), length_m
