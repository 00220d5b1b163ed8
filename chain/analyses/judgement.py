"""Verdicts and grades of points, channels and a whole sweep against a limit: one question, one risk."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chain.analyses.recovery import ChannelResult
from chain.arrays import Real, median
from chain.reflection import magnitude_from_vswr, vswr
from chain.results import COVERAGE, SEED
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.uncertainty.intervals import Intervals, Kept, Observation, Progress, SweepTest
from chain.uncertainty.measurement import Measurement
from library.frozen import dataclass

FEWEST, MOST = 4_000, 8_000
"""Trials of the intervals that the test of a whole sweep takes too; with fewer it makes its own."""
LEANS = 0.8
"""Chance at the limit from which an answer leans one way; calibrated, so one antenna in five at the limit does."""
VERDICT_ORDER = ("impossible", "fail", "not proven", "no limit", "pass")
"""Verdicts of points, the worst first."""
ROUNDING = 1e-6
"""What float32 may add to a reflection magnitude."""


def verdict(low: float, high: float, limit_vswr: float | None) -> str:
    """Verdict of an interval against a limit, all as VSWR.

    Source: Guarded acceptance: pass where the upper end is at or below the limit, fail where the lower end is above
    it.
    """
    if np.isnan(low) or np.isnan(high):
        return "impossible"
    if limit_vswr is None:
        return "no limit"
    if high <= limit_vswr:
        return "pass"
    return "fail" if low > limit_vswr else "not proven"


def grade(word: str, chance: float | None) -> str | None:
    """Grade of a verdict and of the chance that an antenna just at the limit reads this or more; None where neither says it."""
    if word == "pass":
        return "better"
    if word == "fail":
        return "worse"
    if chance is None or word != "not proven":
        return None
    if chance >= LEANS:
        return "leans better"
    return "leans worse" if chance <= 1 - LEANS else "open"


@dataclass(frozen=True)
class Judgement:
    """Verdict, grade and level of points, channels and the whole; a level is null without a limit."""

    verdicts: tuple[str, ...]
    grades: tuple[str | None, ...]
    chance_at_limit: Real | None
    channels: tuple[ChannelResult, ...]
    verdict: str
    grade: str | None
    level: float | None
    remarks: tuple[str, ...]


def channel_members(setup: Setup, freq_hz: Real) -> tuple[tuple[tuple[str, float, float], slice], ...]:
    """Channels that hold at least two of the frequencies and lie inside their span, give or take one step, with their points."""
    # A sweep that ends at the last point before the channel's edge covers the channel.
    step = float(median(np.diff(freq_hz))) if freq_hz.size > 1 else 0.0
    found = []
    for name, low, high in setup.sweep.channels:
        first, last = int(np.searchsorted(freq_hz, low)), int(np.searchsorted(freq_hz, high, side="right"))
        if freq_hz[0] - step <= low and high <= freq_hz[-1] + step and last > first + 1:
            found.append(((name, low, high), slice(first, last)))
    return tuple(found)


def strict_shares(count: int, members: Sequence[slice]) -> Real | None:
    """Risk of a point's lower end where those of its whole channel are to hold together.

    Source: Bonferroni's inequality: the risk of one side divided by the number of points.
    """
    if not members:
        return None
    shares = np.full(count, (1 - COVERAGE) / 2)
    for span in members:
        shares[span] = np.minimum(shares[span], (1 - COVERAGE) / 2 / (span.stop - span.start))
    return shares


def judge(
    setup: Setup,
    measurement: Measurement,
    readings: Readings,
    seen: Observation,
    found: Intervals,
    ends: tuple[Real, Real],
    magnitude: Real,
    seed: int = SEED,
    progress: Progress | None = None,
    kept: Kept | None = None,
) -> Judgement:
    """Judge intervals of magnitudes against the limit of a set-up; NaN ends mark impossible readings."""
    limit_vswr = setup.far.limit_vswr
    members = channel_members(setup, readings.freq_hz)
    low, high = ends
    possible = ~np.isnan(high)
    if limit_vswr is None:
        words = np.where(possible, "no limit", "impossible")
        channels = _channels(members, readings, found, ends, magnitude, words, None, None)
        overall = _overall([each.verdict for each in channels] or [str(word) for word in words])
        nothing: tuple[str | None, ...] = (None,) * len(words)
        return Judgement(tuple(map(str, words)), nothing, None, channels, overall, None, None, ())
    limit = float(magnitude_from_vswr(limit_vswr))
    least, most = found.ends.least_chance, found.ends.most_chance
    assert least is not None
    assert most is not None
    test = _tested(measurement, seen, limit, [span for _, span in members], (low, most), found, seed, progress, kept)
    # Both ends of the range of chances over the phases on one side of a half: the one nearer to it. Else nothing is stated.
    chance = np.where(possible, np.clip(0.5, least, most), np.nan)
    # What no antenna explains says nothing of this one, however much more it is than one at the limit shows.
    failed = (seen.size > test.edge) & ((low > ROUNDING) | (high < 1 - ROUNDING))
    words = np.where(high <= limit + ROUNDING, "pass", np.where(failed, "fail", "not proven"))
    if readings.processed:
        # What a gate took away cannot be distinguished from what it left: such a sweep leans, and proves nothing.
        words = np.full(words.shape, "not proven")
    words = np.where(possible, words, "impossible")
    channels = _channels(members, readings, found, ends, magnitude, words, limit, test)
    inside = _inside(members, len(words))
    overall = _overall([str(word) for word in words[inside]])
    level = None
    if overall != "impossible":
        level = float(np.clip(0.5, least[inside].min(), max(test.chance, least[inside].min())))
    return Judgement(
        tuple(map(str, words)),
        tuple(grade(str(word), float(each)) for word, each in zip(words, chance, strict=True)),
        chance,
        channels,
        overall,
        grade(overall, level),
        level,
        () if readings.processed else _remarks(setup, readings.freq_hz, words, low, limit),
    )


def _inside(members: Sequence[tuple[object, slice]], count: int) -> slice | list[int]:
    """Points that decide: those of the channels, where there are any."""
    if not members:
        return slice(None)
    return sorted({at for _, span in members for at in range(*span.indices(count))})


def _tested(
    measurement: Measurement,
    seen: Observation,
    limit: float,
    groups: list[slice],
    known: tuple[Real, Real],
    found: Intervals,
    seed: int,
    progress: Progress | None,
    kept: Kept | None,
) -> SweepTest:
    """The test of the whole sweep, where its answer is not known from the points alone."""
    low, most = known
    count = measurement.freq_hz.size
    if count == 1:
        # Of a single point its own interval decides: the statistic passes either edge always or never.
        edge = np.where(low > limit + ROUNDING, -np.inf, np.inf)
        return SweepTest(edge, float(most[0]), tuple(float(most[0]) for _ in groups), found.draws)
    if most.min() > 0.5:
        # No point reads more than an antenna at the limit does half of the time: neither then does the sweep's worst.
        return SweepTest(np.full(count, np.inf), 1.0, (1.0,) * len(groups), 0)
    enough = FEWEST <= found.draws <= MOST
    from chain.uncertainty.whole_sweep import judged_sweep

    return judged_sweep(measurement, seen, limit, groups, found.draws if enough else None, seed, progress, kept)


def _channels(
    members: Sequence[tuple[tuple[str, float, float], slice]],
    readings: Readings,
    found: Intervals,
    ends: tuple[Real, Real],
    magnitude: Real,
    words: Sequence[str] | Real,
    limit: float | None,
    test: SweepTest | None,
) -> tuple[ChannelResult, ...]:
    """Channels, figures at the worst of their points; the upper end is the highest, the lower one holds for all together."""
    out = []
    for index, ((name, low_hz, high_hz), span) in enumerate(members):
        at = _worst_of(span, words, magnitude, ends[1])
        word = _overall([str(each) for each in words[span]])
        low, high = _channel_ends(found, ends, span)
        chance = None
        if limit is not None and test is not None:
            # The verdict comes from the joint test; the lower end shown beside it must not contradict it.
            low = max(low, limit) if word == "fail" else min(low, limit)
            least = found.ends.least_chance
            assert least is not None
            lowest = float(least[span].min())
            chance = (
                None if word == "impossible" else float(np.clip(0.5, lowest, max(test.group_chance[index], lowest)))
            )
        out.append(
            ChannelResult(
                name,
                low_hz,
                high_hz,
                float(readings.freq_hz[at]),
                float(vswr(readings.magnitude[at])),
                float(vswr(magnitude[at])),
                float(vswr(low)),
                float(vswr(high)),
                word,
                grade(word, chance),
                chance,
            )
        )
    return tuple(out)


def _worst_of(span: slice, words: Sequence[str] | Real, magnitude: Real, high: Real) -> int:
    """The point of a channel by its verdict, then by its true match, then by its upper end."""
    return max(
        range(span.start, span.stop),
        key=lambda at: (
            -VERDICT_ORDER.index(str(words[at])),
            float(np.nan_to_num(magnitude[at])),
            float(np.nan_to_num(high[at])),
        ),
    )


def _channel_ends(found: Intervals, ends: tuple[Real, Real], span: slice) -> tuple[float, float]:
    low, high = (each[span] for each in ends)
    if np.isnan(high).all():
        return float("nan"), float("nan")
    strict = found.ends.strict_low
    assert strict is not None
    return float(np.nanmax(np.minimum(strict[span], low))), float(np.nanmax(high))


def middles(setup: Setup, freq_hz: Real) -> tuple[str, ...]:
    """Channel that each frequency is the middle of, empty for others."""
    # To the hertz: files give frequencies with few digits.
    names = {round((low + high) / 2): name for name, low, high in setup.sweep.channels}
    return tuple(names.get(round(float(each)), "") for each in freq_hz)


def _remarks(setup: Setup, freq_hz: Real, words: Real | Sequence[str], low: Real, limit: float) -> tuple[str, ...]:
    """Points whose own interval lies beyond the limit, though the sweep as a whole does not fail there."""
    alone = np.flatnonzero((np.asarray(words) == "not proven") & (low > limit + ROUNDING))
    if not alone.size:
        return ()
    names, count = middles(setup, freq_hz), len(words)
    if all(names):
        some = f"channel{'s' if alone.size > 1 else ''} {', '.join(names[at] for at in alone)}"
        return (
            f"{some} would be bad alone: among the {count} channels read together that may be chance, so the grade is only leans bad",
        )
    if "fail" in words:
        # Where others are bad for certain nothing hangs on these.
        return ()
    # Ends close to the limit fall on either side of it by the seed.
    some = "1 point" if alone.size == 1 else f"about {alone.size} points"
    return (f"{some} of {count} would be bad alone; among so many that may be chance",)


def _overall(verdicts: Sequence[str]) -> str:
    return next((word for word in VERDICT_ORDER if word in verdicts), "pass")
