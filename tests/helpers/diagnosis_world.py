"""Known terminations read at a chain with one fault, in the world of scikit-rf networks: readings to judge, and likelihoods of their own.

Written from the description of the kinds of fault and of how a session goes; the code that is judged is used here for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from coverage_world import Lead, Resistors, Screen, World, WrongHalf, joint, looking_into, radius, reference_after
from scipy.special import chndtr, ndtr
from skrf.network import cascade_list

RIGHT, REVERSED, MISSING, LOSS = "right", "pad reversed", "pad missing", "pad's loss differs"
NEAR, STALE, FAR = "near connector poor", "calibration out of date", "far connector poor"
NEAR_OR_STALE = "near connector poor or calibration out of date"
OPEN, WRONG = "open end not open", "wrong load (50 ohm)"
OTHER_LEAD = "another lead than stated"
OTHER_CABLE = "another cable of the same impedance"
"""A part of the kind above, where the lead stated loses this much or more one way: up to twice as long, half as lossy a metre again."""
RESOLVED_FROM_DB, OTHER_LOSS = 1.0, 0.5

RESISTOR, BAD_END = "pad's resistor failed", "load or short bad"
"""Kinds of several parts, each named behind a colon."""
BAD = {name: ("open", "open", "short", "short", "any") for name in ("load", "load50")} | {"short": ("any",) * 5}
"""How a known end is bad: a load open or shorted, one in five of any resistance, as a bad short always is."""
FAILED_OHM, LENGTH_SHARE, LEAST_DB, OF_LEAST_DB = {"burnt": 1e9, "bridged": 1e-6}, 0.03, 5.7195, 0.05
"""Resistors that failed; what a lead's length is then known to; the pad of two resistors, and how close a stated loss must be."""

LOSS_DB, CONNECTOR, RESIDUAL = (-1.5, 10.0), (1.5, 0.999), 0.5
"""The printed ranges of sizes, each reaching zero; an open end reflects anything from +1 down to -1, a poor connector what is
drawn from 0 to 1.5, but no more than all."""


@dataclass(frozen=True)
class Bench:
    """A case of the coverage world with known terminations: (name, seating) in order, and how good the loads are."""

    case: object
    cut: int
    ends: tuple
    load_db: float = 32.0
    load50_db: float = 26.0
    shows: str = "1.73"
    """What is written down: VSWR with two decimals or with one (1.7), or a return loss in dB with one (11.4)."""

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
        bad = [(f"{BAD_END}: {end} {way}", None) for end, ways in BAD.items() if end in names for way in ways]
        if bad:
            found[BAD_END] = bad
        if pad is not None and self.arms:
            ways = [f"{index} {way}" for index in range(len(self.arms)) for way in FAILED_OHM]
            found[RESISTOR] = [(f"{RESISTOR}: {each}", pad) for each in ways]
        leads = [n for n, part in enumerate(self.case.parts) if isinstance(part, Lead) and n >= self.cut]
        if leads:
            found[OTHER_LEAD] = [pair for n in leads for pair in self._other_leads(n)]
        return found

    @property
    def arms(self):
        """Resistors of the pad, near to far, where they are known; from 50 to 75 ohm."""
        pad = self.case.parts[self.pad]
        if isinstance(pad, Resistors):
            return pad.arms
        return (("shunt", 86.6025), ("series", 43.3013)) if abs(pad.loss_db - LEAST_DB) < OF_LEAST_DB else ()

    def _other_leads(self, number):
        lead, mhz = self.case.parts[number], np.mean(self.case.freq_hz) / 1e6
        loss_db = (lead.per_root * mhz**0.5 + lead.per_mhz * mhz) * lead.length_m / 100
        yield OTHER_LEAD, number
        if loss_db >= RESOLVED_FROM_DB:
            yield OTHER_CABLE, number


