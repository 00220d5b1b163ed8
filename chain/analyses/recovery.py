"""The answer of `recover`: true match over frequency with interval, bound, verdict, and the channels by their worst point."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chain.analyses.improvements import SetupChange, Share
from chain.arrays import Complex, Real
from chain.errors import RangeError
from chain.reflection import magnitude_from_vswr, return_loss_db
from chain.results import SCHEMA_VERSION, ResultTable, network, plain_values
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network

if TYPE_CHECKING:
    from chain.uncertainty.coverage_region import Ellipse
    from chain.uncertainty.intervals import Accuracy
    from chain.uncertainty.linear import Linear

WORST_SHOWN = 8
"""Points shown of a longer sweep."""
ENOUGH_POINTS = 12
VERDICT_ORDER = {"impossible": 0, "fail": 1, "not proven": 2}
"""Verdicts of points, the worst first; what passes is last."""
APART = 20
"""Worst places are at least a twentieth of the sweep apart."""


def worst_first(verdicts: Sequence[str], true: Real, high: Real) -> list[int]:
    """Points: what is impossible, then what is bad, not proven and good, each by its true match, then its upper end.

    Upper ends alone tell nothing apart where they all are a total reflection.
    """
    # Lexsort's last key counts first.
    order = np.array([VERDICT_ORDER.get(each, len(VERDICT_ORDER)) for each in verdicts])
    return [int(each) for each in np.lexsort((-np.nan_to_num(high), -np.nan_to_num(true), order))]


@dataclass(frozen=True)
class ChannelResult:
    """A channel: reading and nominal VSWR at its worst point; interval and verdict of all its points together."""

    channel: str
    low_hz: float
    high_hz: float
    worst_hz: float
    reading_vswr: float
    vswr: float
    low: float
    high: float
    verdict: str
    grade: str | None = None
    """better, leans better, open, leans worse or worse than the limit; None without one."""
    chance_at_limit: float | None = None
    """Chance that an antenna just at the limit reads this or more: not that the antenna is good."""


@dataclass(frozen=True, repr=False)
class Recovery(ResultTable):
    """Answer of `recover`. VSWRs are at the antenna in `far_ohm`, readings at the plane in `reading_ohm`.

    Arrays run over `freq_hz`; NaN marks a reading that no passive antenna can give with this chain (see `refused`).
    """

    COLUMNS = (
        "freq_hz",
        "reading_vswr",
        "true_vswr",
        "low",
        "high",
        "bound_low",
        "bound_high",
        "mismatch_loss_db",
        "verdicts",
    )

    title: str
    plane: str
    reading_ohm: float
    far_ohm: float
    interpretation: str
    freq_hz: Real
    reading_vswr: Real
    true_vswr: Real
    true_reflection: Complex | None
    true_ohm: Complex | None
    low: Real
    high: Real
    bound_low: Real
    bound_high: Real
    mismatch_loss_db: Real
    ceiling_vswr: float
    limit_vswr: float | None
    verdicts: tuple[str, ...]
    grades: tuple[str | None, ...]
    """better, leans better, open, leans worse or worse than the limit, per point; None without one."""
    chance_at_limit: Real | None
    """Chance, per point, that an antenna just at the limit reads this or more, at the phase that makes it least telling."""
    verdict: str
    grade: str | None
    level: float | None
    """The same chance for the whole: the smallest of the points' for better, that of the worst point for worse."""
    coverage: float
    excluded_share: float
    seed: int
    draws: int
    accuracy: Accuracy | None
    """What the number of trials was settled by; None where it was given."""
    channels: tuple[ChannelResult, ...]
    contributions: tuple[Share, ...]
    improvement: SetupChange | None
    linear: Linear | None
    """Linear propagation over frequency, for complex readings; an answer only where its `valid` is true."""
    region: Ellipse | None
    """Coverage region of the true reflection in the complex plane, for complex readings, over frequency."""
    refused: tuple[tuple[float, str], ...]
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    ripple: str | None = None
    """What repeats in the sweep and could make it, in a sentence; None where nothing does."""
    typical_share: float = 0.0
    """Share of the uncertainty that rests on figures of memory or common practice, which no document backs."""

    named: tuple[bool, ...] = ()
    """Of each reading, whether its place was named as a channel."""
    middle_of: tuple[str, ...] = ()
    """Channel whose middle a reading is at, per point; empty for others."""
    reading_reflection: Complex | None = None
    """The readings themselves in `reading_ohm`, where they have a phase."""
    setup_channels: tuple[str, ...] = ()
    """Channels that the set-up names, read or not."""
    whole: bool = False
    """Each of them was read, or without any the set-up's sweep from end to end."""
    turned: tuple[str, ...] = ()
    """Ids of pads that stand in the set-up the wrong way round."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that prints and plots show one."""

    @property
    def read_channels(self) -> tuple[ChannelResult, ...]:
        """The channels, those of one reading each included: there the reading is the channel's."""
        if self.channels or not self.middle_of:
            return self.channels
        return tuple(
            ChannelResult(
                name,
                float(self.freq_hz[at]),
                float(self.freq_hz[at]),
                float(self.freq_hz[at]),
                float(self.reading_vswr[at]),
                float(self.true_vswr[at]),
                float(self.low[at]),
                float(self.high[at]),
                self.verdicts[at],
                self.grades[at],
            )
            for at, name in enumerate(self.middle_of)
            if name
        )

    @property
    def channels_apart(self) -> bool:
        """Whether there are few enough channels that the worst point of each is worth a row."""
        return 1 < len(self.channels) <= ENOUGH_POINTS

    @property
    def is_by_channel(self) -> bool:
        """Whether there are several readings, each at the middle of a channel."""
        return not self.channels and len(self.middle_of) > 1 and all(self.middle_of)

    def worst_first(self) -> list[int]:
        """Every point, see the function of this name."""
        return worst_first(self.verdicts, self.true_vswr, self.high)

    def at_worst_of(self, channel: ChannelResult) -> int:
        """Index of the worst point of a channel."""
        return int(np.argmin(np.abs(self.freq_hz - channel.worst_hz)))

    def worst_points(self) -> list[int]:
        """Points worth a row: all of a few, the worst of each channel, or the highest upper ends that no neighbour tops."""
        count = self.freq_hz.size
        if count <= ENOUGH_POINTS or self.is_by_channel:
            return self.worst_first()[:ENOUGH_POINTS]
        # What no passive antenna gives stands before every finite end.
        high = np.where(np.isnan(self.high), np.inf, self.high)
        if self.channels_apart:
            return [self.at_worst_of(each) for each in self.channels]
        apart = max(1, count // APART)
        # A point beside a worse one tells nothing that its neighbour does not.
        tops = [at for at in range(count) if high[at] >= high[max(0, at - apart) : at + apart + 1].max()]
        spaced: list[int] = []
        for at in sorted(tops, key=lambda each: (-high[each], each)):
            # A plateau has a top at each of its points; one stands for it.
            if all(abs(at - other) > apart for other in spaced):
                spaced.append(at)
        return spaced[:WORST_SHOWN]

    def judged_points(self) -> NDArray[np.bool_]:
        """Mask of the points that the verdict is about: those of the channels where there are any, else all."""
        if not self.channels:
            return np.ones(self.freq_hz.shape, bool)
        # Channels may overlap, and need not cover the sweep.
        inside = [(self.freq_hz >= each.low_hz) & (self.freq_hz <= each.high_hz) for each in self.channels]
        return np.asarray(np.any(inside, axis=0), bool)

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        own = {"cure" if name == "improvement" else name: value for name, value in vars(self).items()}
        own["channels"] = [vars(each) for each in self.channels]
        own["contributions"] = [vars(each) for each in self.contributions]
        own["cure"] = None if self.improvement is None else vars(self.improvement)
        own["linear"] = None if self.linear is None else self.linear.to_dict()
        own["accuracy"] = None if self.accuracy is None else vars(self.accuracy)
        own["region"] = None if self.region is None else vars(self.region)
        own["refused"] = [{"freq_hz": freq_hz, "reason": reason} for freq_hz, reason in self.refused]
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]

    def dataframe_columns(self) -> dict[str, Any]:
        """The table, with the complex reflections and the impedance where there is a phase."""
        found = self.table()
        names = ("reading_reflection", "true_reflection", "true_ohm")
        return found | {name: values for name in names if (values := getattr(self, name)) is not None}

    def headline(self) -> str:
        """Title, verdict and the reference of the true VSWRs."""
        kind = "return loss" if self.limit_in_db else "VSWR"
        limit = ""
        if self.limit_vswr is not None:
            stated = f"{float(return_loss_db(magnitude_from_vswr(self.limit_vswr))):.3g} dB return loss"
            limit = f" against {stated if self.limit_in_db else f'VSWR {self.limit_vswr:.4g}'}"
        return f"{self.title}: {self.verdict}{limit}; true {kind} in {self.far_ohm:g} ohm"

    def to_network(self) -> Network:
        """True reflection as a scikit-rf one-port in `far_ohm`; readings without a phase have none to give."""
        if self.true_reflection is None:
            raise RangeError(
                "the readings have no phase",
                "a Touchstone file or Network holds R and X: read a sweep with phase, or write .csv",
            )
        return network(self.freq_hz, self.true_reflection, [self.far_ohm], self.title)
