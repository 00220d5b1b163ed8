"""What a network at the antenna could do: the least reflection any leaves, networks tried and compared, and one as files."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import field, replace
from pathlib import Path
from typing import ClassVar

import numpy as np

from chain.arrays import Complex, Real, distinct
from chain.errors import RangeError
from chain.files.setup_file import parse_setup
from chain.reflection import ohm_from_reflection, vswr
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.rf.network import network_s
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.tuning.crossings import Estimate, local_fit
from chain.tuning.networks import NetworkFamily, Stock, arm_row, families
from chain.tuning.prediction import magnitude_ends, worst_of
from chain.tuning.records import Band, Wanted
from chain.tuning.spans import inside, wanted_span
from chain.tuning.trials import BATCHES, antennas, bench_of, prepared
from chain.uncertainty.streams import BATCH
from library.files.save import part_text
from library.frozen import dataclass
from library.records import Coax, NetworkArm


def floor_of_quality(quality: float, low_hz: float, high_hz: float) -> float:
    """Least reflection magnitude over a span for a resonance of a given quality factor, tuned to the middle of the span.

    Source: Bode and Fano: the integral of ln(1/|G|) over angular frequency is at most pi/(R C) (Fano, J. Franklin Inst. 249,
    1950; memory), spent evenly over the span; R C = Q/(2 pi f0): exp(-pi f0/(Q (f2 - f1))).
    """
    if high_hz <= low_hz or quality <= 0:
        return 0.0
    # A resonance is symmetric about the geometric mean of two frequencies.
    return math.exp(-math.pi * math.sqrt(low_hz * high_hz) / (quality * (high_hz - low_hz)))


def quality_at(freq_hz: Real, reflection: Complex, at_hz: float, reference_ohm: float, narrowest_q: float) -> float:
    """Quality factor at a frequency, the antenna tuned there by one lossless coil or capacitor.

    Source: Q = w/(2 R) |dZ/dw + j |X|/w| (Yaghjian and Best, IEEE Trans. Antennas Propag. 53, 2005, eq. 86; memory).
    """
    value, slope = local_fit(freq_hz, np.array([at_hz]), narrowest_q)
    far, turned = complex((value @ reflection)[0]), complex((slope @ reflection)[0])
    ohm = complex(ohm_from_reflection(far, reference_ohm))
    # dZ = 2 R0 dG/(1 - G)^2, where 1 - G = 2 R0/(Z + R0); what tunes the antenna adds |X|/w to the slope of its reactance.
    rise = (ohm + reference_ohm) ** 2 * turned / (2 * reference_ohm)
    return at_hz / (2 * max(ohm.real, 1e-9)) * abs(rise + 1j * abs(ohm.imag) / at_hz)


MOST_FREQUENCIES = 25
FINALISTS = 24
"""Members of a family whose tolerance is looked at."""
RATIOS = (1.0, 4.0, 9 / 4)
"""Impedance ratios of transformers that can be bought or wound from a few turns."""
TRANSFORMER_DB, TRANSFORMER_LIMIT = 0.5, 0.1
"""Loss of a transformer, and what its own reflection may add: 20 dB; practice."""
DRUM = ("rg58", "rg59", "rg62")
"""Cables taken for granted beside those of the set-up, where the library has them."""
WORTH_DB = 0.05


@dataclass(frozen=True)
class Matched:
    """A network with what it does over the wanted span.

    `worst_vswr` is that of the antenna as recovered, for which the network was sought; its interval is of the worst wherever in the span,
    over the uncertainty of the sweep and the tolerance of the parts together; `delivered_db` is
    the power that reaches the antenna at the worst frequency, against what was available, loss of the network included.
    """

    family: str
    words: str
    arms: tuple[NetworkArm, ...]
    ratio: float
    """Impedance ratio of a transformer, antenna over lead; 0 for a network."""
    worst_vswr: Estimate
    worst_hz: float
    delivered_db: float
    dc: str
    reflection: Complex = field(repr=False, compare=False)
    low: Real = field(repr=False, compare=False)
    high: Real = field(repr=False, compare=False)


@dataclass(frozen=True, repr=False)
class Matching(ResultTable):
    """Answer of `match_network`, best first; empty where nothing brings more power to the antenna than no network does."""

    ROWS: ClassVar[str] = "networks"
    COLUMNS: ClassVar[tuple[str, ...]] = ("family", "words", "delivered_db", "dc")

    title: str
    plane: str
    far_ohm: float
    limit_vswr: float
    wanted: Wanted
    freq_hz: Real
    now: Band
    now_delivered_db: float
    now_reflection: Complex
    floor_vswr: float
    quality_factor: float
    networks: tuple[Matched, ...]
    tolerance: float
    coil_q: float
    coverage: float
    seed: int
    draws: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that prints and plots show one."""

    def headline(self) -> str:
        """Title, and what the best network does."""
        if not self.networks:
            return f"{self.title}: no network gains"
        best = self.networks[0]
        return (
            f"{self.title}: {best.words}, worst VSWR {best.worst_vswr.value:.2f} instead of {self.now.vswr.value:.2f}"
        )

    def to_dict(self) -> dict[str, object]:
        """Plain values, units in the names of the keys."""
        own = dict(vars(self))
        own["wanted"] = {**vars(self.wanted), "aim_hz": self.wanted.aim_hz}
        own["now"] = {"vswr": vars(self.now.vswr), "at_hz": self.now.at_hz}
        own["networks"] = [
            {**vars(each), "worst_vswr": vars(each.worst_vswr), "arms": [arm_row(arm) for arm in each.arms]}
            for each in self.networks
        ]
        found = plain_values({"schema_version": SCHEMA_VERSION, **own})
        return found  # type: ignore[return-value]


