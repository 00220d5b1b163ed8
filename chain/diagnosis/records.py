"""The answer of `prove`: kinds of fault with their probabilities, readings beside their ranges, what could still be hidden."""

from __future__ import annotations

from math import isinf

from chain.analyses.ohmmeter import lies_within
from chain.arrays import Real
from chain.diagnosis.fault_sizes import SizeSpan
from chain.diagnosis.next_reading import NextReading
from chain.diagnosis.soundness import Contradiction
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from library.frozen import dataclass

CANT_TELL = "can't tell"
NONE_OF_THESE = "none of these"
NOTHING_SHOWN = "no fault shown"


@dataclass(frozen=True)
class ReadTermination:
    """One termination as read, with what it would show (VSWR) if the chain were right, and if it were the first kind.

    The `right` ranges hold all readings of 95 % of sound chains together; the `first` ones those of 99 % of chains with it.
    """

    end: str
    seating: int
    reading_vswr: float
    told: str
    is_sound: bool
    """A sound chain may show it."""
    right_low: float
    right_high: float
    first_low: float
    first_high: float


@dataclass(frozen=True)
class Hypothesis:
    """One kind of fault with its probability, `share`. The readings leave its size between `size_low` and `size_high` (95 %).

    Sizes are what `size_of` says; None for a kind without one. Where only small and large ones would do, `size_spans` holds
    both, the commoner first; `size` is the middle of that. `item` is the likeliest place, with its share of the kind.
    """

    what: str
    item: str
    share: float
    share_error: float
    item_share: float
    size_of: str
    size: float | None
    size_low: float | None
    size_high: float | None
    size_spans: tuple[SizeSpan, ...]
    agrees: bool
    """False where the readings lie beyond anything this kind shows."""
    detail: str
    """Which of several faults at one place it is, where nothing else is likely; else empty."""
    is_defect: bool
    """The size lies so far from what is stated that it is no other make of the part, but a defect."""


@dataclass(frozen=True)
class Hidden:
    """A fault that the readings do not rule out, up to a `size` in the unit of `size_of` (None: a kind without one)."""

    what: str
    item: str
    size_of: str
    size: float | None


@dataclass(frozen=True, repr=False)
class Proof(ResultTable):
    """Answer of `prove`. Readings are at the plane in `reading_ohm`, terminations in the antenna's place in `far_ohm`."""

    ROWS = "hypotheses"
    COLUMNS = ("what", "item", "share", "size_of", "size", "size_low", "size_high")

    title: str
    plane: str
    reading_ohm: float
    far_ohm: float
    freq_hz: Real
    readings: tuple[ReadTermination, ...]
    ohms: float | None
    ohms_expected: float
    ohms_low: float
    ohms_high: float
    """What the ohmmeter may show of a sound chain, as on the card."""
    ohms_mean: str
    """What the card says of a reading outside that; empty where it says nothing."""
    hypotheses: tuple[Hypothesis, ...]
    verdict: str
    """The kind named, `right` where every other is ruled out, `no fault shown`, `can't tell` or `none of these`."""
    enough: float
    inside: bool
    """Whether all readings lie inside the ranges of a sound chain, and go together as its readings do."""
    could_hide: tuple[Hidden, ...]
    """What may be wrong all the same, where no fault is shown."""
    telling: NextReading | None
    """The further reading that would resolve most; None where nothing is open."""
    contradiction: Contradiction | None
    """Readings that each would do for a right chain where together they do not."""
    ranges: dict[str, str]
    load_db: float
    load50_db: float
    seed: int
    draws: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]

    def column_units(self) -> dict[str, str]:
        """Sizes are reflections but for a loss."""
        return dict.fromkeys(("size", "size_low", "size_high"), "1, dB where size_of is loss_db")

    @property
    def is_ohms_sound(self) -> bool:
        """Whether the card has the ohmmeter's reading in the range of a sound chain."""
        return self.ohms is not None and lies_within(self.ohms, self.ohms_low, self.ohms_high)

    def headline(self) -> str:
        """Title, verdict and the probability of the first kind."""
        first = self.hypotheses[0]
        return f"{self.title}: {self.verdict}; {first.what} {first.share:.2f}"

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        own = dict(vars(self))
        own["readings"] = [vars(each) for each in self.readings]
        own["hypotheses"] = [
            vars(each) | {"size_spans": [vars(span) for span in each.size_spans]} for each in self.hypotheses
        ]
        own["could_hide"] = [vars(each) for each in self.could_hide]
        own["contradiction"] = None if self.contradiction is None else vars(self.contradiction)
        own["telling"] = None if self.telling is None else vars(self.telling)
        # An open cannot be stated by a number: null, and stated beside it.
        own["ohms_open"] = self.ohms is not None and isinf(self.ohms)
        own["ohms_expected_open"] = isinf(self.ohms_expected)
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]
