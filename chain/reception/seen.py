"""Levels seen on air held against those predicted: differences with their intervals, and whom to suspect."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chain.errors import Defect, InputError, UnitError, quoted
from chain.files.toml import closest, decode, read_file
from chain.reception.checks import DeadAmplifier, dead_amplifier, suspects_of, with_losses
from chain.reception.formulas import pad_correction_db
from chain.reception.levels import nominal_source
from chain.reception.outlets import Reception, outlets
from chain.reception.quantities import LEVEL, parse_reception
from chain.reception.records import ANTENNA, Installation, SignalSource
from chain.reception.tree import bypassed
from chain.reception.trials import DRAWS
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.units import parse_quantity
from library.channels import named_channel
from library.frozen import dataclass
from library.reception import default

METERS = ("75", "50-pad", "50")
HEADERS = {
    "place": ("place", "at", "outlet", "where", "socket", "point"),
    "channel": ("channel", "ch", "frequency"),
    "level": ("level", "level_dbuv", "level_dbm", "level_dbmv", "reading", "dbuv", "dbm", "dbmv"),
}
UNITS = {"level_dbuv": "dBuV", "level_dbm": "dBm", "level_dbmv": "dBmV"}
UNITS |= {"dbuv": "dBuV", "dbm": "dBm", "dbmv": "dBmV"}
METER_DB = 1.5
"""Half-width of a hand-held level meter; practice."""
EXAMPLE = "place,channel,level_dbuv"


@dataclass(frozen=True)
class SeenLevel:
    """One level as read [dBuV as the meter shows it], where, and in which channel."""

    place: str
    channel: str
    shown_dbuv: float


@dataclass(frozen=True)
class SeenRow:
    """Seen against predicted, both into 75 ohm; the ends of the difference hold 95 % of what was to be expected."""

    place: str
    channel: str
    freq_hz: float
    seen_dbuv: float
    predicted_dbuv: float
    difference_db: float
    low_db: float
    high_db: float
    against: str
    """What the prediction starts from: the signal as stated, or the level seen at another place."""
    fits: bool


@dataclass(frozen=True, repr=False)
class SeenLevels(ResultTable):
    """Every level seen, those that fit least first; whom to suspect; and the answer with the levels seen for the field."""

    title: str
    rows: tuple[SeenRow, ...]
    suspects: tuple[str, ...]
    meter: str
    correction_db: float
    """What was added to the readings."""
    after: Reception
    """The installation with what was seen in place of the field and of the ways that were assumed."""
    warnings: tuple[str, ...]
    dead: DeadAmplifier | None = None
    """The amplifier that seems not to work."""

    @property
    def works(self) -> bool:
        """Whether every channel works at every outlet with the levels seen, and every amplifier seems to."""
        return self.dead is None and self.after.works

    ROWS = "rows"
    COLUMNS = (
        "place",
        "channel",
        "freq_hz",
        "seen_dbuv",
        "predicted_dbuv",
        "difference_db",
        "low_db",
        "high_db",
        "fits",
    )

    def to_dict(self) -> dict[str, object]:
        """Give the result as plain values."""
        document = {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "meter": self.meter,
            "correction_db": self.correction_db,
            "rows": [vars(row) for row in self.rows],
            "suspects": list(self.suspects),
            "dead_amplifier": None if self.dead is None else vars(self.dead),
            "works": self.works,
            "after": self.after.to_dict(),
        }
        found = plain_values(document)
        assert isinstance(found, dict)
        return found


def read_seen(path: str, installation: Installation) -> tuple[SeenLevel, ...]:
    """Read a table of levels: a line for each, under a header that names place, channel and level.

    Parameters
    ----------
    path : a text file of columns parted by commas, semicolons or tabs, such as `place,channel,level_dbuv`; `-` reads standard
        input. A place is `antenna` or an outlet; a channel its name or a frequency with its unit.
    installation : whose places and channels they are.

    Returns
    -------
    tuple of SeenLevel, as the file orders them.

    Raises
    ------
    InputError : the file is at fault; every defect with its line.

    Examples
    --------
    >>> from chain import load_installation, read_seen
    >>> house = load_installation("demo/outlets.toml")
    >>> read_seen("demo/outlets-seen.csv", house)[0].place
    'antenna'

    Source
    ------
    `chain.reception.quantities` for the units.
    """
    text = decode(read_file(path), path)
    lines = text.splitlines()
    top, mark, columns = _header(path, lines)
    defects: list[Defect] = []
    found: list[SeenLevel] = []
    lines_of: dict[tuple[str, str], int] = {}
    at, head = columns["level"]
    shown = [row[at] for row in csv.reader(lines[top:], delimiter=mark) if len(row) > at and row[at].strip()]
    if shown and head not in UNITS and not any(re.search(r"[A-Za-z]", each) for each in shown):
        what = f"the column {quoted(head)} has no unit"
        remedy = f"call it {', '.join(name for name in UNITS if name.startswith('level'))}"
        raise InputError([Defect(path, top, 1, what, remedy, lines[top - 1], max(1, len(lines[top - 1])))])
    for number, line in enumerate(lines[top:], top + 1):
        row = next(csv.reader([line], delimiter=mark), [])
        if not "".join(row).strip() or line.lstrip().startswith("#"):
            continue
        texts = {key: row[at].strip() if at < len(row) else "" for key, (at, _) in columns.items()}
        try:
            level = _level(texts, columns["level"][1], installation)
            # Of two levels of one place and channel one would be lost without a word.
            first = lines_of.setdefault((level.place, level.channel), number)
            if first != number:
                what = f"channel {quoted(level.channel)} at {quoted(level.place)} stands in line {first} already"
                raise UnitError(what, "leave one of the two out, or write their mean")
            found.append(level)
        except UnitError as error:
            defects.append(Defect(path, number, 1, error.message, error.help, line))
    if not found and not defects:
        what = "no level is given"
        defects.append(Defect(path, top, 1, what, "add a line for each, such as hall,21,52.5", lines[top - 1]))
    if defects:
        raise InputError(defects)
    return tuple(found)


def _head(cell: str) -> str:
    """A header as it counts: `Level [dBµV]` is level_dbuv."""
    words = re.sub(r"[^a-z0-9]+", "_", cell.casefold().replace("\u00b5", "u").replace("\u03bc", "u"))
    return words.strip("_")


def _header(path: str, lines: list[str]) -> tuple[int, str, dict[str, tuple[int, str]]]:
    """Number of the header's line, the sign between cells, and place and name of each column; remarks may stand above it."""
    best: tuple[int, str, dict[str, tuple[int, str]]] = (0, ",", {})
    for number, line in enumerate(lines, 1):
        remark = line.lstrip().startswith("#")
        # The semicolon first: where the comma is the decimal sign it stands between no cells.
        mark = next((sign for sign in ";\t," if sign in line), ",")
        heads = [_head(cell) for cell in line.lstrip().lstrip("#").split(mark)]
        found = {
            key: next((heads.index(name), name) for name in names if name in heads)
            for key, names in HEADERS.items()
            if set(names) & set(heads)
        }
        if len(found) == len(HEADERS):
            return number, mark, found
        if line.strip() and not remark:
            best = number, mark, found
            break
    number, _, found = best
    missing = " and no column ".join(key for key in HEADERS if key not in found)
    remedy = f"begin the file with a header such as {EXAMPLE}"
    source = lines[number - 1] if number else ""
    raise InputError([Defect(path, number or 1, 1, f"no column says {missing}", remedy, source, max(1, len(source)))])


