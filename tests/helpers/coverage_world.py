"""A world to measure in, for the proof of coverage: parts drawn by the physics alone and joined by scikit-rf.

Written from the description of the parts; the engine that is judged is used here for nothing. Every draw at every
frequency is one point of one `Network`, so ten thousand measurements are one cascade.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import skrf
from skrf.network import a2s, cascade_list

LIGHT_M_PER_S = 299_792_458.0
NEPER_PER_DB = np.log(10) / 20


@dataclass(frozen=True)
class Adapter:
    """A short line with one small junction at an unknown place inside."""

    ohm: float
    length_m: float
    limit_db: float
    loss_1ghz_db: float = 0.05
    length_tolerance_m: float = 0.0
    shape: str = "disc"

    @property
    def ohms(self):
        return self.ohm, self.ohm


@dataclass(frozen=True)
class Pad:
    """A pad by its specification; both ends within their limits, other end matched."""

    near_ohm: float
    far_ohm: float
    loss_db: float
    tolerance_db: float
    near_db: float
    far_db: float
    shape: str = "disc"

    @property
    def ohms(self):
        return self.near_ohm, self.far_ohm


@dataclass(frozen=True)
class Resistors:
    """A pad of resistors, ("series" or "shunt", ohm), near to far."""

    near_ohm: float
    far_ohm: float
    arms: tuple
    tolerance: float

    @property
    def ohms(self):
        return self.near_ohm, self.far_ohm


@dataclass(frozen=True)
class Lead:
    """A cable with a plug at either end; `limit_db` is of the whole lead. Losses in dB per 100 m at 1 MHz."""

    ohm: float
    length_m: float
    limit_db: float
    per_root: float = 1.05
    per_mhz: float = 0.007
    velocity_factor: float = 0.66
    ohm_tolerance: float = 0.0
    loss_tolerance: float = 0.0
    length_tolerance_m: float = 0.0

    @property
    def ohms(self):
        return self.ohm, self.ohm


@dataclass(frozen=True)
class WrongHalf:
    """A connector half of another impedance than the line's: 10 mm, anywhere from 7 to 15 mm."""

    ohm: float

    @property
    def ohms(self):
        return self.ohm, self.ohm


@dataclass(frozen=True)
class Case:
    """A chain between 50 and 75 ohm, with what is not known of the act of measuring it.

    `port`: residuals (dB) of a calibration at the analyzer; `act`: noise, repeatability, drift (dB), flex (degrees);
    `standards`: load_db, load_h, open_f, short_h, and `swap`, an adapter the standards were read through; `cut` is how many
    parts lie before the middle one of three planes.
    """

    kind: str
    freq_hz: tuple
    parts: tuple
    cut: int
    port: dict = field(default_factory=dict)
    act: dict = field(default_factory=dict)
    standards: dict = field(default_factory=dict)


def radius(return_loss_db):
    return 0.0 if return_loss_db is None else 10 ** (-return_loss_db / 20)


