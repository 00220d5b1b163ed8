"""What a 50-ohm analyzer shows of a 75-ohm antenna, and what the antenna truly is.

Every command of the program is a function of a set-up that returns a frozen result with its units, its references and
`to_dict()`: `chain.budget.budget`, `chain.expect.expect`, `chain.recover.recover` and so on. `load_setup`, `build`, `check`
and `compare_planes` can be had from here.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"

_HOMES = {
    "build": "chain.cascade",
    "check": "chain.checks",
    "compare_planes": "chain.planes",
    "load_setup": "chain.setupfile",
}

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> object:
    """Import a public function when it is first asked for, so that a light command stays light."""
    if name not in _HOMES:
        raise AttributeError(f"module 'chain' has no attribute {name!r}")
    module = import_module(_HOMES[name])
    return getattr(module, "compare" if name == "compare_planes" else name)
