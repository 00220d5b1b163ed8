"""Is the chain what it claims to be? Known ends as they were read, held against every kind of fault."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isinf

import numpy as np

from chain.analyses.ohmmeter import dc_reading
from chain.arrays import Real
from chain.diagnosis.contradiction import Contradiction, contradiction
from chain.diagnosis.evidence import ENOUGH, FaultProbability, evidence, shares
from chain.diagnosis.fault_sizes import SizeSpan, size_spans
from chain.diagnosis.faults import (
    BLOCKS_DC,
    LOSS,
    NEAR_OR_STALE,
    OPEN_END,
    RANGES,
    STALE,
    FaultKind,
    kinds_of,
    pads_in_view,
)
from chain.diagnosis.known_ends import KnownEnds
from chain.diagnosis.next_reading import Telling, telling_reading
from chain.diagnosis.ohmmeter_likelihood import meter_of
from chain.diagnosis.session import Session, session
from chain.reflection import vswr
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from chain.setups import Setup
from chain.uncertainty.intervals import SEED

__all__ = ["ASSUMED_LOAD_DB", "CANT_TELL", "NONE_OF_THESE", "Hypothesis", "Proof", "ReadEnd", "prove"]


CANT_TELL = "can't tell"
NONE_OF_THESE = "none of these"
ASSUMED_LOAD_DB = 26.0
"""Return loss of a load that nothing is stated of; memory."""
STRANGE = 12.0
"""Readings that the first kind gives only with spans widened by this factor or more come from none of the kinds."""
COVERED = (0.025, 0.975)
UNLIKELY = 0.05
"""Share of a right chain below which it is said what speaks against it."""


@dataclass(frozen=True)
class ReadEnd:
    """One end as read, with what it would show (VSWR, 95 %) if the chain were right, and if it were the first kind."""

    end: str
    seating: int
    reading_vswr: float
    told: str
    right_low: float
    right_high: float
    first_low: float
    first_high: float


@dataclass(frozen=True)
class Hypothesis:
    """One kind of fault with its share. The readings leave its size between `size_low` and `size_high` (95 %).

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


@dataclass(frozen=True, repr=False)
class Proof(ResultTable):
    """Answer of `prove`. Readings are at the plane in `reading_ohm`, ends in the antenna's place in `far_ohm`."""

    ROWS = "hypotheses"
    COLUMNS = ("what", "item", "share", "size_of", "size", "size_low", "size_high")

    title: str
    plane: str
    reading_ohm: float
    far_ohm: float
    freq_hz: Real
    readings: tuple[ReadEnd, ...]
    ohms: float | None
    ohms_expected: float
    hypotheses: tuple[Hypothesis, ...]
    verdict: str
    enough: float
    telling: Telling | None
    """The further reading that would tell the first two kinds apart, where there is one."""
    contradiction: Contradiction | None
    """Readings that each would do for a right chain where together they do not."""
    ranges: dict[str, str]
    load_db: float
    load50_db: float
    seed: int
    draws: int
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]

    def headline(self) -> str:
        """Title, verdict and the share of the first kind."""
        first = self.hypotheses[0]
        return f"{self.title}: {self.verdict}; {first.what} {first.share:.2f}"

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        own = dict(vars(self))
        own["readings"] = [vars(each) for each in self.readings]
        own["hypotheses"] = [
            vars(each) | {"size_spans": [vars(span) for span in each.size_spans]} for each in self.hypotheses
        ]
        own["contradiction"] = None if self.contradiction is None else vars(self.contradiction)
        own["telling"] = None if self.telling is None else vars(self.telling)
        # An open cannot be told by a number: null, and said beside it.
        own["ohms_open"] = self.ohms is not None and isinf(self.ohms)
        own["ohms_expected_open"] = isinf(self.ohms_expected)
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]


