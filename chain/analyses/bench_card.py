"""The card for the bench: wiring, what known terminations read on screen and ohmmeter, what to beware of, what was measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from chain.analyses.checks import CheckResult, check
from chain.analyses.expect import Expectation, ReadingAim, expect
from chain.analyses.ohmmeter import CAUTION, DcReading, dc_card
from chain.analyses.recovery import Recovery
from chain.arrays import Real, quantiles
from chain.assembly.cascade import build, sweep_hz
from chain.findings import Finding
from chain.reflection import reflection_from_ohm, return_loss_db, vswr
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Item, Setup
from chain.uncertainty.measurement import Measurement, measurement_of, nominal_maps, simulate
from chain.uncertainty.streams import BATCH
from chain.units import format_quantity
from library.frozen import dataclass
from library.records import Coax

CARD_DRAWS = 10_000
ENDS = (("open", float("inf")), ("short", 0.0), ("75 ohm", 75.0), ("50 ohm", 50.0))
"""Ends that a bench has, by their resistance."""
MOST_PLACES = 12
"""Lines of the table to fill in, at most."""


@dataclass(frozen=True)
class EndReading:
    """What the screen shows of an ideal end at the antenna's place: nominal, and the interval that the unknowns give it."""

    end: str
    end_ohm: float
    freq_hz: float
    reading_vswr: float
    reading_low: float
    reading_high: float
    reading_return_loss_db: float


@dataclass(frozen=True)
class PlacedItem:
    """An item in the order of wiring, its connectors as placed."""

    id: str
    what: str
    near: str
    far: str


@dataclass(frozen=True)
class MeasuredPlace:
    """A line of the card filled in: a channel by its worst point, or a frequency. VSWR nominal, interval, verdict."""

    place: str
    freq_hz: float
    reading_vswr: float
    true_ohm: complex | None
    vswr: float
    low: float
    high: float
    verdict: str
    grade: str | None


MEASURED_COLUMNS = ("place", "freq_hz", "reading_vswr", "true_ohm", "vswr", "low", "high", "verdict", "grade")
NOT_KNOWN = complex(math.nan, math.nan)
"""Of a column of complex figures."""


