"""Antennas to tune in a world that shares no code with the engine: a resonance of known place behind drawn chains.

Chains are those of `coverage_world`, drawn from the physics and joined by scikit-rf. An antenna is a resonance of its own
resistance, quality factor and place, a weaker one beside it that the engine knows nothing of, and, stretched, the same at other
frequencies.
"""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, field, fields, replace
from unittest import mock

import numpy as np
import strategies as made
from coverage_world import Adapter, Case, Lead, Pad, Screen, World

from chain.reflection import magnitude_from_vswr
from chain.setups import Antenna, Calibration
from chain.sweeps.readings import Readings
from chain.tuning import prediction, tune
from chain.tuning.trials import BenchSweep, bench_of

LEAST_DB = 5.7195
FAR_OHM = 75.0


@dataclass(frozen=True)
class Element:
    """A driven element: resonance, resistance there, quality factor; and a parasitic one, `coupled` strong, off its place."""

    resonance_hz: float
    resistance_ohm: float
    quality_factor: float
    coupled: float
    beside: float

    def ohm(self, freq_hz, stretch=1.0):
        """Impedance at frequencies, every length multiplied by a factor."""
        ratio = np.asarray(freq_hz) * stretch / self.resonance_hz
        off = ratio / self.beside - self.beside / ratio
        own = self.resistance_ohm * (ratio + 1j * self.quality_factor * (ratio - 1 / ratio))
        return own + self.coupled * self.resistance_ohm / (1 + 6j * off)

    def reflection(self, freq_hz, stretch=1.0):
        ohm = self.ohm(freq_hz, stretch)
        return (ohm - FAR_OHM) / (ohm + FAR_OHM)

    @property
    def true_hz(self):
        """Where the reactance vanishes, by bisection."""
        low, high = 0.8 * self.resonance_hz, 1.2 * self.resonance_hz
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (low, middle) if self.ohm(middle).imag > 0 else (middle, high)
        return (low + high) / 2


def element(rng, middle_hz):
    """An element at random: up to 7 % off the middle, matched or not, broad or narrow, alone or with another beside it."""
    place = middle_hz * (1 + rng.uniform(-0.07, 0.07))
    coupled = rng.uniform(0, 0.25) * (rng.random() < 0.5)
    return Element(place, rng.uniform(35, 150), rng.uniform(3, 20), coupled, rng.uniform(0.8, 1.25))


def bench_case(kind, plane, middle_hz, points=91):
    """A bench as `coverage_world` draws it, and the set-up as a user states it."""
    freq = tuple(np.linspace(0.84 * middle_hz, 1.16 * middle_hz, points))
    poor = kind == "poor"
    parts = (
        Adapter(50, 0.05, 18 if poor else 26, 0.05),
        Pad(50, 75, LEAST_DB, 0.5 if poor else 0.2, 20 if poor else 26, 20 if poor else 26),
        Lead(75, 1.0, 18 if poor else 24, ohm_tolerance=1.5, loss_tolerance=0.12),
    )
    noise_db = 0.05 if poor else 0.02
    port = {"directivity_db": 40.0, "source_match_db": 36.0, "tracking_db": 0.1} if plane == "near" else {}
    act = {"noise_db": noise_db, "repeatability_db": 50.0, "drift_db": 50.0, "flex_deg": 0.5}
    standards = {"load_db": 26 if poor else 34, "load_h": 0.0, "open_f": 5e-14, "short_h": 2e-10}
    cut = 0 if plane == "near" else 3
    case = Case(kind, freq, parts, cut, port, act, standards)
    items = [
        made.item(made.adapter(50, 0.05, 0.05, parts[0].limit_db), "adapter"),
        made.item(made.pad(LEAST_DB, 50, 75, parts[1].tolerance_db, parts[1].near_db, parts[1].far_db), "pad"),
        made.item(
            made.coax(75, parts[2].per_root, parts[2].per_mhz, 0.66, parts[2].limit_db, 1.5, 0.12), "lead", length_m=1.0
        ),
    ]
    near = {"trace_noise_db": noise_db, "repeatability_db": 50.0, "drift_db": 50.0, **port}
    setup = made.setup_of(items, freq_hz=(freq[0], freq[-1], points), limit_vswr=2.0, **near)
    if cut:
        sizes = (standards["load_db"], None, standards["load_h"], standards["open_f"], standards["short_h"])
        setup = replace(setup, calibration=Calibration(setup.items[2].id, *sizes, act["flex_deg"]))
    return case, cut, replace(setup, antenna=Antenna("loop"))


