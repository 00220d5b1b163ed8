"""Two antennas, or one before and after a change, read through one chain: better, worse, or no telling, channel by channel."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from chain.analyses.possible import impossible
from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.comparisons.bands import BandValues, ChannelBand, bands_of
from chain.comparisons.differences import Difference, differences
from chain.comparisons.joint_trials import draw_jointly
from chain.comparisons.lossier_lead import lossier_lead_db
from chain.errors import RangeError
from chain.reflection import vswr
from chain.results import COVERAGE, IMPOSSIBLE, SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.uncertainty.measurement import measurement_of
from chain.uncertainty.streams import BATCH
from library.frozen import dataclass

BATCHES = 4
SAME_FREQUENCY = 1e-6
MOST_POINTS = 301
MOST_NAMED = 6
HALF_REFLECTED_VSWR = float(vswr(0.5**0.5))
"""VSWR from which more than half of the power comes back, as it does from a lead with nothing at its end."""


@dataclass(frozen=True)
class ChannelDifference:
    """One channel: both antennas, and the second minus the first.

    `reflection_change` is that of the largest |G| in the channel, `loss_change_db` that of the mismatch loss of the channel
    as a whole; below zero the second antenna is better.
    """

    channel: str
    low_hz: float
    high_hz: float
    first_vswr: float
    second_vswr: float
    first_loss_db: float
    second_loss_db: float
    reflection_change: float
    reflection_low: float
    reflection_high: float
    loss_change_db: float
    loss_low_db: float
    loss_high_db: float
    match_verdict: str
    loss_verdict: str
    verdict: str
    second_low_vswr: float
    second_high_vswr: float
    """What the second may be: as its own reading says, and as the change says where the first is as shown."""


@dataclass(frozen=True, repr=False)
class AntennaComparison(ResultTable):
    """Answer of `compare_antennas`."""

    ROWS: ClassVar[str] = "channels"
    COLUMNS: ClassVar[tuple[str, ...]] = (
        "channel",
        "first_vswr",
        "second_vswr",
        "second_low_vswr",
        "second_high_vswr",
        "reflection_change",
        "reflection_low",
        "reflection_high",
        "loss_change_db",
        "loss_low_db",
        "loss_high_db",
        "verdict",
    )
    title: str
    first_name: str
    second_name: str
    plane: str
    has_phase: bool
    exchanged: bool
    """Whether two antennas were screwed on in turn; else one was read before and after a change."""
    in_channels: bool
    channels: tuple[ChannelDifference, ...]
    verdict: str
    coverage: float
    points: int
    draws: int
    seed: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    processed: str = ""
    """What was done to one of the sweeps after it was measured; nothing is concluded from it."""
    could_show_phase: bool = True
    """Whether the analyzer of the set-up shows a phase, whatever the sweeps hold."""
    could_move_plane: bool = True
    """Whether it can be calibrated at the end of the lead."""
    lossier_lead_db: float | None = None
    """Gain of return loss that all channels share within their uncertainty, as with the same antenna and more loss before it."""
    alone: tuple[str, ...] = ()
    """Channels that would differ if nothing else were asked; among all that are judged together that may be chance."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that tables show one."""

    @property
    def most(self) -> ChannelDifference:
        """The channel that the verdict is told by: of those that differ, else of all possible ones, the one that changed most."""
        rows = [each for each in self.channels if each.verdict == self.verdict] if self.verdict != "can't tell" else []
        rows = rows or [each for each in self.channels if each.verdict in ("better", "worse", "mixed")]
        rows = rows or [each for each in self.channels if each.verdict != IMPOSSIBLE] or list(self.channels)
        return max(rows, key=lambda each: abs(each.loss_change_db))

    @property
    def nothing_connected(self) -> bool:
        """Whether both turn back more than half of the power in every channel."""
        return all(min(each.first_vswr, each.second_vswr) > HALF_REFLECTED_VSWR for each in self.channels)

    def count(self, verdict: str) -> int:
        """Number of channels with a verdict."""
        return sum(each.verdict == verdict for each in self.channels)

    def headline(self) -> str:
        """Which is better, in a few words."""
        return f"{self.title}, {self.second_name} against {self.first_name}: {self.verdict}"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        found = {"schema_version": SCHEMA_VERSION, **vars(self), "channels": [vars(each) for each in self.channels]}
        return plain_values(found)  # type: ignore[return-value]