HERTZ = re.compile(r"\d\s*[kMG]?Hz\s*$", re.IGNORECASE)


def _level(texts: dict[str, str], head: str, installation: Installation) -> SeenLevel:
    places = [ANTENNA, *(outlet.id for outlet in installation.outlets)]
    if texts["place"] not in places:
        raise UnitError(f"no place is called {quoted(texts['place'])}", closest(texts["place"], places))
    names = [channel.name for channel in installation.channels]
    name = texts["channel"]
    edges = {each.name: (each.low_hz, each.high_hz) for each in installation.channels}
    name = named_channel(name, edges) or name
    if name not in names and HERTZ.search(name):
        freq = parse_quantity(name, "frequency")
        inside = [each.name for each in installation.channels if each.low_hz <= freq <= each.high_hz]
        name = inside[0] if inside else name
    if name not in names:
        raise UnitError(
            f"no channel is called {quoted(name)}", closest(name, names) or "write its name or its frequency"
        )
    # A decimal comma can be nothing else here: levels have no thousands.
    figure = re.sub(r"^([-+]?\d+),(\d{1,2})(?!\d)", r"\1.\2", texts["level"])
    level = figure if re.search(r"[A-Za-z]", figure) or head not in UNITS else f"{figure} {UNITS[head]}"
    return SeenLevel(texts["place"], name, parse_reception(level, LEVEL))


