"""Probabilities of the kinds of fault: how often each would give the readings that were seen, by Monte Carlo, all kinds alike at first.

The likelihood of a kind is the mean over its trials of the chance of the readings. First trials show which kinds, and which sizes
of them, come near the readings at all; then trials are added until the probabilities stand still.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.diagnosis.faults import FaultKind
from chain.diagnosis.likelihood import BLOCK, Agreeing, FaultWork, Meter, Windows, work_of
from chain.diagnosis.sampling import Predicted
from chain.diagnosis.session import Session
from chain.diagnosis.terminations import TerminationReading
from chain.uncertainty.parallel import in_order

ENOUGH = 0.80
"""Probability from which on a kind is named."""
PILOT_BLOCKS = 2
"""First trials, over the whole range of sizes: they show which sizes of which faults come near the readings at all."""
BLOCKS_AT_ONCE = 4
"""Blocks drawn before it is asked whether more are needed: not as many as there are threads, or the answer would depend on them."""
MOST_DRAWS = 400_000
HOPELESS_DRAWS = 100_000
"""Trials after which a set of readings that none of them gives is not waited for."""
STILL = 0.006
"""Standard error of the first probability at which no more trials are made."""
APART = 4.0
"""Standard errors between the first probability and the one that is enough, at which it does not matter how many there are."""
ROUGH = 0.03
NEGLIGIBLE = 5e-4
"""Probability below which, four standard errors on it, a kind is drawn no further."""
MOST_ERROR = 0.6
"""Relative standard error of a likelihood above which the rough one, of widened spans, is better."""
LEAST_SD = 1e-6
FURTHEST = 25.0
"""Standard deviations from which on no kind is told from another that lies farther off still."""
WIDENED = (1.5, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 400.0)


@dataclass(frozen=True)
class FaultProbability:
    """What the trials of one kind say: `likelihood` with its relative standard error, and the trials that agree.

    `weight`, `fault` (index of the kind's faults) and `size` run over the trials that agree. `widened` is the factor on the
    spans where none did; 1 where there were enough.
    """

    kind: FaultKind
    likelihood: float
    error: float
    draws: int
    weight: Real
    fault: NDArray[np.int64]
    size: Real
    widened: float = 1.0
    typical: Real | None = None
    """Magnitudes of readings of this kind, shape (some trials, readings)."""
    windows: Sequence[tuple[float, float]] = ()
    """Sizes that the first trials showed to be worth drawing, fault by fault; none where the kind comes nowhere near."""


def _gathered(
    kind: FaultKind, blocks: Sequence[Agreeing], widths: Real, widened: float, typical: Real | None
) -> FaultProbability:
    fault, _, size, chance = (np.concatenate([block[which] for block in blocks]) for which in range(4))
    weight = chance * widths[fault]
    draws = BLOCK * len(blocks)
    total, squares = float(weight.sum()), float(np.square(weight).sum())
    # Relative standard error of a mean of weights, trials that do not agree included with weight 0.
    error = np.sqrt(max(squares / total**2 - 1 / draws, 0.0)) if total else np.inf
    return FaultProbability(kind, total / draws, float(error), draws, weight, fault, size, widened, typical)


def probabilities(found: Sequence[FaultProbability]) -> tuple[Real, Real]:
    """Probability of each kind, all alike beforehand, and its standard error from the number of trials.

    Source: Bayes' rule with equal prior probabilities; errors by first-order propagation.
    """
    likelihood = np.array([each.likelihood for each in found])
    error = np.array([each.error if each.likelihood else 0.0 for each in found])
    total = likelihood.sum()
    probability = likelihood / total if total else np.full(likelihood.size, 1 / likelihood.size)
    # d share_i = share_i (e_i - sum of share_j e_j), squared with independent relative errors e.
    square = np.square(probability * error)
    variance = (1 - 2 * probability) * np.square(error) * probability**2 + probability**2 * square.sum()
    # Of a kind that is next to certain the terms cancel but for rounding.
    return probability, np.sqrt(np.maximum(variance, 0.0))


def evidence(
    of: Session,
    kinds: Sequence[FaultKind],
    readings: Sequence[TerminationReading],
    seed: int,
    meter: Meter | None = None,
    draws: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[FaultProbability, ...]:
    """Likelihood of each kind of fault, from readings of known terminations.

    Source: Mean over trials of the chance of the readings; where hardly any trial agrees, spans are widened until some
    do.
    """
    work = work_of(of, kinds, readings, meter, seed)
    whole = [[(0.0, 1.0)] * len(each) for each in work.plans]
    pilot = list(in_order(lambda number: work.predicted(number, whole), range(PILOT_BLOCKS)))
    windows: Windows = windows_of(work, pilot)
    widths = [np.array([high - low for low, high in own]) for own in windows]
    first = list(
        in_order(lambda number: work.predicted(PILOT_BLOCKS + number, windows, work.proposal), range(PILOT_BLOCKS))
    )
    rough = _rough(work, pilot, first, widths)
    # The pilot chose the windows and would favour them, so its own trials are not counted.
    kept = [[work.chances(index, block[index]) for block in first if block[index]] for index in range(len(kinds))]
    found, most, made = _best(work, kept, widths, rough), -(-(draws or MOST_DRAWS) // BLOCK), len(first)
    first_windows = windows
    while made < most and not (draws is None and _settled(found)):
        numbers = range(PILOT_BLOCKS + made, PILOT_BLOCKS + min(made + BLOCKS_AT_ONCE, most))
        for block in in_order(lambda number: _agreeing(work, number, windows), numbers):  # noqa: B023
            for own, agreeing in zip(kept, block, strict=True):
                own += [] if agreeing is None else [agreeing]
        made += len(numbers)
        found = _best(work, kept, widths, rough)
        if draws is None and made * BLOCK >= HOPELESS_DRAWS and all(each.widened > 1 for each in found):
            break
        windows = _worth_drawing(windows, found)
        if progress is not None:
            progress(made / most)
    return tuple(replace(each, windows=own) for each, own in zip(found, first_windows, strict=True))


def _agreeing(work: FaultWork, number: int, windows: Windows) -> list[Agreeing | None]:
    predicted = work.predicted(number, windows, work.proposal)
    return [work.chances(index, block) if block else None for index, block in enumerate(predicted)]


def _best(
    work: FaultWork, kept: Sequence[Sequence[Agreeing]], widths: Sequence[Real], rough: Sequence[FaultProbability]
) -> list[FaultProbability]:
    """For each kind the evidence of all its trials; the rough one where too few agree, and none stands out from such trials."""
    exact = [
        _gathered(kind, own, width, 1.0, each.typical) if own else each
        for kind, own, width, each in zip(work.kinds, kept, widths, rough, strict=True)
    ]
    sure = [each for each, own in zip(exact, kept, strict=True) if own and each.error <= MOST_ERROR]
    if not sure:
        return [each if each.error <= MOST_ERROR else other for each, other in zip(exact, rough, strict=True)]
    first = max(sure, key=lambda each: each.likelihood)
    # Spans widened overstate a kind that lies beside the readings: it counts for no more than one trial that agrees would.
    one = float(np.square(first.weight).sum() / first.weight.sum()) / first.draws
    return [
        each if own and each.likelihood else replace(other, likelihood=min(other.likelihood, one))
        for each, own, other in zip(exact, kept, rough, strict=True)
    ]


def _worth_drawing(windows: Windows, found: Sequence[FaultProbability]) -> list[Sequence[tuple[float, float]]]:
    """Leave out the kinds that can have no part worth telling."""
    probability, error = probabilities(found)
    return [own if most > NEGLIGIBLE else () for own, most in zip(windows, probability + 4 * error, strict=True)]


def windows_of(work: FaultWork, pilot: Sequence[list[list[Predicted]]]) -> list[list[tuple[float, float]]]:
    """For each kind the sizes worth drawing from, fault by fault; empty for a kind that comes nowhere near the readings."""
    out = []
    for index, plans in enumerate(work.plans):
        own = [work.window([block[index][place] for block in pilot]) for place in range(len(plans))]
        out.append([each or (0.0, 0.0) for each in own] if any(own) else [])
    return out if any(out) else [[(0.0, 1.0)] * len(plans) for plans in work.plans]


def _settled(found: Sequence[FaultProbability]) -> bool:
    probability, error = probabilities(found)
    first = int(np.argmax(probability))
    # Of a kind that no trial agrees with the error is that of a guess, and more trials may turn up the true one.
    if found[first].widened > 1:
        return False
    return bool(
        error[first] < STILL or (error[first] < ROUGH and abs(probability[first] - ENOUGH) > APART * error[first])
    )


def _rough(
    work: FaultWork,
    pilot: Sequence[list[list[Predicted]]],
    first: Sequence[list[list[Predicted]]],
    widths: Sequence[Real],
) -> list[FaultProbability]:
    """Rough evidence from the first trials alone, spans widened until enough of them agree; never surer than its factor."""
    out = []
    for index, kind in enumerate(work.kinds):
        typical = _with_noise([each for block in pilot for each in block[index]], work.seed)
        blocks, width = (first, widths[index]) if widths[index].size else (pilot, np.ones(len(kind.faults)))
        for factor in WIDENED:
            agreeing = [work.chances(index, block[index], factor) for block in blocks]
            rough = _gathered(kind, agreeing, width, factor, typical)
            if rough.error <= MOST_ERROR:
                break
        # Wide spans let anything agree: what lies outside all that a kind shows is less likely than they say.
        beyond = _beyond(typical, work)
        out.append(replace(rough, likelihood=rough.likelihood * beyond, error=max(rough.error, 1.0)))
    return out


def _beyond(typical: Real, work: FaultWork) -> float:
    """Most of a chance that readings leave by how far they lie outside the trials of a kind.

    Source: exp(-z^2/2), which the tail of a normal distribution keeps below (Chernoff), by the farthest reading; z in
    standard deviations, from a standard deviation beyond the trials on, so that nothing near them is touched.
    """
    most = 0.0
    for column, (low, high) in zip(typical[:, work.seen].T, work.spans, strict=True):
        off = max(low - float(column.max()), float(column.min()) - high)
        sd = float(column.std())
        if off > sd:
            z = max(low - float(column.mean()), float(column.mean()) - high) / max(sd, LEAST_SD)
            most = max(most, min(z, FURTHEST))
    return float(np.exp(-(most**2) / 2))


def _with_noise(blocks: Sequence[Predicted], seed: int) -> Real:
    """Magnitudes of readings, noise included, shape (trials, readings)."""
    level, noise = (np.concatenate([getattr(each, name) for each in blocks]) for name in ("magnitude", "noise"))
    return np.abs(level + noise * np.random.default_rng([seed, 78]).standard_normal(level.shape))
