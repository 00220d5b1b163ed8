"""Benches nobody chose, for the proof of coverage: every figure drawn at random, and the set-up as a user would state it.

The measurements come from `coverage_world` (scikit-rf networks, no code of the engine). Sizes and phases of the antenna are drawn
too, never listed: a list can fall on the grid of the method that is judged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import strategies as made
from coverage_world import Adapter, Case, Lead, Pad, Resistors, Screen, World, WrongHalf
from stated_parts import item_of

from chain.setups import Calibration
from chain.sweeps.readings import Readings
from library.records import Connector

LEAST_DB = 5.7195
KINDS = ("good", "poor", "resistors", "no pad", "turned", "mixed", "long lead", "ideal", "good load", "loosely known")
PLANES = ("near", "middle", "far")
PHASE_RULES = ("uniform", "fixed", "across")
SPREAD = 1e-7
"""Relative step between the points that stand for one frequency measured again and again."""


@dataclass(frozen=True)
class Bench:
    """A random bench: what is measured with, at which plane, and how the antennas behind it are drawn."""

    kind: str
    plane: str
    case: Case
    has_phase: bool
    phase_rule: str
    seed: int

    @property
    def cut(self):
        return {"near": 0, "middle": self.case.cut, "far": len(self.case.parts)}[self.plane]

    def __str__(self):
        freq_mhz = self.case.freq_hz[0] / 1e6
        phase = "with phase" if self.has_phase else "magnitude"
        return f"{self.kind}, {self.plane}, {phase}, {self.phase_rule}, {freq_mhz:.0f} MHz, seed {self.seed}"


def _parts(kind, rng):
    """Parts near to far, and how many lie before the middle plane."""
    u = rng.uniform
    adapter = Adapter(50, u(0.03, 0.08), u(20, 34), u(0.02, 0.2), u(0, 0.01))
    pad = Pad(50, 75, u(LEAST_DB, 7), u(0.02, 0.4), u(20, 34), u(20, 34))
    lead = Lead(
        75, u(0.2, 3), u(16, 30), ohm_tolerance=u(0, 3), loss_tolerance=u(0, 0.15), length_tolerance_m=u(0, 0.01)
    )
    match kind:
        case "good":
            return (
                replace(adapter, limit_db=u(30, 40)),
                replace(pad, near_db=u(30, 40), far_db=u(30, 40)),
                replace(lead, limit_db=u(26, 36)),
            ), 2
        case "poor":
            second = Adapter(75, u(0.02, 0.05), u(14, 20), 0.2, 0.005)
            return (
                replace(adapter, limit_db=u(14, 20)),
                replace(pad, near_db=18, far_db=17, tolerance_db=0.5),
                second,
                replace(lead, limit_db=15),
            ), 2
        case "resistors":
            return (adapter, Resistors(50, 75, (("shunt", 86.6), ("series", 43.3)), u(0.005, 0.1)), lead), 2
        case "no pad":
            return (adapter, lead), 1
        case "turned":
            return (adapter, Resistors(75, 50, (("series", 43.3), ("shunt", 86.6)), u(0.005, 0.05)), lead), 2
        case "mixed":
            second = Adapter(75, 0.04, u(20, 30), 0.1, 0.005, "ring")
            return (Lead(50, u(0.5, 2), u(20, 30), 0.8, 0.003), replace(pad, shape="ring"), WrongHalf(50), second), 2
        case "long lead":
            return (adapter, pad, replace(lead, length_m=u(25, 35))), 2
        case "loosely known":
            return (
                replace(adapter, limit_db=12),
                replace(pad, tolerance_db=1.5, near_db=14, far_db=14),
                replace(lead, loss_tolerance=0.3),
            ), 2
        case _:
            return (adapter, pad, lead), 2


def bench(seed, kind=None, plane=None, has_phase=None, phase_rule=None):
    """A bench whose every figure comes from the seed; what is given is kept."""
    rng = np.random.default_rng([seed, 77])
    kind = kind or KINDS[rng.integers(len(KINDS))]
    plane = plane or PLANES[rng.integers(3)]
    has_phase = bool(rng.integers(2)) if has_phase is None else has_phase
    phase_rule = phase_rule or PHASE_RULES[rng.integers(3)]
    parts, cut = _parts(kind, rng)
    u = rng.uniform
    port = {"directivity_db": u(28, 46), "source_match_db": u(24, 40), "tracking_db": u(0.02, 0.3)}
    act = {"noise_db": u(0.002, 0.08), "repeatability_db": u(40, 60), "drift_db": u(44, 60), "flex_deg": u(0, 2)}
    standards = {"load_db": u(20, 60), "load_h": u(0, 1e-9), "open_f": u(0, 1e-13), "short_h": u(0, 0.6e-9)}
    if kind == "good load":
        standards = {"load_db": u(40, 60)}
        act |= {"flex_deg": 0.0, "repeatability_db": 60.0, "drift_db": 60.0, "noise_db": 0.005}
    if kind == "ideal":
        parts = tuple(_without_unknowns(part) for part in parts)
        port, act, standards = {}, {"noise_db": 0.0}, {}
    freq_hz = float(np.exp(rng.uniform(np.log(50e6), np.log(862e6))))
    return Bench(kind, plane, Case(kind, (freq_hz,), parts, cut, port, act, standards), has_phase, phase_rule, seed)


def _without_unknowns(part):
    match part:
        case Adapter():
            return replace(part, limit_db=None, length_tolerance_m=0.0)
        case Pad():
            return replace(part, tolerance_db=0.0, near_db=None, far_db=None)
        case _:
            # A lead of real impedance keeps its own small mismatch out of the limit, so it needs none.
            return replace(
                part, limit_db=400, ohm_tolerance=0.0, loss_tolerance=0.0, length_tolerance_m=0.0, per_mhz=0.0
            )


def setup_of(one, limit_vswr=2.0):
    """The bench as a user states it."""
    items = []
    for part in one.case.parts:
        if isinstance(part, WrongHalf):
            items[-1] = replace(items[-1], far_connector=Connector("BNC-50", "jack"))
        else:
            items.append(item_of(part))
    act, standards, freq_hz = one.case.act, one.case.standards, one.case.freq_hz[0]
    near = {
        "trace_noise_db": act["noise_db"],
        "repeatability_db": act.get("repeatability_db"),
        "drift_db": act.get("drift_db"),
    }
    port = one.case.port if one.plane == "near" else {}
    setup = made.setup_of(items, freq_hz=(freq_hz, freq_hz, 1), limit_vswr=limit_vswr, **near, **port)
    if not one.cut:
        return setup
    name = setup.items[sum(not isinstance(part, WrongHalf) for part in one.case.parts[: one.cut]) - 1].id
    sizes = (
        standards.get("load_db"),
        None,
        standards.get("load_h", 0.0),
        standards.get("open_f", 0.0),
        standards.get("short_h", 0.0),
    )
    return replace(setup, calibration=Calibration(name, *sizes, act.get("flex_deg", 0.0)))


def antenna_of(one, count, rng):
    """True reflections (count, 1): sizes never on a grid, phases by the bench's rule (fixed: one phase, the worst classes)."""
    edge = rng.random(count)
    size = np.where(edge < 0.15, 1 / 3 + rng.uniform(-0.02, 0.02, count), np.where(edge > 0.95, 1.0, rng.random(count)))
    turn = {
        "uniform": rng.random(count),
        "fixed": np.full(count, rng.random()),
        "across": 0.25 + 0.5 * rng.integers(0, 2, count) + rng.normal(0, 0.01, count),
    }[one.phase_rule]
    return (size * np.exp(2j * np.pi * turn))[:, None]


def measured(one, count, seed):
    """Fresh measurements of a bench: (true reflections, readings as arrays for the engine)."""
    rng = np.random.default_rng([one.seed, seed, 5])
    screen = Screen(World(one.case, count, rng), one.cut)
    truth = antenna_of(one, count, rng)
    reading = screen.reading(truth)[:, 0]
    freq_hz = one.case.freq_hz[0] * (1 + SPREAD * np.arange(count))
    return truth[:, 0], Readings(freq_hz, np.abs(reading), reading if one.has_phase else None, "drawn")
