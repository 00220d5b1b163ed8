"""The answer of `learn`: a part measured by the user, with intervals, as a record and as the text of a part file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chain.arrays import Complex, Real
from chain.errors import RangeError
from chain.results import SCHEMA_VERSION, ResultTable, network, plain_values
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network


@dataclass(frozen=True)
class Figure:
    """One figure of the part in the unit its name ends in, and the interval that holds it with the stated coverage."""

    name: str
    value: float
    low: float
    high: float
    words: str
    """What it is, for people."""


@dataclass(frozen=True)
class Side:
    """What a set-up shows about its limit with one description of the item; every figure is a VSWR."""

    part: str
    reading_vswr: float
    reading_low: float
    reading_high: float
    true_low: float
    true_high: float
    aim_vswr: float | None
    """Highest reading that proves the limit over the whole sweep; None where none does."""


@dataclass(frozen=True)
class BeforeAfter:
    """A set-up before and after the learnt part: the reading of an end just at the limit, and what it then says."""

    title: str
    item: str
    limit_vswr: float
    freq_hz: float
    before: Side
    after: Side


@dataclass(frozen=True, repr=False)
class Learnt(ResultTable):
    """Answer of `learn`. Losses run over `freq_hz`, matched at both ends in the part's own impedances.

    `loss_db` with its interval is of the part that was measured, so of the whole lead; `row` is the part as a row of the
    library, whose tolerances cover these intervals.
    """

    COLUMNS = ("freq_hz", "loss_db", "loss_low_db", "loss_high_db")

    id: str
    title: str
    kind: str
    """`pad`, `adapter` or `coax`."""
    method: str
    date: str
    freq_hz: Real
    loss_db: Real
    loss_low_db: Real
    loss_high_db: Real
    mean_loss: Figure
    """Mean in dB over the span."""
    figures: tuple[Figure, ...]
    near_ohm: float
    far_ohm: float
    length_m: float | None
    """Length of a lead, which its set-up must state."""
    sweeps: int
    """How many times the part was measured."""
    coverage: float
    seed: int
    draws: int
    row: dict[str, object]
    text: str
    """The part file."""
    sweep_hz: Real
    s: Complex | None
    """Mean two-port at `sweep_hz`, near port in `near_ohm`, far port in `far_ohm`; None where two sweeps cannot tell it."""
    loss_error_db: float
    """Half-width that covers the interval of the loss at every frequency, for the two-port as an item of its own."""
    reflection_error: float | None
    """How far the reflections of `s` may lie off; None where there is no `s` [-]."""
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
    comparison: BeforeAfter | None = None

    def headline(self) -> str:
        """Id, kind and mean loss with its interval."""
        mean = self.mean_loss
        return f"{self.id}: {self.kind}, {mean.value:.3f} dB ({mean.low:.3f} to {mean.high:.3f} dB), mean over the span"

    def to_dict(self) -> dict[str, object]:
        """Plain values; the two-port as [re, im] pairs over `sweep_hz`."""
        own = dict(vars(self))
        own["mean_loss"] = vars(self.mean_loss)
        own["figures"] = [vars(each) for each in self.figures]
        own["comparison"] = None
        if self.comparison is not None:
            sides = {"before": vars(self.comparison.before), "after": vars(self.comparison.after)}
            own["comparison"] = {**vars(self.comparison), **sides}
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]

    def to_network(self) -> Network:
        """The mean two-port as a scikit-rf Network, each port in its own reference."""
        if self.s is None:
            raise RangeError(
                "an open and a short alone do not determine the whole two-port", "measure a load at the far end too"
            )
        return network(self.sweep_hz, self.s, [self.near_ohm, self.far_ohm], self.id)
