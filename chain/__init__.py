"""What a 50-ohm analyzer shows of a 75-ohm antenna, and what the antenna truly is.

Every command of the program is a function of a set-up that returns a frozen result with its units, its references and
`to_dict()`; `print(result)` and a notebook show it as a small table, `to_dataframe()` gives all of it, `to_network()`, where
there are S-parameters, a scikit-rf Network. The functions below can be had from here, each imported when first asked for:

>>> from chain import expect
>>> from chain import load_setup
>>> found = expect(load_setup("demo/boathouse.toml"), true_vswr=[1.5, 2.0])
>>> round(found.ceiling_vswr, 2)
1.71
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import FunctionType

__version__ = "0.1.0"

_HOMES = {
    "About": "chain.characterize.part_making",
    "Account": "chain.assembly.power",
    "Analyzer": "chain.characterize.error_model",
    "AntennaComparison": "chain.comparisons.antennas",
    "AntennaFaults": "chain.tuning.faults",
    "Budget": "chain.assembly.budget",
    "Card": "chain.analyses.bench_card",
    "ChainError": "chain.errors",
    "CheckResult": "chain.analyses.checks",
    "Choice": "chain.selection.choose",
    "Expectation": "chain.analyses.expect",
    "Facts": "chain.records.adding",
    "FitError": "chain.errors",
    "Improvement": "chain.selection.improve",
    "Improvements": "chain.reception.improvements",
    "InputError": "chain.errors",
    "Installation": "chain.reception.records",
    "InstallationCheck": "chain.reception.checks",
    "InstallerCard": "chain.reception.installer_card",
    "Learnt": "chain.characterize.records",
    "LevelComparison": "chain.comparisons.levels",
    "LevelTable": "chain.comparisons.level_table",
    "LogTrends": "chain.records.trends",
    "Matching": "chain.tuning.matching",
    "Need": "chain.selection.need",
    "Page": "chain.analyses.page",
    "PartEnds": "chain.characterize.part_making",
    "Placement": "chain.reception.placing_amplifier",
    "Planes": "chain.analyses.planes",
    "Proof": "chain.diagnosis.records",
    "RangeError": "chain.errors",
    "Readings": "chain.sweeps.readings",
    "Reception": "chain.reception.outlets",
    "Recovery": "chain.analyses.recovery",
    "Ripple": "chain.echoes.records",
    "SeenLevels": "chain.reception.seen",
    "Setup": "chain.setups",
    "Stock": "chain.tuning.networks",
    "SweepOptions": "chain.sweeps.options",
    "Tuning": "chain.tuning.records",
    "UnitError": "chain.errors",
    "account": "chain.assembly.power",
    "antenna_faults": "chain.tuning.faults",
    "bare_pad": "chain.assembly.bare_pad",
    "budget": "chain.assembly.budget",
    "build": "chain.assembly.cascade",
    "card": "chain.analyses.bench_card",
    "card_html": "chain.html.page",
    "check": "chain.analyses.checks",
    "check_installation": "chain.reception.checks",
    "choose": "chain.selection.choose",
    "compare_antennas": "chain.comparisons.antennas",
    "compare_levels": "chain.comparisons.levels",
    "compare_planes": "chain.analyses.planes:compare",
    "compare_seen": "chain.reception.seen",
    "dc_card": "chain.analyses.ohmmeter",
    "expect": "chain.analyses.expect",
    "follow_folder": "chain.records.following",
    "front_to_back": "chain.comparisons.gains",
    "improve": "chain.selection.improve",
    "improve_reception": "chain.reception.improvements",
    "installation_html": "chain.html.installation",
    "installer_card": "chain.reception.installer_card",
    "installer_card_html": "chain.html.installation",
    "known_ends": "chain.diagnosis.terminations",
    "learn_back_to_back": "chain.characterize.characterize",
    "learn_ends": "chain.characterize.characterize",
    "learn_lead": "chain.characterize.characterize",
    "learn_two_port": "chain.characterize.characterize",
    "levels": "chain.assembly.budget",
    "load_installation": "chain.reception.installation_file",
    "load_need": "chain.selection.need_file",
    "load_setup": "chain.files.setup_file",
    "log_html": "chain.html.answers",
    "log_measurement": "chain.records.adding",
    "log_trends": "chain.records.trends",
    "match_network": "chain.tuning.matching",
    "multipath_error": "chain.comparisons.gains",
    "one_port_sweeps": "chain.characterize.sweeps",
    "outlets": "chain.reception.outlets",
    "page": "chain.analyses.page",
    "page_html": "chain.html.page",
    "parse_installation": "chain.reception.installation_file",
    "parse_setup": "chain.files.setup_file",
    "place_amplifier": "chain.reception.placing_amplifier",
    "prove": "chain.diagnosis.diagnose",
    "read_levels": "chain.comparisons.level_table",
    "read_seen": "chain.reception.seen",
    "read_sweep": "chain.sweeps.read",
    "read_sweep_for": "chain.assembly.cascade",
    "readings_of": "chain.calls.readings_given",
    "recover": "chain.analyses.recover",
    "ripple": "chain.echoes.analyse",
    "setup_of": "chain.calls.setup_making",
    "three_antenna_gains": "chain.comparisons.gains",
    "tune": "chain.tuning.tune",
    "two_port_sweeps": "chain.characterize.sweeps",
    "typed_readings": "chain.sweeps.readings",
}

__all__ = ["__version__", *_HOMES]
_TAKEN: dict[str, object] = {}
"""What has been asked for, functions with their arguments settled."""


_COMMANDS = {"new": ("setup_of",), "report": ("page", "page_html")}
"""Commands whose function has a name without theirs in it."""


def __getattr__(name: str) -> object:
    """Import a public function when it is first asked for, so that a light command stays light."""
    if name not in _HOMES:
        raise _unknown(name)
    if name not in _TAKEN:
        home, _, other = _HOMES[name].partition(":")
        found: object = getattr(import_module(home), other or name)
        if isinstance(found, FunctionType):
            from chain.calls.given import taking

            found = taking(found)
        _TAKEN[name] = found
    return _TAKEN[name]


def _unknown(name: str) -> Exception:
    """The error of a name that is none of the public ones, with those that may be meant.

    `from chain import NAME` asks twice: whether there is an attribute, then for a submodule; only where there is neither an
    ImportError is due, and only one raised at the first asking keeps its words.
    """
    from importlib.util import find_spec

    near: list[str] = []
    if not name.startswith("_"):
        from difflib import get_close_matches

        near = [*_COMMANDS.get(name, ()), *(each for each in _HOMES if name in each)]
        near = near or get_close_matches(name, _HOMES, cutoff=0.7)
    *most, last = near[:4] or [""]
    hint = f"; did you mean {', '.join(most)}{' or ' * bool(most)}{last}?" if last else ""
    asked_by = sys._getframe(2).f_code.co_name
    if asked_by == "_handle_fromlist" and find_spec(f"chain.{name}") is None:
        return ImportError(f"cannot import name {name!r} from 'chain'{hint}", name="chain")
    return AttributeError(f"module 'chain' has no attribute {name!r}{hint}")


def __dir__() -> list[str]:
    """Public names alone, for whoever looks with the tab key."""
    return sorted([*__all__, "__doc__", "__file__", "__name__", "__path__"])
