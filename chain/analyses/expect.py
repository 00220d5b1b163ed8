"""What the screen will show: for true matches from perfect to open, the reading, its interval and its guaranteed bound."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field, fields
from functools import cached_property, partial
from math import isclose, isinf

import numpy as np
from numpy.typing import NDArray

from chain.analyses.impedances import items_to_turn
from chain.analyses.improvements import SetupChange, best_improvement, over_sweep
from chain.arrays import Real, median
from chain.assembly.cascade import build
from chain.reflection import magnitude_from_return_loss, magnitude_from_vswr, return_loss_db, vswr
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Setup
from chain.uncertainty.bounds import reading_bound
from chain.uncertainty.contributions import largest, without
from chain.uncertainty.intervals import (
    Accuracy,
    Progress,
    draw_count,
    draws_remark,
    intervals,
    of_magnitude,
    settled_intervals,
    whole_batches,
)
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps
from chain.uncertainty.reading_ranges import (
    hardest_places,
    proving_by_more_trials,
    proving_everywhere,
    reading_grid,
    reading_ranges,
)
from library.frozen import dataclass

TRUE_VSWR: tuple[float, ...] = (1.0, 1.1, 1.2, 1.5, 2.0, 2.5, 3.0, 5.0, 10.0, float("inf"))
TRUE_RETURN_LOSS_DB = (30.0, 20.0, 15.0, 12.0, 10.0, 8.0, 6.0, 3.0, 1.0)
CURVE = np.linspace(0, 1, 51)
PHASES = np.exp(2j * np.pi * (np.arange(72) + 0.5) / 72)[:, None]
BLAME_DRAWS = 4000
TOGETHER = 500
NOTHING_PROVES = "no reading proves it with this chain"


@dataclass(frozen=True)
class ExpectedReading:
    """One true VSWR at the worst frequency, with what the screen shows for it; every figure is a VSWR."""

    true_vswr: float
    reading_vswr: float
    reading_low: float
    reading_high: float
    bound_low: float
    bound_high: float


@dataclass(frozen=True)
class ReadingAim:
    """Highest reading that proves the limit at every frequency; `vswr` is None with a reason where there is none."""

    vswr: float | None
    reason: str
    looked_for: Callable[[], str] = field(default=str, repr=False, compare=False)

    @cached_property
    def blame(self) -> str:
        """The item, residual or standard whose absence would help most, found when it is asked for."""
        return self.looked_for()


@dataclass(frozen=True)
class _DrawnMeasurement:
    """A measurement, and how often and with which seed it is drawn."""

    measurement: Measurement
    draws: int
    seed: int

    def readings(self, magnitude: Real, place: int | None) -> dict[str, Real]:
        """Readings of each true magnitude at one place or over the sweep, and the ceiling, as VSWR, shape (magnitudes, frequencies)."""
        only = None if place is None else slice(place, place + 1)
        ranges = reading_ranges(self.measurement, magnitude, self.draws, self.seed, only=only)
        here = self.measurement if only is None else self.measurement.at(only)
        return _as_vswr(here, ranges, magnitude)

    def grid(self, magnitude: Real, exact: NDArray[np.bool_], places: NDArray[np.intp]) -> dict[str, Real]:
        """The same of many magnitudes at some places; those that are not exact are drawn less often."""
        ranges = reading_grid(self.measurement, magnitude, exact, places, self.draws, self.seed)
        return _as_vswr(self.measurement.at(places), ranges, magnitude)


APART = ("rows", "aim_bound", "aim_reading", "drawn", "improvement")
"""Fields that a dictionary has in another form."""


@dataclass(frozen=True, repr=False)
class Expectation(ResultTable):
    """Answer of `expect`. Readings are in `reading_ohm` at `plane`, true values in `far_ohm` at the antenna."""

    ROWS = "rows"
    COLUMNS = ("true_vswr", "reading_vswr", "reading_low", "reading_high", "bound_low", "bound_high")

    title: str
    plane: str
    reading_ohm: float
    far_ohm: float
    freq_hz: Real
    worst_hz: float
    limit_vswr: float | None
    rows: tuple[ExpectedReading, ...]
    ceiling_vswr: float
    ceiling_bound_vswr: float
    aim_bound: ReadingAim
    aim_reading: ReadingAim
    coverage: float
    seed: int
    draws: int
    accuracy: Accuracy | None
    """What the number of trials was settled by; None where it was given."""
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    drawn: _DrawnMeasurement
    """What the sweep and the curve are made from when they are asked for."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that prints and plots show one."""
    improvement: SetupChange | None = None
    """What would narrow the interval at the limit, where no reading proves it; None where nothing does, or none is needed."""
    could_move_plane: bool = True
    turned: tuple[str, ...] = ()
    """Ids of pads that stand in the set-up the wrong way round."""
    """The analyzer can be calibrated at the end of the chain too."""

    @cached_property
    def sweep(self) -> dict[str, Real]:
        """The figures of the rows at every frequency, shape (true VSWRs, frequencies) each, and the ceiling over frequency."""
        true = np.array([row.true_vswr for row in self.rows])
        return {"true_vswr": true, **self.drawn.readings(np.asarray(magnitude_from_vswr(true)), None)}

    @cached_property
    def curve(self) -> dict[str, Real]:
        """The same as the rows at the same frequency, from a perfect antenna to an open in 51 even steps of reflection."""
        found = self.drawn.readings(CURVE, int(np.argmin(np.abs(self.freq_hz - self.worst_hz))))
        del found["ceiling_vswr"]
        return {"true_vswr": vswr(CURVE), **{name: values[:, 0] for name, values in found.items()}}

    def over_sweep(self, true_vswr: float) -> dict[str, Real]:
        """The figures of one true VSWR at every frequency, shape (1, frequencies) each, and the ceiling over frequency."""
        return self.drawn.readings(np.array([magnitude_from_vswr(true_vswr)]), None)

    def grid(self, true_vswr: Real, places: NDArray[np.intp]) -> dict[str, Real]:
        """The figures of `sweep` for many true VSWRs in order at some places; those of the rows take all the trials."""
        exact = np.isin(true_vswr, [row.true_vswr for row in self.rows])
        return {"true_vswr": true_vswr, **self.drawn.grid(np.asarray(magnitude_from_vswr(true_vswr)), exact, places)}

    @property
    def nothing_connected_vswr(self) -> float:
        """What the screen shows with nothing connected; the ceiling where that was not asked for."""
        return next((row.reading_vswr for row in self.rows if isinf(row.true_vswr)), self.ceiling_vswr)

    def headline(self) -> str:
        """Title, frequency, and the two references."""
        where = f"at {self.worst_hz / 1e6:g} MHz; true VSWR in {self.far_ohm:g} ohm, screen in {self.reading_ohm:g} ohm"
        if self.limit_in_db:
            where = where.replace("true VSWR", "true return loss")
            loss_db = float(return_loss_db(magnitude_from_vswr(self.nothing_connected_vswr)))
            return f"{self.title}: {where}, {loss_db:.1f} dB with nothing connected"
        return f"{self.title}: {where}, {self.nothing_connected_vswr:.2f} with nothing connected"

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        rows = [vars(row) for row in self.rows]
        return plain_values(  # type: ignore[return-value]
            {
                "schema_version": SCHEMA_VERSION,
                **{each.name: getattr(self, each.name) for each in fields(self) if each.name not in APART},
                "sweep": self.sweep,
                "curve": self.curve,
                "accuracy": None if self.accuracy is None else vars(self.accuracy),
                "rows": rows,
                "aim_bound_vswr": self.aim_bound.vswr,
                "aim_bound_reason": self.aim_bound.reason,
                "aim_reading_vswr": self.aim_reading.vswr,
                "aim_reading_reason": self.aim_reading.reason,
                "improvement": None if self.improvement is None else vars(self.improvement),
                "blame": self.aim_reading.blame or self.aim_bound.blame,
            }
        )


