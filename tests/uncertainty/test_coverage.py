"""Coverage of the intervals in a world of scikit-rf networks that shares no code with the engine.

A class is a kind of set-up, a plane, a size of the true reflection and a kind of reading: four set-ups of different figures
and frequencies, 10,000 fresh measurements each, the antenna's phase uniform. The engine is given the set-up as a user would
state it and the number of draws it takes by default.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
import pytest
import strategies as made
from coverage_belt import MAGNITUDES, PlainBelt
from coverage_world import (
    Adapter,
    Case,
    Lead,
    Pad,
    Resistors,
    Screen,
    World,
    WrongHalf,
    antennas,
    as_stated,
)

from chain.assembly.cascade import build
from chain.setups import Calibration
from chain.uncertainty.intervals import table
from chain.uncertainty.measurement import measurement_of, nominal_maps
from library.load import load_library
from library.records import Connector

SIZES = (0.0, 0.05, 0.1, 0.2, 1 / 3, 0.5, 0.7, 0.9, 1.0)
FREQUENCIES_HZ = (60e6, 210e6, 500e6, 862e6)
LEAST_DB = 5.7195
PORT = {"directivity_db": 40.0, "source_match_db": 36.0, "tracking_db": 0.1}
ACT = {"noise_db": 0.02, "repeatability_db": 50.0, "drift_db": 50.0, "flex_deg": 1.0}


def swap_of(name, freq_hz):
    """An adapter of the library by its figures at one frequency."""
    part = load_library().part(name)
    limit_db = float(np.interp(freq_hz, part.limit.freq_hz, part.limit.return_loss_db))
    return Adapter(
        part.impedance_ohm, part.electrical_length_m, limit_db, part.loss_at_1ghz_db, part.length_tolerance_m
    )


def good(n):
    """Decent parts as sold: one adapter, a specified pad, a short lead."""
    pad = Pad(50, 75, LEAST_DB, 0.2, 26 + n, 26)
    lead = Lead(75, 0.3 + 0.4 * n, 20 + 2 * n, ohm_tolerance=1.5, loss_tolerance=0.12)
    return (Adapter(50, 0.05, 26 + 2 * n), pad, lead), 2


def cheap(n):
    """Poor adapters either side and a pad that is off."""
    pad = Pad(50, 75, 6.0, 0.5, 18 + n, 17)
    adapters = Adapter(50, 0.04, 18 + n, 0.2), Adapter(75, 0.035, 16 + n, 0.2, 0.01)
    return (adapters[0], pad, adapters[1], Lead(75, 1.0 + n, 15)), 2


def resistors(n):
    """A pad of soldered resistors, a lead whose impedance is loosely known."""
    tolerance = (0.01, 0.02, 0.05, 0.1)[n]
    pad = Resistors(50, 75, (("shunt", 86.6), ("series", 43.3)), tolerance)
    return (Adapter(50, 0.05, 30), pad, Lead(75, 2.0 + n, 22, ohm_tolerance=3.0, length_tolerance_m=0.02)), 2


def no_pad(n):
    """No pad at all: the 75-ohm lead straight on the analyzer's adapter."""
    return (Adapter(50, 0.05, 24 + 2 * n, 0.1), Lead(75, 0.5 + n, 20 + n, loss_tolerance=0.1)), 1


def turned(n):
    """The pad the wrong way round, as it may be found."""
    pad = Resistors(75, 50, (("series", 43.3), ("shunt", 86.6)), 0.01) if n % 2 else Pad(75, 50, LEAST_DB, 0.2, 26, 24)
    return (Adapter(50, 0.06, 28), pad, Lead(75, 0.4 + 0.3 * n, 20)), 2


def mixed(n):
    """A 50-ohm lead first, measured (ring) reflections, and a 50-ohm connector half on the 75-ohm side."""
    pad = Pad(50, 75, LEAST_DB + n, 0.1, 28, 30 - n, "ring")
    return (Lead(50, 1.0, 24 + n, 0.8, 0.003), pad, WrongHalf(50), Adapter(75, 0.04, 24, 0.1, 0.005, "ring")), 2


KINDS = {"good": good, "cheap": cheap, "resistors": resistors, "no pad": no_pad, "turned": turned, "mixed": mixed}
PLANES = ("near", "middle", "far")


