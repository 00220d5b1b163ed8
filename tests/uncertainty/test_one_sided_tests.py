"""Two one-sided tests inverted by order statistics: against plain counting, and by the laws that intervals must keep."""

import itertools
from itertools import pairwise

import numpy as np
import pytest
from further import wide
from hypothesis import given
from hypothesis import strategies as st

from chain.rf.twoport import Maps, compose, inverse
from chain.uncertainty.one_sided_tests import PHASES, Ends, MeanTerms, Terms, invert
from chain.uncertainty.order_statistics import ends_of_begun, highest, lowest

DRAWS = 200
FINE = np.linspace(0, 1, 1001)
STEP = FINE[1]
FLOOR, TOP = 0.16, 0.84


def interval_of_maps(maps, observed, nominal=None, phase_rad=None, coverage=0.95):
    """Ends of the interval of a size read or, with the nominal map, recovered."""
    terms = Terms.of(maps if nominal is None else compose(inverse(nominal), maps))
    found = invert(terms, observed, phase_rad, coverage)
    return found.low, found.high


def scatter(rng, size, draws=DRAWS):
    return size * (rng.standard_normal((draws, 1)) + 1j * rng.standard_normal((draws, 1)))


def some_maps(rng, through, mismatch, match, size=0.02, draws=DRAWS):
    """Drawn maps about one that lets so much through, with a known mismatch in front and a match behind."""
    turn = np.exp(2j * np.pi * rng.random(3))
    return Maps(
        through * turn[0] + scatter(rng, size * through, draws),
        mismatch * turn[1] + scatter(rng, size, draws),
        match * turn[2] + scatter(rng, size, draws),
    )


def shown(maps, far):
    return np.abs((maps.p * far + maps.q) / (maps.r * far + 1))


def drawn_in(maps, observed):
    """The statistic drawn into what is possible, from the words of the method alone."""
    least = np.mean(maps.p * np.conj(maps.q)) / np.mean(np.abs(maps.p) ** 2)
    end = -np.conj(least) / max(1.0, abs(least))
    rim = np.exp(2j * np.pi * np.arange(64) / 64)
    most = rim[np.argmax(np.mean(shown(maps, rim) ** 2, axis=0))]
    floor, top = (
        np.sort(shown(maps, far)[:, 0])[int(share * len(maps.p))] for far, share in ((end, FLOOR), (most, TOP))
    )
    return float(np.clip(observed, floor, max(top, floor)))


def counted(maps, observed, phases, shares):
    """Intervals by counting the draws at each of 1,001 magnitudes; and the shares at or above the statistic at 1/3."""
    ends, chances = [(np.inf, -np.inf)] * len(shares), []
    for phase in phases:
        seen = shown(maps, FINE * np.exp(1j * phase))
        fewer = np.minimum(np.mean(seen <= observed, axis=0), np.mean(seen >= observed, axis=0))
        for number, share in enumerate(shares):
            good = FINE[fewer >= share]
            if good.size:
                ends[number] = min(ends[number][0], good[0]), max(ends[number][1], good[-1])
        chances.append(float(np.mean(shown(maps, np.exp(1j * phase) / 3) >= observed)))
    return *ends, (min(chances), max(chances))


@pytest.mark.parametrize(
    ("match", "mismatch", "through"),
    [
        *itertools.product((0.0, 0.1), (0.0, 0.3), (0.02, 1.0)),
        *wide(
            *itertools.product((0.0, 0.1), (0.1,), (0.02, 0.27, 1.0)),
            *itertools.product((0.0, 0.1), (0.0, 0.3), (0.27,)),
        ),
    ],
)
def test_ends_agree_with_plain_counting(through, mismatch, match):
    """Also behind a mismatch larger than the reading, and where loss between mismatches turns the inequality round."""
    rng = np.random.default_rng(round(1000 * through + 100 * mismatch + 10 * match))
    for observed in (0.01, 0.12, 0.33, 0.7):
        maps = some_maps(rng, through, mismatch, match)
        terms = Terms.of(maps)
        seen = drawn_in(maps, observed)
        phases = terms.means().most_phase(np.array([seen]))[0] + np.arange(PHASES) * 2 * np.pi / PHASES
        # The statistic may be a draw's own, which float32 puts on either side: one draw more, and one less.
        wide, narrow, (least, most) = counted(maps, seen, phases, (0.02, 0.03))
        found = invert(terms, np.array([observed]), limit=1 / 3)
        assert wide[0] - STEP <= found.low[0] <= narrow[0] + STEP
        assert narrow[1] - STEP <= found.high[0] <= wide[1] + STEP
        assert found.least_chance is not None
        assert found.most_chance is not None
        assert found.least_chance[0] == pytest.approx(least, abs=0.011)
        assert found.most_chance[0] == pytest.approx(most, abs=0.011)


