"""Antennas by what they receive, read in turn: drift taken out, and an interval from repeatability, mismatch and the site."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.comparisons.gains import front_to_back, three_antenna_gains
from chain.comparisons.level_table import LevelReading, LevelTable
from chain.errors import RangeError, quoted
from chain.results import COVERAGE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from library.frozen import dataclass

DRAWS = 20_000
SITE_DB = 20.0
METER_RETURN_LOSS_DB = 10.0
ANTENNA_VSWR = 2.0
REPEATABILITY_DB = 0.2
"""Standard deviation of a level read again, where the table leaves nothing to judge it by: 0.1 to 0.3 dB, practice."""
PRIOR_READINGS = 4.0
"""How many degrees of freedom that figure is worth beside what the table itself shows."""


@dataclass(frozen=True)
class LevelChannel:
    """Second antenna less the first in one channel: realised gain, what the receiver gets [dB], above zero for better.

    `drift_db` is the change of the whole level from the first reading to the last. `gain_db` is the difference with the
    match of both taken out; NaN where no match is known.
    """

    channel: str
    readings: int
    realised_db: float
    low_db: float
    high_db: float
    drift_db: float
    gain_db: float
    verdict: str


@dataclass(frozen=True)
class FrontToBack:
    """Front-to-back ratio of an antenna in one channel as read, and what it may be in truth [dB]."""

    antenna: str
    channel: str
    reading_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True)
class ThreeGains:
    """Gains of three antennas in one channel, from the levels of their pairs [dBi]."""

    channel: str
    antennas: tuple[str, str, str]
    gains_dbi: tuple[float, float, float]


@dataclass(frozen=True, repr=False)
class LevelComparison(ResultTable):
    """Answer of `compare_levels`."""

    ROWS: ClassVar[str] = "channels"
    COLUMNS: ClassVar[tuple[str, ...]] = (
        "channel",
        "realised_db",
        "low_db",
        "high_db",
        "drift_db",
        "gain_db",
        "verdict",
    )
    title: str
    first_name: str
    second_name: str
    unit: str
    order: str
    channels: tuple[LevelChannel, ...]
    mean_db: float
    mean_low_db: float
    mean_high_db: float
    verdict: str
    repeatability_db: float
    reference_dbi: float
    front_to_back: tuple[FrontToBack, ...]
    three: tuple[ThreeGains, ...]
    coverage: float
    seed: int
    draws: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]

    def headline(self) -> str:
        """Which is better, in a few words."""
        return f"{self.title}: {self.verdict}"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        rows = {name: [vars(each) for each in getattr(self, name)] for name in ("channels", "front_to_back", "three")}
        return plain_values({"schema_version": SCHEMA_VERSION, **vars(self), **rows})  # type: ignore[return-value]


@dataclass(frozen=True)
class _LevelEstimate:
    """Difference in one channel before its other errors: value, weight of the noise in it, drift."""

    value_db: float
    weight: float
    drift_db: float
    readings: int


def compare_levels(
    table: LevelTable,
    matches: tuple[dict[str, float], dict[str, float]] | None = None,
    site_db: float | None = None,
    meter_return_loss_db: float | None = None,
    repeatability_db: float | None = None,
    reference_dbi: float = math.nan,
    path_db: float = 0.0,
    seed: int = SEED,
) -> LevelComparison:
    """Compare two antennas by the levels they receive, read in turn (A-B-A-B), and whatever else the table holds.

    Parameters
    ----------
    table : levels of two antennas, of `front` and `back`, or of pairs such as `A+B`.
    matches : |G| of either antenna by channel; a VSWR of 2 at an unknown phase where left out.
    site_db : how far reflections of the site lie below the direct wave; 20 dB where left out.
    meter_return_loss_db : return loss of the meter's input; 10 dB where left out.
    repeatability_db : standard deviation of a level read again; 0.2 dB, weighed with what the table shows, where left out.
    reference_dbi : realised gain of the first antenna, if it is known.
    path_db : level that isotropic antennas would give, for pairs: a level less this is the sum of two gains.
    seed : seed of the simulation.

    Returns
    -------
    LevelComparison: second less first, by channel and over all, with 95 % intervals.

    Raises
    ------
    RangeError : fewer than two antennas, or no channel in which both were read.

    Examples
    --------
    >>> from chain import compare_levels, read_levels
    >>> found = compare_levels(read_levels("demo/levels.csv"))
    >>> found.second_name, found.verdict, bool(found.mean_low_db < found.mean_db < found.mean_high_db)
    ('new', 'better', True)

    Source
    ------
    Drift: each reading against the mean of its neighbours (A-B-A-B). Mismatch: -20 log10|1 - G_a G_m| at unknown phases.
    Site: 20 log10|1 + r| at unknown phases. JCGM 101:2008 (memory) for the trials.
    """
    three = _three(table, path_db)
    names = [each for each in table.antennas if "+" not in each]
    # A table may hold pairs or a turned antenna alone, which answer without a second antenna in turn.
    backs = _backs(table, SITE_DB if site_db is None else site_db)
    if len(names) < 2 and not (three or backs):
        raise RangeError(
            f"the table holds {len(names) or 'no'} antenna{'' if len(names) == 1 else 's'}",
            "two antennas in turn, front and back of one, or pairs such as 'A+B', 'A+C', 'B+C'",
        )
    if len(names) < 2:
        return _only(table, three, backs, (seed, reference_dbi))
    below = (
        SITE_DB if site_db is None else site_db,
        METER_RETURN_LOSS_DB if meter_return_loss_db is None else meter_return_loss_db,
    )
    warnings = [] if len(names) == 2 else [f"compared: {names[0]} and {names[1]}; left out: {', '.join(names[2:])}"]
    found: dict[str, _LevelEstimate] = {}
    residuals: list[Real] = []
    for channel in table.channels:
        rows = [each for each in table.of(channel) if each.antenna in names[:2]]
        if {each.antenna for each in rows} == set(names[:2]):
            found[channel], left = _estimate(rows, names[0])
            residuals.append(left)
    if not found:
        raise RangeError(f"in no channel were both {quoted(names[0])} and {quoted(names[1])} read", "read both in turn")
    scatter, degrees = _scatter(residuals, repeatability_db)
    assumed = _assumed(matches, site_db, meter_return_loss_db, repeatability_db, scatter)
    site, meter = (float(10 ** (-each / 20)) for each in below)
    rng = np.random.default_rng(seed)
    rows_out, drawn = [], []
    for channel, one in found.items():
        sizes = _sizes(matches, channel)
        error = _drawn_error(rng, one.weight * scatter, degrees, sizes, (site, meter))
        drawn.append(one.value_db + error)
        rows_out.append(_row(channel, one, _interval(drawn[-1]), None if matches is None else sizes))
    # Errors are drawn for each channel apart, so the mean over channels averages them.
    low, high = _interval(np.mean(drawn, axis=0))
    warnings += _order_warnings(table, names[:2], list(found))
    return LevelComparison(
        f"{names[1]} against {names[0]}, received levels",
        names[0],
        names[1],
        table.unit,
        _order(table, names, rows_out[0].channel),
        tuple(rows_out),
        float(np.mean([each.realised_db for each in rows_out])),
        low,
        high,
        _verdict(low, high),
        scatter,
        reference_dbi,
        backs,
        three,
        COVERAGE,
        seed,
        DRAWS,
        assumed,
        tuple(warnings),
    )


def _row(
    channel: str, one: _LevelEstimate, ends: tuple[float, float], sizes: tuple[float, float] | None
) -> LevelChannel:
    """One channel; the match is taken out where the sizes of both reflections are known."""
    # Realised gain is gain less mismatch loss, -10 log10(1 - |G|^2), of each antenna.
    loss = math.nan if sizes is None else 10 * math.log10((1 - sizes[0] ** 2) / (1 - sizes[1] ** 2))
    gain = one.value_db + loss
    return LevelChannel(channel, one.readings, one.value_db, *ends, one.drift_db, gain, _verdict(*ends))


def _order(table: LevelTable, names: list[str], channel: str) -> str:
    return "-".join(each.antenna for each in table.of(channel) if each.antenna in names[:2])


def _interval(values: Real) -> tuple[float, float]:
    low, high = np.quantile(values, [(1 - COVERAGE) / 2, (1 + COVERAGE) / 2])
    return float(low), float(high)


def _estimate(rows: list[LevelReading], first: str) -> tuple[_LevelEstimate, Real]:
    """Difference by neighbours' means, and the residuals of a straight drift with one step between the antennas."""
    levels = np.array([each.level_db for each in rows])
    second = np.array([each.antenna != first for each in rows])
    times = np.array([each.order for each in rows])
    weights = _neighbour_weights(second, times)
    columns = [np.ones(levels.size), second.astype(float)]
    if levels.size > 2:
        columns.append(times - times.mean())
    design = np.stack(columns, axis=1)
    fitted, _, rank, _ = np.linalg.lstsq(design, levels, rcond=None)
    drift = float(fitted[2] * (times[-1] - times[0])) if levels.size > 2 else 0.0
    # One residual for each degree of freedom that the fit leaves, so that their mean square is the scatter's.
    free = levels.size - int(rank)
    left = levels - design @ fitted
    residual = np.full(free, math.sqrt(float(left @ left) / free)) if free else np.zeros(0)
    # Levels of one decimal often differ by just half of the digit shown: the sum's own rounding, which differs from one
    # processor to the next, must not decide it.
    value = round(float(weights @ levels), 9)
    return _LevelEstimate(value, float(np.sqrt(weights @ weights)), round(drift, 9), levels.size), residual


