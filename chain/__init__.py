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

from importlib import import_module
from types import FunctionType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chain.analyses.bench_card import Card as Card
    from chain.analyses.bench_card import card as card
    from chain.analyses.checks import CheckResult as CheckResult
    from chain.analyses.checks import check as check
    from chain.analyses.expect import Expectation as Expectation
    from chain.analyses.expect import expect as expect
    from chain.analyses.ohmmeter import dc_card as dc_card
    from chain.analyses.page import Page as Page
    from chain.analyses.page import page as page
    from chain.analyses.planes import Planes as Planes
    from chain.analyses.planes import compare
    from chain.analyses.recover import recover as recover
    from chain.analyses.recovery import Recovery as Recovery
    from chain.assembly.bare_pad import bare_pad as bare_pad
    from chain.assembly.budget import Budget as Budget
    from chain.assembly.budget import budget as budget
    from chain.assembly.budget import levels as levels
    from chain.assembly.cascade import build as build
    from chain.assembly.plane import read_sweep_for as read_sweep_for
    from chain.assembly.power import Account as Account
    from chain.assembly.power import account as account
    from chain.calls.readings_given import readings_of as readings_of
    from chain.calls.setup_making import setup_of as setup_of
    from chain.characterize.characterize import learn_back_to_back as learn_back_to_back
    from chain.characterize.characterize import learn_ends as learn_ends
    from chain.characterize.characterize import learn_lead as learn_lead
    from chain.characterize.characterize import learn_two_port as learn_two_port
    from chain.characterize.records import Learnt as Learnt
    from chain.characterize.sweeps import one_port_sweeps as one_port_sweeps
    from chain.characterize.sweeps import two_port_sweeps as two_port_sweeps
    from chain.comparisons.antennas import AntennaComparison as AntennaComparison
    from chain.comparisons.antennas import compare_antennas as compare_antennas
    from chain.comparisons.gains import front_to_back as front_to_back
    from chain.comparisons.gains import multipath_error as multipath_error
    from chain.comparisons.gains import three_antenna_gains as three_antenna_gains
    from chain.comparisons.level_table import read_levels as read_levels
    from chain.comparisons.levels import LevelComparison as LevelComparison
    from chain.comparisons.levels import compare_levels as compare_levels
    from chain.diagnosis.diagnose import prove as prove
    from chain.diagnosis.records import Proof as Proof
    from chain.diagnosis.terminations import known_ends as known_ends
    from chain.echoes.analyse import ripple as ripple
    from chain.echoes.records import Ripple as Ripple
    from chain.errors import ChainError as ChainError
    from chain.errors import FitError as FitError
    from chain.errors import InputError as InputError
    from chain.errors import RangeError as RangeError
    from chain.errors import UnitError as UnitError
    from chain.files.setup_file import load_setup as load_setup
    from chain.files.setup_file import parse_setup as parse_setup
    from chain.html.installation import installation_html as installation_html
    from chain.html.installation import installer_card_html as installer_card_html
    from chain.html.log import log_html as log_html
    from chain.html.page import card_html as card_html
    from chain.html.page import page_html as page_html
    from chain.reception.checks import InstallationCheck as InstallationCheck
    from chain.reception.checks import check_installation as check_installation
    from chain.reception.improvements import Improvements as Improvements
    from chain.reception.improvements import improve_reception as improve_reception
    from chain.reception.installation_file import load_installation as load_installation
    from chain.reception.installation_file import parse_installation as parse_installation
    from chain.reception.installer_card import InstallerCard as InstallerCard
    from chain.reception.installer_card import installer_card as installer_card
    from chain.reception.outlets import Reception as Reception
    from chain.reception.outlets import outlets as outlets
    from chain.reception.placing_amplifier import Placement as Placement
    from chain.reception.placing_amplifier import place_amplifier as place_amplifier
    from chain.reception.records import Installation as Installation
    from chain.reception.seen import SeenLevels as SeenLevels
    from chain.reception.seen import compare_seen as compare_seen
    from chain.reception.seen import read_seen as read_seen
    from chain.records.adding import log_measurement as log_measurement
    from chain.records.following import follow_folder as follow_folder
    from chain.records.trends import LogTrends as LogTrends
    from chain.records.trends import log_trends as log_trends
    from chain.selection.choose import Choice as Choice
    from chain.selection.choose import choose as choose
    from chain.selection.improve import Improvement as Improvement
    from chain.selection.improve import improve as improve
    from chain.selection.need import Need as Need
    from chain.selection.need_file import load_need as load_need
    from chain.setups import Setup as Setup
    from chain.sweeps.options import SweepOptions as SweepOptions
    from chain.sweeps.read import read_sweep as read_sweep
    from chain.sweeps.readings import Readings as Readings
    from chain.sweeps.readings import typed_readings as typed_readings
    from chain.tuning.faults import AntennaFaults as AntennaFaults
    from chain.tuning.faults import antenna_faults as antenna_faults
    from chain.tuning.matching import Matching as Matching
    from chain.tuning.matching import match_network as match_network
    from chain.tuning.records import Tuning as Tuning
    from chain.tuning.tune import tune as tune

    compare_planes = compare

__version__ = "0.1.0"

_HOMES = {
    "Account": "chain.assembly.power",
    "AntennaComparison": "chain.comparisons.antennas",
    "AntennaFaults": "chain.tuning.faults",
    "Budget": "chain.assembly.budget",
    "Card": "chain.analyses.bench_card",
    "ChainError": "chain.errors",
    "CheckResult": "chain.analyses.checks",
    "Choice": "chain.selection.choose",
    "Expectation": "chain.analyses.expect",
    "FitError": "chain.errors",
    "Improvement": "chain.selection.improve",
    "Improvements": "chain.reception.improvements",
    "InputError": "chain.errors",
    "Installation": "chain.reception.records",
    "InstallationCheck": "chain.reception.checks",
    "InstallerCard": "chain.reception.installer_card",
    "Learnt": "chain.characterize.records",
    "LevelComparison": "chain.comparisons.levels",
    "LogTrends": "chain.records.trends",
    "Matching": "chain.tuning.matching",
    "Need": "chain.selection.need",
    "Page": "chain.analyses.page",
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
    "log_html": "chain.html.log",
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
    "read_sweep_for": "chain.assembly.plane",
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


def __getattr__(name: str) -> object:
    """Import a public function when it is first asked for, so that a light command stays light."""
    if name not in _HOMES:
        raise AttributeError(f"module 'chain' has no attribute {name!r}")
    if name not in _TAKEN:
        home, _, other = _HOMES[name].partition(":")
        found: object = getattr(import_module(home), other or name)
        if isinstance(found, FunctionType):
            from chain.calls.given import taking

            found = taking(found)
        _TAKEN[name] = found
    return _TAKEN[name]


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
