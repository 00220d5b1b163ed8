"""What a 50-ohm analyzer shows of a 75-ohm antenna, and what the antenna truly is.

Every command of the program is a function of a set-up that returns a frozen result with its units, its references and
`to_dict()`; `print(result)` and a notebook show it as a small table, `to_dataframe()` gives all of it, `to_network()`, where
there are S-parameters, a scikit-rf Network. The functions below can be had from here, each imported when first asked for:

>>> from chain import expect, load_setup
>>> found = expect(load_setup("demo/boathouse.toml"), true_vswr=[1.5, 2.0])
>>> round(found.ceiling_vswr, 2)
1.71
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chain.account import account as account
    from chain.barepad import bare_pad as bare_pad
    from chain.budget import budget as budget
    from chain.budget import levels as levels
    from chain.card import card as card
    from chain.cascade import build as build
    from chain.checks import check as check
    from chain.choose import choose as choose
    from chain.compare import compare_sweeps as compare_sweeps
    from chain.errors import ChainError as ChainError
    from chain.errors import FitError as FitError
    from chain.errors import InputError as InputError
    from chain.errors import RangeError as RangeError
    from chain.errors import UnitError as UnitError
    from chain.expect import expect as expect
    from chain.improve import improve as improve
    from chain.knownends import known_ends as known_ends
    from chain.learn import learn_back_to_back as learn_back_to_back
    from chain.learn import learn_ends as learn_ends
    from chain.learn import learn_lead as learn_lead
    from chain.learn import learn_two_port as learn_two_port
    from chain.learnsweeps import one_port_sweeps as one_port_sweeps
    from chain.learnsweeps import two_port_sweeps as two_port_sweeps
    from chain.needfile import load_need as load_need
    from chain.ohmmeter import dc_card as dc_card
    from chain.page import page as page
    from chain.pagehtml import card_html as card_html
    from chain.pagehtml import page_html as page_html
    from chain.planes import compare
    from chain.prove import prove as prove
    from chain.readings import typed_readings as typed_readings
    from chain.recover import recover as recover
    from chain.ripple import ripple as ripple
    from chain.setupfile import load_setup as load_setup
    from chain.setupfile import parse_setup as parse_setup
    from chain.sweepfile import read_sweep as read_sweep
    from chain.sweepoptions import SweepOptions as SweepOptions
    from chain.sweepsetup import read_sweep_for as read_sweep_for

    compare_planes = compare

__version__ = "0.1.0"

_HOMES = {
    "ChainError": "chain.errors",
    "FitError": "chain.errors",
    "InputError": "chain.errors",
    "RangeError": "chain.errors",
    "SweepOptions": "chain.sweepoptions",
    "UnitError": "chain.errors",
    "account": "chain.account",
    "bare_pad": "chain.barepad",
    "budget": "chain.budget",
    "build": "chain.cascade",
    "card": "chain.card",
    "card_html": "chain.pagehtml",
    "check": "chain.checks",
    "choose": "chain.choose",
    "compare_planes": "chain.planes:compare",
    "compare_sweeps": "chain.compare",
    "dc_card": "chain.ohmmeter",
    "expect": "chain.expect",
    "improve": "chain.improve",
    "known_ends": "chain.knownends",
    "learn_back_to_back": "chain.learn",
    "learn_ends": "chain.learn",
    "learn_lead": "chain.learn",
    "learn_two_port": "chain.learn",
    "levels": "chain.budget",
    "load_need": "chain.needfile",
    "load_setup": "chain.setupfile",
    "one_port_sweeps": "chain.learnsweeps",
    "page": "chain.page",
    "page_html": "chain.pagehtml",
    "parse_setup": "chain.setupfile",
    "prove": "chain.prove",
    "read_sweep": "chain.sweepfile",
    "read_sweep_for": "chain.sweepsetup",
    "recover": "chain.recover",
    "ripple": "chain.ripple",
    "two_port_sweeps": "chain.learnsweeps",
    "typed_readings": "chain.readings",
}

__all__ = ["__version__", *_HOMES]


class _Package(ModuleType):
    """The package itself: where a function and its module share a name, the name is the function's."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> object:
    """Import a public function when it is first asked for, so that a light command stays light."""
    if name not in _HOMES:
        raise AttributeError(f"module 'chain' has no attribute {name!r}")
    home, _, other = _HOMES[name].partition(":")
    found: object = getattr(import_module(home), other or name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
