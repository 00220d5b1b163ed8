"""Gains from levels against worked figures: three antennas, two waves at a reflecting site, front and back, drift."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from further import wide as further

from chain.comparisons.gains import front_to_back, multipath_error, three_antenna_gains
from chain.comparisons.level_table import LevelReading, LevelTable, read_levels
from chain.comparisons.levels import compare_levels
from chain.errors import InputError, RangeError


def test_three_gains_come_back_from_their_three_sums_exactly():
    """5, 8 and 10 dBi (worked example; method of IEEE Std 149), and any other three, to the last bit of whole numbers."""
    assert three_antenna_gains(13.0, 15.0, 18.0) == (5.0, 8.0, 10.0)
    for gains in itertools.permutations((-2.0, 5.0, 8.0, 10.0, 17.0), 3):
        a, b, c = gains
        assert three_antenna_gains(a + b, a + c, b + c) == gains


@pytest.mark.parametrize(
    ("below", "low", "high"),
    [(20, -0.92, 0.83), (26, -0.45, 0.42), (30, -0.28, 0.27), (35, -0.1558, 0.1531), (10, -3.3018, 2.3866)],
)
def test_a_reflection_moves_a_level_by_what_the_chart_says(below, low, high):
    """Rows 10 and 35 dB: a published chart of reference +- X dB; the others computed by hand from 20 log10(1 +- r)."""
    found = multipath_error(below)
    digits = 4 if abs(round(low, 2) - low) > 1e-9 else 2
    assert [round(each, digits) for each in found] == [low, high]


def test_front_to_back_of_10_db_behind_a_reflection_20_db_down():
    """Reads 7.6 to 13.3 (worked example), and a reading of 10 comes from as much; every phase lies inside."""
    assert [round(each, 1) for each in front_to_back(10, 20)] == [7.6, 13.3]
    rng = np.random.default_rng(1)
    for true, site in rng.uniform([0, 12], [25, 40], (200, 2)):
        phase = np.exp(2j * np.pi * rng.random())
        reading = -20 * np.log10(abs(10 ** (-true / 20) + 10 ** (-site / 20) * phase))
        low, high = front_to_back(reading, site)
        assert low - 1e-9 <= true <= high + 1e-9
    assert front_to_back(25, 20)[1] == math.inf


def table(difference, drift, noise, order="ABAB", channels=6, seed=0):
    """Levels of two antennas read in turn, with a drift per reading and a scatter; all figures in dB."""
    rng = np.random.default_rng(seed)
    rows = [
        LevelReading(
            name, str(channel), number, 50 + difference * (name == "B") + drift * number + noise * rng.normal()
        )
        for channel in range(channels)
        for number, name in enumerate(order)
    ]
    return LevelTable(tuple(rows), "dBuV")


def test_a_straight_drift_is_taken_out_exactly():
    """Two antennas alike while everything sinks by 0.5 dB a reading: no difference, and the drift is reported."""
    for order in ("ABAB", "ABA", "BABA", "ABABAB", "AABBAABB"):
        found = compare_levels(table(0.0, -0.5, 0.0, order))
        assert found.mean_db == pytest.approx(0, abs=1e-9), order
        assert found.channels[0].drift_db == pytest.approx(-0.5 * (len(order) - 1))
    assert compare_levels(table(0.0, -0.5, 0.0, "AB")).mean_db == pytest.approx(-0.5)
    assert "read A-B-A-B" in compare_levels(table(0.0, -0.5, 0.0, "AB")).warnings[0]


@pytest.mark.parametrize(("site", "meter", "count"), [(20.0, 10.0, 60), *further((20.0, 10.0, 120), (60.0, 60.0, 120))])
def test_intervals_of_levels_cover(site, meter, count):
    """A world of its own: two waves at either antenna, a mismatch at the meter, scatter of 0.2 dB, drift; 60 or 120 tables."""
    rng = np.random.default_rng(7)
    held = wide = 0
    for seed in range(count):
        rows = table(1.0, 0.3, 0.2, channels=2, seed=seed).rows
        extra = {}
        for name, channel in itertools.product("AB", "01"):
            r, m = (10 ** (-each / 20) * np.exp(2j * np.pi * rng.random()) for each in (site, meter))
            extra[name, channel] = 20 * np.log10(abs(1 + r)) - 20 * np.log10(abs(1 - m / 3))
        rows = tuple(replace(each, level_db=each.level_db + extra[each.antenna, each.channel]) for each in rows)
        found = compare_levels(LevelTable(rows, "dBuV"), site_db=site, meter_return_loss_db=meter, seed=seed)
        one = found.channels[0]
        held += one.low_db <= 1.0 <= one.high_db
        wide += one.high_db - one.low_db
    assert held / count >= 0.91
    assert wide / count < (5.5 if site == 20 else 1.6)


def test_a_better_match_alone_is_no_gain():
    """An antenna that delivers 1 dB more because it reflects less has the same gain; realised gain tells the difference."""
    sizes = ({"0": math.sqrt(1 - 10**-0.1)}, {"0": 0.0})
    found = compare_levels(table(1.0, 0.0, 0.0, channels=1), sizes)
    assert found.channels[0].realised_db == pytest.approx(1.0)
    assert found.channels[0].gain_db == pytest.approx(0.0, abs=1e-9)


def test_every_defect_of_a_table_is_reported_at_its_place(tmp_path):
    """Line, column and remedy of each."""
    path = tmp_path / "levels.csv"
    path.write_text("antenna;channel;order;level_dbuv;direction\nold;5;1;52,1;\nold;5;x;quiet;up\n;5;3;50;\n", "utf-8")
    with pytest.raises(InputError) as caught:
        read_levels(str(path))
    assert [(each.line, each.column) for each in caught.value.defects] == [(3, 7), (3, 9), (3, 15), (4, 9)]
    path.write_text("antena,channel,order\nold,5,1\n", "utf-8")
    with pytest.raises(InputError, match="no column of levels"):
        read_levels(str(path))
    path.write_text("antenna,channel,order,level_dbm\nold,5,1,-50\nnew,5,1,-50\n", "utf-8")
    with pytest.raises(InputError, match="two readings of order 1"):
        read_levels(str(path))


def test_one_antenna_is_none_to_compare():
    """Said with the remedy."""
    with pytest.raises(RangeError, match="1 antenna"):
        compare_levels(LevelTable((LevelReading("A", "5", 1, 50.0),), "dBuV"))