class World:
    """Random measurements of a case: `draws` by frequencies, laid along the frequency axis of scikit-rf's networks.

    `scale` makes what is not known of the parts that many times as large as the case states; at 0 nothing is unknown,
    of the act of measuring neither. With `at_limits` "all" every reflection that has a limit lies at it, with "parts" every part's.
    """

    def __init__(self, case, draws, rng, scale=1.0, at_limits=""):
        self.at_limits, self.inside_part = at_limits, False
        self.case, self.draws, self.rng = case, draws, rng
        self.of_parts, self.scale = scale, min(scale, 1.0)
        self.freq = np.array(case.freq_hz)[None, :]
        self.shape = (draws, self.freq.size)
        self.axis = skrf.Frequency.from_f(np.arange(1, draws * self.freq.size + 1), unit="hz")

    # Random numbers, one for each draw unless it is noise.

    def between(self, low, high):
        middle, half = (low + high) / 2, (high - low) / 2
        return middle + self.scale * half * self.rng.uniform(-1, 1, (self.draws, 1))

    def up_to(self, most):
        return self.scale * most * self.rng.random((self.draws, 1))

    def off(self, size, shape="disc"):
        turn = np.exp(2j * np.pi * self.rng.random((self.draws, 1)))
        at_limit = shape == "ring" or self.at_limits == "all" or (self.at_limits == "parts" and self.inside_part)
        return self.scale * size * (turn if at_limit else turn * np.sqrt(self.rng.random((self.draws, 1))))

    def noise(self):
        size = self.scale * (10 ** (self.case.act.get("noise_db", 0.0) / 20) - 1)
        return size * (self.rng.standard_normal(self.shape) + 1j * self.rng.standard_normal(self.shape))

    # Networks.

    def flat(self, values):
        return np.broadcast_to(values, self.shape).astype(complex).ravel()

    def network(self, s11, s21, s22, near_ohm, far_ohm):
        s = np.empty((self.axis.npoints, 2, 2), dtype=complex)
        s[:, 0, 0], s[:, 1, 1] = self.flat(s11), self.flat(s22)
        s[:, 0, 1] = s[:, 1, 0] = self.flat(s21)
        ohm = np.broadcast_to([near_ohm, far_ohm], (self.axis.npoints, 2))
        return skrf.Network(frequency=self.axis, s=s, z0=ohm)

    def from_chain_matrix(self, a, b, c, d, near_ohm, far_ohm):
        matrix = np.stack([np.stack([self.flat(a), self.flat(b)], -1), np.stack([self.flat(c), self.flat(d)], -1)], -2)
        ohm = np.broadcast_to([near_ohm, far_ohm], (self.axis.npoints, 2)).astype(complex)
        return skrf.Network(frequency=self.axis, s=a2s(matrix, ohm), z0=ohm.real)

    def junction(self, r, ohm):
        return self.network(r, np.sqrt(1 - abs(r) ** 2), -np.conj(r), ohm, ohm)

    def line(self, ohm, gamma_length, reference_ohm):
        cosh, sinh = np.cosh(gamma_length), np.sinh(gamma_length)
        return self.from_chain_matrix(cosh, ohm * sinh, sinh / ohm, cosh, reference_ohm, reference_ohm)

    # Parts, each as a list of networks, near to far.

    def drawn(self, part):
        self.scale, self.inside_part = self.of_parts, True
        networks = getattr(self, f"_{type(part).__name__.lower()}")(part)
        self.scale, self.inside_part = min(self.of_parts, 1.0), False
        return networks

    def _adapter(self, part):
        length = self.between(part.length_m - part.length_tolerance_m, part.length_m + part.length_tolerance_m)
        loss = part.loss_1ghz_db * np.sqrt(self.freq / 1e9) * NEPER_PER_DB * length / part.length_m
        gamma_length = loss + 2j * np.pi * self.freq * length / LIGHT_M_PER_S
        place = self.rng.random((self.draws, 1))
        return [
            self.line(part.ohm, gamma_length * place, part.ohm),
            self.junction(self.off(radius(part.limit_db), part.shape), part.ohm),
            self.line(part.ohm, gamma_length * (1 - place), part.ohm),
        ]

    def _pad(self, part):
        loss_db = self.between(part.loss_db - part.tolerance_db, part.loss_db + part.tolerance_db)
        ends = [self.off(radius(limit_db), part.shape) for limit_db in (part.near_db, part.far_db)]
        return [self.network(ends[0], 10 ** (-loss_db / 20), ends[1], part.near_ohm, part.far_ohm)]

    def _resistors(self, part):
        out, ohms = [], [part.near_ohm] * len(part.arms) + [part.far_ohm]
        for index, (way, ohm) in enumerate(part.arms):
            true = self.between(ohm * (1 - part.tolerance), ohm * (1 + part.tolerance))
            b, c = (true, 0) if way == "series" else (0, 1 / true)
            out.append(self.from_chain_matrix(1, b, c, 1, ohms[index], ohms[index + 1]))
        return out

    def _lead(self, part):
        mhz = self.freq / 1e6
        conductor, dielectric = part.per_root * np.sqrt(mhz), part.per_mhz * mhz
        beta = 2 * np.pi * self.freq / (LIGHT_M_PER_S * part.velocity_factor)
        more = self.between(1 - part.loss_tolerance, 1 + part.loss_tolerance)
        length = self.between(part.length_m - part.length_tolerance_m, part.length_m + part.length_tolerance_m)
        per_m = (conductor + dielectric) / 100
        # The limit holds for the whole lead at its least loss: r1 and r2 in phase, the far one seen twice through it. What
        # the line itself reflects, by a complex impedance or by one that is off, comes out of the same limit.
        least_db = per_m * (1 - part.loss_tolerance) * (part.length_m - part.length_tolerance_m)
        angle = (conductor - dielectric) / 100 * NEPER_PER_DB / beta
        lossy = part.ohm * (1 - 1j * angle)
        end = _left(radius(part.limit_db) / (1 + 10 ** (-least_db / 10)), abs((lossy - part.ohm) / (lossy + part.ohm)))
        most = 2 * part.ohm * end.min() / (1 + end.min())
        change = np.clip(self.between(-part.ohm_tolerance, part.ohm_tolerance), -most, most)
        end = _left(end, abs(change) / (2 * part.ohm - abs(change)))
        gamma_length = (per_m * NEPER_PER_DB * more + 1j * beta) * length
        body = self.line((part.ohm + change) * (1 - 1j * angle * more), gamma_length, part.ohm)
        return [self.junction(self.off(end), part.ohm), body, self.junction(self.off(end), part.ohm)]

    def _wronghalf(self, part):
        length = self.between(0.007, 0.015) if self.scale else 0.010
        return [self.line(part.ohm, 2j * np.pi * self.freq * length / LIGHT_M_PER_S, part.ohm)]


def _left(limit, taken):
    """What a mismatch leaves of a limit when both may add up in the worst phase."""
    return np.maximum(limit - taken, 0) / np.maximum(1 - limit * taken, 1e-9)


def reference_after(parts):
    return parts[-1].ohms[1] if parts else 50.0