class Session(Screen):
    """Draws of a bench with one fault: `readings` holds what each end shows, without noise, `noise` its standard deviation."""

    def __init__(self, bench, what, place, draws, rng, halves=1):
        self.bench, self.what, self.place = bench, what, place
        self.world = world = World(bench.case, draws, rng)
        act, cut = bench.case.act, bench.cut
        self.size = rng.random((draws, 1))
        self.ohm = reference_after(bench.case.parts[:cut])
        self.far_plane = cut > 0
        self.mating = lambda: world.off(radius(act.get("repeatability_db")))
        parts = [
            self._failed(part)
            if what.startswith(RESISTOR) and number == place
            else [network for each in self._placed(number, part) for network in world.drawn(each)]
            for number, part in enumerate(bench.case.parts)
        ]
        # In two halves, waist at the pad: either half may be joined to any other draw's.
        self.waist = waist = cut if bench.pad is None else bench.pad
        self.split = place if what in (NEAR, FAR) else None
        edges = sorted({cut, waist, len(parts)} | ({place} if what in (NEAR, FAR) else set()))
        ohms = {edge: reference_after(bench.case.parts[:edge]) for edge in edges}
        self.rows = [(a, self._row(parts, a, b, ohms[a])) for a, b in pairwise(edges)]
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
        self._read(halves)

    def _placed(self, number, part):
        """What truly stands there: of another lead a cable of the other usual impedance on the same plugs, or another of its own."""
        if self.what == OTHER_LEAD and number == self.place:
            # The plugs fit what they are screwed to: either is a half of the stated impedance on a cable of the other.
            plug = WrongHalf(part.ohm)
            return plug, replace(part, ohm=50.0 if part.ohm > 60 else 75.0), plug
        if self.what.startswith(RESISTOR) and isinstance(part, Lead):
            return (replace(part, length_tolerance_m=max(part.length_tolerance_m, LENGTH_SHARE * part.length_m)),)
        if self.what == OTHER_CABLE and number == self.place:
            return (replace(part, length_tolerance_m=part.length_m, loss_tolerance=OTHER_LOSS),)
        return (part,)

    def _failed(self, part):
        """The pad with one resistor burnt out or bridged, what its limits allow as a junction at either end."""
        index, way = self.what.removeprefix(f"{RESISTOR}: ").split()
        arms = list(self.bench.arms)
        arms[int(index)] = (arms[int(index)][0], FAILED_OHM[way])
        if isinstance(part, Resistors):
            return self.world.drawn(replace(part, arms=tuple(arms)))
        # Two resistors that are off by 1 % change the loss by 0.05 dB.
        tolerance = min(part.tolerance_db / 0.05 * 0.01, 0.1)
        ends = [
            self.world.junction(self.world.off(radius(db)), ohm) for db, ohm in ((part.near_db, 50), (part.far_db, 75))
        ]
        return [ends[0], *self.world.drawn(Resistors(50, 75, tuple(arms), tolerance)), ends[1]]

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
        ohm = 75 if last == len(parts) else reference_after(self.bench.case.parts[:last])
        networks.append(world.network(0, 1, 0, ohm, ohm))
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
        ends = {
            "open": 1 - 2 * self.size if self.what == OPEN else (open_ohm - 75) / (open_ohm + 75),
            "short": (short_ohm - 75) / (short_ohm + 75),
            "load": self._load(50.0, self.bench.load50_db)
            if self.what == WRONG
            else self._load(75.0, self.bench.load_db),
            "load50": self._load(50.0, self.bench.load50_db),
        }
        if self.what.startswith(BAD_END):
            name, way = self.what.removeprefix(f"{BAD_END}: ").split()
            ends[name] = ends.get(way, 1 - 2 * self.size)
        return ends

    def _inner(self, number, ends):
        """What is seen of one end as far as the waist."""
        name, _ = self.bench.ends[number]
        last = len(self.bench.case.parts)
        seen = joint(self.mating(), ends[name])
        if self.what == FAR and self.place == last:
            seen = joint(self.poor[number], seen)
        for start, row in reversed([each for each in self.rows if each[0] >= self.waist]):
            seen = looking_into(row, seen)
            if self.what == FAR and start == self.place:
                seen = joint(self.poor[0], seen)
        return np.broadcast_to(seen, (self.world.draws, 1))

    def _outer(self, seen, seating):
        """What the analyzer shows of that, without noise, and the standard deviation of the noise."""
        if self.what == NEAR and self.place == self.waist:
            seen = joint(self.poor[seating], seen)
        for start, row in reversed([each for each in self.rows if each[0] < self.waist]):
            seen = looking_into(row, seen)
            if self.what == NEAR and start == self.place:
                seen = joint(self.poor[seating], seen)
        shown, sd = self._shown(joint(self.at_plane[seating], seen))
        if self.what == STALE:
            directivity, tracking, match = self.off
            sd = sd * abs((1 + tracking) / (1 - match * shown) ** 2)
            shown = directivity + (1 + tracking) * shown / (1 - match * shown)
        return shown, np.broadcast_to(sd, shown.shape)

    def _read(self, halves):
        bench, ends = self.bench, self._ends()
        seatings = 1 + max(seating for _, seating in bench.ends)
        self.at_plane = [self.mating() for _ in range(seatings)]
        self.poor = [
            np.minimum(CONNECTOR[0] * self.size, CONNECTOR[1]) * self._ring()
            for _ in range(max(seatings, len(bench.ends)))
        ]
        self.off = [RESIDUAL * self.size * self.world.off(1.0) for _ in range(3)]
        inner = [self._inner(number, ends) for number in range(len(bench.ends))]
        found, noise = [], []
        for half in range(halves):
            step = half * (self.world.draws // halves)
            pairs = [
                self._outer(np.roll(seen, step, axis=0), seating)
                for seen, (_, seating) in zip(inner, bench.ends, strict=True)
            ]
            found.append(np.concatenate([shown for shown, _ in pairs], axis=1))
            noise.append(np.concatenate([sd for _, sd in pairs], axis=1))
        self.readings, self.noise = np.concatenate(found), np.concatenate(noise)

    def _shown(self, seen):
        if not self.far_plane:
            directivity, match, tracking = self.errors
            return directivity + (1 + tracking) * seen / (1 - match * seen) + self.drift, self.sigma
        raw = looking_into(self.box, seen) * self.turn + self.drift
        p, q, r = np.moveaxis(self.terms, -1, 0)
        return (raw - q) / (p - r * raw), self.sigma * abs((p - q * r) / (p - r * raw) ** 2)


def drawn(bench, pairs, draws, rng, halves=1):
    """Readings without noise and its standard deviation for a kind of fault, its places in equal parts.

    Near and far half of a chain are independent: with `halves` above 1 each is joined to that many of the other's draws.
    """
    count = -(-draws // len(pairs))
    sessions = [Session(bench, what, place, count, rng, halves) for what, place in pairs]
    return np.concatenate([each.readings for each in sessions]), np.concatenate([each.noise for each in sessions])


def typed(reflection, shows="1.73"):
    """What is written down of a reflection, or that the screen shows none."""
    size = abs(reflection)
    ratio = (1 + size) / (1 - size) if size < 1 else np.inf
    if ratio > 100:
        return "inf"
    if shows == "11.4":
        return f"{-20 * np.log10(size):.1f} dB"
    return f"{ratio:.2f}" if shows == "1.73" else f"{ratio:.1f}"


def span(text):
    if text == "inf" or float(text) >= 20:
        return 19 / 21, np.inf
    low, high = max(float(text) - 0.005, 1.0), float(text) + 0.005
    return (low - 1) / (low + 1), (high - 1) / (high + 1)


@dataclass
class Sitting:
    """One session: what was wrong, what was written down, and by how many ranges the fault moved a reading at most."""

    what: str
    texts: list
    moved: float


def sitting(bench, what, place, widths, seed):
    """A session of a bench; the same chain without its fault tells how far the fault moved each reading."""
    faulty, sound = (Session(bench, *fault, 1, np.random.default_rng(seed)) for fault in ((what, place), (RIGHT, None)))
    rng = np.random.default_rng([seed, 1])
    turned = rng.standard_normal(faulty.noise.shape) + 1j * rng.standard_normal(faulty.noise.shape)
    seen = (faulty.readings + faulty.noise * turned)[0]
    moved = abs(abs(faulty.readings[0]) - abs(sound.readings[0])) / widths
    return Sitting(what, [typed(value, bench.shows) for value in seen], float(moved.max()))


def widths(bench, draws, seed):
    """Width of the range that holds 95 % of what a sound chain shows of each end, as a reflection."""
    readings, _ = drawn(bench, [(RIGHT, None)], draws, np.random.default_rng([seed, 2]))
    low, high = np.quantile(abs(readings), (0.025, 0.975), axis=0)
    return high - low


class Judge:
    """The test's own shares: many draws of every kind, and the exact chance that noise puts a reading inside its span.

    Rows are sorted by the first reading, so that those near one are found at once.
    """

    def __init__(self, bench, draws, seed, halves=8, batch=50_000):
        self.kinds = list(bench.kinds())
        self.tables = []
        for number, pairs in enumerate(bench.kinds().values()):
            rng = np.random.default_rng([seed, number])
            blocks = [drawn(bench, pairs, min(batch, draws), rng, halves) for _ in range(-(-draws // batch))]
            level = np.concatenate([abs(readings).astype(np.float32) for readings, _ in blocks])
            order = np.argsort(level[:, 0])
            noise = np.concatenate([noise.astype(np.float32) for _, noise in blocks])
            self.tables.append((level[order], noise[order]))

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
        spans = [span(text) for text in texts]
        widths = [0.0 if np.isinf(high) else high - low for low, high in spans]
        low, high = spans[0]
        reach = 6 * factor * np.hypot(noise[:, 0].max(), widths[0])
        rows = slice(*np.searchsorted(level[:, 0], [low - reach, high + reach]))
        level, noise = level[rows].astype(float), noise[rows].astype(float)
        if factor > 1:
            noise = factor * np.sqrt(noise**2 + np.square(widths) / 12)
        close = np.ones(level.shape[0], dtype=bool)
        for column, (low, high) in enumerate(spans):
            sd = noise[:, column]
            close &= (level[:, column] > low - 6 * sd) & (level[:, column] < high + 6 * sd)
        chance = np.ones(int(close.sum()))
        for column, (low, high) in enumerate(spans):
            sd, size = noise[close, column], level[close, column]
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