def case(kind, n):
    """One set-up of a kind; the figures of measuring and of the standards go from good to poor with n."""
    freq_hz = FREQUENCIES_HZ[n]
    parts, cut = KINDS[kind](n)
    port = {name: value - 2 * n if name != "tracking_db" else value * (1 + n) for name, value in PORT.items()}
    act = ACT | {"repeatability_db": 50.0 - 3 * n, "flex_deg": 0.5 * n, "noise_db": 0.01 * (1 + n)}
    standards = {"load_db": (40, 36, 32, 20)[n], "load_h": (0, 0, 2e-9, 0.5e-9)[n]}
    standards |= {"open_f": 1e-13 * (n > 0), "short_h": 0.5e-9 * n}
    if n == 3 and parts[cut - 1].ohms[1] == 75:
        standards["swap"] = swap_of(SWAP, freq_hz)
    return Case(kind, (freq_hz,), parts, cut, port, act, standards)


SWAP = "bnc75-plug-bnc75-jack"


def cut_of(each, plane):
    return {"near": 0, "middle": each.cut, "far": len(each.parts)}[plane]


# The same case as a user states it.


def item_of(part):
    """An item of the set-up for a part of the world."""
    match part:
        case Adapter():
            got = made.adapter(
                part.ohm, part.length_m, part.loss_1ghz_db, part.limit_db, part.length_tolerance_m, part.shape
            )
            return made.item(got, "adapter")
        case Pad():
            got = made.pad(part.loss_db, *part.ohms, part.tolerance_db, part.near_db, part.far_db, kind=part.shape)
            return made.item(got, "pad")
        case Resistors():
            return made.item(made.ladder(part.arms, *part.ohms, part.tolerance), "pad")
    got = made.coax(
        part.ohm,
        part.per_root,
        part.per_mhz,
        part.velocity_factor,
        part.limit_db,
        part.ohm_tolerance,
        part.loss_tolerance,
    )
    return made.item(got, "lead", length_m=part.length_m, length_tolerance_m=part.length_tolerance_m)


def stated(each, plane):
    """The measurement that the engine makes of the set-up."""
    items = []
    for part in each.parts:
        if isinstance(part, WrongHalf):
            items[-1] = replace(items[-1], far_connector=Connector("BNC-50", "jack"))
        else:
            items.append(item_of(part))
    act, standards = each.act, each.standards
    near = {"trace_noise_db": act["noise_db"], "repeatability_db": act["repeatability_db"], "drift_db": act["drift_db"]}
    span = (each.freq_hz[0], each.freq_hz[-1], len(each.freq_hz))
    setup = made.setup_of(items, freq_hz=span, **near, **(each.port if plane == "near" else {}))
    cut = cut_of(each, plane)
    if cut:
        name = setup.items[sum(not isinstance(part, WrongHalf) for part in each.parts[:cut]) - 1].id
        sizes = (standards["load_db"], None, standards["load_h"], standards["open_f"], standards["short_h"])
        swap = SWAP if "swap" in standards else ""
        setup = replace(setup, calibration=Calibration(name, *sizes, act["flex_deg"], swap))
    return measurement_of(setup, build(setup))


def repeated(belt, count):
    """The belt of one place for many observations."""
    arrays = {each.name: getattr(belt, each.name) for each in fields(belt)}
    many = {name: np.broadcast_to(v, (count, *v.shape[1:])) for name, v in arrays.items() if isinstance(v, np.ndarray)}
    return replace(belt, **many)


def intervals_of(belt, observed, batch=10_000):
    ends = [repeated(belt, part.size).interval(part) for part in np.split(observed, range(batch, observed.size, batch))]
    return np.concatenate([low for low, _ in ends]), np.concatenate([high for _, high in ends])


# Trials.


@dataclass
class Trial:
    """What came out of one set-up at one plane for one kind of reading: arrays (sizes, draws) of ends; plain ends too."""

    kind: str
    plane: str
    complex_reading: bool
    truth: np.ndarray
    low: np.ndarray
    high: np.ndarray
    plain_low: np.ndarray | None = None
    plain_high: np.ndarray | None = None

    def covered(self, plain=False):
        low, high = (self.plain_low, self.plain_high) if plain else (self.low, self.high)
        return ((low <= self.truth + 1e-9) & (self.truth - 1e-9 <= high)).mean(axis=1)

    def width(self, plain=False):
        low, high = (self.plain_low, self.plain_high) if plain else (self.low, self.high)
        return np.nanmean(high - low, axis=1)