def stock_of(setup: Setup, stock: Stock) -> Stock:
    """The stock with the cables of the set-up and those that everybody has, one of each impedance."""
    cables = list(stock.cables) + [item.part for item in setup.items if isinstance(item.part, Coax)]
    for name in DRUM:
        part = setup.library.part(name) if name in setup.library.ids() else None
        cables += [part] if isinstance(part, Coax) else []
    kept: dict[float, Coax] = {}
    for cable in cables:
        # Stubs are short: of two cables of one impedance the loss makes no difference worth a family of its own.
        kept.setdefault(round(cable.impedance_ohm), cable)
    return Stock(stock.values, stock.tolerance, stock.coil_q, tuple(kept.values()))


def match_network(
    setup: Setup,
    readings: Readings,
    wanted_low_hz: float | None = None,
    wanted_high_hz: float | None = None,
    stock: Stock | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Matching:
    """Find the networks between lead and antenna that serve the worst wanted frequency best.

    Parameters
    ----------
    setup : the set-up the readings were taken with.
    readings : a complex sweep in the plane's reference.
    wanted_low_hz, wanted_high_hz : wanted span; the set-up's channels, else its sweep, if left out [Hz].
    stock : what networks may be made of; E24 values of 5 %, coils of Q 80, usual cables if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Matching.

    Raises
    ------
    RangeError : readings without a phase, fewer than five, or none inside the wanted span.

    Examples
    --------
    >>> from chain import load_setup, match_network, read_sweep_for
    >>> setup = load_setup("demo/loops.toml")
    >>> found = match_network(setup, read_sweep_for(setup, "demo/loops.s1p"))
    >>> found.networks[0].worst_vswr.value < found.now.vswr.value
    True

    Source
    ------
    Every member of every family through the antenna as recovered: least worst reflection, then least with every tolerance at its
    worst corner. Bode-Fano floor: `chain.tuning.matching`.
    """
    readings = prepared(readings)
    if readings.reflection is None:
        raise RangeError("the readings have no phase", "a network is computed from R and X: read a complex sweep")
    wanted = wanted_span(setup, wanted_low_hz, wanted_high_hz)
    chosen = inside(readings.freq_hz, wanted)
    if not chosen.any():
        span = f"{wanted.low_hz / 1e6:g} to {wanted.high_hz / 1e6:g} MHz"
        raise RangeError(f"no reading lies inside the wanted {span}", "sweep across the wanted channels")
    stock = stock_of(setup, stock or Stock())
    bench = bench_of(setup, readings.freq_hz)
    at = np.flatnonzero(chosen)
    # Families have thousands of members, and between so many frequencies no antenna does anything new.
    at = at[distinct(np.linspace(0, at.size - 1, min(MOST_FREQUENCIES, at.size)).round().astype(int))]
    whole = antennas(bench, readings, None, seed).far[0]
    far = whole[at]
    # The best is sought for the antenna as recovered and judged on the drawn ones: a search over trials would fit their noise.
    drawn = np.concatenate([antennas(bench, readings, batch, seed).far[:, at] for batch in range(BATCHES)])
    freq, ohm = readings.freq_hz[at], setup.far.impedance_ohm
    found: dict[str, Matched] = {}
    shapes = list(families(stock, wanted.aim_hz, ohm))
    for number, shape in enumerate(shapes):
        best = _best(shape, freq, far, ohm)
        _keep(found, _judged(shape.name, best, freq, (far, drawn), ohm, seed))
        if progress is not None:
            progress((number + 1) / len(shapes))
    for ratio in sorted({value for each in RATIOS for value in (each, 1 / each)}):
        _keep(found, _transformed(ratio, freq, (far, drawn), ohm, seed))
    # Of a full reflection nothing is delivered, which has no figure in dB.
    now_db = float(-10 * np.log10(1 - np.minimum(np.abs(far), 0.9999).max() ** 2))
    kept = [each for each in found.values() if each.delivered_db > -now_db + WORTH_DB and _feeds(setup, each)]
    quality = quality_at(readings.freq_hz, whole, wanted.aim_hz, ohm, bench.narrowest_q)
    return Matching(
        setup.title,
        setup.calibration.plane,
        ohm,
        setup.far.limit_vswr or 2.0,
        wanted,
        freq,
        worst_of(freq, far, drawn),
        -now_db,
        far,
        float(vswr(floor_of_quality(quality, wanted.low_hz, wanted.high_hz))),
        quality,
        tuple(sorted(kept, key=lambda each: each.worst_vswr.value)),
        stock.tolerance,
        stock.coil_q,
        COVERAGE,
        seed,
        drawn.shape[0],
        setup.assumed,
        (*setup.warnings, *readings.warnings),
        setup.far.limit_in_db,
    )


def _feeds(setup: Setup, found: Matched) -> bool:
    """Whether direct current that the lead carries is left in peace."""
    return not setup.far.dc_feed_v or found.dc == "pass"


def _keep(found: dict[str, Matched], new: Matched) -> None:
    """Keep the best of each family."""
    if new.family not in found or new.worst_vswr.value < found[new.family].worst_vswr.value:
        found[new.family] = new


def _seen(s: Complex, far: Complex) -> Complex:
    return np.asarray(s[..., 0, 0] + s[..., 0, 1] * s[..., 1, 0] * far / (1 - s[..., 1, 1] * far))


def _best(shape: NetworkFamily, freq_hz: Real, far: Complex, ohm: float) -> tuple[NetworkArm, ...]:
    """The member with the least worst reflection, of the finalists the one that tolerances hurt least."""
    worst = np.abs(_seen(shape.matrices(freq_hz, ohm), far)).max(axis=1)
    order = np.argsort(worst, kind="stable")[:FINALISTS]
    # The best nominal member is often a sharp one that five per cent of a part undo.
    members = [shape.member(int(index)) for index in order]
    return min(members, key=lambda arms: _at_corners(arms, freq_hz, far, ohm))


def _at_corners(arms: tuple[NetworkArm, ...], freq_hz: Real, far: Complex, ohm: float) -> float:
    count = len(arms)
    # Which corner is worst changes with frequency, and few arms have few corners: all are tried.
    signs = np.array([[1 if number >> bit & 1 else -1 for bit in range(count)] for number in range(2**count)])
    factors = [1 + arm.tolerance * signs[:, index : index + 1] for index, arm in enumerate(arms)]
    return float(np.abs(_seen(network_s(arms, freq_hz, ohm, ohm, factors), far)).max())


def _judged(
    name: str, arms: tuple[NetworkArm, ...], freq_hz: Real, antenna: tuple[Complex, Complex], ohm: float, seed: int
) -> Matched:
    """A network with the intervals that the antenna's trials and its own tolerances give together."""
    far, drawn = antenna
    # One built network for each drawn antenna, its parts off one by one.
    rng = np.random.default_rng([seed, BATCH])
    s = network_s(arms, freq_hz, ohm, ohm)
    factors = [1 + arm.tolerance * rng.uniform(-1, 1, (drawn.shape[0], 1)) for arm in arms]
    many = _seen(network_s(arms, freq_hz, ohm, ohm, factors), drawn)
    # Transducer gain from a matched lead: the network's loss and what it reflects both lie in it.
    share = np.abs(s[:, 1, 0]) ** 2 * (1 - np.abs(far) ** 2) / np.abs(1 - s[:, 1, 1] * far) ** 2
    return _matched(name, _words(arms), arms, 0.0, (freq_hz, _seen(s, far), many, share), _direct_current(arms))


def _transformed(ratio: float, freq_hz: Real, antenna: tuple[Complex, Complex], ohm: float, seed: int) -> Matched:
    """A transformer: impedances divided by its ratio, its loss seen twice, and an unknown reflection of its own."""
    far, drawn = antenna
    # Serves twice: what a reflection keeps there and back, and what power keeps once.
    once = 10 ** (-TRANSFORMER_DB / 10)

    def turned(reflection: Complex) -> Complex:
        # An impedance divided by the ratio is the same impedance in a reference that many times as large.
        step = (1 - ratio) / (1 + ratio)
        return np.asarray((reflection + step) / (1 + step * reflection))

    rng = np.random.default_rng([seed, BATCH, 1])
    own = TRANSFORMER_LIMIT * np.sqrt(rng.random((drawn.shape[0], 1)))
    own = own * np.exp(2j * np.pi * rng.random((drawn.shape[0], 1)))
    seen = turned(far)
    many = once * turned(drawn) + own
    high, low = max(ratio, 1 / ratio), "steps down" if ratio > 1 else "steps up"
    reported = "1:1" if ratio == 1 else f"{'9:4' if abs(high - 9 / 4) < 1e-9 else f'{high:g}:1'}, {low} to the lead"
    share = once * (1 - np.abs(seen) ** 2)
    return _matched("transformer", f"transformer {reported}", (), ratio, (freq_hz, once * seen, many, share), "short")


def _matched(
    name: str,
    words: str,
    arms: tuple[NetworkArm, ...],
    ratio: float,
    found: tuple[Real, Complex, Complex, Real],
    dc: str,
) -> Matched:
    freq_hz, seen, many, share = found
    worst = worst_of(freq_hz, seen, many)
    low, high = magnitude_ends(seen, many)
    return Matched(
        name,
        words,
        arms,
        ratio,
        worst.vswr,
        worst.at_hz,
        float(10 * np.log10(np.maximum(share.min(), 1e-9))),
        dc,
        seen,
        vswr(low),
        vswr(high),
    )


def _direct_current(arms: tuple[NetworkArm, ...]) -> str:
    """What a network does to direct current between lead and antenna: block, short or pass."""
    if any(arm.way == "shunt" and (arm.what == "inductor" or arm.end == "short") for arm in arms):
        return "short"
    return "block" if any(arm.way == "series" and arm.what == "capacitor" for arm in arms) else "pass"


def _words(arms: tuple[NetworkArm, ...]) -> str:
    """A network in words, from the lead to the antenna."""
    return ", ".join(_arm_words(arm) for arm in arms)


def _arm_words(arm: NetworkArm) -> str:
    if arm.what == "inductor":
        return f"{'series' if arm.way == 'series' else 'shunt'} {arm.value * 1e9:.3g} nH"
    if arm.what == "capacitor":
        return f"{'series' if arm.way == 'series' else 'shunt'} {arm.value * 1e12:.3g} pF"
    size = f"{1000 * arm.length_m:.0f} mm of {arm.value:g} ohm"
    return size if arm.way == "series" else f"{arm.end} stub, {size}"


PART = "matching-network"
ITEM = "match"
LIBRARY = re.compile(r"^library\s*=\s*\[(.*?)\]", flags=re.MULTILINE | re.DOTALL)


def part_file(setup: Setup, found: Matched) -> str:
    """The network, or the transformer, as a part file with the connectors that fit between lead and antenna."""
    row = {
        "id": PART,
        "name": f"matching network: {found.words}",
        "near": str(replace(setup.far.connector, variant="")),
        "far": str(replace(setup.items[-1].far_connector, variant="")),
        "near_ohm": setup.far.impedance_ohm,
    }
    remarks = [
        f"Made by 'chain tune --match' for: {setup.title}",
        "Near end: the lead. Far end: the antenna. Build it at the antenna, dry, with leads as short as can be.",
    ]
    source = {"evidence": "computed", "source": "chain tune --match"}
    if found.ratio:
        shape: dict[str, object] = {
            "far_ohm": setup.far.impedance_ohm * found.ratio,
            "loss_db": TRANSFORMER_DB,
            "loss_tolerance_db": TRANSFORMER_DB / 2,
            "reflection": {"return_loss_db": 20},
            "dc": "short",
        }
        return part_text("transformer", row | shape | source, remarks)
    arms = [arm_row(arm) for arm in found.arms]
    return part_text(
        "network", row | {"far_ohm": setup.far.impedance_ohm, "dc": found.dc, "arms": arms} | source, remarks
    )


def setup_text(setup: Setup, text: str, part_path: Path, folder: Path) -> str:
    """The set-up's own text with the part file named and the network as the last item before the antenna.

    The whole is read again in the folder it is meant for, so that what cannot be read is never written.
    """
    name = json.dumps(part_path.name)
    found = LIBRARY.search(text)
    if found:
        inside = found[1].strip().rstrip(",")
        listed = f"library = [{inside}, {name}]" if inside else f"library = [{name}]"
        whole = text[: found.start()] + listed + text[found.end() :]
    else:
        lines = text.splitlines(keepends=True)
        first = next((number for number, line in enumerate(lines) if line.strip() and not line.startswith("#")), 0)
        whole = "".join([*lines[:first], f"library = [{name}]\n", *lines[first:]])
    taken = {item.id for item in setup.items} | {"near", "far"}
    item = next(each for each in (ITEM, *(f"{ITEM}-{number}" for number in range(2, 99))) if each not in taken)
    whole = (
        whole.rstrip("\n")
        + f'\n\n[[chain]]                    # last before the antenna\nid = "{item}"\npart = "{PART}"\n'
    )
    made = parse_setup(whole.encode(), "the set-up with the network", folder)
    if made.items[-1].id != item:
        raise RangeError("the set-up file does not take another item at its end", "write its items as [[chain]] tables")
    return whole