def _neighbour_weights(second: NDArray[np.bool_], times: Real) -> Real:
    """Weights of the readings in the mean difference of each reading from the line through its neighbours of the other kind.

    A reading at either end, or between two of its own kind, has no such line; where none has (A-B), means are compared.
    """
    out, count = np.zeros(second.size), 0
    for at in range(1, second.size - 1):
        before = [n for n in range(at) if second[n] != second[at]]
        after = [n for n in range(at + 1, second.size) if second[n] != second[at]]
        if not before or not after:
            continue
        one, other = before[-1], after[0]
        part = (times[at] - times[one]) / (times[other] - times[one])
        # The line through both neighbours is what the other antenna
        # would have read at that time, a steady drift taken out.
        sign = 1.0 if second[at] else -1.0
        out[at] += sign
        out[one] -= sign * (1 - part)
        out[other] -= sign * part
        count += 1
    if count:
        return out / count
    return np.asarray(np.where(second, 1 / second.sum(), -1 / (~second).sum()))


def _scatter(residuals: list[Real], stated_db: float | None) -> tuple[float, float]:
    """Standard deviation of one level, and its degrees of freedom: the stated one is taken at its word.

    Source: Pooled variance of the table's residuals and of the assumed repeatability, weighed by degrees of freedom.
    """
    if stated_db is not None:
        return stated_db, math.inf
    left = np.concatenate(residuals) if residuals else np.zeros(0)
    degrees = left.size + PRIOR_READINGS
    # Few residuals may happen to lie close together; the usual scatter keeps a table of four readings from promising too much.
    variance = (float(np.sum(left**2)) + PRIOR_READINGS * REPEATABILITY_DB**2) / degrees
    return math.sqrt(variance), degrees


