"""Steps of invented series: found where there is one, seldom where there is none, whatever the true scatter."""

from itertools import product

import numpy as np
import pytest
from further import wide

from chain.records.change_points import _threshold, apart, slope, steps
from chain.records.lead_loss import PER_K, corrected_loss_db

SERIES = list(product([4, 10, 12, 30], [0.5, 1.0, 1.25, 1.5, 2.0, 3.0, 10.0]))
"""Records and times the stated scatter."""
SHOWN = [(4, 1.0), (4, 1.5), (12, 1.5), (12, 10.0), (30, 1.5)]


def share_with_steps(make, trials, seed):
    rng = np.random.default_rng(seed)
    return np.mean([bool(steps(*make(rng))) for _ in range(trials)])


@pytest.mark.parametrize(("count", "scatter"), [*SHOWN, *wide(*(each for each in SERIES if each not in SHOWN))])
def test_a_series_without_a_step_seldom_shows_one(count, scatter):
    """At most 5 % of 600 series, less twice the standard deviation of that share (1.8 %), at any true scatter."""

    def nothing(rng):
        return scatter * 0.01 * rng.standard_normal(count), np.full(count, 0.01)

    share = share_with_steps(nothing, 600, [count, int(10 * scatter)])
    print(f"{count} records, {scatter:g} times the stated scatter: a step in {share:.3f}")
    assert share <= 0.05 + 0.018


def test_uncertainties_that_differ_from_record_to_record_do_not_raise_alarms():
    """The threshold is simulated for equal ones; sizes spread over a factor of four keep the rate."""

    def nothing(rng):
        sizes = 0.01 * rng.uniform(0.5, 2.0, 10)
        return sizes * rng.standard_normal(10), sizes

    assert share_with_steps(nothing, 1000, 3) <= 0.05 + 0.014


@pytest.mark.parametrize("at", [1, 2, 5, *wide(3, 4, 6, 7, 8, 9)])
def test_a_step_of_four_standard_uncertainties_in_ten_records_is_noticed_wherever_it_is(at):
    """In at least 90 % of 1000 series, less 1.9 % for the trials: as a step with two records or more on either side, else as a
    record apart, which asks for another and is reported as a step too in no more than a tenth."""
    rng, stepped, alone = np.random.default_rng(at), 0, 0
    for _ in range(1000):
        values = 0.04 * (np.arange(10) >= at) + 0.01 * rng.standard_normal(10)
        if steps(values, np.full(10, 0.01)):
            stepped += 1
        else:
            found = apart(values, np.full(10, 0.01))
            alone += found is not None and found.index == at and at in (1, 9)
    print(f"a step behind record {at}: found in {stepped / 1000:.3f}, as a record apart in {alone / 1000:.3f}")
    if at in (1, 9):
        assert stepped <= 100
        assert stepped + alone >= 881
    else:
        assert stepped >= 881


@pytest.mark.parametrize("count", [4, 30, *wide(10)])
def test_steps_and_single_records_together_seldom_come_of_nothing(count):
    """At most 5 % of 1000 series that scatter as stated, and 1.4 % by chance."""

    def nothing(rng):
        values, sizes = 0.01 * rng.standard_normal(count), np.full(count, 0.01)
        return steps(values, sizes) or apart(values, sizes)

    rng = np.random.default_rng(count)
    assert np.mean([bool(nothing(rng)) for _ in range(1000)]) <= 0.05 + 0.014


def test_one_odd_record_at_an_end_is_no_step_and_is_reported_as_one_record():
    """Its size and its place; the next record like it makes a step of it, one like the others a fluke."""
    values = np.array([0.01, 0.0, -0.01, 0.0, 0.01, 0.5])
    assert not steps(values, np.full(6, 0.01))
    found = apart(values, np.full(6, 0.01))
    assert (found.index, round(found.size, 1)) == (5, 0.5)
    assert apart(values[::-1], np.full(6, 0.01)).index == 1
    (one,) = steps(np.append(values, 0.49), np.full(7, 0.01))
    assert one.index == 5
    assert apart(np.append(values, 0.0), np.full(7, 0.01)) is None
    assert not steps(values[3:], np.full(3, 0.01))
    assert apart(values[3:], np.full(3, 0.01)) is None


