"""Is the chain what it claims to be? Known terminations as they were read, held against every kind of fault."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isinf

import numpy as np
from numpy.typing import NDArray

from chain.analyses.ohmmeter import OR, dc_reading, lies_within, meaning_of, whole_chain
from chain.arrays import Real
from chain.diagnosis.evidence import ENOUGH, PILOT_BLOCKS, FaultProbability, evidence, probabilities
from chain.diagnosis.fault_sizes import SizeSpan, size_spans, weighted_quantiles
from chain.diagnosis.faults import (
    BLOCKS_DC,
    LOSS,
    NEAR_CONNECTOR,
    NEAR_OR_STALE,
    OPEN_END,
    RANGES,
    RIGHT,
    STALE,
    SuspectedFault,
    kinds_of,
    leads_unresolved,
    pads_in_view,
)
from chain.diagnosis.likelihood import strata
from chain.diagnosis.next_reading import OHMMETER, NextReading, next_reading
from chain.diagnosis.ohmmeter_likelihood import may_show, meter_of
from chain.diagnosis.records import (
    CANT_TELL,
    NONE_OF_THESE,
    NOTHING_SHOWN,
    Hidden,
    Hypothesis,
    Proof,
    ReadTermination,
)
from chain.diagnosis.session import Session, session
from chain.diagnosis.soundness import Soundness, reproduced, soundness
from chain.diagnosis.terminations import KnownTerminations
from chain.errors import RangeError
from chain.reflection import vswr
from chain.results import SEED
from chain.setups import Setup

ASSUMED_LOAD_DB = 26.0
"""Return loss of a load that nothing is stated of; memory."""
STRANGE = 12.0
"""Readings that the first kind gives only with spans widened by this factor or more come from none of the kinds."""
DEFECT_DB, DEFECT_TOLERANCES = 1.0, 3.0
"""A pad whose loss is off by more than this, and by more than so many times its tolerance, is defective; own choice."""
UNDECIDED = (CANT_TELL, NOTHING_SHOWN, NONE_OF_THESE)
SETTLED = 0.95
"""Probability from which on nothing more is asked for, and a fault is named though each reading would do for a sound chain."""
OPEN_SHARE = 0.02
"""Probability, over that of a right chain, from which on a kind without a size is listed as what could be hidden."""


def prove(
    setup: Setup,
    known: KnownTerminations,
    ohms: float | None = None,
    load_db: float | None = None,
    load50_db: float | None = None,
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Proof:
    """Find what readings of known terminations mean: the chain is right, or which one thing is wrong with it.

    Parameters
    ----------
    setup : the set-up as it is meant to be.
    known : readings of open, short and loads in the antenna's place; none where `ohms` is given.
    ohms : what an ohmmeter shows at the near end with the far end open; infinity for an open [ohm].
    load_db, load50_db : return loss that the loads hold in their own impedance; the calibration's own load, or 26 dB [dB].
    draws : simulated chains for each kind of fault, rounded up to whole 20,000; as many as the probabilities need if left out.
    seed : seed of the simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Proof. Its verdict is the first kind where its probability is 0.80 or more; `no fault shown` where none is and a sound
    chain may well show such readings.

    Raises
    ------
    FitError : two ends of the set-up that do not fit together.
    RangeError : a frequency outside what a part's model covers, or what is no reading of known terminations.

    Examples
    --------
    >>> from chain import known_ends, load_setup, prove
    >>> known = known_ends({"open": ["2.20"], "short": ["2.25"], "load": ["1.67"], "load50": ["1.70"]}, 207e6)
    >>> found = prove(load_setup("demo/boathouse.toml"), known, draws=40_000)
    >>> found.verdict, found.hypotheses[0].item
    ('pad reversed', 'pad')

    Source
    ------
    Bayes' rule, all kinds alike beforehand, likelihoods by Monte Carlo.
    """
    if not isinstance(known, KnownTerminations):
        what = f"known: readings of known terminations are needed, not {type(known).__name__}"
        raise RangeError(what, "known_ends({'open': ['1.73'], 'short': ['1.73']}, 210e6) makes them")
    load_db, load50_db, assumed = _loads(setup, known, load_db, load50_db)
    of = session(setup, known.freq_hz, [(each.end, each.seating) for each in known.readings], load_db, load50_db)
    card = whole_chain(setup)
    ohms_expected = card.expected_ohm
    # A chain that is open to DC anyway hides a capacitor in its pad.
    with_ohms = ohms is not None and not isinf(ohms_expected)
    kinds = kinds_of(setup, known.freq_hz, {each.end for each in known.readings}, known.seatings > 1, with_ohms)
    meter = None if ohms is None else meter_of(setup, ohms)
    found = evidence(of, kinds, known.readings, seed, meter, draws, progress)
    probability, error = probabilities(found)
    order = np.argsort(-probability, kind="stable")
    hypotheses = tuple(_hypothesis(found[index], float(probability[index]), float(error[index])) for index in order)
    # The chain as it is meant to be is the first of the kinds.
    right, first = found[0], found[order[0]]
    assert right.typical is not None
    sound = soundness(right.typical, known.readings, seed, float(probability[0]))
    ohms_agree = ohms is None or lies_within(ohms, card.low_ohm, card.high_ohm)
    inside = sound.holds and ohms_agree
    as_first = reproduced(_typical(first, hypotheses[0]), known.readings, seed)
    shows = as_first.holds and (ohms is None or any(may_show(setup, fault, ohms) for fault in first.kind.faults))
    ohms_mean = "" if ohms is None or ohms_agree else meaning_of(setup, ohms)
    # DC says nothing of a loss at radio frequency: without a reading there, a figure that the card lacks has no meaning.
    fits = shows and bool(known.readings or ohms_agree or ohms_mean)
    verdict = _verdict(first, hypotheses[0], inside, fits)
    if not known.readings and OR in ohms_mean and verdict not in UNDECIDED:
        verdict = CANT_TELL
    telling = _next(of, known, [found[index] for index in order], (verdict, hypotheses[0].share), ohms is None, seed)
    return Proof(
        setup.title,
        setup.calibration.plane,
        of.measurement.reading_ohm,
        of.measurement.far_ohm,
        known.freq_hz,
        _ends(known, sound, as_first),
        ohms,
        ohms_expected,
        card.low_ohm,
        card.high_ohm,
        ohms_mean,
        hypotheses,
        verdict,
        ENOUGH,
        inside,
        _hidden(found, probability) if verdict == NOTHING_SHOWN else (),
        telling,
        sound.contradiction,
        RANGES,
        load_db,
        load50_db,
        seed,
        first.draws,
        (*setup.assumed, *assumed),
        (*setup.warnings, *_elsewhere(setup, known), *_remarks(setup, ohms), *_unresolved(setup, known, verdict)),
    )


def _typical(found: FaultProbability, stated: Hypothesis) -> Real:
    """Readings of a kind of fault; of one of its faults alone where the answer names that one."""
    assert found.typical is not None
    if not (stated.detail and found.typical.size):
        return found.typical
    place = next(
        n for n, each in enumerate(found.kind.faults) if (each.item, each.detail) == (stated.item, stated.detail)
    )
    block = found.typical.shape[0] // PILOT_BLOCKS
    by_block = found.typical.reshape(PILOT_BLOCKS, block, -1)
    return by_block[:, strata(found.kind, block)[place]].reshape(-1, by_block.shape[2])


def _verdict(first: FaultProbability, stated: Hypothesis, inside: bool, fits: bool) -> str:
    """The likeliest kind where it is likely enough; no fault is shown by readings that a sound chain may well give."""
    if stated.what != RIGHT and inside and stated.share < SETTLED and first.widened < STRANGE:
        return NOTHING_SHOWN
    if first.widened >= STRANGE or not (fits or inside):
        return NONE_OF_THESE
    if stated.share >= ENOUGH:
        return stated.what
    return NOTHING_SHOWN if inside else CANT_TELL


def _loads(
    setup: Setup, known: KnownTerminations, load_db: float | None, load50_db: float | None
) -> tuple[float, float, tuple[str, ...]]:
    """Return loss of both loads, and what was assumed of those that were read."""
    plane, far_ohm = setup.calibration, setup.far.impedance_ohm
    ends = {each.end for each in known.readings}
    assumed = []
    # The load of the calibration serves as the known one where it has the antenna's impedance.
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


def _elsewhere(setup: Setup, known: KnownTerminations) -> tuple[str, ...]:
    return setup.sweep.without(known.freq_hz.tolist()) if known.readings else ()


def _unresolved(setup: Setup, known: KnownTerminations, verdict: str) -> tuple[str, ...]:
    """A remark beside a chain that shows no fault: the cables that may be others of the same impedance all the same."""
    if verdict not in (RIGHT, NOTHING_SHOWN) or not known.readings:
        return ()
    names = [f"'{item.id}'" for item in leads_unresolved(setup, known.freq_hz)]
    if not names:
        return ()
    which = " or ".join(names)
    return (
        f"another cable of the same impedance as {which} loses too little to show here; read the print on its jacket",
    )


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
        float(named[[each.item == faults[place].item for each in faults]].sum() / total) if total else 1.0,
        SIZES.get(what, "reflection of the connector") if sizes else "",
        sizes[0].middle if sizes else None,
        min(each.low for each in sizes) if sizes else None,
        max(each.high for each in sizes) if sizes else None,
        sizes,
        found.widened < STRANGE,
        faults[place].detail if total and named[place] >= ENOUGH * total else "",
        bool(what == LOSS and sizes) and _is_defect(faults[place], sizes[0].middle),
    )


def _is_defect(fault: SuspectedFault, loss_db: float) -> bool:
    """Whether a pad's loss is too far from the stated one for another pad of that make."""
    (part,) = (each.part for each in fault.setup.items if each.id == fault.item)
    tolerance_db = getattr(part, "loss_tolerance_db", 0.0)
    return abs(loss_db - fault.loss_db) > max(DEFECT_DB, DEFECT_TOLERANCES * tolerance_db)


