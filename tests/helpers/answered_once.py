"""Answers of commands kept for the tests that ask for the same one again in another form: as text, JSON, page or picture."""

from dataclasses import fields, is_dataclass
from functools import partial, wraps
from importlib import import_module
from inspect import signature

import numpy as np
from few_trials import in_force

from library.parts import Library

ASKED = {
    "chain.analyses.bench_card": "card",
    "chain.analyses.expect": "expect",
    "chain.analyses.planes": "compare",
    "chain.analyses.recover": "recover",
    "chain.comparisons.antennas": "compare_antennas",
    "chain.diagnosis.diagnose": "prove",
    "chain.echoes.analyse": "ripple",
    "chain.reception.improvements": "improve_reception",
    "chain.reception.outlets": "outlets",
    "chain.reception.placing_amplifier": "place_amplifier",
    "chain.selection.choose": "choose",
    "chain.selection.improve": "improve",
    "chain.tuning.faults": "antenna_faults",
    "chain.tuning.matching": "match_network",
    "chain.tuning.tune": "tune",
}
"""Functions that commands import when they run; whoever imported one before asks the function itself."""

_KEPT = {}


def told(value):
    """All of a value that an answer may depend on, as something to look it up by."""
    if isinstance(value, Library):
        return id(value)
    if isinstance(value, partial):
        return value.func, told(value.args), told(value.keywords)
    if is_dataclass(value):
        return type(value), *(told(getattr(value, each.name)) for each in fields(value))
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if isinstance(value, dict):
        return tuple((key, told(each)) for key, each in value.items())
    if isinstance(value, (tuple, list)):
        return type(value), *map(told, value)
    return type(value), value


def kept(function):
    """The function, which computes each answer once; how far it is, is told the first time only."""

    taken = signature(function)

    @wraps(function)
    def ask(*given, progress=None, **named):
        # What is asked is the same whether an argument is named, stands in its place or is the usual one.
        asked = taken.bind(*given, **named)
        asked.apply_defaults()
        key = in_force(), function, *(told(each) for name, each in asked.arguments.items() if name != "progress")
        if key not in _KEPT:
            watched = {} if progress is None else {"progress": progress}
            # What was asked about stays alive with its answer: a library is known by where it lies.
            _KEPT[key] = function(*given, **named, **watched), asked
        return _KEPT[key][0]

    return ask


def keep(monkeypatch):
    """Let the commands of one test take the answers that are there already; what is returned forgets them."""
    for home, name in ASKED.items():
        module = import_module(home)
        monkeypatch.setattr(module, name, kept(getattr(module, name)))
    return _KEPT.clear