def compare_antennas(
    setup: Setup,
    first: Readings,
    second: Readings,
    names: tuple[str, str] = ("A", "B"),
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
    exchanged: bool = True,
) -> AntennaComparison:
    """Compare two antennas read with one set-up and one calibration, each screwed on in turn; or one before and after a change.

    Parameters
    ----------
    setup : the set-up of both readings.
    first, second : the sweeps, in the plane's reference; compared where their frequencies are the same.
    names : what to call the two.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.
    exchanged : False for one antenna that was changed where it is: its joint is undisturbed, and where no phase was read both
        readings are of one unknown phase.

    Returns
    -------
    AntennaComparison: second minus first, per channel, with intervals that hold for all channels together.

    Raises
    ------
    RangeError : the sweeps have less than half of their frequencies in common, or nothing says how well they repeat.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import compare_antennas, load_setup, read_sweep_for
    >>> setup = load_setup("demo/plane-after-pad.toml")
    >>> old, new = (read_sweep_for(setup, f"demo/plane-after-pad{each}.s1p") for each in ("-before", ""))
    >>> found = compare_antennas(setup, old, new)
    >>> found.channels[4].channel, found.channels[4].verdict
    ('9', 'better')

    Source
    ------
    Propagation of distributions through both readings with one trial of chain and calibration (JCGM 101:2008, memory).
    """
    one, other, remarks = common_readings(first, second)
    trials = draw_jointly(setup, one.freq_hz, 2, BATCHES, seed, progress, exchanged)
    if not trials.repeats:
        raise RangeError(
            "nothing says how well this set-up repeats: it states no noise, drift, repeatability or flex",
            'state them in [near], such as repeatability = "50 dB" and trace_noise = "0.02 dB"',
        )
    bands = bands_of(setup, one.freq_hz)
    halves = (one.rounding, other.rounding)
    seen = _seen(one), _seen(other)
    # The same trials belong to the same sweep whichever is named first: turned round, the answer is the same one.
    turned = seen[1].tobytes() < seen[0].tobytes()
    lower, upper = (1, 0) if turned else (0, 1)
    found, before, after = differences(
        trials,
        ((0, seen[lower]), (1, seen[upper])),
        bands,
        same_phase=not exchanged,
        halves=(halves[lower], halves[upper]),
    )
    if turned:
        found, before, after = tuple(each.turned() for each in found), after, before
    refused = _impossible(setup, (one, other), bands)
    # What a gate took away cannot be distinguished from what it left: nothing is proven of either antenna.
    processed = first.processed or second.processed
    rows = tuple(
        _row(*each, "can't tell" if processed else IMPOSSIBLE if each[0].name in refused else "")
        for each in zip(bands, before, after, found, strict=True)
    )
    verdict = overall([each.verdict for each in rows])
    return AntennaComparison(
        setup.title,
        *names,
        setup.calibration.plane,
        one.reflection is not None,
        exchanged,
        bands[0].is_channel,
        rows,
        verdict,
        COVERAGE,
        one.freq_hz.size,
        BATCHES * BATCH,
        seed,
        setup.assumed,
        (*setup.warnings, *remarks, *_refusal(refused, bands[0].is_channel)),
        processed,
        setup.near.has_phase,
        bool(setup.items) and setup.calibrates(setup.items[-1].id),
        lossier_lead_db(trials, seen, bands, halves) if verdict == "better" else None,
        () if processed else _alone(rows, found),
        setup.far.limit_in_db,
    )


def _alone(rows: Sequence[ChannelDifference], found: Sequence[Difference]) -> tuple[str, ...]:
    """Bands that would differ if nothing else were asked, though all together show no difference there."""
    pairs = zip(rows, found, strict=True)
    return tuple(row.channel for row, each in pairs if each.differs_alone and row.verdict == "can't tell")


def _seen(readings: Readings) -> Complex | Real:
    return readings.magnitude if readings.reflection is None else readings.reflection


