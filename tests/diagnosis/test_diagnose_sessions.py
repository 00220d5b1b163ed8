"""Verdicts over simulated sessions of twelve benches, in a world that shares no code with the diagnosis.

`pytest -n 0 -m slow -s tests/diagnosis/test_diagnose_sessions.py` prints the figures of 1,000 sound sessions and 1,000 with one fault.
"""

import sys
from collections import Counter
from dataclasses import dataclass
from itertools import cycle, islice

import numpy as np
import pytest
from diagnosis_benches import BENCHES, stated
from diagnosis_world import (
    NEAR,
    NEAR_OR_STALE,
    OTHER_CABLE,
    OTHER_LEAD,
    RIGHT,
    STALE,
    sitting,
    widths,
)

from chain.diagnosis.diagnose import prove
from chain.diagnosis.records import CANT_TELL, NONE_OF_THESE, NOTHING_SHOWN
from chain.diagnosis.terminations import known_ends

UNDECIDED = (CANT_TELL, NONE_OF_THESE, NOTHING_SHOWN)
SURE = 0.95
FAR_MOVED = 2.0


@dataclass
class Outcome:
    """What was wrong, what was stated, how probable that was said to be, and by how many ranges a reading was moved."""

    bench: str
    what: str
    verdict: str
    probability: float
    moved: float
    offered: bool

    @property
    def right(self):
        several = {NEAR_OR_STALE: (NEAR, STALE), OTHER_LEAD: (OTHER_CABLE,)}
        return self.verdict == self.what.split(": ")[0] or self.what in several.get(self.verdict, ())

    @property
    def wrong(self):
        """A kind named that it is not; to call a faulty chain right is as wrong."""
        return self.verdict not in UNDECIDED and not self.right


def outcomes(count, seed, faulty, least=FAR_MOVED):
    """Sessions of every bench in turn; of faulty ones those whose fault moves a reading by more than `least` ranges."""
    rng = np.random.default_rng([seed, int(faulty)])
    benches = [(make.__name__, make()) for make in BENCHES]
    setups = {name: stated(bench) for name, bench in benches}
    ranges = {name: widths(bench, 4000, seed) for name, bench in benches}
    for number, (name, bench) in enumerate(islice(cycle(benches), count)):
        while True:
            kinds = [pairs for what, pairs in bench.kinds().items() if (what == RIGHT) != faulty]
            pairs = kinds[int(rng.integers(len(kinds)))]
            what, place = pairs[int(rng.integers(len(pairs)))]
            found = sitting(bench, what, place, ranges[name], int(rng.integers(2**31)))
            if not faulty or found.moved > least:
                break
        given = {}
        for (end, _), text in zip(bench.ends, found.texts, strict=True):
            given.setdefault(end, []).append(text)
        known = known_ends(given, bench.case.freq_hz[0])
        said = prove(setups[name], known, None, bench.load_db, bench.load50_db, seed=seed + number)
        open_still = said.verdict in UNDECIDED
        yield Outcome(
            name, what, said.verdict, said.hypotheses[0].share, found.moved, not open_still or said.telling is not None
        )


def show(found, title):
    print(f"{title}: {len(found)} sessions; {dict(Counter(each.verdict for each in found).most_common())}")
    wrong = Counter((each.bench, each.what, each.verdict) for each in found if each.wrong)
    print("  wrong:", dict(wrong))
    hidden = Counter((each.bench, each.what) for each in found if each.verdict == NOTHING_SHOWN)
    print("  no fault shown:", dict(hidden.most_common(8)))
    sys.stdout.flush()


def check(sound, faulty):
    """The bars, with what so few sessions as these leave open in the default run."""
    every = [*sound, *faulty]
    room = [1.5 / np.sqrt(len(group)) if len(group) < 500 else 0.0 for group in (sound, faulty, every)]
    assert all(each.offered for each in every)
    assert np.mean([each.verdict in (RIGHT, NOTHING_SHOWN) for each in sound]) >= 0.90 - room[0]
    assert np.mean([each.wrong for each in every]) <= 0.03 + room[2]
    sure = [each for each in every if each.verdict not in UNDECIDED and each.probability > SURE]
    assert np.mean([each.wrong for each in sure]) <= 0.03 + room[2]
    assert np.mean([each.verdict != NOTHING_SHOWN for each in faulty]) >= 0.85 - room[1]
    named = [each for each in faulty if each.verdict not in UNDECIDED]
    assert np.mean([each.right for each in named]) >= 0.95 - room[1]


@pytest.mark.statistical
def test_verdicts_of_a_few_sessions():
    """One sound session and one faulty one of every bench, from a fixed seed."""
    sound, faulty = (list(outcomes(len(BENCHES), 5, faulty)) for faulty in (False, True))
    check(sound, faulty)


@pytest.mark.slow
def test_verdicts_of_two_thousand_sessions():
    """Sound ones are called right or show no fault in 90 %; a wrong kind is named in 3 % at most; faults are not overlooked."""
    sound = list(outcomes(1000, 11, False))
    show(sound, "sound")
    faulty = list(outcomes(1000, 11, True))
    show(faulty, "one fault")
    check(sound, faulty)