def plain_belts(each, cut, draws, rng):
    """The test's own belts, for a magnitude and for a complex reading."""
    screen, known = Screen(World(each, draws, rng), cut), as_stated(each, cut)
    phase = antennas(1.0, screen.world)
    seen, found = np.empty((2, MAGNITUDES.size, draws))
    for row, size in enumerate(MAGNITUDES):
        reading = screen.reading(size * phase)
        seen[row], found[row] = abs(reading)[:, 0], abs(known.undone(reading))[:, 0]
    return PlainBelt(seen), PlainBelt(np.minimum(found, 6.0))


def trials(each, plane, draws, seed, plain_draws=0, scale=1.0, engine_draws=4000):
    """Fresh measurements of each size and the intervals that the engine gives them, without and with the phase."""
    rng = np.random.default_rng(seed)
    cut, measurement = cut_of(each, plane), stated(each, plane)
    screen = Screen(World(each, draws * len(SIZES), rng, scale), cut)
    truth = np.repeat(SIZES, draws)
    reading = screen.reading(antennas(truth[:, None], screen.world))
    plain = plain_belts(each, cut, plain_draws, rng) if plain_draws else (None, None)
    shape = (len(SIZES), draws)
    for complex_reading, own in zip((False, True), plain, strict=True):
        seen = np.abs(nominal_maps(measurement).recovered(reading) if complex_reading else reading)[:, 0]
        ends = intervals_of(table(measurement, complex_reading, draws=engine_draws).points, seen)
        if own is not None:
            again = np.abs(as_stated(each, cut).undone(reading))[:, 0] if complex_reading else seen
            ends += own.interval(again)
        yield Trial(each.kind, plane, complex_reading, *(value.reshape(shape) for value in (truth, *ends)))


@dataclass
class Class:
    """A kind of set-up at one plane with one kind of reading, arrays over the sizes: coverage, widths, lowest set-up."""

    covered: np.ndarray
    width: np.ndarray
    plain_width: np.ndarray | None
    lowest: float


def classes(draws, seed, kinds=tuple(KINDS), numbers=range(4), plain_draws=0, scale=1.0):
    """Class by (kind, plane, with phase), averaged over its set-ups."""
    found = {}
    for kind in kinds:
        for plane in PLANES:
            for n in numbers:
                for trial in trials(case(kind, n), plane, draws, seed + n, plain_draws, scale):
                    found.setdefault((kind, plane, trial.complex_reading), []).append(trial)
    return {key: together(group) for key, group in found.items()}


def together(group):
    covered = np.array([trial.covered() for trial in group])
    plain = None if group[0].plain_low is None else np.mean([trial.width(plain=True) for trial in group], axis=0)
    return Class(covered.mean(axis=0), np.mean([t.width() for t in group], axis=0), plain, covered.min())


def show(found):
    """Print a line for each class and the figures over all; return (coverage of every class, ratio of mean widths)."""
    print(
        f"\n{'kind':10} {'plane':7} {'phase':6} coverage at {' '.join(f'{size:5.2f}' for size in SIZES)}  width  of plain belt's"
    )
    for (kind, plane, with_phase), each in found.items():
        ratio = "" if each.plain_width is None else f"{each.width.mean() / each.plain_width.mean():7.3f}"
        figures = " ".join(f"{value:.3f}" for value in each.covered)
        print(
            f"{kind:10} {plane:7} {'yes' if with_phase else 'no':6}             {figures} {each.width.mean():6.3f} {ratio}"
        )
    covered = np.array([each.covered for each in found.values()])
    wide = sum(each.width.sum() for each in found.values())
    ratio = np.nan if each.plain_width is None else wide / sum(each.plain_width.sum() for each in found.values())
    lowest = min(each.lowest for each in found.values())
    print(
        f"{covered.size} classes: lowest {covered.min():.4f}, overall {covered.mean():.4f}, highest {covered.max():.4f}; "
        f"lowest of a single set-up {lowest:.4f}; mean width {ratio:.3f} of the plain belt's"
    )
    return covered, ratio


def test_intervals_cover_in_a_small_world():
    """Two kinds, three planes, 4,000 fresh measurements of each size: four standard deviations below 95 % are 93.6 %."""
    found = classes(4000, 11, ("good", "no pad"), (1,), 10_000)
    covered, ratio = show(found)
    assert covered.shape == (12, 9)
    assert covered.min() >= 0.936
    assert covered.mean() <= 0.98
    assert ratio <= 1.10


@pytest.mark.slow
def test_intervals_cover_in_every_class():
    """Six kinds of four set-ups, three planes, nine sizes, with and without phase: 40,000 fresh measurements a class."""
    covered, ratio = show(classes(10_000, 5, plain_draws=20_000))
    assert covered.shape == (36, 9)
    assert covered.min() >= 0.94
    assert covered.mean() <= 0.98
    assert ratio <= 1.10


