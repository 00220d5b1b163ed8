"""Resonance, direction and predicted reading held against antennas of known make, read in a world of scikit-rf networks."""

import numpy as np
import pytest
from tuning_world import Workshop, as_readings, bench_case, element

from chain.tuning.draws import bench_of
from chain.tuning.records import Wanted
from chain.tuning.tune import tune_with

KINDS = [
    (kind, plane, middle_hz) for kind in ("decent", "poor") for plane in ("near", "far") for middle_hz in (210e6, 600e6)
]


def outcomes(kind, plane, middle_hz, count, seed):
    """One row for each antenna: what was true, and what was said."""
    rng = np.random.default_rng([seed, *map(ord, kind + plane), int(middle_hz)])
    case, cut, setup = bench_case(kind, plane, middle_hz)
    shop = Workshop(case, cut, count, rng)
    elements = [element(rng, middle_hz) for _ in range(count)]
    seen = shop.readings(np.array([each.reflection(shop.freq_hz) for each in elements]))
    bench = bench_of(setup, shop.freq_hz)
    wanted = [Wanted("", middle_hz * 0.985, middle_hz * 1.015) for _ in elements]
    found = [
        tune_with(bench, as_readings(shop.freq_hz, reading), span, seed)
        for reading, span in zip(seen, wanted, strict=True)
    ]
    stretches = [1.0 if each.after is None else 1 + each.after.share for each in found]
    later = shop.again(
        np.array([each.reflection(shop.freq_hz, by) for each, by in zip(elements, stretches, strict=True)])
    )
    return [_row(*each, shop.freq_hz, rng) for each in zip(elements, found, wanted, later, strict=True)]


def _row(truth, said, wanted, later, freq_hz, rng):
    at = int(np.abs(freq_hz - wanted.aim_hz).argmin())
    sweep = said.sweep
    reactance, width = sweep.reactance_ohm[at], sweep.reactance_high[at] - sweep.reactance_low[at]
    own = [each.freq_hz for each in said.resonances if each.kind == "series"]
    nearest = min(own, key=lambda each: abs(each.value - truth.true_hz), default=None)
    row = {
        "resonance": None if nearest is None else nearest.low <= truth.true_hz <= nearest.high,
        "width": None if nearest is None else (nearest.high - nearest.low) / truth.true_hz,
        "said": bool(said.direction),
        "wrong": bool(said.direction) and (said.direction == "too long") != (truth.true_hz < wanted.aim_hz),
        "clear": abs(reactance) > 2 * width,
        "reading": None,
    }
    if said.after is not None:
        pick = int(rng.integers(said.after.freq_hz.size))
        place = int(np.abs(freq_hz - said.after.freq_hz[pick]).argmin())
        size = abs(later[place])
        shown = (1 + size) / (1 - size)
        row["reading"] = said.after.reading_low[pick] <= shown <= said.after.reading_high[pick]
    return row


def rate(rows, name, given=None):
    kept = [row[name] for row in rows if row[name] is not None and (given is None or row[given])]
    return (float(np.mean(kept)), len(kept)) if kept else (float("nan"), 0)


@pytest.mark.statistical
def test_a_few_antennas_come_out_right():
    """A short sample of the slow test: nothing said is wrong but by the chance that is allowed for."""
    rows = [row for kind in KINDS[::3] for row in outcomes(*kind, 5, 1)]
    assert rate(rows, "resonance")[0] >= 0.8
    assert rate(rows, "wrong")[0] <= 0.07
    assert rate(rows, "said", "clear")[0] >= 0.8
    assert rate(rows, "reading")[0] >= 0.8


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_intervals_hold_what_they_say(kind):
    """200 antennas a kind: each rate within what chance allows of the rate that is promised."""
    rows = outcomes(*kind, 200, 2)
    told = {name: rate(rows, name) for name in ("resonance", "wrong", "reading", "said")}
    clear = rate(rows, "said", "clear")
    print(kind, told, "clear", clear, "width", np.median([row["width"] for row in rows if row["width"]]))
    assert told["resonance"][0] >= 0.94 - 2 * 0.017
    assert told["wrong"][0] <= 0.025 + 2 * 0.011
    assert told["reading"][0] >= 0.94 - 2 * 0.017
    assert clear[0] >= 0.8
