"""Answers to draw, shared by the tests of plots: made once, with few draws."""

from dataclasses import replace
from functools import cache

import numpy as np

from chain.analyses.expect import expect
from chain.analyses.planes import compare
from chain.analyses.recover import recover
from chain.assembly.power import account
from chain.calls.readings_given import readings_of
from chain.echoes.analyse import ripple
from chain.files.setup_file import load_setup
from chain.plots import budget as budget_plots
from chain.plots import expect as expect_plots
from chain.plots import planes as planes_plots
from chain.plots import recover as recover_plots
from chain.plots import ripple as ripple_plots
from chain.sweeps.read import read_sweep
from chain.sweeps.reading_words import parse_reading
from chain.sweeps.readings import Readings, from_texts

BOATHOUSE = "demo/boathouse.toml"
DRAWS = 500
DESCRIBE = {"budget": budget_plots, "expect": expect_plots, "planes": planes_plots, "ripple": ripple_plots}
CHANNELS = (("5", 174e6, 181e6), ("6", 181e6, 188e6), ("9", 202e6, 209e6), ("12", 223e6, 230e6))


@cache
def setup():
    found = load_setup(BOATHOUSE)
    return replace(found, sweep=replace(found.sweep, points=45))


@cache
def answer(name):
    """Result of an answer by the name of a case."""
    made = {
        "budget": lambda: account(setup()),
        "single": lambda: account(replace(setup(), sweep=replace(setup().sweep, start_hz=2e8, stop_hz=2e8, points=1))),
        "expect": lambda: expect(setup(), draws=DRAWS),
        "planes": lambda: compare(setup(), draws=DRAWS),
        "sweep": lambda: recover(_with_channels(), read_sweep("demo/boathouse.s1p"), draws=DRAWS),
        "magnitude": lambda: recover(setup(), _refused_in_part(), draws=DRAWS),
        "few": lambda: recover(setup(), from_texts([parse_reading("0.05-0.02j at 210 MHz")]), draws=DRAWS),
        "ripple": lambda: ripple(_thinned(read_sweep("demo/ripple.s1p"))),
    }
    return made[name]()


def _thinned(sweep):
    """Every second point of a sweep: what it shows stands in those as well."""
    return readings_of(sweep.freq_hz[::2], reflection=sweep.reflection[::2])


def _with_channels():
    far = replace(setup().far, limit_vswr=2.5)
    return replace(setup(), far=far, sweep=replace(setup().sweep, channels=CHANNELS))


def _refused_in_part():
    """A magnitude sweep some of whose readings no antenna can give."""
    freq_hz = np.linspace(174e6, 240e6, 40)
    magnitude = np.full(40, 0.08)
    magnitude[18:22] = 0.6
    return Readings(freq_hz, magnitude, None, "VSWR")


@cache
def plots(name):
    """Plots of a case."""
    kind = {"single": "budget"}.get(name, name)
    return DESCRIBE.get(kind, recover_plots).describe(answer(name))


CASES = ("budget", "single", "expect", "planes", "sweep", "magnitude", "few", "ripple")
EVERY = [(name, number) for name, count in zip(CASES, (1, 1, 1, 1, 3, 2, 3, 2), strict=True) for number in range(count)]
