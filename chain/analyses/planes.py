"""Where to calibrate: the same set-up at every possible plane, side by side, and one plane recommended in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from chain.assembly.cascade import build, sweep_hz
from chain.assembly.graph import BLOCKING, item_ends
from chain.reflection import magnitude_from_vswr, vswr
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Calibration, Item, Setup
from chain.uncertainty.contributions import only
from chain.uncertainty.intervals import (
    Accuracy,
    Kept,
    draws_remark,
    intervals,
    intervals_of,
    of_magnitude,
    settled_intervals,
)
from chain.uncertainty.measurement import Measurement, measurement_of, recovering
from chain.uncertainty.parallel import in_order
from chain.uncertainty.streams import BATCH
from library.frozen import dataclass
from library.mating import bridging_adapters, mate
from library.records import Adapter

TEST_NOISE = 1e-3
"""Noise of a raw reflection used to find a plane's noise gain; the gain does not depend on it while it is small."""
DRAWS = 16_000
"""Trials at each plane: its ends to about a hundredth of the interval, which is what stands side by side."""


@dataclass(frozen=True)
class Plane:
    """A plane and what is read there, with the interval of a true VSWR. Ends are VSWR; None is infinite."""

    plane: str
    what: str
    standards: str
    connector: str
    has_phase: bool
    reading_ohm: float
    true_vswr: float
    low: float
    high: float
    limit_vswr: float
    limit_low: float
    limit_high: float
    noise_gain_db: float
    assumed: bool
    """The load's return loss is assumed, not stated."""


@dataclass(frozen=True, repr=False)
class Planes(ResultTable):
    """Answer of `compare`, at the frequency `freq_hz`."""

    ROWS = "planes"
    COLUMNS = (
        "plane",
        "standards",
        "true_vswr",
        "low",
        "high",
        "limit_vswr",
        "limit_low",
        "limit_high",
        "noise_gain_db",
    )

    title: str
    freq_hz: float
    planes: tuple[Plane, ...]
    recommended: str
    reason: str
    coverage: float
    seed: int
    draws: int
    """Most that any of the planes took."""
    accuracy: Accuracy | None
    """What the number of trials was settled by, at the plane that is known least well; None where it was given."""
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    missing: tuple[str, ...] = ()
    """Planes that are left out because the library lacks a part for them, each with what it lacks."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that prints and plots show one."""
    if_it_can: Plane | None = None
    """After the last item, where the analyzer is taken to calibrate at its port only because the file says nothing of it."""

    def headline(self) -> str:
        """Title and what is recommended."""
        return f"{self.title} at {self.freq_hz / 1e6:g} MHz: {self.reason}"

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        own = {**vars(self), "planes": [vars(each) for each in self.planes]}
        own["if_it_can"] = None if self.if_it_can is None else vars(self.if_it_can)
        own["accuracy"] = None if self.accuracy is None else vars(self.accuracy)
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]


@dataclass(frozen=True)
class _PlaneOption:
    name: str
    what: str
    setup: Setup
    has_phase: bool = False
    assumed: bool = False


def compare(
    setup: Setup,
    true_vswr: float = 1.5,
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
    digits: int = 1,
) -> Planes:
    """Compare the possible planes of a set-up at the top of its sweep.

    Parameters
    ----------
    setup : the set-up.
    true_vswr : true VSWR whose interval is shown beside that of the limit [-].
    draws : simulated measurements for each interval, rounded up to whole thousands, at least 1000; as many as `digits` needs if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.
    digits : significant digits wanted of the interval's ends, 1 or 2.

    Returns
    -------
    Planes; narrowest interval at the limit recommended among those that need no part to be bought or made.

    Examples
    --------
    >>> from chain import compare_planes, load_setup
    >>> found = compare_planes(load_setup("demo/boathouse.toml"), draws=2000)
    >>> found.planes[0].plane, found.recommended
    ('near', 'lead')

    Source
    ------
    `chain.uncertainty.one_sided_tests` on simulated calibrations; noise gain is the recovered error over the noise of one raw reading.
    """
    freq = float(sweep_hz(setup)[-1])
    limit = setup.far.limit_vswr if setup.far.limit_vswr is not None else 2.0
    straight = _may_go_straight(setup)
    direct = _bridge(setup) if straight else None
    options = list(_options(setup, direct))
    more = _if_it_can(setup)

    def found(option: _PlaneOption) -> tuple[Plane, Accuracy | None, int]:
        measurement = measurement_of(option.setup, build(option.setup, np.array([freq]), fit=False))
        ends, accuracy, drawn = _ends(measurement, option.has_phase, (true_vswr, limit), (draws, digits, seed))
        gain_db = _noise_gain_db(measurement, float(magnitude_from_vswr(true_vswr)), seed)
        return _row(option, measurement, (true_vswr, limit), ends, gain_db), accuracy, drawn

    rows, settled, most = [], [], 0
    for index, (row, accuracy, drawn) in enumerate(in_order(found, [*options, *more], many=True)):
        rows.append(row)
        settled += [] if accuracy is None else [accuracy]
        most = max(most, drawn)
        if progress is not None:
            progress((index + 1) / (len(options) + len(more)))
    rows, beyond = rows[: len(options)], rows[len(options) :]
    named, reason = _recommend(rows)
    least = max(settled, key=lambda each: (not each.settled, each.end_error), default=None)
    return Planes(
        setup.title,
        freq,
        tuple(rows),
        named,
        reason,
        COVERAGE,
        seed,
        most,
        least,
        setup.assumed,
        (*setup.warnings, *_left_out(setup), *draws_remark(draws)),
        _missing(setup) if straight and direct is None else (),
        setup.far.limit_in_db,
        beyond[0] if beyond else None,
    )


