"""10,000 trials of a chain of eight items at 201 points: public functions beside scikit-rf, and the cascade beside numpy.

scikit-rf is given a few of the draws, and its time is in proportion to them: once the same drawn arrays, only joined; once its
own media, which make every length of line and every junction again.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import skrf
from growth import write_items
from skrf.media import DefinedGammaZ0
from timing import ROOT, call_s

import chain
from chain.assembly.cascade import build
from chain.rf import twoport
from chain.rf.elements import Line
from chain.uncertainty.intervals import drawn_terms
from chain.uncertainty.measurement import Measurement, measurement_of
from chain.uncertainty.parallel import in_order
from chain.uncertainty.sampled_maps import drawn_through
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import BATCH, halved

TRIALS, POINTS, ITEMS, LOOPS = 10_000, 201, 8, 10
LEAST_TIMES = {"arrays": 25.0, "media": 120.0}
LIGHT_M_PER_S = 299_792_458.0


def _setup(folder: Path) -> chain.Setup:
    text = Path(write_items(folder, ITEMS)).read_text(encoding="utf-8")
    path = folder / "trials.toml"
    path.write_text(text.replace("points = 51", f"points = {POINTS}"), encoding="utf-8")
    return chain.load_setup(path)


def joined_by_scikit_rf(freq: skrf.Frequency, drawn: list[np.ndarray]) -> None:
    """Every draw's two-ports joined by `**`, what they are made of given."""
    for each in zip(*drawn, strict=True):
        network = skrf.Network(frequency=freq, s=each[0], z0=50.0)
        for s in each[1:]:
            network = network ** skrf.Network(frequency=freq, s=s, z0=50.0)


def made_by_scikit_rf(freq_hz: np.ndarray, draws: int) -> None:
    """Drawn pad and leads made by media, with a junction at either end of each lead."""
    rng, freq = np.random.default_rng(1), skrf.Frequency.from_f(freq_hz, unit="hz")

    def two_port(s11: complex, s21: float, s22: complex, ohm: tuple[float, float]) -> skrf.Network:
        s = np.tile(np.array([[s11, s21], [s21, s22]]), (freq_hz.size, 1, 1))
        return skrf.Network(frequency=freq, s=s, z0=list(ohm))

    def disc(radius: float) -> complex:
        return radius * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())

    def junction() -> skrf.Network:
        rho = disc(0.05)
        return two_port(rho, np.sqrt(1 - abs(rho) ** 2), -np.conj(rho), (75.0, 75.0))

    for _ in range(draws):
        seen = two_port(disc(0.05), 10 ** (-rng.uniform(5.5, 5.9) / 20), disc(0.05), (50.0, 75.0))
        for _ in range(ITEMS - 1):
            loss = rng.uniform(0.88, 1.12) * (0.0665 + 1.035 * np.sqrt(freq_hz / 1e6)) / 100 * np.log(10) / 20
            gamma = loss + 2j * np.pi * freq_hz / (0.83 * LIGHT_M_PER_S)
            lead = DefinedGammaZ0(freq, gamma=gamma, z0=75.0, z0_port=75.0).line(rng.uniform(0.29, 0.31), "m")
            seen = seen ** junction() ** lead ** junction()


Count = tuple[int, int]
"""Complex multiply-adds, and products alone, for each draw and frequency."""
OF_A_BOX: Count = (4, 3)
OF_A_LEAD: Count = (16, 2)
"""Four for each of two junctions and two steps of impedance, and a length of line passed twice."""


