"""The answer of `tune`: resonances, the way to turn, what it would read afterwards, and what to do where that cannot be resolved."""

from __future__ import annotations

from typing import Any, ClassVar

from chain.arrays import Complex, Real
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from chain.tuning.crossings import Estimate
from library.frozen import dataclass


@dataclass(frozen=True)
class Wanted:
    """What the antenna is for: a span of frequencies, and the one that its resonance is to be brought to."""

    name: str
    low_hz: float
    high_hz: float

    @property
    def aim_hz(self) -> float:
        """Middle of the span on a scale of ratios, which is how an antenna is stretched."""
        return float((self.low_hz * self.high_hz) ** 0.5)


@dataclass(frozen=True)
class Resonance:
    """A frequency where the reactance at the element vanishes; `kind` is series (it rises through zero) or parallel."""

    freq_hz: Estimate
    kind: str
    resistance_ohm: Estimate
    quality_factor: Estimate


@dataclass(frozen=True)
class Bandwidth:
    """The stretch about the dip that lies within a limit, at the antenna's connector."""

    limit_vswr: float
    low_hz: Estimate
    high_hz: Estimate
    width_hz: Estimate


@dataclass(frozen=True)
class LengthChange:
    """A change of the element's length: relative, negative for shorter; `basis` says what it was had from.

    `length_m` is that of the whole element where its length is stated, else None.
    """

    share: Estimate
    length_m: Estimate | None
    basis: str


@dataclass(frozen=True)
class Band:
    """Worst VSWR in the wanted span, at the antenna's connector.

    `vswr` is that of the antenna as recovered, which has it at `at_hz`; its ends are of the worst wherever in the span it is.
    """

    vswr: Estimate
    at_hz: float


@dataclass(frozen=True)
class Prediction:
    """What the antenna would be and what the screen would show after a change of length, over the wanted span.

    Arrays run over `freq_hz`; VSWRs, with the ends of their intervals. `better` is the share of trials in which the worst
    channel gains; `covered` is False where the sweep is too narrow to foretell all of the wanted span.
    """

    share: float
    freq_hz: Real
    reflection: Complex
    true_vswr: Real
    true_low: Real
    true_high: Real
    reading_vswr: Real
    reading_low: Real
    reading_high: Real
    worst: Band
    better: float
    covered: bool


@dataclass(frozen=True)
class TrialChange:
    """A change to try where readings alone do not resolve: the dip should move from one frequency to the other.

    `tellable_hz` is the least move of the dip that the chain can distinguish from its own noise and repeatability.
    """

    share: float
    from_hz: float
    to_hz: float
    tellable_hz: float
    length_m: float | None = None
    """The change of the whole element's length where that is stated [m]."""


@dataclass(frozen=True)
class Narrowing:
    """A change of the set-up that would narrow the interval of the resonance: from `now_hz` to `then_hz`, both whole widths."""

    what: str
    now_hz: float
    then_hz: float


@dataclass(frozen=True)
class Curves:
    """The sweep taken back to the antenna, arrays over `freq_hz`, with the ends of the 95 % interval at each frequency.

    VSWR and reflection are at the antenna's connector, resistance and reactance at its element; None without a phase.
    """

    freq_hz: Real
    reading_vswr: Real
    true_vswr: Real
    low: Real
    high: Real
    reflection: Complex | None = None
    resistance_ohm: Real | None = None
    resistance_low_ohm: Real | None = None
    resistance_high_ohm: Real | None = None
    reactance_ohm: Real | None = None
    reactance_low_ohm: Real | None = None
    reactance_high_ohm: Real | None = None


@dataclass(frozen=True, repr=False)
class Tuning(ResultTable):
    """Answer of `tune`. True VSWRs are in `far_ohm` at the antenna's connector, R and X at its element's terminals.

    `direction` is `too long`, `too short`, or empty where it cannot be resolved; `verdict` is one of these, `in tune`, `no gain`
    (length is not what is wrong) or `cannot tell`. `suspected` marks a direction that rests on an assumption about the make.
    """

    title: str
    plane: str
    element: str
    reading_ohm: float
    far_ohm: float
    element_ohm: float
    limit_vswr: float
    wanted: Wanted
    interpretation: str
    sweep: Curves
    dip: Estimate
    other_dips_hz: tuple[float, ...]
    """Further dips of readings without a phase; `dip` is the one in or nearest to the wanted span."""
    dip_side: str
    """Where the dip lies: `below`, `above` or `within` the wanted span, `below the middle`, `above the middle`; else empty."""
    resonances: tuple[Resonance, ...]
    bandwidth: Bandwidth | None
    direction: str
    verdict: str
    suspected: bool
    reason: str
    change: LengthChange | None
    by_slope: LengthChange | None
    now: Band
    after: Prediction | None
    trial: TrialChange | None
    improvement: Narrowing | None
    coverage: float
    seed: int
    draws: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    could_show_phase: bool = True
    """Whether the analyzer of the set-up shows a phase, whatever the sweep holds."""
    limit_in_db: bool = False
    """The limit is stated as a return loss, so that prints and plots show one."""

    NULLS: ClassVar[dict[str, str]] = {
        "low": "lies outside the sweep, or infinite",
        "high": "lies outside the sweep, or infinite",
        "value": "lies outside the sweep",
        "length_m": "the file does not state the element's length",
        "after": "no change is proposed",
        "reflection": "the readings have no phase",
    }

    @property
    def has_phase(self) -> bool:
        """Whether the readings had a phase."""
        return self.sweep.reflection is not None

    def table(self) -> dict[str, Any]:
        """The sweep: screen and antenna over frequency, with R and X where there is a phase."""
        return {name: value for name, value in vars(self.sweep).items() if value is not None}

    def headline(self) -> str:
        """Title, verdict and the wanted span."""
        span = f"{self.wanted.low_hz / 1e6:g} to {self.wanted.high_hz / 1e6:g} MHz"
        return f"{self.title}: {self.verdict} for {span}; true VSWR in {self.far_ohm:g} ohm"

    def to_dict(self) -> dict[str, object]:
        """Plain values, units in the names of the keys."""
        own = {name: _plain(value) for name, value in vars(self).items()}
        own["wanted"] = {**vars(self.wanted), "aim_hz": self.wanted.aim_hz}
        own["has_phase"] = self.has_phase
        found = plain_values({"schema_version": SCHEMA_VERSION, **own, "null_means": dict(self.NULLS)})
        return found  # type: ignore[return-value]


def _plain(value: Any) -> Any:
    """Records as tables, however deep."""
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    fields = getattr(type(value), "__dataclass_fields__", None)
    return {name: _plain(getattr(value, name)) for name in fields} if fields else value
