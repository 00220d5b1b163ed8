"""A bench to learn parts on: leads and pads drawn again, an analyzer with errors, connectors that mate a little differently.

Written from circuit theory alone (chain matrices of line, resistor and capacitor); the engine that is judged is used here for
nothing. One call is one whole session: the part, its sweeps, and what is true of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

LIGHT_M_PER_S = 299_792_458.0
NEPER_DB = 20 / np.log(10)


@dataclass(frozen=True)
class Bench:
    """Sizes of the errors; each disc is uniform."""

    directivity: float = 0.01
    source_match: float = 10 ** (-36 / 20)
    tracking: float = 10 ** (0.1 / 20) - 1
    noise: float = 10 ** (0.02 / 20) - 1
    repeatability: float = 10 ** (-50 / 20)
    drift: float = 10 ** (-50 / 20)
    load: float = 10 ** (-32 / 20)

    def quiet(self):
        """The same without any error."""
        return replace(self, **dict.fromkeys(vars(self), 0.0))


def disc(rng, radius):
    """One complex number, uniform in a disc."""
    return radius * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())


def line(freq_hz, ohm, nepers, seconds):
    """Chain matrix of a line; nepers and impedance over frequency."""
    gamma = nepers + 2j * np.pi * freq_hz * seconds
    return stack(np.cosh(gamma), ohm * np.sinh(gamma), np.sinh(gamma) / ohm, np.cosh(gamma))


def series(freq_hz, ohm):
    """Chain matrix of a resistor in the line."""
    one = np.ones(freq_hz.size, complex)
    return stack(one, ohm * one, 0 * one, one)


def across(freq_hz, siemens):
    """Chain matrix of an admittance across the line."""
    one = np.ones(freq_hz.size, complex)
    return stack(one, 0 * one, siemens * one, one)


def stack(a, b, c, d):
    """Matrices of shape (frequencies, 2, 2)."""
    shape = np.broadcast_shapes(*(np.shape(each) for each in (a, b, c, d)))
    return np.stack([np.broadcast_to(each, shape) for each in (a, b, c, d)], axis=-1).reshape(*shape, 2, 2)


def scattering(matrix, near_ohm, far_ohm):
    """Scattering matrix of a chain matrix between two resistances (textbook conversion for unequal references)."""
    a, b, c, d = (matrix[:, i, j] for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)))
    down = a * far_ohm + b + c * near_ohm * far_ohm + d * near_ohm
    s11 = (a * far_ohm + b - c * near_ohm * far_ohm - d * near_ohm) / down
    s22 = (-a * far_ohm + b - c * near_ohm * far_ohm + d * near_ohm) / down
    s21 = 2 * np.sqrt(near_ohm * far_ohm) / down
    return np.stack([s11, s21, s21, s22], axis=-1).reshape(-1, 2, 2)


def mated(reflection, junction):
    """What a lossless junction in front makes of a reflection."""
    return junction + (1 - abs(junction) ** 2) * reflection / (1 + np.conj(junction) * reflection)


def through(s, reflection):
    """What a two-port in front makes of a reflection."""
    return s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * reflection / (1 - s[:, 1, 1] * reflection)


class Session:
    """One calibration: its residual errors stay, everything else is drawn at each sweep."""

    def __init__(self, bench, rng):
        self.bench, self.rng = bench, rng
        self.residuals = [disc(rng, size) for size in (bench.directivity, bench.tracking, bench.source_match)]
        self.other = [disc(rng, size) for size in (bench.directivity, bench.tracking, bench.source_match)]
        self.transmission = disc(rng, bench.tracking)

    def noise(self, shape):
        """Trace noise and drift of one sweep."""
        rng, bench = self.rng, self.bench
        return bench.noise * (rng.normal(size=shape) + 1j * rng.normal(size=shape)) + disc(rng, bench.drift)

    def shown(self, reflection, residuals=None):
        """Reading of a reflection by a calibrated port."""
        directivity, tracking, match = residuals or self.residuals
        return directivity + (1 + tracking) * reflection / (1 - match * reflection)

    def ends(self, s, ends):
        """Sweeps of a two-port with each of the ends, its near connector mated once."""
        rng, near = self.rng, disc(self.rng, self.bench.repeatability)
        found = []
        for end in ends:
            far = mated(end, disc(rng, self.bench.repeatability))
            found.append(self.shown(mated(through(s, far), near)) + self.noise(len(s)))
        return found

    def two_port(self, s):
        """Sweep of a two-port between both ports, each connector mated once."""
        junctions = [disc(self.rng, self.bench.repeatability) for _ in range(2)]
        s = s.copy()
        for port, junction in enumerate(junctions):
            own = s[:, port, port].copy()
            passes = np.sqrt(1 - abs(junction) ** 2) / (1 + np.conj(junction) * own)
            cross = s[:, 0, 1] * s[:, 1, 0] * np.conj(junction) / (1 + np.conj(junction) * own)
            s[:, 1 - port, 1 - port] -= cross
            s[:, port, port] = mated(own, junction)
            s[:, 0, 1] *= passes
            s[:, 1, 0] *= passes
        out = s.copy()
        down = (1 - self.residuals[2] * s[:, 0, 0]) * (1 - self.other[2] * s[:, 1, 1])
        out[:, 0, 0] = self.shown(s[:, 0, 0])
        out[:, 1, 1] = self.shown(s[:, 1, 1], self.other)
        for row, column in ((0, 1), (1, 0)):
            out[:, row, column] = s[:, row, column] * (1 + self.transmission) / down
        return out + self.noise(out.shape)


@dataclass(frozen=True)
class Lead:
    """A lead of some cable with a small fault in either plug."""

    length_m: float
    velocity: float
    ohm: float
    root_db: float
    """dB per 100 m and sqrt(MHz)."""
    linear_db: float
    """dB per 100 m and MHz."""
    faults_pf: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def drawn(cls, rng, length_m):
        """Any lead of that length, of a 75-ohm cable."""
        return cls(
            length_m,
            rng.uniform(0.65, 0.85),
            75 + rng.uniform(-2, 2),
            rng.uniform(0.6, 1.3),
            rng.uniform(0.003, 0.01),
            (rng.uniform(0, 0.03), rng.uniform(0, 0.03)),
        )

    def loss_db(self, freq_hz):
        """Attenuation of the whole lead."""
        mhz = freq_hz / 1e6
        return (self.root_db * np.sqrt(mhz) + self.linear_db * mhz) * self.length_m / 100

    def matrix(self, freq_hz):
        """Chain matrix, capacitive a little as a lossy line is."""
        seconds = self.length_m / self.velocity / LIGHT_M_PER_S
        nepers = self.loss_db(freq_hz) / NEPER_DB
        dielectric = self.linear_db * freq_hz / 1e6 * self.length_m / 100 / NEPER_DB
        omega = 2 * np.pi * freq_hz
        ohm = self.ohm * (1 - 1j * (nepers - 2 * dielectric) / (omega * seconds))
        near, far = (across(freq_hz, 1j * omega * each * 1e-12) for each in self.faults_pf)
        return near @ line(freq_hz, ohm, nepers, seconds) @ far

    def s(self, freq_hz, near_ohm, far_ohm):
        """Scattering matrix."""
        return scattering(self.matrix(freq_hz), near_ohm, far_ohm)

    def whole_velocity(self, freq_hz):
        """Velocity factor of the lead as a whole: the faults of its plugs delay a wave as well."""
        bare = -2 * np.pi * freq_hz * self.length_m / self.velocity / LIGHT_M_PER_S
        # Counted from the bare line, so that no whole turn is lost below the first frequency.
        phase = bare + np.angle(self.s(freq_hz, self.ohm, self.ohm)[:, 1, 0] * np.exp(-1j * bare))
        seconds = -(phase @ freq_hz) / (2 * np.pi * freq_hz @ freq_hz)
        return self.length_m / seconds / LIGHT_M_PER_S


@dataclass(frozen=True)
class Pad:
    """Two resistors between connectors of 50 and 75 ohm, each with a short line and a small capacitance."""

    shunt_ohm: float
    series_ohm: float
    near_m: float
    far_m: float
    picofarad: tuple[float, float]

    @classmethod
    def drawn(cls, rng, spread=0.02):
        """Any pad near the one of least loss."""
        return cls(
            86.6 * (1 + rng.uniform(-spread, spread)),
            43.3 * (1 + rng.uniform(-spread, spread)),
            rng.uniform(0.01, 0.03),
            rng.uniform(0.01, 0.03),
            (rng.uniform(0, 0.2), rng.uniform(0, 0.2)),
        )

    def matrix(self, freq_hz):
        """Chain matrix from the 50-ohm to the 75-ohm end."""
        omega = 2 * np.pi * freq_hz
        zero = np.zeros(freq_hz.size)
        near, far = (across(freq_hz, 1j * omega * each * 1e-12) for each in self.picofarad)
        first = line(freq_hz, 50.0, zero, self.near_m / LIGHT_M_PER_S)
        last = line(freq_hz, 75.0, zero, self.far_m / LIGHT_M_PER_S)
        return first @ near @ across(freq_hz, 1 / self.shunt_ohm) @ series(freq_hz, self.series_ohm) @ far @ last

    def s(self, freq_hz, near_ohm=50.0, far_ohm=75.0):
        """Scattering matrix."""
        return scattering(self.matrix(freq_hz), near_ohm, far_ohm)

    def loss_db(self, freq_hz):
        """Attenuation between its own impedances."""
        return -20 * np.log10(np.abs(self.s(freq_hz)[:, 1, 0]))


def back_to_back(one, other, freq_hz):
    """Scattering matrix of two pads joined at their 75-ohm ends, in 50 ohm."""
    turned = other.matrix(freq_hz)
    # A reciprocal chain matrix turned round swaps its corners.
    turned = stack(turned[:, 1, 1], turned[:, 0, 1], turned[:, 1, 0], turned[:, 0, 0])
    return scattering(one.matrix(freq_hz) @ turned, 50.0, 50.0)
