"""One answer of every public kind, of the demo, made once with few draws."""

from dataclasses import replace
from functools import cache
from shutil import copy
from tempfile import TemporaryDirectory

import few_trials
import pytest

import chain
from chain.results import ResultTable

BOATHOUSE, LOOPS, HOUSE = "demo/boathouse.toml", "demo/loops.toml", "demo/outlets.toml"


@cache
def setup():
    """The boathouse at thirteen frequencies."""
    found = chain.load_setup(BOATHOUSE)
    return replace(found, sweep=replace(found.sweep, points=13))


@cache
def readings():
    """The boathouse's sweep at those."""
    whole = chain.read_sweep("demo/boathouse.s1p")
    kept = (whole.freq_hz[::11], whole.reflection[::11])
    return chain.readings_of(kept[0], reflection=kept[1])


@cache
def loops(state="loops"):
    """A sweep of the loops at every fourth of its frequencies."""
    whole = chain.read_sweep(f"demo/{state}.s1p")
    return chain.readings_of(whole.freq_hz[::4], reflection=whole.reflection[::4])


MADE = {
    "Setup": setup,
    "Readings": readings,
    "Account": lambda: chain.account(setup()),
    "Budget": lambda: chain.budget(setup()),
    "CheckResult": lambda: chain.check(setup()),
    "Expectation": lambda: chain.expect(setup(), draws=1000),
    "Recovery": lambda: chain.recover(setup(), readings(), draws=1000),
    "Planes": lambda: chain.compare_planes(setup(), draws=1000),
    "Improvement": lambda: chain.improve(setup()),
    "Choice": lambda: chain.choose("demo/need.toml"),
    "Card": lambda: chain.card(setup()),
    "Page": lambda: chain.page(setup(), readings=readings(), draws=1000),
    "Proof": lambda: chain.prove(setup(), chain.known_ends({"open": ["2.20"], "load": ["1.67"]}, 207e6), draws=20_000),
    "Ripple": lambda: chain.ripple("demo/ripple.s1p", gate=False),
    "AntennaComparison": lambda: chain.compare_antennas(LOOPS, loops(), loops("loops-wet")),
    "LevelComparison": lambda: chain.compare_levels(chain.read_levels("demo/levels.csv")),
    "Tuning": lambda: chain.tune(LOOPS, loops()),
    "Matching": lambda: chain.match_network(LOOPS, loops()),
    "AntennaFaults": lambda: chain.antenna_faults(LOOPS, loops(), loops("loops-wet")),
    "LogTrends": lambda: chain.log_trends("demo/log"),
    "Learnt": lambda: _learnt(),
    "Installation": lambda: chain.load_installation(HOUSE),
    "InstallationCheck": lambda: chain.check_installation(HOUSE),
    "InstallerCard": lambda: chain.installer_card(HOUSE, draws=400),
    "Improvements": lambda: chain.improve_reception(HOUSE),
    "Placement": lambda: chain.place_amplifier(HOUSE),
    "Reception": lambda: chain.outlets(HOUSE, draws=400),
    "SeenLevels": lambda: chain.compare_seen(HOUSE, chain.read_seen("demo/outlets-seen.csv", HOUSE), draws=400),
}
"""Public kinds of answers by name, and how one is made."""
OTHERS = {
    "Chain": lambda: chain.build(setup()),
    "DcReading": lambda: chain.dc_card(setup())[0],
    "FollowAnswer": lambda: _followed(),
    "KnownTerminations": lambda: chain.known_ends({"open": ["2.20"], "load": ["1.67"]}, 207e6),
    "LevelTable": lambda: chain.read_levels("demo/levels.csv"),
    "Need": lambda: chain.load_need("demo/need.toml"),
    "Record": lambda: _recorded(),
    "SeenLevel": lambda: chain.read_seen("demo/outlets-seen.csv", HOUSE)[0],
    "Sweeps": lambda: chain.two_port_sweeps(["demo/pad.s2p"]),
}
"""What public functions return besides: records that are no tables."""


def _followed():
    with TemporaryDirectory() as place:
        copy("demo/plane-after-pad.s1p", place)
        return next(iter(chain.follow_folder("demo/plane-after-pad.toml", place, once=True)))


def _recorded():
    with TemporaryDirectory() as folder:
        return chain.log_measurement(folder, "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p")


def _learnt():
    sweeps = chain.one_port_sweeps({"open": "demo/lead-open.s1p", "short": "demo/lead-short.s1p"})
    return chain.learn_lead(
        sweeps, chain.About("lead", "a lead"), chain.Analyzer(tracking=0.01), length_m=0.6, draws=400
    )


@cache
def result(name):
    """An answer of a kind."""
    with pytest.MonkeyPatch.context() as here:
        few_trials.lower(here)
        return (MADE | OTHERS)[name]()


def kinds():
    """Names of all kinds that there are."""
    for name in chain.__all__[1:]:
        getattr(chain, name)

    def below(kind):
        for each in kind.__subclasses__():
            yield each
            yield from below(each)

    return sorted({each.__name__ for each in below(ResultTable) if each.__module__.startswith("chain.")})