def _sizes(found: FaultProbability) -> tuple[SizeSpan, ...]:
    """Spans of a fault's size over the trials that agree; a loss is that of the pad, not what is added to it."""
    # A kind without a size, such as a part the wrong way round, has none to give a span of.
    if np.isnan(found.size).any():
        return ()
    stated = np.array([fault.loss_db for fault in found.kind.faults])
    return size_spans(found.size + stated[found.fault], found.weight)


def _hidden(found: Sequence[FaultProbability], probability: Real) -> tuple[Hidden, ...]:
    """What the readings do not rule out, each with the largest size they leave; the likeliest first."""
    out = []
    for index in np.argsort(-probability, kind="stable"):
        each = found[index]
        if each.kind.what == RIGHT or probability[index] < OPEN_SHARE * probability[0] or not each.weight.size:
            continue
        what_of = np.array([fault.what for fault in each.kind.faults])
        for what in dict.fromkeys(what_of.tolist()):
            own = (what_of == what)[each.fault] & (each.weight > 0)
            if own.any():
                out.append(_hidden_fault(each, what, own))
    return tuple(out)


def _hidden_fault(found: FaultProbability, what: str, own: NDArray[np.bool_]) -> Hidden:
    """The largest size of one fault; the farthest from what is stated for a loss, the least open for an open."""
    weight, place = found.weight[own], found.fault[own]
    item = found.kind.faults[int(np.argmax(np.bincount(place, weight)))].item
    size = found.size[own]
    if np.isnan(size).any():
        return Hidden(what, item, "", None)
    # A loss may be off either way; an open is worst where it reflects least.
    low, _, high = map(float, weighted_quantiles(np.abs(size) if what == LOSS else size, weight))
    return Hidden(what, item, SIZES.get(what, "reflection of the connector"), low if what == OPEN_END else high)


