"""Diagnosis of a chain from known terminations, in a world of scikit-rf networks that shares no code with it.

Kinds of fault are equally likely, sizes are drawn from the printed ranges, sound chains among them. A trial can tell where
the test's own likelihood gives its first kind 0.80 or more; figures are printed
(`pytest -n 0 -m slow -s tests/diagnosis/test_diagnose_world.py`).
"""

from dataclasses import dataclass

import numpy as np
import pytest
from diagnosis_benches import BENCHES, good, stated
from diagnosis_world import Judge, drawn, typed

from chain.diagnosis.diagnose import prove
from chain.diagnosis.faults import kinds_of
from chain.diagnosis.likelihood import strata
from chain.diagnosis.sampling import plan, predict
from chain.diagnosis.session import draw_block, session
from chain.diagnosis.terminations import known_ends

ENOUGH = 0.80
FLOOR = 1e-3
"""Share given to all kinds alike before a logarithm is taken, so that none is of nothing."""


AGREEING = BENCHES[:5]


@dataclass
class Trial:
    """One session: which kind it is, the shares of the test and of the code, and what the code states."""

    truth: int
    own: np.ndarray
    theirs: np.ndarray
    stated: str
    kinds: list

    @property
    def can_tell(self):
        return self.own.max() >= ENOUGH

    @property
    def named(self):
        """Whether the code states what the test's own likelihood puts first."""
        return self.stated == self.kinds[int(self.own.argmax())]

    @property
    def wrong(self):
        return self.stated in self.kinds and self.stated != self.kinds[self.truth]

    def score(self, shares):
        return np.log((1 - FLOOR) * shares[self.truth] + FLOOR / len(self.kinds))


def trials(bench, count, draws, seed, their_draws=None):
    """Fresh sessions of a bench, kinds in equal numbers, judged by the test and by the code."""
    judge, setup = Judge(bench, draws, seed), stated(bench)
    kinds, rng = bench.kinds(), np.random.default_rng([seed, 99])
    for number in range(count):
        truth = number % len(kinds)
        pairs = list(kinds.values())[truth]
        readings, noise = drawn(bench, [pairs[int(rng.integers(len(pairs)))]], 1, rng)
        seen = readings[0] + noise[0] * (rng.standard_normal(noise.shape[1]) + 1j * rng.standard_normal(noise.shape[1]))
        texts = [typed(value) for value in seen]
        own, _ = judge.shares(texts)
        given = {}
        for (name, _), text in zip(bench.ends, texts, strict=True):
            given.setdefault(name, []).append(text)
        found = prove(
            setup,
            known_ends(given, bench.case.freq_hz[0]),
            None,
            bench.load_db,
            bench.load50_db,
            their_draws,
            seed + number,
        )
        assert {each.what for each in found.hypotheses} == set(judge.kinds)
        theirs = {each.what: each.share for each in found.hypotheses}
        yield Trial(truth, own, np.array([theirs[kind] for kind in judge.kinds]), found.verdict, judge.kinds)


@dataclass
class Figures:
    """Over many trials: how many can tell, how often the code names what they are, how often it is wrong elsewhere."""

    can_tell: float
    named: float
    wrong: float
    score: float
    own_score: float


def figures(found):
    reported = [each for each in found if each.can_tell]
    rest = [each for each in found if not each.can_tell]
    return Figures(
        len(reported) / len(found),
        np.mean([each.named for each in reported]),
        np.mean([each.wrong for each in rest]) if rest else 0.0,
        np.mean([each.score(each.theirs) for each in found]),
        np.mean([each.score(each.own) for each in found]),
    )


def show(name, found):
    got = figures(found)
    right = np.mean([each.kinds[each.truth] == each.stated for each in found if each.can_tell])
    print(
        f"{name:10} {len(found):4} sessions: can tell {got.can_tell:.3f}; there named {got.named:.3f} (true {right:.3f}); "
        f"elsewhere wrong {got.wrong:.3f}; log score {got.score:.3f}, the test's own {got.own_score:.3f}",
        flush=True,
    )
    return got


def test_readings_of_both_worlds_spread_alike():
    """Quantiles of every end's magnitude under every kind, 20,000 draws each: within five standard errors and nothing besides."""
    bench = good()
    setup = stated(bench)
    of = session(setup, np.array(bench.case.freq_hz), bench.ends, bench.load_db, bench.load50_db)
    block = draw_block(of, 0, 20_000, 7)
    kinds = {
        kind.what: kind
        for kind in kinds_of(setup, np.array(bench.case.freq_hz), {name for name, _ in bench.ends}, False, False)
    }
    assert set(kinds) == set(bench.kinds())
    for number, (what, pairs) in enumerate(bench.kinds().items()):
        own, _ = drawn(bench, pairs, 20_000, np.random.default_rng(number))
        rows = zip(kinds[what].faults, strata(kinds[what], block.count), strict=True)
        theirs = np.concatenate([predict(of, plan(of, fault), block, part).magnitude for fault, part in rows])
        for share in (0.1, 0.5, 0.9):
            # Standard error of a quantile, the density read off a histogram's neighbourhood.
            low, middle, high = (np.quantile(abs(own), share + step, axis=0) for step in (-0.02, 0.0, 0.02))
            error = (high - low) / 0.04 * np.sqrt(2 * share * (1 - share) / 20_000)
            assert np.all(np.abs(np.quantile(theirs, share, axis=0) - middle) <= 5 * error), what


@pytest.mark.statistical
def test_diagnosis_in_a_small_world():
    """A session of each kind with parts as sold: the same is reported, and none is reported wrong."""
    found = list(trials(good(), 8, 20_000, 21, their_draws=40_000))
    got = show("good", found)
    assert got.named >= 0.8
    assert got.wrong <= 0.2
    assert abs(got.score - got.own_score) <= 0.25


@pytest.mark.slow
def test_diagnosis_agrees_with_the_tests_own_likelihood():
    """Five benches, kinds in equal numbers, at least 100,000 draws of every kind for the test's own likelihood.

    Where that gives its first kind 0.80 or more the code states the same in 95 %, and to state nothing counts as wrong;
    elsewhere it states a wrong one in 5 % at most; the mean logarithm of the true kind's share is within 0.1 of the test's own.
    Seen in 240 sessions: can tell 0.69, there named 0.970, elsewhere wrong 0.000, log score -0.423 against -0.422, with
    readings off the scale from VSWR 100 on; the first 80 of them with VSWR 20: 50 of 53 named, log score -0.540 against -0.529.
    """
    every = []
    for make in AGREEING:
        found = list(trials(make(), 48, 100_000, 3))
        show(make.__name__, found)
        every += found
    got = show("all", every)
    assert got.can_tell > 0.3
    assert got.named >= 0.95
    assert got.wrong <= 0.05
    assert abs(got.score - got.own_score) <= 0.1
