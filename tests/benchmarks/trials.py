"""10,000 trials of a chain of eight items at 201 points: public functions beside scikit-rf, and the cascade beside numpy.

scikit-rf is given a few of the draws, and its time is in proportion to them: once the same drawn arrays, only joined; once its
own media, which make every length of line and every junction again.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
import skrf
from growth import write_items
from skrf.media import DefinedGammaZ0
from timing import ROOT, call_s

import chain
from chain.assembly.cascade import build
from chain.uncertainty.intervals import drawn_terms
from chain.uncertainty.measurement import measurement_of
from chain.uncertainty.sampled_maps import drawn_through
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import BATCH

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


def cascade_share(count: int = 64) -> float:
    """In-cache complex multiply-adds that numpy does in the time that the engine's cascade takes per step, over those it needs.

    A two-port put in front of a chain takes seven products and four sums.
    """
    rng = np.random.default_rng(2)
    shape = (count, BATCH // 4)
    parts = [
        (rng.random((*shape, 2, 2)) + 1j * rng.random((*shape, 2, 2))).astype(np.complex64) / 4 for _ in range(ITEMS)
    ]
    ours = call_s(lambda: drawn_through(parts, lambda _: None, shape[1], count, single=True), 15)
    one, two, three = (np.ascontiguousarray(part[..., 0, 0]) for part in parts[:3])
    into = np.empty_like(one)

    def multiply_adds() -> None:
        np.multiply(one, two, out=into)
        np.add(into, three, out=into)

    def products() -> None:
        np.multiply(one, two, out=into)

    return ITEMS * (4 * call_s(multiply_adds, 15) + 3 * call_s(products, 15)) / ours


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
        {"what": "joining of drawn two-ports, share of numpy's multiply-add", "times": cascade_share()},
    ]