def random_bench(rng, cut):
    """A bench of random figures, and its set-up as a user states it; `cut` parts lie before the calibration plane."""
    middle_hz = float(np.exp(rng.uniform(np.log(60e6), np.log(800e6))))
    count = int(rng.integers(33, 62))
    freq = tuple(np.linspace(rng.uniform(0.8, 0.87) * middle_hz, rng.uniform(1.13, 1.2) * middle_hz, count))
    limits = rng.uniform(18, 32, 4)
    parts = (
        Adapter(50, rng.uniform(0.02, 0.08), limits[0], 0.05),
        Pad(50, 75, LEAST_DB, rng.uniform(0.05, 0.5), limits[1], limits[2]),
        Lead(75, rng.uniform(0.3, 6), limits[3], ohm_tolerance=rng.uniform(0, 2), loss_tolerance=rng.uniform(0, 0.15)),
    )
    noise_db = rng.uniform(0.01, 0.08)
    port = {
        "directivity_db": rng.uniform(32, 46),
        "source_match_db": rng.uniform(28, 40),
        "tracking_db": rng.uniform(0, 0.2),
    }
    port = {} if cut else port
    act = {"noise_db": noise_db, "repeatability_db": rng.uniform(42, 60), "drift_db": rng.uniform(42, 60)}
    act = {**act, "flex_deg": rng.uniform(0, 1)}
    standards = {"load_db": rng.uniform(20, 42), "load_h": 0.0, "open_f": 5e-14, "short_h": 2e-10}
    case = Case("random", freq, parts, cut, port, act, standards)
    adapter, pad, lead = parts
    items = [
        made.item(made.adapter(50, adapter.length_m, 0.05, adapter.limit_db), "adapter"),
        made.item(made.pad(LEAST_DB, 50, 75, pad.tolerance_db, pad.near_db, pad.far_db), "pad"),
        made.item(
            made.coax(75, lead.per_root, lead.per_mhz, 0.66, lead.limit_db, lead.ohm_tolerance, lead.loss_tolerance),
            "lead",
            length_m=lead.length_m,
        ),
    ]
    near = {"trace_noise_db": noise_db, **{key: act[key] for key in ("repeatability_db", "drift_db")}, **port}
    setup = made.setup_of(items, freq_hz=(freq[0], freq[-1], count), limit_vswr=2.0, **near)
    if cut:
        sizes = (standards["load_db"], None, standards["load_h"], standards["open_f"], standards["short_h"])
        setup = replace(setup, calibration=Calibration(setup.items[cut - 1].id, *sizes, act["flex_deg"]))
    return case, replace(setup, antenna=Antenna("loop")), middle_hz


class Workshop:
    """Many benches drawn at once; each reads an antenna, and reads it again after its length was changed."""

    def __init__(self, case, cut, count, rng):
        self.world = World(case, count, rng)
        self.screen = Screen(self.world, cut)
        self.freq_hz = np.array(case.freq_hz)

    def readings(self, far):
        """First readings, (benches, frequencies)."""
        return self.screen.reading(far)

    def again(self, far):
        """The same chains read later: noise, drift and the antenna's joint are new, and the lead has moved."""
        act, screen, world = self.world.case.act, self.screen, self.world
        screen.offset = world.noise() + world.off(10 ** (-act["drift_db"] / 20))
        screen.antenna_joint = screen.mating()
        flex = np.deg2rad(act.get("flex_deg", 0.0))
        screen.turn = np.exp(-2j * world.between(-flex, flex))
        return screen.reading(far)


@dataclass(frozen=True)
class LastingBench(BenchSweep):
    """A bench that keeps every drawn map, for many antennas on it: the same maps, drawn once."""

    lasting: dict = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, setup, freq_hz):
        own = bench_of(setup, freq_hz)
        return cls(**{each.name: getattr(own, each.name) for each in fields(own)})

    def maps(self, batch, seed, repeat=0):
        key = batch, seed, repeat
        if key not in self.lasting:
            self.lasting[key] = super().maps(*key)
        return self.lasting[key]


