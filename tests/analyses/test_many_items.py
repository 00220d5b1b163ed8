"""Chains of dozens of items: what is looked at only for the likeliest unknowns is what looking at all of them would find."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from further import wide

from chain.analyses import expect as expect_module
from chain.analyses import improvements
from chain.analyses.planes import compare
from chain.assembly.cascade import build
from chain.files.setup_file import parse_setup
from chain.setups import Setup
from chain.uncertainty.contributions import largest, linear_shares, names
from chain.uncertainty.measurement import Measurement, measurement_of


def long_setup(items: int, seed: int) -> Setup:
    """A pad and short leads of one type, whose lengths and end reflections differ at random."""
    rng = np.random.default_rng(seed)
    lines = ['[sweep]\nstart = "470 MHz"\nstop = "480 MHz"\npoints = 3\n[near]\nconnector = "N-50 jack"\n']
    lines.append('[far]\nconnector = "F-75 jack"\nlimit = "VSWR 2.0"\n[[chain]]\nid = "pad"\npart = "min-loss-pad"\n')
    lines.append('near = "N-50 plug"\nfar = "F-75 jack"\n')
    for number in range(items - 1):
        end = ("plug", "jack")[number % 2]
        lines.append(f'[[chain]]\nid = "lead-{number}"\npart = "rg6"\nlength = "{rng.uniform(0.05, 0.3):.3f} m"\n')
        lines.append(f'reflection = "{rng.uniform(24, 45):.1f} dB"\nnear = "F-75 {end}"\nfar = "F-75 {end}"\n')
    return parse_setup("".join(lines).encode())


def measured(setup: Setup) -> Measurement:
    return measurement_of(setup, build(setup, np.array([475e6])))


@pytest.mark.parametrize("seed", [2, *wide(1, 3)])
def test_the_unknown_that_is_blamed_is_that_of_looking_at_all(seed, monkeypatch):
    here = measured(long_setup(22, seed))
    assert len(names(here)) > 2 * len(largest(here, 1 / 3))
    few = expect_module._interval_blame(here, 1 / 3, 1)
    bound = expect_module._bound_aim(here, 2.0).blame
    monkeypatch.setattr(expect_module, "largest", lambda measurement, *_: names(measurement))
    assert few == expect_module._interval_blame(here, 1 / 3, 1)
    assert bound == expect_module._bound_aim(here, 2.0).blame


@pytest.mark.parametrize("seed", [2, *wide(1)])
def test_shares_of_a_long_chain_are_those_of_drawing_every_unknown_alone(seed, monkeypatch):
    here = measured(long_setup(50, seed))
    found = {each.id: each.share for each in improvements.contributions(here, 1 / 3)}
    monkeypatch.setattr(improvements, "MOST_ALONE", 1000)
    every = {each.id: each.share for each in improvements.contributions(here, 1 / 3)}
    assert set(found) == set(every) == set(names(here))
    assert sum(found.values()) == pytest.approx(1)
    assert max(abs(found[name] - every[name]) for name in every) < 0.01
    assert max(every, key=every.get) == max(linear_shares(here, 1 / 3), key=linear_shares(here, 1 / 3).get)


def test_of_dozens_of_places_to_calibrate_those_evenly_spread_are_compared_and_that_is_said():
    few, setup = long_setup(20, 4), long_setup(30, 4)
    assert len(few.places_to_calibrate()) == 20
    named = [item.id for item in setup.places_to_calibrate()]
    assert len(named) == 20
    assert (named[0], named[-1]) == ("pad", "lead-28")
    there = replace(setup, calibration=replace(setup.calibration, plane="lead-15"))
    assert "lead-15" in [item.id for item in there.places_to_calibrate()]
    found = compare(setup, draws=1000)
    assert [row.plane for row in found.planes if "," not in row.plane] == ["near", *named, "no pad"]
    assert any("20 places" in each and "30" in each for each in found.warnings)
    assert not any("places" in each for each in compare(few, draws=1000).warnings)


def test_of_many_planes_the_cure_is_the_one_that_narrows_most(monkeypatch):
    setup = long_setup(14, 5)
    found = improvements.best_improvement(setup, 475e6, 0.2, True)
    monkeypatch.setattr(improvements, "PILOTS", ())
    every = improvements.best_improvement(setup, 475e6, 0.2, True)
    assert found == every