def test_a_step_is_reported_with_its_size_and_an_interval_that_holds_it():
    """200 series with a step of 8 standard uncertainties: size within its 95 % interval in at least 90 %, at the right record."""
    rng, held, right = np.random.default_rng(4), 0, 0
    for _ in range(200):
        values = 0.08 * (np.arange(12) >= 5) + 0.01 * rng.standard_normal(12)
        (one,) = steps(values, np.full(12, 0.01))[:1]
        held += abs(one.size - 0.08) <= 1.96 * one.uncertainty
        right += one.index == 5
    assert held >= 180
    assert right >= 190


def test_two_steps_are_both_found():
    """Up by ten, down again."""
    rng = np.random.default_rng(6)
    values = 0.1 * ((np.arange(20) >= 6) & (np.arange(20) < 14)) + 0.01 * rng.standard_normal(20)
    assert [each.index for each in steps(values, np.full(20, 0.01))] == [6, 14]


def lead(rng, celsius, water=0.0):
    """A lead of 3.4 dB with a pad of 0.2 dB that is none of it, over seasons; as read, and as at 20 degrees C."""
    true = 0.2 + 3.2 * (1 + 0.00198 * (celsius - 20)) + water
    read = true + 0.02 * rng.standard_normal(celsius.size)
    pairs = [corrected_loss_db(float(loss), 0.2, float(warm), 0.02) for loss, warm in zip(read, celsius, strict=True)]
    return read, *(np.array(each) for each in zip(*pairs, strict=True))


def test_temperature_alone_is_no_step_once_it_is_taken_out():
    """Summer and winter, -10 to 35 degrees C: the loss as read steps with the seasons, that at 20 degrees C does not."""
    rng, raw, corrected = np.random.default_rng(9), 0, 0
    for _ in range(300):
        celsius = np.where(np.arange(12) < 6, rng.uniform(-10, 5, 12), rng.uniform(20, 35, 12))
        read, values, sizes = lead(rng, celsius)
        raw += bool(steps(read, np.full(12, 0.02)))
        corrected += bool(steps(values, sizes))
    assert raw > 270
    assert corrected / 300 <= 0.05 + 0.025


def test_water_is_found_whatever_the_season():
    """0.7 dB more from one record on, seasons at random: found in all of 100, and no more than 0.1 dB off."""
    rng = np.random.default_rng(10)
    for _ in range(100):
        celsius = rng.uniform(-10, 35, 10)
        _, values, sizes = lead(rng, celsius, 0.7 * (np.arange(10) >= 5))
        found = steps(values, sizes)
        assert [each.index for each in found] == [5]
        assert found[0].size == pytest.approx(0.7, abs=0.1)


def test_the_temperature_rule_is_that_of_the_trade_and_near_that_of_copper():
    """0.198 % a kelvin (published trade rule); copper by the skin effect: half of 0.393 % (handbook value, memory)."""
    loss, _ = corrected_loss_db(10 * (1 + 0.00198 * 20), 0.0, 40.0, 0.01)
    assert loss == pytest.approx(10.0)
    assert pytest.approx(0.00393 / 2, rel=0.02) == PER_K
    assert corrected_loss_db(3.4, 0.2, None, 0.02)[1] > 0.05


def test_a_slope_and_its_interval():
    """A rise of 0.1 dB a year in 12 records over 6 years: held in at least 93 % of 300, with scatter as stated."""
    rng, held = np.random.default_rng(11), 0
    times = np.linspace(0, 6, 12)
    for _ in range(300):
        rise, half = slope(times, 0.1 * times + 0.05 * rng.standard_normal(12), np.full(12, 0.05))
        held += abs(rise - 0.1) <= half
    assert held / 300 >= 0.93


@pytest.mark.parametrize("count", [150, *wide(300, 1000)])
def test_a_long_series_has_a_threshold_too(count):
    """Hundreds of records and a thousand: somewhat above that of ten, and found in a moment."""
    assert 3.0 < _threshold(count, 0.05, 1) < 4.5