def test_some_case_turns_the_inequality_round():
    """The cases above hold draws with |p| < x |r|, of which the stretch lies outside the roots."""
    maps = some_maps(np.random.default_rng(31), 0.02, 0.3, 0.1)
    assert np.mean(np.abs(maps.p) < 0.33 * np.abs(maps.r)) > 0.9


def test_places_are_inverted_each_by_itself():
    rng = np.random.default_rng(5)
    several = [some_maps(rng, 0.27, 0.05 * n, 0.05) for n in range(5)]
    together = Maps(*(np.concatenate([getattr(each, name) for each in several], axis=1) for name in "pqr"))
    observed = np.array([0.02, 0.05, 0.1, 0.2, 0.28])
    low, high = interval_of_maps(together, observed)
    for place, maps in enumerate(several):
        assert interval_of_maps(maps, observed[[place]]) == (low[[place]], high[[place]])


CASES = {
    "seed": st.integers(0, 2**32 - 1),
    "through": st.sampled_from([0.02, 0.1, 0.27, 1.0]),
    "mismatch": st.floats(0, 0.5),
    "match": st.floats(0, 0.3),
    "size": st.sampled_from([0.0, 1e-3, 0.02, 0.1]),
    "observed": st.floats(0, 1.2),
}


@given(**CASES)
def test_never_empty_and_wider_with_coverage(seed, through, mismatch, match, size, observed):
    maps = some_maps(np.random.default_rng(seed), through, mismatch, match, size, 200)
    seen = np.array([observed])
    ends = [interval_of_maps(maps, seen, coverage=coverage) for coverage in (0.7, 0.95, 0.99)]
    for low, high in ends:
        assert 0 <= low[0] <= high[0] <= 1
    for (inner_low, inner_high), (low, high) in pairwise(ends):
        assert low[0] <= inner_low[0] + 1e-6
        assert high[0] >= inner_high[0] - 1e-6


@given(seed=st.integers(0, 2**32 - 1), observed=st.floats(0.001, 0.999), phase=st.floats(-3.14, 3.14))
def test_without_unknowns_the_interval_is_the_value(seed, observed, phase):
    """A known map and a phase: nothing is left open but what 15 degrees either side of the phase do, here nothing."""
    one = np.ones((100, 1), dtype=complex)
    maps = Maps(0.3 * one, 0.2 * one, -0.1j * one)
    low, high = interval_of_maps(
        maps, np.array([observed]), Maps(0.3 * one[:1], 0.2 * one[:1], -0.1j * one[:1]), np.array([phase])
    )
    assert low[0] == pytest.approx(observed, abs=2e-6)
    assert high[0] == pytest.approx(observed, abs=2e-6)


def test_the_phase_is_a_worst_case():
    """Reading 1.50 behind a plane in 50 ohm: a 33.3-ohm antenna reads exactly that and is 2.25, so that 2.25 stays possible."""
    mismatch = 0.2 + 0j
    one = np.ones((64, 1), dtype=complex)
    low, high = interval_of_maps(Maps(one, mismatch * one, mismatch * one), np.array([0.2]))
    assert low[0] == pytest.approx(0.0, abs=1e-4)
    assert (1 + high[0]) / (1 - high[0]) == pytest.approx(2.25, abs=0.01)


@given(**{name: CASES[name] for name in ("seed", "through", "mismatch", "observed")})
def test_digits_widen(seed, through, mismatch, observed):
    """Half a step of the last digit: the ends with it lie outside those without it, but for what little the floor moves."""
    rng = np.random.default_rng(seed)
    terms = Terms.of(some_maps(rng, through, mismatch, 0.05, 0.01, 1000))
    seen = drawn_in(some_maps(np.random.default_rng(seed), through, mismatch, 0.05, 0.01, 1000), observed)
    plain = invert(terms, np.array([seen]))
    rounded = invert(terms, np.array([seen]), rounding=rng.uniform(-0.05, 0.05, (1, 1000)).astype(np.float32))
    assert rounded.high[0] - rounded.low[0] >= plain.high[0] - plain.low[0] - 0.02


