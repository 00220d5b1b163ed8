"""Monte Carlo of a chain of eight items: against scikit-rf, its cascade against numpy's own rate, memory, growth of time.

The scikit-rf route gets the same drawn arrays for nothing more than their making, wraps each draw's two-ports in Networks,
joins them by `cascade_list`, recovers by plain algebra and takes the same quantiles. The route through its media makes the
elements there as well, one draw at a time.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "helpers"))

import strategies as made

from chain.assembly.cascade import build
from chain.rf import twoport
from chain.rf.elements import Box, Line
from chain.uncertainty.measurement import Measurement, measurement
from chain.uncertainty.sampling import draw
from chain.uncertainty.trials import recovered_quantiles

DRAWS, POINTS, ITEMS = 10_000, 201, 8
LARGE_DRAWS, LARGE_POINTS = 100_000, 1601
FEW, FEWER = 50, 20
STAR_OPERATIONS, MULTIPLY_ADD_OPERATIONS = 66, 8
PROBABILITIES = (0.025, 0.5, 0.975)
ACT = {"trace_noise_db": 0.02, "repeatability_db": 50.0, "drift_db": 50.0}


def items(times: int = 1) -> list[object]:
    """Adapter, attenuator, lead and adapter of 50 ohm; pad; adapter, lead and adapter of 75 ohm: each figure with a tolerance.

    `times` repeats either side, with an attenuator of 75 ohm where the pad cannot stand a second time.
    """

    def adapter(ohm: float, limit_db: float) -> object:
        return made.item(made.adapter(ohm, 0.04, 0.1, limit_db, 0.005), "adapter")

    def lead(ohm: float, length_m: float) -> object:
        cable = made.coax(ohm, 1.0, 0.007, limit_db=22.0, tolerance_ohm=1.5, loss_tolerance=0.1)
        return made.item(cable, "lead", length_m=length_m, length_tolerance_m=0.01)

    def attenuator(ohm: float) -> object:
        return made.item(made.pad(3.0, ohm, ohm, 0.3, 26.0, 26.0), "attenuator")

    pad = made.item(made.pad(tolerance_db=0.2, near_db=26.0, far_db=26.0), "pad")
    near_side = [adapter(50, 26), attenuator(50), lead(50, 0.5), adapter(50, 28)]
    far_side = [adapter(75, 24), lead(75, 1.0), adapter(75, 24)]
    return [*near_side * times, pad, *far_side, *[attenuator(75), *far_side] * (times - 1)]


def way_of(points: int, times: int = 1, **near: float) -> Measurement:
    """The measurement at so many points."""
    setup = made.setup_of(items(times), freq_hz=(174e6, 240e6, points), **near)
    return measurement(setup, build(setup))


def reading_of(points: int) -> np.ndarray:
    """A reading that turns over the sweep as one behind a few metres of lead does."""
    return 0.06 * np.exp(1j * np.linspace(0, 6, points))


def seconds(work: Callable[[], object], repeats: int = 3) -> float:
    """Least time of several [s]."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def ours(draws: int, way: Measurement, repeats: int = 3) -> float:
    """Seconds of the whole Monte Carlo."""
    reading = reading_of(way.freq_hz.size)
    return seconds(lambda: recovered_quantiles(way, reading, PROBABILITIES, draws), repeats)


def _undone(s: np.ndarray, reading: np.ndarray) -> np.ndarray:
    away = reading - s[:, 0, 0]
    return np.abs(away / (s[:, 0, 1] * s[:, 1, 0] + s[:, 1, 1] * away))


def by_networks(way: Measurement) -> float:
    """Seconds that scikit-rf would take for every draw, from a few of them, the same arrays given."""
    import skrf
    from skrf.network import cascade_list

    rng, reading = np.random.default_rng(1), reading_of(POINTS)
    frequency = skrf.Frequency.from_f(way.freq_hz, unit="hz")
    making = seconds(lambda: [draw(piece, rng, 1000) for piece in way.after]) * DRAWS / 1000
    drawn = [np.ascontiguousarray(np.broadcast_to(draw(p, rng, FEW), (FEW, POINTS, 2, 2))) for p in way.after]
    ohms = [np.broadcast_to([piece.near_ohm, piece.far_ohm], (POINTS, 2)) for piece in way.after]

    def joined() -> None:
        for index in range(FEW):
            networks = [
                skrf.Network(frequency=frequency, s=s[index], z0=ohm) for s, ohm in zip(drawn, ohms, strict=True)
            ]
            _undone(cascade_list(networks).s, reading)

    sample = rng.random((DRAWS, POINTS))
    quantiles = seconds(lambda: np.quantile(sample, PROBABILITIES, axis=0), 1)
    return making + seconds(joined) * DRAWS / FEW + quantiles