def _row(
    band: ChannelBand, before: BandValues, after: BandValues, found: Difference, instead: str
) -> ChannelDifference:
    """A channel's figures; its verdict, or the word that stands `instead` of one."""
    match, loss = (instead or each for each in (found.match_verdict, found.loss_verdict))
    least, most = found.second_ends
    then = max(least, before.worst + found.worst_low), min(most, before.worst + found.worst_high)
    # Where the first is not as shown the two need not meet, and the second's own reading counts.
    low, high = then if then[0] <= then[1] else (least, most)
    return ChannelDifference(
        band.name,
        band.low_hz,
        band.high_hz,
        float(vswr(min(before.worst, 1.0))),
        float(vswr(min(after.worst, 1.0))),
        before.loss_db,
        after.loss_db,
        found.worst,
        found.worst_low,
        found.worst_high,
        found.loss_db,
        found.loss_low_db,
        found.loss_high_db,
        match,
        loss,
        instead or overall([match, loss]),
        float(vswr(np.clip(low, 0.0, 1.0))),
        float(vswr(np.clip(high, 0.0, 1.0))),
    )


def _impossible(setup: Setup, both: tuple[Readings, Readings], bands: Sequence[ChannelBand]) -> tuple[str, ...]:
    """Bands in which either reading cannot come through this chain, whatever hangs on it."""
    measurement = measurement_of(setup, build(setup, both[0].freq_hz))
    found = np.any([impossible(measurement, each) for each in both], axis=0)
    return tuple(each.name for each in bands if found[each.members].any())


def _refusal(names: tuple[str, ...], channels: bool) -> tuple[str, ...]:
    if not names:
        return ()
    what = f"channel{'s' if len(names) > 1 else ''} " if channels else ""
    shown = ", ".join(names[:MOST_NAMED]) + (f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else "")
    return (f"{what}{shown}: a reading cannot come through this chain, and nothing is concluded from it",)


def overall(verdicts: list[str]) -> str:
    """One word for several: what is stated either way counts, and both ways is `mixed`."""
    # What cannot be resolved contradicts nothing.
    reported = {each for each in verdicts if each not in ("can't tell", IMPOSSIBLE)}
    if not reported:
        return "can't tell"
    return reported.pop() if len(reported) == 1 else "mixed"


def common_readings(first: Readings, second: Readings) -> tuple[Readings, Readings, tuple[str, ...]]:
    """Both sweeps at the frequencies that they share, alike with phase or without, evenly decimated where very long."""
    # Frequencies of two files differ in their last printed digit, and would then have no equal.
    near = np.searchsorted(first.freq_hz, second.freq_hz * (1 - SAME_FREQUENCY))
    near = np.minimum(near, first.freq_hz.size - 1)
    same = np.flatnonzero(np.abs(first.freq_hz[near] - second.freq_hz) <= SAME_FREQUENCY * second.freq_hz)
    count = same.size
    if 2 * count < min(first.freq_hz.size, second.freq_hz.size) or not count:
        raise RangeError(
            f"the two sweeps have {count} frequencies in common, of {first.freq_hz.size} and {second.freq_hz.size}",
            "take both with the same start, stop and number of points",
        )
    remarks = []
    if count < max(first.freq_hz.size, second.freq_hz.size):
        remarks.append(f"compared at the {count} frequencies that both sweeps have")
    step = -(-count // MOST_POINTS)
    if step > 1:
        # Left out and not averaged: a mean has less noise and other digits than the readings that the trials imitate.
        same = same[::step]
        remarks.append(f"one point in {step} of {count} is compared")
    phase = first.reflection is not None and second.reflection is not None
    if not phase and (first.reflection is not None or second.reflection is not None):
        remarks.append("one of the sweeps has no phase: magnitudes are compared")
    warnings = tuple(dict.fromkeys((*first.warnings, *second.warnings, *remarks)))
    return _at(first, near[same], phase), _at(second, same, phase), warnings


def _at(readings: Readings, where: NDArray[np.intp], phase: bool) -> Readings:
    found = readings.at(where)
    return found if phase else replace(found, reflection=None)