def share_of_numpy(needed: Count, values: int, work: Callable[[], object], runs: int) -> float:
    """Time in which numpy does so many multiply-adds and products of so many values, arrays in the cache, over that of some work.

    The two take turns, so that a machine that slows down slows both, and the median of the turns counts.
    """
    one, two, three, into = np.full((4, 64, BATCH // 4), 0.5 + 0.1j, dtype=np.complex64)

    def by_numpy() -> None:
        for number in range(sum(needed)):
            np.multiply(one, two, out=into)
            if number < needed[0]:
                np.add(into, three, out=into)

    def taken_s(call: Callable[[], object]) -> float:
        begun = time.perf_counter()
        call()
        return time.perf_counter() - begun

    turns = [taken_s(by_numpy) / taken_s(work) for _ in range(runs + 1)]
    return statistics.median(turns[1:]) * values / one.size


def joining_share(different: int) -> float:
    """Share of numpy's speed at which drawn two-ports are joined, as many at a time as a command joins; so many are different ones.

    Two that take turns stay in the cache, as numpy's arrays do; eight come from memory, as a chain's parts do.
    """
    rng = np.random.default_rng(2)
    shape = (64, BATCH)
    parts = []
    for _ in range(different):
        part = halved(twoport.empty(shape), True)
        part[...] = (rng.random(part.shape) + 1j * rng.random(part.shape)) / 4
        parts.append(part)
    chain_of = parts * (ITEMS // different)
    return share_of_numpy(
        (ITEMS * OF_A_BOX[0], ITEMS * OF_A_BOX[1]),
        shape[0] * shape[1],
        lambda: drawn_through(chain_of, lambda _: None, shape[1], shape[0], single=True),
        99,
    )


def trials_share(measurement: Measurement) -> float:
    """The same of what a trial's elements need to be joined, over all that a trial takes on one thread: drawing too."""
    needed = (0, 0)
    for element in measurement.after:
        more = OF_A_LEAD if isinstance(element, Line) else OF_A_BOX
        needed = needed[0] + more[0], needed[1] + more[1]
    # Some of the frequencies are what one thread takes on; handed out as a command does it.
    some = np.arange(POINTS - 1)

    def ours() -> None:
        list(in_order(lambda one: drawn_terms(measurement, one, TRIALS, 1), [some]))

    return share_of_numpy(needed, some.size * TRIALS, ours, 5)


def measure() -> list[dict[str, object]]:
    """Times of scikit-rf over those of the engine and of a public function, beside the bar; the cascade's share of numpy's speed."""
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as name:
        setup = _setup(Path(name))
    measurement = measurement_of(setup, build(setup))
    freq = skrf.Frequency.from_f(measurement.freq_hz, unit="hz")
    drawn = [draw(each, np.random.default_rng(3), LOOPS) for each in measurement.after]
    drawn = [np.broadcast_to(each, (LOOPS, POINTS, 2, 2)) for each in drawn]
    # The first draws them and no more; the second is the whole answer for one antenna, which judges the hardest points.
    works = {
        "engine's trials": call_s(lambda: drawn_terms(measurement, slice(0, POINTS), TRIALS, 1), 5),
        "chain.expect": call_s(lambda: chain.expect(setup, [2.0], draws=TRIALS), 5),
    }
    arrays = call_s(lambda: joined_by_scikit_rf(freq, drawn), 3) * TRIALS / LOOPS
    media = call_s(lambda: made_by_scikit_rf(measurement.freq_hz, LOOPS), 3) * TRIALS / LOOPS
    others = {
        "scikit-rf on the same arrays": (arrays, LEAST_TIMES["arrays"]),
        "scikit-rf by its media": (media, LEAST_TIMES["media"]),
    }
    return [
        *({"what": name, "function_s": taken} for name, taken in works.items()),
        *(
            {"what": f"{name} over {own}", "function_s": taken, "times": taken / works[own], "bar": least}
            for name, (taken, least) in others.items()
            for own in works
        ),
        {"what": "joining of two-ports in the cache, share of numpy's multiply-add", "times": joining_share(2)},
        {"what": "joining of two-ports from memory, the same share", "times": joining_share(ITEMS)},
        {"what": "all of a trial on one thread, the same share of it", "times": trials_share(measurement)},
    ]