def compare_seen(
    installation: Installation,
    levels: tuple[SeenLevel, ...],
    meter: str = "75",
    resolution_hz: float | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> SeenLevels:
    """Hold levels seen at the antenna or at outlets against the model, and put them in place of the field assumed.

    Parameters
    ----------
    installation : the receiving installation.
    levels : as read, from `read_seen`.
    meter : `75`, `50-pad` (a 50-ohm meter behind the minimum-loss pad) or `50` (a 50-ohm meter straight on 75 ohm).
    resolution_hz : bandwidth of a marker reading; left out: the readings are channel power [Hz].
    draws, seed : of the intervals; at least 200 draws.
    progress : called with the finished share.

    Returns
    -------
    SeenLevels. Where a channel was seen at the antenna, its outlets are predicted from that level, so that what is left is
    the way between; else the middle one of the places seen is held against the field as stated, and the others against it.

    Raises
    ------
    UnitError : the meter is not known.

    Examples
    --------
    >>> from chain import compare_seen, load_installation, read_seen
    >>> house = load_installation("demo/outlets.toml")
    >>> found = compare_seen(house, read_seen("demo/outlets-seen.csv", house), draws=400)
    >>> sum(not row.fits for row in found.rows) > 0
    True

    Source
    ------
    dBuV(75) of a 50-ohm meter behind the pad: + 7.48 dB; marker to channel power: + 10 log(B/RBW).
    """
    if meter not in METERS:
        raise UnitError(f"{quoted(meter)} is no meter", f"one of: {', '.join(METERS)}")
    true = {}
    for each in levels:
        channel = next(c for c in installation.channels if c.name == each.channel)
        # A marker shows what falls into its filter; the power of a signal like noise is spread evenly over its channel.
        spread = 10 * math.log10(channel.bandwidth_hz / resolution_hz) if resolution_hz else 0.0
        true[each.place, each.channel] = each.shown_dbuv + pad_correction_db(meter) + spread
    # Twice: against the field as stated, which tells of the field, then against what was seen, which tells of the way between.
    stated = outlets(installation, draws, seed, progress)
    # The antenna's level first: the field that was assumed is no measure of an amplifier where it was seen itself.
    anchored = {name: ANTENNA for place, name in true if place == ANTENNA}
    after = outlets(_seen_in(installation, true, anchored), draws, seed, progress) if anchored else stated
    rows = [_row(place, name, level, stated, after, anchored) for (place, name), level in true.items()]
    dead = dead_amplifier(installation, rows)
    odd: set[str] = set()
    model = installation
    if dead:
        model = bypassed(installation, [dead.id])
        passed = outlets(model, draws, seed, progress)
        references = _references(true, passed)
        after = outlets(_seen_in(model, true, references), draws, seed, progress)
        known = [_row(place, name, level, passed, after, references) for (place, name), level in true.items()]
    else:
        references = _references(true, stated)
        if references != anchored:
            after = outlets(_seen_in(installation, true, references), draws, seed, progress)
            rows = [_row(place, name, level, stated, after, references) for (place, name), level in true.items()]
        # A place that differs from others on one channel shows nothing of the field on another.
        odd = {row.place for row in rows if not row.fits and row.place not in (ANTENNA, references.get(row.channel))}
        others = _references({key: level for key, level in true.items() if key[0] not in odd}, stated)
        if others != references:
            references = others
            after = outlets(_seen_in(installation, true, others), draws, seed, progress)
            rows = [_row(place, name, level, stated, after, others) for (place, name), level in true.items()]
        known = rows
    rows.sort(key=lambda row: (row.fits, -abs(row.difference_db)))
    warnings = list(after.warnings)
    if any(not row.fits and row.difference_db < 0 and row.place != ANTENNA for row in known):
        # What was seen at an outlet is what arrives there: what the model has too much is lost on some way to it.
        after = outlets(with_losses(_seen_in(model, true, references), known), draws, seed, progress)
    if meter == "50":
        warnings.append(
            "a 50-ohm meter without a pad reflects: its readings at a 75-ohm outlet are uncertain by its mismatch"
        )
    return SeenLevels(
        installation.title,
        tuple(rows),
        () if dead else tuple(suspects_of(rows, installation, resolution_hz, odd)),
        meter,
        pad_correction_db(meter),
        after,
        tuple(warnings),
        dead,
    )


def _references(true: dict[tuple[str, str], float], stated: Reception) -> dict[str, str]:
    """Place that each channel starts from: the antenna where it was seen there, else the middle one of those that were seen.

    The middle of what the places differ from the model by, the upper of two: a fault takes from a level and seldom adds to it.
    """
    found: dict[str, str] = {}
    rows = [outlet.id for outlet in stated.installation.outlets]
    names = [channel.name for channel in stated.installation.channels]
    for name in dict.fromkeys(channel for _, channel in true):
        places = [place for place, channel in true if channel == name]
        if ANTENNA in places:
            found[name] = ANTENNA
            continue
        predicted = stated.nominal.level_dbuv[:, names.index(name)]
        differences = {place: true[place, name] - predicted[rows.index(place)] for place in places}
        middle = sorted(places, key=lambda place: differences[place])[len(places) // 2]
        channel = stated.installation.channels[names.index(name)]
        source = stated.installation.sources[channel.signal]
        # A level that was measured moves within its own uncertainty only: beyond it the way between is at fault.
        if source.kind != "level" or abs(differences[middle]) <= 2 * source.spread_db + METER_DB:
            found[name] = middle
    return found


def _seen_in(
    installation: Installation, true: dict[tuple[str, str], float], references: dict[str, str]
) -> Installation:
    """The installation with a source of its own for each channel seen: the level there."""
    sources, channels = list(installation.sources), []
    spread = default("level_spread_db")
    for channel in installation.channels:
        if channel.name in references:
            place = references[channel.name]
            level = true[place, channel.name]
            channels.append(replace(channel, signal=len(sources)))
            sources.append(SignalSource("level", level, place, spread, f"seen at {place}"))
        else:
            channels.append(channel)
    return replace(installation, sources=tuple(sources), channels=tuple(channels))


def _row(
    place: str, name: str, level: float, stated: Reception, after: Reception, references: dict[str, str]
) -> SeenRow:
    own = references.get(name, place) == place
    result = stated if own else after
    installation = result.installation
    column = next(n for n, channel in enumerate(installation.channels) if channel.name == name)
    channel = installation.channels[column]
    if place == ANTENNA:
        # Into 75 ohm: what the antenna's own reflection keeps back counts.
        spread = installation.sources[channel.signal].spread_db
        reflected = abs(complex(nominal_source(installation.antenna.match, np.array([channel.centre_hz]))[0]))
        predicted = float(result.nominal.antenna_dbuv[column]) + 10 * math.log10(1 - reflected**2)
        # The gain lies anywhere within its half-width: a rectangle's standard deviation is that over the root of three.
        half = 2 * math.hypot(spread, installation.antenna.gain_tolerance_db / math.sqrt(3))
        low, high = predicted - half, predicted + half
    else:
        row = next(n for n, outlet in enumerate(installation.outlets) if outlet.id == place)
        predicted = float(result.nominal.level_dbuv[row, column])
        low, high = (float(result.drawn.level_dbuv[end, row, column]) for end in (0, 1))
    difference = level - predicted
    against = "the signal as stated" if own else f"the level at {references[name]}"
    # The meter's error is a limit, not a spread: added whole on either side.
    low_db, high_db = low - predicted - METER_DB, high - predicted + METER_DB
    return SeenRow(
        place,
        name,
        channel.centre_hz,
        level,
        predicted,
        difference,
        low_db,
        high_db,
        against,
        low_db <= difference <= high_db,
    )