def _sizes(matches: tuple[dict[str, float], dict[str, float]] | None, channel: str) -> tuple[float, float]:
    default = (ANTENNA_VSWR - 1) / (ANTENNA_VSWR + 1)
    if matches is None:
        return default, default
    first, second = (min(each.get(channel, default), 0.999) for each in matches)
    return first, second


def _drawn_error(
    rng: np.random.Generator, scatter_db: float, degrees: float, sizes: tuple[float, float], limits: tuple[float, float]
) -> Real:
    """Errors of a difference of levels: repeatability, mismatch of either antenna at the meter, the site at either."""
    site, meter = limits

    def unit() -> Complex:
        return np.asarray(np.exp(2j * np.pi * rng.random(DRAWS)))

    # A scatter estimated from few readings may be too small, which Student's tails make up for (JCGM 101, 6.4.9).
    noise = rng.standard_normal(DRAWS) if math.isinf(degrees) else rng.standard_t(degrees, DRAWS)
    out = scatter_db * noise
    for sign, size in zip((-1, 1), sizes, strict=True):
        # Each antenna stands elsewhere in the field and reflects by itself, so each has phases of its own.
        out = out + sign * 20 * np.log10(np.abs(1 + site * unit()) + 1e-9)
        out = out - sign * 20 * np.log10(np.abs(1 - size * meter * unit()))
    return np.asarray(out)