@dataclass(frozen=True, repr=False)
class Card(ResultTable):
    """Everything for the bench. Readings of known terminations are at `plane` in `reading_ohm`, at three frequencies."""

    ROWS = "ends"
    COLUMNS = ("end", "freq_hz", "reading_vswr", "reading_low", "reading_high", "reading_return_loss_db")

    title: str
    plane: str
    reading_ohm: float
    far_ohm: float
    limit_vswr: float | None
    aim_reading: ReadingAim
    aim_bound: ReadingAim
    items: tuple[PlacedItem, ...]
    checked: CheckResult
    freq_hz: Real
    ends: tuple[EndReading, ...]
    dc: tuple[DcReading, ...]
    dc_caution: str
    at: tuple[str, ...]
    """Where the known ends are read: `freq_hz`, with the channel where the set-up names channels."""
    has_phase: bool
    """The analyzer shows more than a magnitude."""
    places: tuple[str, ...]
    """Names of the lines to fill in: channels, or frequencies."""
    recovery: Recovery | None
    """Answer to the sweep that fills the lines in; None where they are left to be filled in by hand."""
    measured: tuple[MeasuredPlace, ...]
    """The lines, filled in; of many channels those that reach highest. None without a sweep."""
    coverage: float
    seed: int
    draws: int
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that tables show one."""

    def headline(self) -> str:
        """Title, and what the readings are."""
        return f"{self.title}: screen with known terminations, {self.reading_ohm:g} ohm, {self.coverage:.0%} interval"

    def table(self) -> dict[str, Any]:
        """The known ends; with a sweep the antenna's lines below them, in columns of their own."""
        rows = super().table()
        if not self.measured:
            return rows
        below: dict[str, list[Any]] = {
            name: [getattr(each, name) for each in self.measured] for name in MEASURED_COLUMNS
        }
        below["end"] = ["antenna"] * len(self.measured)
        names = [name for name in (*rows, *below) if name in rows or set(below[name]) != {None}]
        blank = {name: NOT_KNOWN if name == "true_ohm" else None for name in names}
        return {
            name: [
                *rows.get(name, [blank[name]] * len(self.ends)),
                *below.get(name, [blank[name]] * len(self.measured)),
            ]
            for name in dict.fromkeys(names)
        }

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to beware of in the set-up and the sweep."""
        return self.checked.warnings if self.recovery is None else self.recovery.warnings

    @property
    def cautions(self) -> tuple[Finding, ...]:
        """What to beware of: stops and cautions, and the notes about power and DC."""
        return tuple(
            each for each in self.checked.findings if each.level != "note" or each.rule in ("power", "dc", "dc-heat")
        )

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        return plain_values(  # type: ignore[return-value]
            {
                "schema_version": SCHEMA_VERSION,
                "title": self.title,
                "warnings": self.warnings,
                "assumed": self.checked.assumed,
                "plane": self.plane,
                "reading_ohm": self.reading_ohm,
                "far_ohm": self.far_ohm,
                "limit_vswr": self.limit_vswr,
                "aim_reading_vswr": self.aim_reading.vswr,
                "aim_bound_vswr": self.aim_bound.vswr,
                "aim_reading_reason": self.aim_reading.reason,
                "aim_bound_reason": self.aim_bound.reason,
                "items": [vars(each) for each in self.items],
                "joints": [each.to_dict() for each in self.checked.joints],
                "freq_hz": self.freq_hz,
                "ends": [vars(each) for each in self.ends],
                "ohmmeter": [each.to_dict() for each in self.dc],
                "ohmmeter_caution": self.dc_caution,
                "cautions": [each.to_dict() for each in self.cautions],
                "at": self.at,
                "has_phase": self.has_phase,
                "places": self.places,
                "verdict": None if self.recovery is None else self.recovery.verdict,
                "grade": None if self.recovery is None else self.recovery.grade,
                "measured": [vars(each) for each in self.measured],
                "coverage": self.coverage,
                "seed": self.seed,
                "draws": self.draws,
                "null_means": {
                    "end_ohm": "an open",
                    "reading_vswr": "everything comes back",
                    "verdict": "no sweep was given",
                },
            }
        )


def card(
    setup: Setup,
    expectation: Expectation | None = None,
    checked: CheckResult | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
    recovery: Recovery | None = None,
) -> Card:
    """Everything that the bench needs of a set-up, its lines filled in where a sweep was measured.

    Parameters
    ----------
    setup : the set-up.
    expectation : answer of `chain.analyses.expect.expect` for it; computed if left out.
    checked : answer of `chain.analyses.checks.check` for it; computed if left out.
    seed : seed of the simulations.
    progress : called with the finished share, 0 to 1.
    recovery : answer of `chain.analyses.recover.recover` to a sweep; lines to fill in by hand if left out.

    Returns
    -------
    Card.

    Raises
    ------
    FitError, RangeError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import card, load_setup
    >>> found = card(load_setup("demo/boathouse.toml"))
    >>> [f"{each.near} / {each.far}" for each in found.items]
    ['N-50 plug / BNC-50 plug', 'BNC-50 jack / BNC-75 jack', 'BNC-75 plug / F-75 plug (RG-59 conductor)']
    >>> [(each.end, round(each.reading_vswr, 2)) for each in found.ends if each.freq_hz == 174e6]
    [('open', 1.71), ('short', 1.71), ('75 ohm', 1.0), ('50 ohm', 1.11)]

    Source
    ------
    Known terminations: `end_readings`. Ohms: `chain.analyses.ohmmeter`. Reading to aim for: `chain.analyses.expect`.
    """
    # A page that shows both hands its own in, so that the two cannot differ.
    known = expectation or expect(setup, seed=seed, progress=progress)
    ends = _three(setup)
    freq_hz = np.array([each for each, _ in ends])
    measured = () if recovery is None else _measured(recovery)
    measurement = measurement_of(setup, build(setup, freq_hz))
    return Card(
        setup.title,
        setup.calibration.plane,
        measurement.reading_ohm,
        measurement.far_ohm,
        setup.far.limit_vswr,
        known.aim_reading,
        known.aim_bound,
        tuple(PlacedItem(item.id, item_words(item), *_connectors(item)) for item in setup.items),
        checked or check(setup),
        freq_hz,
        end_readings(measurement, seed=seed),
        dc_card(setup),
        CAUTION,
        tuple(name for _, name in ends),
        setup.near.has_phase,
        tuple(each.place for each in measured) if measured else _places(setup, ends),
        recovery,
        measured,
        COVERAGE,
        seed,
        CARD_DRAWS,
        setup.far.limit_in_db,
    )


def _connectors(item: Item) -> tuple[str, str]:
    return str(item.near_connector), str(item.far_connector)


def _three(setup: Setup) -> list[tuple[float, str]]:
    """First, middle and last frequency or channel, each with its name; fewer where there are fewer [Hz]."""
    if setup.sweep.channels:
        every = [
            ((low + high) / 2, f"ch {name}, {_frequency((low + high) / 2)}") for name, low, high in setup.sweep.channels
        ]
        every.sort()
    else:
        every = [(float(each), _frequency(float(each))) for each in sweep_hz(setup)]
    return list(dict.fromkeys(every[index] for index in (0, len(every) // 2, -1)))


def item_words(item: Item) -> str:
    """What an item is, in a few words."""
    text = item.part.name or item.part.id
    if isinstance(item.part, Coax):
        text += f", {item.length_m:g} m"
    if item.path[0]:
        text += f", from {item.path[0]} to {item.path[1]}"
    return f"{text}, other way round" if item.reversed else text


def end_readings(measurement: Measurement, draws: int = CARD_DRAWS, seed: int = SEED) -> tuple[EndReading, ...]:
    """Readings of an open, a short and two loads at the antenna's place.

    Source: Reflection (Z - Z0)/(Z + Z0). Interval: between equal tails of the readings of drawn measurements, or from
    a match upwards where the nominal reading lies below its lower end.
    """
    known = nominal_maps(measurement)
    # The same trials read every end, so that the rows of the card go together.
    drawn = [simulate(measurement, batch, seed) for batch in range(max(1, -(-draws // BATCH)))]
    tails = [(1 - COVERAGE) / 2, (1 + COVERAGE) / 2, COVERAGE]
    found = []
    for name, ohm in ENDS:
        # The formula of an open would divide infinity by infinity.
        far = np.array(1 + 0j if np.isinf(ohm) else complex(reflection_from_ohm(ohm, measurement.far_ohm)))
        nominal = np.broadcast_to(np.abs(known.reading(far))[0], measurement.freq_hz.shape)
        seen = np.concatenate([np.abs(maps.reading(far)) for maps in drawn])
        low, high, most = quantiles(np.broadcast_to(seen, (seen.shape[0], measurement.freq_hz.size)), tails)
        # No trial is better than a match: near one the interval starts there.
        low, high = np.where(nominal < low, 0.0, low), np.where(nominal < low, most, high)
        found.append(
            [_end_reading(name, ohm, *each) for each in zip(measurement.freq_hz, nominal, low, high, strict=True)]
        )
    return tuple(each for row in zip(*found, strict=True) for each in row)


def _end_reading(name: str, ohm: float, freq_hz: float, nominal: float, low: float, high: float) -> EndReading:
    loss_db = float(return_loss_db(nominal))
    return EndReading(name, ohm, float(freq_hz), float(vswr(nominal)), float(vswr(low)), float(vswr(high)), loss_db)


def _measured(found: Recovery) -> tuple[MeasuredPlace, ...]:
    """Channels in their order, of many those with the highest upper ends; without channels the worst points by frequency."""
    if found.is_by_channel:
        return tuple(_point(found, at) for at in range(found.freq_hz.size))
    if not found.channels:
        return tuple(_point(found, at) for at in sorted(found.worst_points()))
    # Chosen by their ends and shown in the raster's order, in which they are looked for; an impossible one is the worst.
    highest = sorted(found.channels, key=lambda each: tuple(-np.nan_to_num([each.high, each.vswr], nan=np.inf)))[
        :MOST_PLACES
    ]
    return tuple(
        MeasuredPlace(
            f"ch {each.channel}, {_frequency(each.worst_hz)}",
            float(each.worst_hz),
            each.reading_vswr,
            _ohm_at(found, found.at_worst_of(each)),
            each.vswr,
            each.low,
            each.high,
            each.verdict,
            each.grade,
        )
        for each in found.channels
        if each in highest
    )


def _point(found: Recovery, at: int) -> MeasuredPlace:
    freq, channel = _frequency(float(found.freq_hz[at])), found.middle_of[at] if found.middle_of else ""
    named = f"ch {channel}, {freq}" if channel and found.named[at] else f"{freq}, ch {channel}" if channel else freq
    return MeasuredPlace(
        named,
        float(found.freq_hz[at]),
        float(found.reading_vswr[at]),
        _ohm_at(found, at),
        float(found.true_vswr[at]),
        float(found.low[at]),
        float(found.high[at]),
        found.verdicts[at],
        found.grades[at],
    )


def _ohm_at(found: Recovery, at: int) -> complex | None:
    return None if found.true_ohm is None else complex(found.true_ohm[at])


def _frequency(freq_hz: float) -> str:
    # Six digits tell 100 Hz at 99 MHz: more than any analyzer's button sets.
    return format_quantity(float(f"{freq_hz:.6g}"), "frequency")


def _places(setup: Setup, ends: Sequence[tuple[float, str]]) -> tuple[str, ...]:
    names = [f"ch {name}, {_frequency((low + high) / 2)}" for name, low, high in setup.sweep.channels]
    if not names:
        return tuple(name for _, name in ends)
    # Every so many: the lines to fill in should reach over the whole band.
    step = -(-len(names) // MOST_PLACES)
    return tuple(names[::step])