@pytest.mark.slow
def test_parts_twice_as_bad_as_stated_are_not_covered():
    """What no method can cover: with every limit and tolerance of the parts twice what is stated, coverage falls.

    Behind a plane at the antenna it all but holds, since the parts cancel. Seen: 0.68 at the analyzer, 0.80 in the middle, 0.94
    at the antenna.
    """
    found = classes(10_000, 5, scale=2.0)
    show(found)
    by_plane = {plane: np.mean([each.covered for key, each in found.items() if key[1] == plane]) for plane in PLANES}
    print(by_plane)
    assert by_plane["near"] < by_plane["middle"] < by_plane["far"]
    assert by_plane["near"] < 0.90


# Channels: the worst point of several, simulated together.

EDGES_HZ = (174e6, 181e6)


def channel_case(kind, n):
    """The same set-up over a channel of television, nine points."""
    each = case(kind, n)
    swapped = {"swap": swap_of(SWAP, np.mean(EDGES_HZ))} if "swap" in each.standards else {}
    return replace(each, freq_hz=tuple(np.linspace(*EDGES_HZ, 9)), standards=each.standards | swapped)


def channel_coverage(kind, n, plane, draws, seed, slope):
    """Coverage of a channel's worst true magnitude by size, without and with phase; |G| runs from (1 - slope) to 1 of it."""
    each = channel_case(kind, n)
    measurement = stated(each, plane)
    world = World(each, draws * len(SIZES), np.random.default_rng(seed))
    along = 1 - slope * np.linspace(1, 0, len(each.freq_hz))
    truth = np.repeat(SIZES, draws)
    reading = Screen(world, cut_of(each, plane)).reading(antennas(truth[:, None] * along, world))
    for with_phase in (False, True):
        seen = np.abs(nominal_maps(measurement).recovered(reading) if with_phase else reading)
        low, high = channel_ends(table(measurement, with_phase, [EDGES_HZ]), seen)
        yield ((low <= truth + 1e-9) & (truth - 1e-9 <= high)).reshape(len(SIZES), draws).mean(axis=1)


def channel_ends(made, seen):
    """Ends of a channel for each row of `seen` (points in columns): of its own belt, the upper never below the worst point's."""
    at = seen.argmax(axis=1)
    low, high = intervals_of(made.channels, seen.max(axis=1))
    for place in np.unique(at):
        rows = at == place
        fields_ = {each.name: getattr(made.points, each.name) for each in fields(made.points)}
        own = {name: v[place : place + 1] for name, v in fields_.items() if isinstance(v, np.ndarray)}
        high[rows] = np.fmax(high[rows], intervals_of(replace(made.points, **own), seen[rows, place])[1])
    return low, high


def channels(kinds, numbers, draws, slope):
    """Coverage of every class of channels, (kind, plane, with phase) by size."""
    print(f"\nchannels, |G| from {1 - slope:g} of its largest to its largest")
    found = []
    for kind in kinds:
        for plane in PLANES:
            each = np.mean([list(channel_coverage(kind, n, plane, draws, 31 + n, slope)) for n in numbers], axis=0)
            found.append(each)
            for with_phase, figures in zip(("no", "yes"), each, strict=True):
                print(f"{kind:10} {plane:7} {with_phase:4} {' '.join(f'{value:.3f}' for value in figures)}")
    found = np.array(found)
    print(f"lowest {found.min():.4f}, overall {found.mean():.4f}")
    return found


def test_channels_cover_in_a_small_world():
    """A magnitude constant over the channel, phase turning; 2,000 fresh channels of each size, so 93.2 % is four deviations."""
    found = channels(("good",), (1,), 2000, 0.0)
    assert found.min() >= 0.932
    assert found.mean() <= 0.98


@pytest.mark.slow
def test_channels_cover_in_every_class():
    """Six kinds of two set-ups, 5,000 fresh channels of each size and set-up."""
    found = channels(tuple(KINDS), (1, 3), 5000, 0.0)
    assert found.min() >= 0.94
    assert found.mean() <= 0.98


@pytest.mark.slow
def test_channels_of_sloping_antennas():
    """An antenna whose magnitude falls by 30 % over the channel: its worst point has fewer rivals than the channel's belt
    reckons with, which is why the upper end is never below that of the worst point alone.
    """
    found = channels(tuple(KINDS), (1, 3), 5000, 0.3)
    assert found.min() >= 0.94
    assert found.mean() <= 0.985