def _ends(known: KnownTerminations, sound: Soundness, first: Soundness) -> tuple[ReadTermination, ...]:
    """Readings beside what the chain would show if it were right, and as the first kind has it."""
    ends = (sound.low, sound.high, first.low, first.high)
    spans = [np.asarray(vswr(np.minimum(each, 1.0))) for each in ends]
    return tuple(
        ReadTermination(
            read.end,
            read.seating,
            float(vswr(min(read.magnitude, 1.0))),
            read.told,
            bool(sound.low[n] <= read.high and read.low <= sound.high[n]),
            *(float(each[n]) for each in spans),
        )
        for n, read in enumerate(known.readings)
    )


def _next(
    of: Session,
    known: KnownTerminations,
    kinds: Sequence[FaultProbability],
    found: tuple[str, float],
    without_ohms: bool,
    seed: int,
) -> NextReading | None:
    """The reading to take next, while anything is open: between the likeliest two kinds, or the two halves of the first."""
    verdict, share = found
    may_meter = without_ohms and bool(pads_in_view(of.setup)) and not isinf(dc_reading(of.setup, np.inf))
    likely = kinds[:2]
    first, second = (each.kind for each in likely)
    if verdict == NEAR_OR_STALE:
        halves = kinds_of(of.setup, known.freq_hz, {each.end for each in known.readings}, True, False)
        first, second = (kind for kind in halves if kind.what in (NEAR_CONNECTOR, STALE))
        likely = ()
    elif verdict not in UNDECIDED and share >= SETTLED:
        return None
    elif verdict == NOTHING_SHOWN and RIGHT in (first.what, second.what):
        likely = likely if first.what == RIGHT else likely[::-1]
        first, second = (each.kind for each in likely)
    # At radio frequency a capacitor in the pad reads as a wire does; only an ohmmeter tells the two apart.
    if known.readings and BLOCKS_DC in (first.what, second.what):
        return NextReading(OHMMETER, False, first.what, second.what)
    windows = [each.windows for each in likely] or None
    return next_reading(of, (first, second), known.readings, seed, may_meter, windows)
