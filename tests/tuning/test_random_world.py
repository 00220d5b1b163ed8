"""Antennas of random make on benches of random figures, read with random digits: what is said of them against what is so."""

from dataclasses import replace

import numpy as np
import pytest
from tuning_world import Workshop, as_readings, element, random_bench

from chain.reflection import magnitude_from_vswr
from chain.tuning.draws import bench_of
from chain.tuning.records import Wanted
from chain.tuning.tune import tune, tune_with

PLANES = {"near": 0, "middle": 2, "far": 3}
COUNTED = ("resonance", "reading", "antenna", "reactance")


def with_digits(reflection, half):
    """What is left of readings that are shown in steps of two `half`."""
    if half is None:
        return reflection
    return 2 * half * (np.round(reflection.real / (2 * half)) + 1j * np.round(reflection.imag / (2 * half)))


def benches(plane, count, antennas, seed):
    """One row for each antenna: shares of the points that lie in their intervals, and whether the direction is right."""
    rows = []
    for number in range(count):
        rng = np.random.default_rng([seed, number, PLANES[plane]])
        case, setup, middle_hz = random_bench(rng, PLANES[plane])
        shop = Workshop(case, PLANES[plane], antennas, rng)
        half = rng.choice([None, 0.0005, 0.005])
        rows += _rows(shop, setup, [element(rng, middle_hz) for _ in range(antennas)], middle_hz, half)
    return rows


def _rows(shop, setup, elements, middle_hz, half):
    freq = shop.freq_hz
    bench, wanted = bench_of(setup, freq), Wanted("", middle_hz * 0.98, middle_hz * 1.02)
    seen = with_digits(shop.readings(np.array([each.reflection(freq) for each in elements])), half)
    digits = None if half is None else np.full(freq.size, half)
    found = [tune_with(bench, replace(as_readings(freq, each), rounding=digits), wanted, 5) for each in seen]
    longer = [1.0 if each.after is None else 1 + each.after.share for each in found]
    later = with_digits(
        shop.again(np.array([each.reflection(freq, by) for each, by in zip(elements, longer, strict=True)])), half
    )
    return [_row(*each, freq, wanted) for each in zip(elements, found, later, strict=True)]


def _row(truth, said, later, freq, wanted):
    at = int(np.abs(freq - wanted.aim_hz).argmin())
    sweep, true_ohm = said.sweep, truth.ohm(freq)
    own = [each.freq_hz for each in said.resonances if each.kind == "series"]
    nearest = min(own, key=lambda each: abs(each.value - truth.true_hz), default=None)
    held = (sweep.reactance_low <= true_ohm.imag) & (true_ohm.imag <= sweep.reactance_high)
    row = {
        "resonance": None if nearest is None else float(nearest.low <= truth.true_hz <= nearest.high),
        "reactance": float(held.mean()),
        "said": bool(said.direction),
        "wrong": bool(said.direction) and (said.direction == "too long") != (truth.true_hz < wanted.aim_hz),
        "clear": abs(sweep.reactance_ohm[at]) > sweep.reactance_high[at] - sweep.reactance_low[at],
        "reading": None,
        "antenna": None,
    }
    after = said.after
    if after is not None:
        places = [int(np.abs(freq - each).argmin()) for each in after.freq_hz]
        row["reading"] = _held(np.abs(later[places]), after.reading_low, after.reading_high)
        size = np.abs(truth.reflection(after.freq_hz, 1 + after.share))
        row["antenna"] = _held(size, after.true_low, after.true_high)
    return row


def _held(size, low, high):
    low, high = magnitude_from_vswr(low), magnitude_from_vswr(np.nan_to_num(high, nan=np.inf))
    return float(np.mean((low - 1e-9 <= size) & (size <= high + 1e-9)))


def rates(rows):
    """Mean of each count with its standard error, antenna by antenna; directions wrong; said where they are clear."""
    told = {}
    for name in COUNTED:
        kept = np.array([row[name] for row in rows if row[name] is not None])
        told[name] = (float(kept.mean()), float(kept.std() / max(kept.size, 1) ** 0.5), kept.size)
    clear = [row["said"] for row in rows if row["clear"]]
    return told, float(np.mean([row["wrong"] for row in rows])), float(np.mean(clear)) if clear else 1.0


@pytest.mark.statistical
@pytest.mark.parametrize("plane", PLANES)
def test_what_is_said_of_random_antennas_on_random_benches_is_so(plane):
    """48 antennas on 12 benches: within two standard errors of what is promised."""
    told, wrong, clear = rates(benches(plane, 12, 4, 1))
    for name, (share, error, _) in told.items():
        assert share >= 0.94 - 2 * max(error, 0.01), (name, told)
    assert wrong <= 0.025 + 2 * 0.023
    assert clear >= 0.8


@pytest.mark.slow
@pytest.mark.parametrize("plane", PLANES)
def test_many_random_antennas(plane):
    """600 antennas on 100 benches; prints its figures."""
    told, wrong, clear = rates(benches(plane, 100, 6, 2))
    print(plane, told, "wrong", wrong, "said where clear", clear)
    for name, (share, error, _) in told.items():
        assert share >= 0.94 - 1.5 * error, (name, told)
    assert wrong <= 0.025 + 0.006
    assert clear >= 0.8


def dips(plane, count, seed):
    """Without a phase: whether the dip's interval holds the dip, and whether a side that is named is the right one."""
    held, sides = [], []
    for number in range(count):
        rng = np.random.default_rng([seed, number, PLANES[plane], 7])
        case, setup, middle_hz = random_bench(rng, PLANES[plane])
        shop = Workshop(case, PLANES[plane], 1, rng)
        one = element(rng, middle_hz)
        seen = shop.readings(one.reflection(shop.freq_hz)[None])[0]
        readings = as_readings(shop.freq_hz, seen, phase=False)
        said = tune(setup, readings, middle_hz * 0.98, middle_hz * 1.02, seed=5)
        fine = np.linspace(shop.freq_hz[0], shop.freq_hz[-1], 4001)
        least_hz = fine[np.abs(one.reflection(fine)).argmin()]
        held.append(bool(said.dip.low <= least_hz <= said.dip.high))
        if said.direction:
            sides.append((said.direction == "too long") == (least_hz < said.wanted.aim_hz))
        elif said.dip_side == "within":
            sides.append(bool(said.wanted.low_hz <= least_hz <= said.wanted.high_hz))
    return held, sides


@pytest.mark.statistical
def test_the_dip_without_a_phase_lies_where_it_is_said_to_lie():
    """12 antennas at the middle plane: none or one missed, no side wrong."""
    held, sides = dips("middle", 12, 1)
    assert sum(held) >= 11
    assert sides.count(False) <= 1


@pytest.mark.slow
@pytest.mark.parametrize("plane", PLANES)
def test_many_dips_without_a_phase(plane):
    """100 antennas on as many benches; prints its figures."""
    held, sides = dips(plane, 100, 2)
    print(plane, "held", np.mean(held), "sides told", len(sides), "wrong", sides.count(False))
    assert np.mean(held) >= 0.94 - 2 * 0.022
    assert sides.count(False) <= 0.025 * len(held) + 3
