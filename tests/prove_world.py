"""Known ends read at a chain with one fault, in the world of scikit-rf networks: readings to judge, and likelihoods of their own.

Written from the description of the kinds of fault and of how a session goes; the code that is judged is used here for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from coverage_world import Screen, World, joint, looking_into, radius, reference_after
from scipy.special import chndtr, ndtr
from skrf.network import cascade_list

RIGHT, REVERSED, MISSING, LOSS = "right", "pad reversed", "pad missing", "pad's loss differs"
NEAR, STALE, FAR = "near connector poor", "calibration stale", "far connector poor"
NEAR_OR_STALE = "near connector poor or calibration stale"
OPEN, WRONG = "open end not open", "50-ohm load taken for the other"

LOSS_DB, CONNECTOR, RESIDUAL = (-1.5, 10.0), 1.0, 0.5
"""The printed ranges of sizes, each reaching zero; an open end reflects anything from +1 down to -1."""


@dataclass(frozen=True)
class Bench:
    """A case of the coverage world with known ends: (name, seating) in order, and how good the loads are."""

    case: object
    cut: int
    ends: tuple
    load_db: float = 32.0
    load50_db: float = 26.0

    @property
    def pad(self):
        """Index of the pad behind the plane, or None."""
        found = [n for n, part in enumerate(self.case.parts) if part.ohms[0] != part.ohms[1] and n >= self.cut]
        return found[0] if found else None

    def kinds(self):
        """Kinds of fault, each with the (what, place) pairs it is made of."""
        parts, pad = len(self.case.parts), self.pad
        far = list(range(pad + 1, parts + 1)) if pad is not None else list(range(self.cut + 1, parts + 1))
        near = list(range(self.cut, pad + 1)) if pad is not None else [self.cut]
        found = {RIGHT: [(RIGHT, None)]}
        if pad is not None:
            found |= {what: [(what, pad)] for what in (REVERSED, MISSING, LOSS)}
        connectors, stale = [(NEAR, place) for place in near], [(STALE, None)]
        if max(seating for _, seating in self.ends):
            found |= {NEAR: connectors, STALE: stale}
        else:
            found[NEAR_OR_STALE] = connectors + stale * len(connectors)
        found[FAR] = [(FAR, place) for place in far]
        names = {name for name, _ in self.ends}
        if "open" in names:
            found[OPEN] = [(OPEN, None)]
        if "load" in names:
            found[WRONG] = [(WRONG, None)]
        return found


class Session(Screen):
    """Draws of a bench with one fault: `readings` holds what each end shows, without noise, `noise` its standard deviation."""

    def __init__(self, bench, what, place, draws, rng):
        self.bench, self.what, self.place = bench, what, place
        self.world = world = World(bench.case, draws, rng)
        act, cut = bench.case.act, bench.cut
        self.size = rng.random((draws, 1))
        self.ohm = reference_after(bench.case.parts[:cut])
        self.far_plane = cut > 0
        self.mating = lambda: world.off(radius(act.get("repeatability_db")))
        parts = [world.drawn(part) for part in bench.case.parts]
        self.split = place if what in (NEAR, FAR) else len(parts)
        self.front = self._row(parts, cut, self.split, self.ohm)
        self.back = self._row(parts, self.split, len(parts), reference_after(bench.case.parts[: self.split]))
        self.drift = world.off(radius(act.get("drift_db")))
        self.sigma = 10 ** (act.get("noise_db", 0.0) / 20) - 1
        if self.far_plane:
            self.box = self._joined([each for part in parts[:cut] for each in part], 50.0)
            flex = np.deg2rad(act.get("flex_deg", 0.0))
            self.turn = np.exp(-2j * world.between(-flex, flex))
            self.terms = self._calibrated()
        else:
            port = bench.case.port
            self.errors = [world.off(radius(port.get(name))) for name in ("directivity_db", "source_match_db")]
            self.errors.append(world.off(10 ** (port.get("tracking_db", 0.0) / 20) - 1))
        self._read()

    def _row(self, parts, first, last, near_ohm):
        """Parts from one to another as a two-port, with what is wrong with the pad."""
        world, networks = self.world, []
        for number in range(first, last):
            row = parts[number]
            if number == self.place and self.what == MISSING:
                continue
            if number == self.place and self.what == REVERSED:
                row = [each.flipped() for each in reversed(row)]
            if number == self.place and self.what == LOSS:
                whole = cascade_list(row) if len(row) > 1 else row[0].copy()
                more_db = LOSS_DB[0] + (LOSS_DB[1] - LOSS_DB[0]) * self.size
                for ports in ((0, 1), (1, 0)):
                    whole.s[:, ports[0], ports[1]] *= world.flat(10 ** (-more_db / 20))
                row = [whole]
            networks += row
        if last == len(parts):
            networks.append(world.network(0, 1, 0, 75, 75))
        return self._joined(networks, near_ohm)

    def _ring(self):
        return np.exp(2j * np.pi * self.world.rng.random((self.world.draws, 1)))

    def _load(self, ohm, limit_db):
        """A load of an impedance within its limit, seen in 75 ohm."""
        size = self.world.off(radius(limit_db))
        inductance = self.world.up_to(self.bench.case.standards.get("load_h", 0.0))
        true = ohm * (1 + size) / (1 - size) + 2j * np.pi * self.world.freq * inductance
        return (true - 75) / (true + 75)

    def _ends(self):
        world, stated = self.world, self.bench.case.standards
        omega = 2 * np.pi * world.freq
        open_ohm = 1 / (1j * omega * np.maximum(world.up_to(stated.get("open_f", 0.0)), 1e-24))
        short_ohm = 1j * omega * world.up_to(stated.get("short_h", 0.0))
        return {
            "open": 1 - 2 * self.size if self.what == OPEN else (open_ohm - 75) / (open_ohm + 75),
            "short": (short_ohm - 75) / (short_ohm + 75),
            "load": self._load(50.0, self.bench.load50_db)
            if self.what == WRONG
            else self._load(75.0, self.bench.load_db),
            "load50": self._load(50.0, self.bench.load50_db),
        }

    def _read(self):
        bench, ends = self.bench, self._ends()
        seatings = 1 + max(seating for _, seating in bench.ends)
        at_plane = [self.mating() for _ in range(seatings)]
        poor = [CONNECTOR * self.size * self._ring() for _ in range(max(seatings, len(bench.ends)))]
        off = [RESIDUAL * self.size * self.world.off(1.0) for _ in range(3)]
        last = len(bench.case.parts)
        found, noise = [], []
        for number, (name, seating) in enumerate(bench.ends):
            seen = joint(self.mating(), ends[name])
            making = {NEAR: seating, FAR: number if self.place == last else 0}.get(self.what)
            if making is not None:
                seen = joint(poor[making], looking_into(self.back, seen))
            seen = joint(at_plane[seating], looking_into(self.front, seen))
            shown, sd = self._shown(seen)
            if self.what == STALE:
                directivity, tracking, match = off
                sd = sd * abs((1 + tracking) / (1 - match * shown) ** 2)
                shown = directivity + (1 + tracking) * shown / (1 - match * shown)
            found.append(np.broadcast_to(shown, (self.world.draws, 1))[:, 0])
            noise.append(np.broadcast_to(sd, (self.world.draws, 1))[:, 0])
        self.readings, self.noise = np.stack(found, 1), np.stack(noise, 1)

    def _shown(self, seen):
        if not self.far_plane:
            directivity, match, tracking = self.errors
            return directivity + (1 + tracking) * seen / (1 - match * seen) + self.drift, self.sigma
        raw = looking_into(self.box, seen) * self.turn + self.drift
        p, q, r = np.moveaxis(self.terms, -1, 0)
        return (raw - q) / (p - r * raw), self.sigma * abs((p - q * r) / (p - r * raw) ** 2)


def drawn(bench, pairs, draws, rng):
    """Readings without noise and its standard deviation for a kind of fault, its places in equal parts."""
    count = -(-draws // len(pairs))
    sessions = [Session(bench, what, place, count, rng) for what, place in pairs]
    return np.concatenate([each.readings for each in sessions]), np.concatenate([each.noise for each in sessions])


def typed(reflection):
    """What is written down: VSWR to two decimals, or that the screen shows none."""
    size = abs(reflection)
    ratio = (1 + size) / (1 - size) if size < 1 else np.inf
    return "inf" if ratio > 100 else f"{ratio:.2f}"


def span(text):
    if text == "inf":
        return 99 / 101, np.inf
    low, high = max(float(text) - 0.005, 1.0), float(text) + 0.005
    return (low - 1) / (low + 1), (high - 1) / (high + 1)


class Judge:
    """The test's own shares: many draws of every kind, and the exact chance that noise puts a reading inside its span."""

    def __init__(self, bench, draws, seed, chunk=100_000):
        self.kinds = list(bench.kinds())
        self.tables = []
        for number, pairs in enumerate(bench.kinds().values()):
            rng = np.random.default_rng([seed, number])
            blocks = [drawn(bench, pairs, min(chunk, draws), rng) for _ in range(-(-draws // chunk))]
            level = np.concatenate([abs(readings) for readings, _ in blocks])
            self.tables.append((level, np.concatenate([noise for _, noise in blocks])))

    def shares(self, texts, least=60):
        """Share of each kind, and how many draws of the first kind agree; spans widen together until `least` of them do."""
        for factor in (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0, 50.0):
            weights = [self._chances(level, noise, texts, factor) for level, noise in self.tables]
            means = np.array(
                [each.sum() / level.shape[0] for each, (level, _) in zip(weights, self.tables, strict=True)]
            )
            if not means.any():
                continue
            first = weights[int(means.argmax())]
            if first.sum() ** 2 / np.square(first).sum() >= least:
                break
        return means / means.sum(), factor

    def _chances(self, level, noise, texts, factor):
        close = np.ones(level.shape[0], dtype=bool)
        spans = [span(text) for text in texts]
        reaches = []
        for column, (low, high) in enumerate(spans):
            width = 0.0 if np.isinf(high) else high - low
            sd = noise[:, column] if factor == 1 else factor * np.sqrt(noise[:, column] ** 2 + width**2 / 12)
            reaches.append(sd)
            close &= (level[:, column] > low - 6 * sd) & (level[:, column] < high + 6 * sd)
        chance = np.ones(int(close.sum()))
        for column, (low, high) in enumerate(spans):
            sd, size = reaches[column][close], level[close, column]
            chance = chance * (rice_share(high, size, sd) - rice_share(low, size, sd))
        return np.maximum(chance, 0.0)


def rice_share(most, size, sd):
    """Chance that a magnitude with complex noise lies below `most`: the Rice distribution (published).

    (|x + n|/s)^2 is noncentral chi-square with two degrees of freedom; far from zero it is as good as normal about
    |x| + s^2/(2 |x|), which is quicker.
    """
    if most <= 0 or np.isinf(most):
        return float(most > 0)
    out = ndtr((most - size - sd**2 / (2 * np.maximum(size, sd))) / sd)
    small = size < 15 * sd
    out[small] = chndtr((most / sd[small]) ** 2, 2, (size[small] / sd[small]) ** 2)
    return out