def expect(
    setup: Setup,
    true_vswr: Sequence[float] = (),
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
    digits: int = 1,
) -> Expectation:
    """Readings to expect of a set-up.

    Parameters
    ----------
    setup : the set-up.
    true_vswr : true VSWRs wanted; a range from perfect to open, with the limit, if left out [-].
    draws : simulated measurements for the interval, rounded up to whole thousands, at least 1000; as many as `digits` needs if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.
    digits : significant digits wanted of the interval's ends, 1 or 2.

    Returns
    -------
    Expectation, its rows at the frequency where the limit (or a VSWR of 2) is least certain.

    Raises
    ------
    FitError, RangeError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import expect, load_setup
    >>> found = expect(load_setup("demo/boathouse.toml"), true_vswr=[2.0], draws=2000)
    >>> row = found.rows[0]
    >>> row.bound_low < row.reading_low < row.reading_vswr < row.reading_high < row.bound_high
    True

    Source
    ------
    Nominal: unknowns at zero, median over the antenna's phase. Interval: `chain.uncertainty.reading_ranges`.
    Bound:
    `chain.uncertainty.bounds`.
    """
    measurement = measurement_of(setup, build(setup))
    wanted = _wanted(setup, true_vswr)
    magnitude = np.asarray(magnitude_from_vswr(np.array(wanted)))
    known = nominal_maps(measurement)
    limit = setup.far.limit_vswr
    reported = float(magnitude_from_vswr(limit if limit is not None else 2.0))
    report = progress or (lambda _: None)
    accuracy = _accuracy(measurement, reported, digits, seed) if draws is None else None
    # One frequency may settle with fewer trials than keep the stated risk over a sweep.
    count = draws or max(draw_count(measurement.freq_hz.size), accuracy.draws if accuracy else 0)
    worst, proving = _at_limit(measurement, reported, limit is not None, count, seed, report)
    if proving is not None and np.isnan(proving[0]):
        proving = proving_by_more_trials(measurement, reported, seed)
    drawn = _DrawnMeasurement(measurement, count, seed)
    aims = _bound_aim(measurement, limit), _interval_aim(measurement, proving, reported, seed)
    helps = None
    if limit is not None and not any(each.vswr for each in aims):
        helps = best_improvement(setup, float(measurement.freq_hz[worst]), reported, setup.near.has_phase, seed)
        helps = None if helps is None else over_sweep(setup, helps, reported, seed)
    return Expectation(
        setup.title,
        setup.calibration.plane,
        measurement.reading_ohm,
        measurement.far_ohm,
        measurement.freq_hz,
        float(measurement.freq_hz[worst]),
        limit,
        _rows(wanted, drawn.readings(magnitude, worst)),
        float(vswr(known.ceiling().max())),
        # Of passive ends the full reflections reach furthest: maximum modulus principle, the map being analytic in the disc.
        float(vswr(reading_bound(measurement, np.ones(measurement.freq_hz.size), lower=False)[1].max())),
        *aims,
        COVERAGE,
        seed,
        whole_batches(count),
        accuracy,
        setup.assumed,
        (*setup.warnings, *draws_remark(draws)),
        drawn,
        setup.far.limit_in_db,
        helps,
        bool(setup.items) and setup.calibrates(setup.items[-1].id),
        items_to_turn(setup),
    )


