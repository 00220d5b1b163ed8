"""Screens off their scale, sizes of two humps, and readings that each would do for a right chain and together do not."""

from math import isinf

import numpy as np
import pytest
from diagnosis_cases import read
from further import wide
from hypothesis import given, settings
from hypothesis import strategies as st

from chain.diagnosis.fault_sizes import size_spans, weighted_quantiles
from chain.diagnosis.soundness import soundness
from chain.diagnosis.terminations import TerminationReading, typed_span
from chain.reflection import vswr


@pytest.mark.parametrize(
    "text", ["inf", "VSWR inf", ">10", "VSWR > 20", "\u2265 10:1", "20", "30", "35.2:1", "0 dB", "0.00 dB", "-0.8 dB"]
)
def test_off_the_scale_all_readings_are_alike(text):
    """From VSWR 20 on, and from a return loss of 20 log10(21/19) = 0.869 dB down, it is off a scale that may end at 10."""
    _, low, high, words = typed_span(text)
    assert low == pytest.approx(9 / 11)
    assert isinf(high)
    assert "off the scale (VSWR 10 or more)" in words


LOW_BOTH = {"open": "1.61", "short": "1.62", "load": "1.05", "load50": "1.11"}
"""Each as a sound chain of the demo shows it; open and short both this low take a pad that loses more than stated."""


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(
    "ends", [{"open": "inf", "short": "inf"}, {"open": "inf"}, *wide({"open": "30", "short": "30"})]
)
def test_a_screen_off_its_scale_tells_a_missing_pad(ends):
    """The everyday case (practice): without a pad an open and a short leave the screen nothing to show.

    A broken near joint or a bridged resistor leaves nothing either, until a load is read.
    """
    found = read(**ends)
    assert found.hypotheses[0].what == "pad missing"
    assert found.hypotheses[0].share > 0.5
    assert all("off the scale" in each.told for each in found.readings)
    assert read(**ends, load="1.50").verdict == "pad missing"
    assert read(**ends, load="inf").hypotheses[0].what == "pad's resistor failed"


@pytest.mark.usefixtures("trials")
def test_off_the_scale_it_does_not_matter_how_it_was_typed():
    """`inf`, 0 dB and a high figure are one reading, to the last digit of every share."""
    every = [[each.share for each in read(open=text).hypotheses] for text in ("inf", "0 dB", "45")]
    assert every[0] == every[1] == every[2]


@pytest.mark.usefixtures("trials")
def test_an_open_that_may_reflect_either_way_has_two_spans_of_sizes():
    """|reflection| tells no sign: a resistance above or below 75 ohm would both show a small open; none lies between."""
    found = read(open="1.50", short="1.72", load="1.05", load50="1.12")
    (end,) = [each for each in found.hypotheses if each.what == "open end not open"]
    assert len(end.size_spans) == 2
    (negative, positive) = sorted(end.size_spans, key=lambda each: each.low)
    assert negative.high < -0.5 < 0.5 < positive.low
    assert negative.share + positive.share == pytest.approx(1)
    assert (end.size_low, end.size_high) == (negative.low, positive.high)
    assert end.size == end.size_spans[0].middle
    assert end.size_spans[0].share >= end.size_spans[1].share


@pytest.mark.usefixtures("trials")
def test_readings_that_are_right_one_by_one_are_judged_together():
    """Every reading inside what a right chain shows, and yet it is not right: the two that speak against it are reported."""
    found = read(**LOW_BOTH)
    assert all(each.right_low <= each.reading_vswr <= each.right_high for each in found.readings)
    share = {each.what: each.share for each in found.hypotheses}
    assert share["right"] < 0.05
    pair = {found.readings[number].end for number in (found.contradiction.given, found.contradiction.other)}
    assert pair == {"open", "short"}
    assert found.to_dict()["contradiction"]["low_vswr"] > 1.62
    assert read(open="1.73", short="1.73", load="1.05", load50="1.12").contradiction is None


def test_a_contradiction_takes_readings_that_each_would_do():
    """Two magnitudes that follow one another: the same twice is none, apart is one, and outside alone it is not asked."""
    size = np.random.default_rng(3).normal(0.25, 0.01, 20_000)
    typical = np.stack([size, size + 0.001], axis=1)

    def of(one, two):
        read = [TerminationReading("", 0, each, each, each, "") for each in (one, two)]
        return soundness(typical, read, 1).contradiction

    assert of(0.25, 0.251) is None
    apart = of(0.24, 0.26)
    assert {apart.given, apart.other} == {0, 1}
    assert apart.high_vswr < vswr(0.26) or apart.low_vswr > vswr(0.24)
    assert of(0.25, 0.4) is None
    assert soundness(typical[:, :1], [TerminationReading("", 0, 0.25, 0.25, 0.25, "")], 1).holds


@given(st.integers(0, 1000), st.floats(0.1, 0.9))
@settings(max_examples=20)
def test_two_humps_are_reported_from_one(seed, share):
    """Normal humps far apart are two with their shares, and one wide hump stays one."""
    rng = np.random.default_rng(seed)
    count = round(2000 * share)
    both = np.concatenate([rng.normal(-1, 0.05, count), rng.normal(1, 0.05, 2000 - count)])
    spans = size_spans(both, np.ones(2000))
    assert sorted(each.share for each in spans) == pytest.approx(sorted([count / 2000, 1 - count / 2000]))
    assert all(each.low <= each.middle <= each.high for each in spans)
    for one in (rng.normal(0, 1, 2000), rng.uniform(-1, 1, 2000), rng.exponential(1, 2000)):
        (only,) = size_spans(one, np.ones(2000))
        assert (only.low, only.high) == pytest.approx(tuple(np.quantile(one, (0.025, 0.975))), abs=0.05)


def test_few_draws_and_none_leave_no_gap():
    """Four sizes are no two humps; a fault that nothing agrees with has no size; weights count as repeated draws do."""
    assert len(size_spans(np.array([0.0, 0.01, 1.0, 1.01]), np.ones(4))) == 1
    assert size_spans(np.array([]), np.array([])) == ()
    values = np.array([3.0, 1.0, 2.0])
    repeated = np.repeat(values, [10, 20, 70])
    assert weighted_quantiles(values, np.array([10.0, 20.0, 70.0])).tolist() == [1.0, 2.0, 3.0]
    assert np.median(repeated) == 2.0