@contextmanager
def quick():
    """Answers of one batch of draws, without advice: what a better bench would be is not judged here.

    An end is an order statistic, which holds the same share at any number of draws; with fewer it only scatters more.
    """
    with (
        mock.patch.object(tune, "narrowing", return_value=None),
        mock.patch.object(tune, "BATCHES", 1),
        mock.patch.object(prediction, "BATCHES", 1),
    ):
        yield


def with_digits(reflection, half):
    """What is left of readings that are shown in steps of two `half`."""
    if half is None:
        return reflection
    return 2 * half * (np.round(reflection.real / (2 * half)) + 1j * np.round(reflection.imag / (2 * half)))


def judged(shop, bench, elements, wanted, half=None, seed=5):
    """One row for each antenna of a workshop: what was said of it, against what is so and what the screen shows later."""
    freq = shop.freq_hz
    seen = with_digits(shop.readings(np.array([each.reflection(freq) for each in elements])), half)
    digits = None if half is None else np.full(freq.size, half)
    with quick():
        found = [
            tune.tune_with(bench, replace(as_readings(freq, each), rounding=digits), wanted, seed) for each in seen
        ]
    longer = [1.0 if each.after is None else 1 + each.after.share for each in found]
    later = shop.again(np.array([each.reflection(freq, by) for each, by in zip(elements, longer, strict=True)]))
    return [_row(*each, freq, wanted) for each in zip(elements, found, with_digits(later, half), strict=True)]


def _row(truth, said, later, freq, wanted):
    at = int(np.abs(freq - wanted.aim_hz).argmin())
    sweep, true_ohm = said.sweep, truth.ohm(freq)
    own = [each.freq_hz for each in said.resonances if each.kind == "series"]
    nearest = min(own, key=lambda each: abs(each.value - truth.true_hz), default=None)
    held = (sweep.reactance_low_ohm <= true_ohm.imag) & (true_ohm.imag <= sweep.reactance_high_ohm)
    row = {
        "resonance": None if nearest is None else float(nearest.low <= truth.true_hz <= nearest.high),
        "reactance": float(held.mean()),
        "said": bool(said.direction),
        "wrong": (said.direction == "too long") != (truth.true_hz < wanted.aim_hz) if said.direction else None,
        # Twice its half width: of |X| that exceed twice the whole, more still are said.
        "clear": bool(abs(sweep.reactance_ohm[at]) > sweep.reactance_high_ohm[at] - sweep.reactance_low_ohm[at]),
        "reading": None,
        "antenna": None,
    }
    after = said.after
    if after is not None:
        places = [int(np.abs(freq - each).argmin()) for each in after.freq_hz]
        row["reading"] = _held(np.abs(later[places]), after.reading_low, after.reading_high)
        size = np.abs(truth.reflection(after.freq_hz, 1 + after.share))
        row["antenna"] = _held(size, after.true_low, after.true_high)
    return row


def _held(size, low, high):
    low, high = magnitude_from_vswr(low), magnitude_from_vswr(np.nan_to_num(high, nan=np.inf))
    return float(np.mean((low - 1e-9 <= size) & (size <= high + 1e-9)))


def rates(rows):
    """By count: mean over the antennas that have it, its standard error, and how many these are."""
    reported = {}
    for name in ("resonance", "reading", "antenna", "reactance", "wrong"):
        reported[name] = _rate([row[name] for row in rows if row[name] is not None])
    reported["said"] = _rate([row["said"] for row in rows if row["clear"]])
    return reported


def _rate(kept):
    values = np.array(kept, dtype=float)
    return (float(values.mean()), float(values.std() / values.size**0.5), values.size) if values.size else (1.0, 0.0, 0)


def as_readings(freq_hz, reflection, phase=True):
    return Readings(freq_hz, np.abs(reflection), reflection if phase else None, "drawn")


FREQ = np.linspace(500e6, 700e6, 81)


def bench(points=FREQ.size, antenna=None, **near):
    """A lead straight on the analyzer, everything known but what is named."""
    near = {"trace_noise_db": 0.001, **near}
    setup = made.setup_of([made.lead(0.1, 600e6)], 75.0, 75.0, (FREQ[0], FREQ[-1], points), 2.0, **near)
    return replace(setup, calibration=Calibration(setup.items[0].id), antenna=antenna or Antenna("loop"))


def swept(element, stretch=1.0, freq=FREQ):
    return as_readings(freq, element.reflection(freq, stretch))