def _verdict(low: float, high: float) -> str:
    return "better" if low > 0 else "worse" if high < 0 else "can't tell"


def _assumed(
    matches: object, site: float | None, meter: float | None, repeatability: float | None, scatter: float
) -> tuple[str, ...]:
    out = []
    if site is None:
        out.append(f"reflections of the site {SITE_DB:g} dB below the direct wave (practice)")
    if meter is None:
        out.append(f"return loss of the meter's input {METER_RETURN_LOSS_DB:g} dB (practice)")
    if matches is None:
        out.append(f"VSWR of either antenna {ANTENNA_VSWR:g}, phase unknown (give SETUP and both sweeps)")
    if repeatability is None:
        out.append(
            f"a level repeats to {scatter:.2f} dB (from the table's own scatter and {REPEATABILITY_DB:g} dB, practice)"
        )
    return tuple(out)


def _order_warnings(table: LevelTable, names: list[str], channels: list[str]) -> list[str]:
    once = [
        channel
        for channel in channels
        if sum(a.antenna != b.antenna for a, b in zip(table.of(channel), table.of(channel)[1:], strict=False)) < 2
    ]
    if not once:
        return []
    return [f"channel {', '.join(once[:6])}: read once in turn, so drift counts as a difference; read A-B-A-B"]


def _backs(table: LevelTable, site_db: float) -> tuple[FrontToBack, ...]:
    out = []
    for channel in table.channels:
        for antenna in table.antennas:
            front, back = (
                [each.level_db for each in table.of(channel, way) if each.antenna == antenna]
                for way in ("front", "back")
            )
            if front and back:
                ratio = float(np.mean(front) - np.mean(back))
                out.append(FrontToBack(antenna, channel, ratio, *front_to_back(ratio, site_db)))
    return tuple(out)


def _three(table: LevelTable, path_db: float) -> tuple[ThreeGains, ...]:
    """Gains where a channel holds the three pairs of three antennas."""
    out = []
    for channel in table.channels:
        sums: dict[frozenset[str], list[float]] = {}
        for each in table.of(channel):
            pair = frozenset(part.strip() for part in each.antenna.split("+"))
            if len(pair) == 2:
                sums.setdefault(pair, []).append(each.level_db - path_db)
        names = sorted({name for pair in sums for name in pair})
        if len(sums) == 3 and len(names) == 3:
            a, b, c = names
            of = [float(np.mean(sums[frozenset(pair)])) for pair in ((a, b), (a, c), (b, c))]
            out.append(ThreeGains(channel, (a, b, c), three_antenna_gains(*of)))
    return tuple(out)


def _only(
    table: LevelTable, three: tuple[ThreeGains, ...], backs: tuple[FrontToBack, ...], run: tuple[int, float]
) -> LevelComparison:
    """A table without two antennas in turn: what else it holds."""
    seed, reference = run
    return LevelComparison(
        "Received levels", "", "", table.unit, "", (), math.nan, math.nan, math.nan, "no pair",
        math.nan, reference, backs, three, COVERAGE, seed, 0, (), (),
    )  # fmt: skip