def test_risk_at_the_limit_is_what_is_stated():
    """Reported 0.8 or more in a fifth, and 0.975 in a fortieth, of readings of an antenna just at the limit, in its worst phase."""
    rng = np.random.default_rng(7)
    draws, trials, limit = 2000, 600, 1 / 3
    maps = Maps(0.27 + scatter(rng, 0.003, draws), scatter(rng, 0.02, draws), scatter(rng, 0.02, draws))
    fresh = Maps(0.27 + scatter(rng, 0.003, trials), scatter(rng, 0.02, trials), scatter(rng, 0.02, trials))
    terms = Terms(*(np.broadcast_to(each, (trials, draws)) for each in vars(Terms.of(maps)).values()))
    found = invert(terms, shown(fresh, limit * np.exp(1j))[:, 0], limit=limit)
    assert found.least_chance is not None
    for level, share in ((0.8, 0.2), (0.975, 0.025)):
        assert np.mean(found.least_chance >= level) <= share + 4 * np.sqrt(share * (1 - share) / trials)
    assert np.mean(found.least_chance >= 0.8) >= 0.12


def test_a_strict_share_below_one_trial_leaves_one():
    """Trials that show 0 to 0.099 too much: the lowest magnitude of which any shows 0.5 or more is 0.401."""
    one = np.ones((100, 1), dtype=complex)
    terms = Terms.of(Maps(one, 1e-3 * np.arange(100)[:, None] * one, 0 * one))
    found = invert(terms, np.array([0.5]), np.zeros(1), strict_share=np.array([0.025 / 16]))
    assert found.strict_low is not None
    assert found.strict_low[0] == pytest.approx(0.401, abs=1e-5)


def test_joined_blocks_keep_what_is_left_out():
    terms = Terms.of(some_maps(np.random.default_rng(1), 0.27, 0.1, 0.0))
    parts = [invert(terms, np.array([0.1])), invert(terms, np.array([0.2]))]
    whole = Ends.joined(parts)
    assert whole.low.tolist() == [parts[0].low[0], parts[1].low[0]]
    assert whole.least_chance is None


@pytest.mark.parametrize("draws", [1000, 1250, 2000, 6000])
def test_where_every_stretch_has_begun_the_ends_are_those_of_the_general_search(draws):
    rng = np.random.default_rng(draws)
    least = max(1, draws // 40)
    # About zero, about one, and all beyond one: whatever the last magnitudes are.
    last = (rng.normal(size=(40, draws)) * 0.05 + rng.choice([0.0, 0.02, 0.5, 0.97, 1.0, 1.3], (40, 1))).astype(
        np.float32
    )
    first = np.sort(-rng.random((40, draws)).astype(np.float32) - np.float32(1e-3), axis=1)
    ordered, many = np.sort(last, axis=1), np.full(40, least)
    low, high = ends_of_begun(last, least)
    np.testing.assert_array_equal(low, lowest(first, ordered, many, draws))
    expected = highest(first, ordered, many, draws)
    np.testing.assert_array_equal(np.maximum(high, -1), np.where(expected < 0, -1, expected))
    assert (high < 0).any()
    assert (high > 0).any()


def test_where_a_full_reflection_shows_without_bound_the_rim_is_asked_without_a_fault():
    """|r| = 1: at one phase r G + 1 is nothing, and that phase reads most."""
    for turn in (0.0, 0.25, 0.5):
        r = -np.exp(-2j * np.pi * turn)
        terms = (np.array([float(each)]) for each in (0.25, 0.1, 0.0, 0.5, 1.0, r.real, r.imag))
        with np.errstate(all="raise"):
            phase = MeanTerms(*terms).most_on_rim()
        assert np.exp(1j * phase) == pytest.approx(np.exp(2j * np.pi * turn), abs=1e-9)


@pytest.mark.parametrize("phase", [None, 0.3])
def test_what_a_chain_that_passes_nothing_recovers_is_judged_in_single_precision(phase):
    """The ends do not depend on the unit of the statistic: 10^12 times as much of it is the same question."""
    rng = np.random.default_rng(5)
    maps = some_maps(rng, 0.8, 0.02, 0.1, size=0.05)
    plain, huge = Terms.of(maps), Terms.of(Maps(maps.p * 1e12, maps.q * 1e12, maps.r))
    turn = None if phase is None else np.array([phase])
    first = invert(plain, np.array([0.3]), turn)
    with np.errstate(all="raise", under="ignore"):
        second = invert(huge, np.array([0.3 * 1e12]), turn)
    assert 0 < first.low[0] < first.high[0] < 1
    assert second.low == pytest.approx(first.low, abs=1e-4)
    assert second.high == pytest.approx(first.high, abs=1e-4)