class Screen:
    """What the screen shows with the plane after the first `cut` parts (0: at the analyzer), for any far reflection.

    Shapes (draws, frequencies). The calibration at a far plane is done as it happens: three imperfect standards read
    through the drawn chain, the three error terms solved for, the antenna's reading corrected by them.
    """

    def __init__(self, world, cut):
        self.world = world
        parts = [world.drawn(part) for part in world.case.parts]
        self.ohm = reference_after(world.case.parts[:cut])
        thru = world.network(0, 1, 0, 75, 75)
        self.after = self._joined([each for part in parts[cut:] for each in part] + [thru], self.ohm)
        act = world.case.act
        self.mating = lambda: world.off(radius(act.get("repeatability_db")))
        self.offset = world.noise() + world.off(radius(act.get("drift_db")))
        self.far_plane = cut > 0
        if self.far_plane:
            self.box = self._joined([each for part in parts[:cut] for each in part], 50.0)
            flex = np.deg2rad(act.get("flex_deg", 0.0))
            self.turn = np.exp(-2j * world.between(-flex, flex))
            self.terms = self._calibrated()
        else:
            port = world.case.port
            self.errors = [world.off(radius(port.get(name))) for name in ("directivity_db", "source_match_db")]
            self.errors.append(world.off(10 ** (port.get("tracking_db", 0.0) / 20) - 1))
        self.antenna_joint = self.mating()

    def _joined(self, networks, near_ohm):
        world = self.world
        whole = cascade_list([world.network(0, 1, 0, near_ohm, near_ohm), *networks])
        return whole.s.reshape(*world.shape, 2, 2)

    def _raw_standards(self):
        """(true reflections read, assumed reflections), before noise."""
        world, stated = self.world, self.world.case.standards
        omega = 2 * np.pi * world.freq
        open_ohm = 1 / (1j * omega * np.maximum(world.up_to(stated.get("open_f", 0.0)), 1e-24))
        short_ohm = 1j * omega * world.up_to(stated.get("short_h", 0.0))
        size = world.off(radius(stated.get("load_db")))
        load_ohm = self.ohm * (1 + size) / (1 - size) + 1j * omega * world.up_to(stated.get("load_h", 0.0))
        true = [(ohm - self.ohm) / (ohm + self.ohm) for ohm in (open_ohm, short_ohm, load_ohm)]
        ideal = [np.ones(world.shape), -np.ones(world.shape), np.zeros(world.shape)]
        if "swap" not in stated:
            return true, ideal
        # The standards were read through an adapter that was then taken off; its stated line is allowed for.
        other = self._joined(world.drawn(stated["swap"]), self.ohm)
        exact = World(world.case, world.draws, np.random.default_rng(0), 0.0)
        stated_line = self._joined(exact.drawn(stated["swap"]), self.ohm)
        return [looking_into(other, each) for each in true], [looking_into(stated_line, each) for each in ideal]

    def _calibrated(self):
        true, ideal = self._raw_standards()
        self.raw = [looking_into(self.box, joint(self.mating(), each)) + self.world.noise() for each in true]
        self.ideal = ideal
        rows = [np.stack([g, np.ones_like(g), -m * g], axis=-1) for m, g in zip(self.raw, ideal, strict=True)]
        return np.linalg.solve(np.stack(rows, axis=-2), np.stack(self.raw, axis=-1)[..., None])[..., 0]

    def raw_reading(self, far):
        """Uncorrected reading of a far reflection."""
        seen = joint(self.antenna_joint, looking_into(self.after, far))
        if not self.far_plane:
            directivity, match, tracking = self.errors
            return directivity + (1 + tracking) * seen / (1 - match * seen) + self.offset
        return looking_into(self.box, seen) * self.turn + self.offset

    def reading(self, far):
        """Complex reading after correction, in the plane's reference."""
        raw = self.raw_reading(far)
        if not self.far_plane:
            return raw
        p, q, r = np.moveaxis(self.terms, -1, 0)
        return (raw - q) / (p - r * raw)

    def undone(self, reading):
        """Far reflection of a reading if this chain were exactly as drawn and nothing else were wrong."""
        s = self.after
        return (reading - s[..., 0, 0]) / (s[..., 0, 1] * s[..., 1, 0] + s[..., 1, 1] * (reading - s[..., 0, 0]))


def looking_into(s, far):
    return s[..., 0, 0] + s[..., 0, 1] * s[..., 1, 0] * far / (1 - s[..., 1, 1] * far)


def joint(r, seen):
    """A joint made again: a small lossless junction in front of what is seen."""
    return (r + seen) / (1 + np.conj(r) * seen)


def as_stated(case, cut):
    """The screen of a case without any unknown: one draw."""
    return Screen(World(case, 1, np.random.default_rng(0), 0.0), cut)


def antennas(size, world, longest_delay_s=10e-9):
    """Reflections of a given magnitude, phase uniform, turning over the frequencies by a delay up to the longest."""
    start, delay = world.rng.random((2, world.draws, 1))
    return size * np.exp(2j * np.pi * (start - world.freq * delay * longest_delay_s))