def _at_limit(
    measurement: Measurement, reported: float, proves: bool, count: int, seed: int, report: Progress
) -> tuple[int, tuple[float, int] | None]:
    """Place where the readings of the limit range widest, and the reading that proves it everywhere, if that is asked for."""
    if proves:
        return hardest_places(measurement, reported, count, seed, report)
    low, high = reading_ranges(measurement, np.array([reported]), count, seed, report)
    return int(np.argmax(high[0] - low[0])), None


def _rows(wanted: Sequence[float], found: dict[str, Real]) -> tuple[ExpectedReading, ...]:
    names = ("reading_vswr", "reading_low", "reading_high", "bound_low", "bound_high")
    return tuple(
        ExpectedReading(true, *(float(found[name][index, 0]) for name in names)) for index, true in enumerate(wanted)
    )


def _accuracy(measurement: Measurement, reported: float, digits: int, seed: int) -> Accuracy | None:
    """Trials that settle the interval of the limit in the middle of the sweep."""
    # Every further frequency would cost as many trials again.
    middle = measurement.freq_hz.size // 2
    here = measurement.at(slice(middle, middle + 1))
    seen = of_magnitude(here, reported, False)
    start = draw_count(measurement.freq_hz.size)
    return settled_intervals(lambda count: intervals(here, seen, draws=count or start, seed=seed), None, digits)[1]


def _as_vswr(measurement: Measurement, ranges: tuple[Real, Real], magnitude: Real) -> dict[str, Real]:
    known = nominal_maps(measurement)
    nominal = np.stack([median(np.abs(known.reading(g * PHASES))) for g in magnitude])
    bounds = reading_bound(measurement, np.broadcast_to(magnitude, (measurement.freq_hz.size, magnitude.size)))
    # Noise is normal in the trials and cut in the bound; a perfect antenna's nominal reading is the least there is.
    low = np.clip(np.minimum(ranges[0], nominal), bounds[0].T, bounds[1].T)
    high = np.clip(np.maximum(ranges[1], nominal), bounds[0].T, bounds[1].T)
    return {
        "reading_vswr": vswr(nominal),
        "reading_low": vswr(low),
        "reading_high": vswr(high),
        "bound_low": vswr(bounds[0].T),
        "bound_high": vswr(bounds[1].T),
        "ceiling_vswr": vswr(known.ceiling()[0]),
    }