def by_media(way: Measurement) -> float:
    """The same with every element made by scikit-rf's media, one draw at a time."""
    import skrf
    from skrf.media import DefinedGammaZ0
    from skrf.network import cascade_list

    rng, reading = np.random.default_rng(1), reading_of(POINTS)
    frequency = skrf.Frequency.from_f(way.freq_hz, unit="hz")

    def junction(radius: float, ohm: float) -> object:
        r = radius * np.sqrt(rng.random()) * np.exp(2j * np.pi * rng.random())
        s = np.broadcast_to([[r, np.sqrt(1 - abs(r) ** 2)], [np.sqrt(1 - abs(r) ** 2), -np.conj(r)]], (POINTS, 2, 2))
        return skrf.Network(frequency=frequency, s=s, z0=ohm)

    def element(piece: Line | Box) -> list[object]:
        if isinstance(piece, Box):
            return [skrf.Network(frequency=frequency, s=piece.s, z0=[[piece.near_ohm, piece.far_ohm]] * POINTS)]
        gamma = (piece.loss_np + 1j * piece.phase_rad) * rng.uniform(piece.length_low, piece.length_high)
        media = DefinedGammaZ0(frequency, gamma=gamma, z0=piece.impedance_ohm.real, z0_port=piece.near_ohm)
        if piece.inside_radius is not None:
            place = rng.random()
            middle = junction(float(piece.inside_radius[0]), piece.near_ohm)
            return [media.line(place, "m"), middle, media.line(1 - place, "m")]
        ends = [junction(float(piece.near_radius[0]), piece.near_ohm) for _ in range(2)]
        return [ends[0], media.line(1.0, "m"), ends[1]]

    def joined() -> None:
        for _ in range(FEWER):
            _undone(cascade_list([each for piece in way.after for each in element(piece)]).s, reading)

    return seconds(joined, 1) * DRAWS / FEWER


def cascade_share(points: int = 13_000, repeats: int = 600) -> float:
    """Operations per second of the cascade of eight two-ports over those of numpy's own a*b + c, one thread each.

    Both in the cache: as in the Monte Carlo, each two-port is joined while it is still there (two of them take turns).
    """
    rng = np.random.default_rng(1)

    def complex_of(*shape: int) -> np.ndarray:
        return 0.2 * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape))

    def multiply_add_s(size: int) -> float:
        a, b, c, out = (complex_of(size) for _ in range(4))
        return seconds(lambda: np.add(np.multiply(a, b, out=out), c, out=out), 3 * repeats)

    pair = [twoport.empty((points,)) for _ in range(2)]
    for s in pair:
        s[...] = complex_of(points, 2, 2)
    parts, out = [pair[index % 2] for index in range(ITEMS)], twoport.empty((points,))
    own = STAR_OPERATIONS * (ITEMS - 1) * points / seconds(lambda: twoport.cascade(parts, out), repeats)
    theirs = max(MULTIPLY_ADD_OPERATIONS * size / multiply_add_s(size) for size in (4_000, 8_000, 12_000, 16_000))
    return own / theirs


def processor_s(works: dict[int, Callable[[], object]], repeats: int = 4) -> dict[int, float]:
    """Least processor time of each piece of work, all threads together, taken in turns so that no other load favours one [s]."""
    least = dict.fromkeys(works, float("inf"))
    for _ in range(repeats):
        for size, work in works.items():
            begun = time.process_time()
            work()
            least[size] = min(least[size], time.process_time() - begun)
    return least


def exponents() -> dict[str, float]:
    """Slopes of log processor time over log draws, points and items."""

    def run(draws: int, way: Measurement) -> Callable[[], object]:
        reading = reading_of(way.freq_hz.size)
        return lambda: recovered_quantiles(way, reading, PROBABILITIES, draws)

    def slope(works: dict[int, Callable[[], object]]) -> float:
        times = processor_s(works)
        return float(np.polyfit(np.log(list(times)), np.log(list(times.values())), 1)[0])

    return {
        "draws": slope({n: run(n, way_of(128, **ACT)) for n in (5_000, 10_000, 20_000, 40_000)}),
        "points": slope({n: run(4_000, way_of(n, **ACT)) for n in (256, 512, 1024)}),
        "items": slope({ITEMS * n: run(4_000, way_of(256, n)) for n in (1, 2, 4)}),
    }


def own_peak_mb() -> float:
    """Largest resident memory of this process [MB]; on Linux without what it inherited from the one that started it."""
    status = Path("/proc/self/status")
    if status.exists():
        found = next((line for line in status.read_text(encoding="utf-8").splitlines() if line.startswith("VmHWM")), "")
        if found:
            return int(found.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def peak_mb(draws: int, points: int) -> float:
    """Largest resident memory of a process that does one whole Monte Carlo and nothing else [MB]."""
    command = [sys.executable, __file__, str(draws), str(points)]
    return float(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))


def measure() -> dict[str, object]:
    """Figures of the Monte Carlo, each under the key it is reported by."""
    way = way_of(POINTS, **ACT)
    taken = ours(DRAWS, way)
    networks, media = by_networks(way), by_media(way)
    return {
        "montecarlo_s": taken,
        "montecarlo_processor_s": processor_s({POINTS: lambda: ours(DRAWS, way, 1)})[POINTS],
        "montecarlo_vs_scikit_rf": networks / taken,
        "montecarlo_vs_scikit_rf_media": media / taken,
        "cascade_share_of_numpy": cascade_share(),
        "exponents": exponents(),
        "peak_mb_small": peak_mb(DRAWS, POINTS),
        "peak_mb": peak_mb(LARGE_DRAWS, LARGE_POINTS),
    }


if __name__ == "__main__":
    drawn, wide = (int(word) for word in sys.argv[1:])
    recovered_quantiles(way_of(wide, **ACT), reading_of(wide), PROBABILITIES, drawn)
    print(own_peak_mb())