def _ends(
    found: Measurement, has_phase: bool, true: tuple[float, float], run: tuple[int | None, int, int]
) -> tuple[list[tuple[float, float]], Accuracy | None, int]:
    """Intervals of the true VSWRs, whose trials settle the last of them."""
    draws, digits, seed = run
    sizes = [float(magnitude_from_vswr(value)) for value in true]
    seen = of_magnitude(found, sizes[-1], has_phase)
    kept = Kept()
    made, accuracy = settled_intervals(
        lambda count: intervals(found, seen, draws=count or DRAWS, seed=seed, kept=kept), draws, digits
    )
    ends = intervals_of(found, sizes, has_phase, made.draws, seed, kept)
    return [(float(low[0]), float(high[0])) for low, high in ends], accuracy, made.draws


def _options(setup: Setup, direct: tuple[Item, ...] | None) -> Iterator[_PlaneOption]:
    plain, phase = setup.calibration, setup.near.has_phase
    if setup.calibrates("near"):
        yield _PlaneOption("near", "at the analyzer's own port", _at(setup, replace(plain, plane="near")), phase)
    assumed = "load" in plain.typical
    for item in setup.places_to_calibrate():
        here = replace(plain, plane=item.id)
        ohm = item_ends(item)[1].line_ohm
        if plain.plane != item.id:
            here = replace(here, load_impedance_ohm=None)
        yield _PlaneOption(item.id, f"after '{item.id}'", _at(setup, here), phase, assumed and ohm > 0)
    if setup.calibrates(setup.items[-1].id):
        yield from _other_loads(setup, setup.items[-1])
    if direct is not None:
        through = " and ".join(item.part.id for item in direct)
        words = f"antenna straight on the analyzer{' through ' if through else ''}{through}; complex reading converted"
        yield _PlaneOption("no pad", words, replace(setup, items=direct, calibration=Calibration()), True)


def _if_it_can(setup: Setup) -> list[_PlaneOption]:
    """The plane at the antenna, where nothing says whether the analyzer can be calibrated there and it is taken that it cannot."""
    if setup.near.calibrates_at or not setup.items or setup.calibrates(setup.items[-1].id):
        return []
    last = setup.items[-1].id
    can = replace(setup, near=replace(setup.near, calibrates_at=("near", last)))
    found = next((each for each in _options(can, None) if each.name == last), None)
    return [] if found is None else [found]


def _may_go_straight(setup: Setup) -> bool:
    """Whether a reading without the pad could be converted: it needs a phase and the analyzer's own calibration."""
    return setup.near.has_phase and setup.calibrates("near")


def _left_out(setup: Setup) -> tuple[str, ...]:
    """Says that a chain of dozens of items has more places than are compared."""
    every, compared = len(setup.places_to_calibrate(len(setup.items))), len(setup.places_to_calibrate())
    return (f"{compared} places to calibrate, evenly spread among {every}, are compared",) if compared < every else ()


def _missing(setup: Setup) -> tuple[str, ...]:
    """What the library lacks for a plane that would otherwise be compared."""
    joined = f"{setup.near.connector} to {setup.far.connector}"
    return (f"antenna straight on the analyzer: the library has no single adapter that joins {joined}",)