def _wanted(setup: Setup, true_vswr: Sequence[float]) -> tuple[float, ...]:
    if len(true_vswr):
        return tuple(float(value) for value in true_vswr)
    return true_values(setup.far.limit_vswr, setup.far.limit_in_db)


def true_values(limit_vswr: float | None, in_db: bool) -> tuple[float, ...]:
    """Antennas to show readings of, as VSWR from a perfect one to an open, round in the unit of the limit."""
    round_ones = TRUE_VSWR
    if in_db:
        losses = magnitude_from_return_loss(np.array(TRUE_RETURN_LOSS_DB))
        round_ones = (1.0, *(float(each) for each in vswr(losses)), float("inf"))
    if limit_vswr is None:
        return round_ones
    return tuple(sorted([limit_vswr, *(each for each in round_ones if not isclose(each, limit_vswr, rel_tol=1e-6))]))


def bound_aim(measurement: Measurement, limit: float) -> Real:
    """Highest reading, at each frequency, that no end worse than a limit can give.

    Source: Least of the lower bounds of every end from the limit to a full reflection.
    """
    # Errors may cancel a larger reflection better than a smaller one, so every size beyond the limit is asked.
    worse = np.concatenate([[limit], np.linspace(limit, 1, 81)[1:]])
    lowest = []
    # Some frequencies at a time, so that a long sweep fits into memory.
    for start in range(0, measurement.freq_hz.size, TOGETHER):
        here = measurement.at(slice(start, start + TOGETHER))
        sizes = np.broadcast_to(worse, (here.freq_hz.size, worse.size))
        lowest.append(reading_bound(here, sizes, upper=False)[0].min(axis=-1))
    return np.concatenate(lowest)


def _bound_aim(measurement: Measurement, limit_vswr: float | None) -> ReadingAim:
    if limit_vswr is None:
        return ReadingAim(None, "no limit is stated")
    limit = float(magnitude_from_vswr(limit_vswr))
    aims = bound_aim(measurement, limit)
    aim, worst = float(aims.min()), int(aims.argmin())
    here = measurement.at(slice(worst, worst + 1))
    blame = partial(_bound_blame, here, limit)
    return ReadingAim(float(vswr(aim)), "", blame) if aim > 0 else ReadingAim(None, NOTHING_PROVES, blame)


def _interval_aim(measurement: Measurement, proving: tuple[float, int] | None, limit: float, seed: int) -> ReadingAim:
    if proving is None:
        return ReadingAim(None, "no limit is stated")
    reading, worst = proving
    blame = partial(_interval_blame, measurement.at(slice(worst, worst + 1)), limit, seed)
    if np.isnan(reading):
        return ReadingAim(None, NOTHING_PROVES, blame)
    return ReadingAim(float(vswr(reading)), "", blame)


def _interval_blame(here: Measurement, limit: float, seed: int) -> str:
    """The unknown (item, standard, noise, drift, re-mating, flex or swap) without which the reading that proves the limit is highest.

    Where none proves it even then, the one without which the interval at the limit is narrowest.
    """
    every = ("", *largest(here, limit))
    freed = {name: without(here, name) if name else here for name in every}

    def aim(name: str) -> float:
        reading, _ = proving_everywhere(freed[name], limit, BLAME_DRAWS, seed, roughly=True)
        # Trials are kept in single precision: what differs in the seventh digit is a tie.
        return round(float(np.nan_to_num(reading, nan=0.0)), 6)

    def width(name: str) -> float:
        seen = of_magnitude(freed[name], limit, False)
        ends = intervals(freed[name], seen, draws=BLAME_DRAWS, seed=seed).ends
        return float(ends.high[0] - ends.low[0])

    # On threads this takes longer: single places are many small steps, for which they would only queue.
    aims = {name: aim(name) for name in every}
    best = [name for name in every if aims[name] == max(aims.values())]
    return best[0] if len(best) == 1 else min(best, key=width)


def _bound_blame(measurement: Measurement, limit: float) -> str:
    """The unknown that, taken away, most raises the reading that the bound proves; else the one with the widest reach."""
    best, name = float(bound_aim(measurement, limit)[0]), ""
    every = {each: without(measurement, each) for each in largest(measurement, limit)}
    for each, freed in every.items():
        value = float(bound_aim(freed, limit)[0])
        # By more than rounding, so that the first of equals is not displaced by the next.
        if value > best + 1e-9:
            best, name = value, each
    if name:
        return name
    third = np.full((measurement.freq_hz.size, 1), 1 / 3)
    ends = {each: reading_bound(freed, third) for each, freed in every.items()}
    return min(ends, key=lambda each: (ends[each][1] - ends[each][0]).max(), default="")