def prove(
    setup: Setup,
    known: KnownEnds,
    ohms: float | None = None,
    load_db: float | None = None,
    load50_db: float | None = None,
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Proof:
    """Tell what readings of known ends mean: the chain is right, or which one thing is wrong with it.

    Parameters
    ----------
    setup : the set-up as it is meant to be.
    known : readings of open, short and loads in the antenna's place.
    ohms : what an ohmmeter shows at the near end with the far end open; infinity for an open [ohm].
    load_db, load50_db : return loss that the loads hold in their own impedance; the calibration's own load, or 26 dB [dB].
    draws : simulated chains for each kind of fault; as many as the shares need if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Proof. Its verdict is the first kind where its share is 0.80 or more.

    Raises
    ------
    FitError : two ends of the set-up that do not fit together.
    RangeError : a frequency outside what a part's model covers.

    Examples
    --------
    >>> from chain.diagnosis.known_ends import known_ends
    >>> from chain.files.setup_file import load_setup
    >>> known = known_ends({"open": ["2.20"], "short": ["2.25"], "load": ["1.67"], "load50": ["1.70"]}, 207e6)
    >>> found = prove(load_setup("demo/boathouse.toml"), known, draws=40_000)
    >>> found.verdict, found.hypotheses[0].item
    ('pad reversed', 'pad')

    Source
    ------
    Bayes' rule, all kinds alike beforehand, likelihoods by Monte Carlo.
    """
    load_db, load50_db, assumed = _loads(setup, known, load_db, load50_db)
    of = session(setup, known.freq_hz, [(each.end, each.seating) for each in known.readings], load_db, load50_db)
    ohms_expected = dc_reading(setup, np.inf)
    # A chain that is open to DC anyway hides a capacitor in its pad.
    metered = ohms is not None and not isinf(ohms_expected)
    kinds = kinds_of(setup, {each.end for each in known.readings}, known.seatings > 1, metered)
    meter = None if ohms is None else meter_of(setup, ohms)
    found = evidence(of, kinds, known.readings, seed, meter, draws, progress)
    share, error = shares(found)
    order = np.argsort(-share, kind="stable")
    hypotheses = tuple(_hypothesis(found[index], float(share[index]), float(error[index])) for index in order)
    first = found[order[0]]
    verdict = first.kind.what if share[order[0]] >= ENOUGH else CANT_TELL
    verdict = verdict if first.widened < STRANGE else NONE_OF_THESE
    telling = _telling(of, known, setup, [found[index].kind for index in order], verdict, seed)
    return Proof(
        setup.title,
        setup.calibration.plane,
        of.measurement.reading_ohm,
        of.measurement.far_ohm,
        known.freq_hz,
        _ends(known, found[0], first),
        ohms,
        ohms_expected,
        hypotheses,
        verdict,
        ENOUGH,
        telling,
        _contradiction(found[0], float(share[0]), known),
        RANGES,
        load_db,
        load50_db,
        seed,
        first.draws,
        (*setup.assumed, *assumed),
        (*setup.warnings, *_remarks(setup, ohms)),
    )


def _loads(
    setup: Setup, known: KnownEnds, load_db: float | None, load50_db: float | None
) -> tuple[float, float, tuple[str, ...]]:
    """Return loss of both loads, and what was assumed of those that were read."""
    plane, far_ohm = setup.calibration, setup.far.impedance_ohm
    ends = {each.end for each in known.readings}
    assumed = []
    if load_db is None and plane.load_impedance_ohm in (None, far_ohm):
        load_db = plane.load_db
    if load_db is None:
        load_db = ASSUMED_LOAD_DB
        if "load" in ends:
            assumed.append(f"the {far_ohm:g}-ohm load: return loss {load_db:g} dB (memory); state it with --load-limit")
    if load50_db is None:
        load50_db = ASSUMED_LOAD_DB
        if ends & {"load", "load50"}:
            assumed.append(f"a 50-ohm load: return loss {load50_db:g} dB (memory); state it with --load50-limit")
    return load_db, load50_db, tuple(assumed)


def _remarks(setup: Setup, ohms: float | None) -> tuple[str, ...]:
    out = []
    if not pads_in_view(setup):
        out.append("no pad lies behind the calibration plane, so these readings prove none")
    elif ohms is None:
        out.append(
            "a capacitor inside the pad cannot be seen at radio frequency; an ohmmeter tells, the analyzer and every supply "
            "taken off first (--ohms)"
        )
    return tuple(out)


SIZES = {LOSS: "loss_db", OPEN_END: "reflection of the end", STALE: "residual error"}


def _hypothesis(found: FaultProbability, share: float, error: float) -> Hypothesis:
    faults = found.kind.faults
    weight = np.bincount(found.fault, found.weight, len(faults)) if found.weight.size else np.zeros(len(faults))
    # Of a kind that mixes places with none, the likeliest place is named.
    named = np.array([bool(fault.item) for fault in faults]) * weight
    total = float(named.sum())
    place = int(np.argmax(named)) if total else 0
    sizes = () if found.kind.what == NEAR_OR_STALE else _sizes(found)
    what = found.kind.what
    return Hypothesis(
        what,
        faults[place].item if total or len(faults) == 1 else "",
        share,
        error,
        float(named[place] / total) if total else 1.0,
        SIZES.get(what, "reflection of the connector") if sizes else "",
        sizes[0].middle if sizes else None,
        min(each.low for each in sizes) if sizes else None,
        max(each.high for each in sizes) if sizes else None,
        sizes,
        found.widened < STRANGE,
    )


def _sizes(found: FaultProbability) -> tuple[SizeSpan, ...]:
    """Spans of a fault's size over the draws that agree; a loss is that of the pad, not what is added to it."""
    if np.isnan(found.size).any():
        return ()
    stated = np.array([fault.loss_db for fault in found.kind.faults])
    return size_spans(found.size + stated[found.fault], found.weight)


def _contradiction(right: FaultProbability, share: float, known: KnownEnds) -> Contradiction | None:
    """What speaks against a right chain where no reading alone does."""
    assert right.typical is not None
    return contradiction(right.typical, known.readings) if share < UNLIKELY else None


def _ends(known: KnownEnds, right: FaultProbability, first: FaultProbability) -> tuple[ReadEnd, ...]:
    """Readings beside what the chain would show if it were right, and as the first kind has it."""
    spans = []
    for each in (right, first):
        assert each.typical is not None
        low, high = np.minimum(np.quantile(each.typical, COVERED, axis=0), 1.0)
        spans += [np.asarray(vswr(low)), np.asarray(vswr(high))]
    return tuple(
        ReadEnd(read.end, read.seating, float(vswr(min(read.magnitude, 1.0))), read.told, *(float(e[n]) for e in spans))
        for n, read in enumerate(known.readings)
    )


def _telling(
    of: Session, known: KnownEnds, setup: Setup, kinds: Sequence[FaultKind], verdict: str, seed: int
) -> Telling | None:
    """The reading to take next: between the first two kinds, or between the two halves of the first."""
    if verdict == NEAR_OR_STALE:
        halves = kinds_of(setup, {each.end for each in known.readings}, True, False)
        near, stale = (kind for kind in halves if kind.what in ("near connector poor", STALE))
        return telling_reading(of, (near, stale), known.readings, seed)
    if verdict != CANT_TELL or BLOCKS_DC in (kinds[0].what, kinds[1].what):
        return None
    return telling_reading(of, (kinds[0], kinds[1]), known.readings, seed)