def _other_loads(setup: Setup, last: Item) -> Iterator[_PlaneOption]:
    """The plane at the antenna with other loads; what is known of the other standards stays."""
    plain, phase = setup.calibration, setup.near.has_phase
    bare = replace(plain, plane=last.id, load_impedance_ohm=None)
    shop = replace(bare, load_db=20.0)
    words = "as above, with a shop terminator of 20 dB"
    yield _PlaneOption(f"{last.id}, shop terminator", words, _at(setup, shop), phase, assumed=True)
    made = replace(bare, load_inductance_h=2e-9)
    words = "as above, with a home-made load of up to 2 nH"
    yield _PlaneOption(f"{last.id}, home-made load", words, _at(setup, made), phase, assumed=True)
    ohm = setup.near.impedance_ohm
    if item_ends(last)[1].line_ohm != ohm and phase:
        fifty = replace(bare, load_impedance_ohm=ohm)
        words = f"as above, with a {ohm:g}-ohm load; complex reading converted"
        yield _PlaneOption(f"{last.id}, {ohm:g}-ohm load", words, _at(setup, fifty), True, True)


def _bridge(setup: Setup) -> tuple[Item, ...] | None:
    """The first adapter of the library that joins the antenna to the analyzer without a pad; none where they mate.

    None where nothing in the library joins them: that plane does not exist.
    """
    library = setup.library
    near, far = setup.near.connector, setup.far.connector
    if mate(near, far, library).verdict not in BLOCKING:
        return ()
    for name in bridging_adapters(near, far, library):
        part = library.part(name) if "+" not in name else None
        if isinstance(part, Adapter):
            turned = mate(near, part.near_connector, library).verdict in BLOCKING
            ends = (part.near_connector, part.far_connector)
            return (Item("adapter", part, *(ends[::-1] if turned else ends), reversed=turned),)
    return None


def _at(setup: Setup, calibration: Calibration) -> Setup:
    return replace(setup, calibration=calibration)


def _row(
    option: _PlaneOption,
    found: Measurement,
    true: tuple[float, float],
    ends: list[tuple[float, float]],
    noise_gain_db: float,
) -> Plane:
    setup, plane = option.setup, option.setup.calibration
    if plane.plane == "near":
        connector, standards = setup.near.connector, "the analyzer's own standards"
    else:
        item = next(each for each in setup.items if each.id == plane.plane)
        connector = item_ends(item)[1].connector
        standards = f"open, short and {found.reading_ohm:g}-ohm load ({_load_words(plane)})"
    low, high, limit_low, limit_high = (float(vswr(value)) for pair in ends for value in pair)
    return Plane(
        option.name,
        option.what,
        standards,
        str(connector),
        option.has_phase,
        found.reading_ohm,
        true[0],
        low,
        high,
        true[1],
        limit_low,
        limit_high,
        noise_gain_db,
        option.assumed,
    )


def _load_words(plane: Calibration) -> str:
    return "perfect" if plane.load_db is None else f"{plane.load_db:g} dB"


def _noise_gain_db(measurement: Measurement, magnitude: float, seed: int) -> float:
    """Error of the recovered reflection from noise alone, over the noise of one raw reading."""
    found = only(replace(measurement, noise=TEST_NOISE), "noise")
    maps = recovering(found, 0, seed)
    far = magnitude * np.exp(2j * np.pi * np.random.default_rng(seed).random((BATCH, 1)))
    error = np.mean(np.abs(maps.reading(far) - far) ** 2)
    return float(10 * np.log10(error / (2 * found.noise**2)))


def _recommend(rows: list[Plane]) -> tuple[str, str]:
    """Narrowest of the set-up's own planes, a nearer one preferred at the same width; and what going without a pad gives."""
    own = [row for row in rows if "," not in row.plane and row.plane != "no pad"]
    best = min(own, key=lambda row: _width(row) * (1.0 if row.plane == "near" else 1.02))
    near = next((row for row in rows if row.plane == "near"), rows[0])
    direct = next((row for row in rows if row.plane == "no pad"), None)
    why = f"calibrate {best.what}"
    if best.plane == "near":
        why += "; no plane further out narrows the interval"
    else:
        why += (
            f", with {best.standards} on its {best.connector}: the interval is {_width(best) / _width(near):.0%} as wide as from "
            "the analyzer's port"
        )
    if direct is not None and _width(direct) < _width(best):
        why += f". Without a pad, from a complex reading, {_width(direct) / _width(near):.0%}"
    return best.plane, why


def _width(row: Plane) -> float:
    low, high = (float(magnitude_from_vswr(value)) for value in (row.limit_low, row.limit_high))
    return high - low
