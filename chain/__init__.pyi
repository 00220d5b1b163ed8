"""The public names, made by tests/make_references.py from the functions and from what chain.calls takes for them."""

from collections.abc import Mapping, Sequence
from os import PathLike
from typing import Any, Protocol, TypeAlias

from numpy.typing import ArrayLike

from chain.analyses.bench_card import Card as Card
from chain.analyses.checks import CheckResult as CheckResult
from chain.analyses.expect import Expectation as Expectation
from chain.analyses.ohmmeter import DcReading as DcReading
from chain.analyses.page import Page as Page
from chain.analyses.planes import Planes as Planes
from chain.analyses.recovery import Recovery as Recovery
from chain.arrays import Real as Real
from chain.assembly.budget import Budget as Budget
from chain.assembly.cascade import Chain as Chain
from chain.assembly.power import Account as Account
from chain.calls.setup_making import Given as Given
from chain.characterize.error_model import Analyzer as Analyzer
from chain.characterize.part_making import About as About
from chain.characterize.part_making import PartEnds as PartEnds
from chain.characterize.records import Learnt as Learnt
from chain.characterize.sweeps import Sweeps as Sweeps
from chain.comparisons.antennas import AntennaComparison as AntennaComparison
from chain.comparisons.level_table import LevelTable as LevelTable
from chain.comparisons.levels import LevelComparison as LevelComparison
from chain.diagnosis.records import Proof as Proof
from chain.diagnosis.terminations import KnownTerminations as KnownTerminations
from chain.echoes.records import Ripple as Ripple
from chain.errors import ChainError as ChainError
from chain.errors import FitError as FitError
from chain.errors import InputError as InputError
from chain.errors import RangeError as RangeError
from chain.errors import UnitError as UnitError
from chain.reception.checks import InstallationCheck as InstallationCheck
from chain.reception.improvements import Improvements as Improvements
from chain.reception.installer_card import InstallerCard as InstallerCard
from chain.reception.outlets import Reception as Reception
from chain.reception.placing_amplifier import Placement as Placement
from chain.reception.records import Installation as Installation
from chain.reception.seen import SeenLevel as SeenLevel
from chain.reception.seen import SeenLevels as SeenLevels
from chain.records.adding import Facts as Facts
from chain.records.following import FollowAnswer as FollowAnswer
from chain.records.record import Record as Record
from chain.records.trends import LogTrends as LogTrends
from chain.selection.choose import Choice as Choice
from chain.selection.improve import Improvement as Improvement
from chain.selection.need import Need as Need
from chain.setups import Setup as Setup
from chain.sweeps.columns import Channels as Channels
from chain.sweeps.options import SweepOptions as SweepOptions
from chain.sweeps.readings import Readings as Readings
from chain.tuning.faults import AntennaFaults as AntennaFaults
from chain.tuning.matching import Matching as Matching
from chain.tuning.networks import Stock as Stock
from chain.tuning.records import Tuning as Tuning
from collections.abc import Callable as Callable
from collections.abc import Iterator as Iterator
from library.parts import Library as Library
from library.records import Coax as Coax
from pathlib import Path as Path

class _Network(Protocol):
    """A scikit-rf Network of one port."""

    @property
    def s(self) -> Any: ...
    @property
    def z0(self) -> Any: ...
    @property
    def f(self) -> Any: ...

class _Table(Protocol):
    """A table with named columns, such as a DataFrame."""

    @property
    def columns(self) -> Any: ...
    def __getitem__(self, name: Any, /) -> Any: ...

_Path: TypeAlias = str | PathLike[str]
_Paths: TypeAlias = _Path | Sequence[_Path]
_Ratios: TypeAlias = float | str | Sequence[float | str] | ArrayLike
_Setup: TypeAlias = Setup | _Path
_Need: TypeAlias = Need | _Path
_Installation: TypeAlias = Installation | _Path
_Readings: TypeAlias = (
    Readings | _Path | Sequence[_Path] | tuple[ArrayLike, ArrayLike] | Mapping[str, ArrayLike] | _Network | _Table
)

__version__: str
__all__ = [
    "__version__",
    "About",
    "Account",
    "Analyzer",
    "AntennaComparison",
    "AntennaFaults",
    "Budget",
    "Card",
    "ChainError",
    "CheckResult",
    "Choice",
    "Expectation",
    "Facts",
    "FitError",
    "Improvement",
    "Improvements",
    "InputError",
    "Installation",
    "InstallationCheck",
    "InstallerCard",
    "Learnt",
    "LevelComparison",
    "LevelTable",
    "LogTrends",
    "Matching",
    "Need",
    "Page",
    "PartEnds",
    "Placement",
    "Planes",
    "Proof",
    "RangeError",
    "Readings",
    "Reception",
    "Recovery",
    "Ripple",
    "SeenLevels",
    "Setup",
    "Stock",
    "SweepOptions",
    "Tuning",
    "UnitError",
    "account",
    "antenna_faults",
    "bare_pad",
    "budget",
    "build",
    "card",
    "card_html",
    "check",
    "check_installation",
    "choose",
    "compare_antennas",
    "compare_levels",
    "compare_planes",
    "compare_seen",
    "dc_card",
    "expect",
    "follow_folder",
    "front_to_back",
    "improve",
    "improve_reception",
    "installation_html",
    "installer_card",
    "installer_card_html",
    "known_ends",
    "learn_back_to_back",
    "learn_ends",
    "learn_lead",
    "learn_two_port",
    "levels",
    "load_installation",
    "load_need",
    "load_setup",
    "log_html",
    "log_measurement",
    "log_trends",
    "match_network",
    "multipath_error",
    "one_port_sweeps",
    "outlets",
    "page",
    "page_html",
    "parse_installation",
    "parse_setup",
    "place_amplifier",
    "prove",
    "read_levels",
    "read_seen",
    "read_sweep",
    "read_sweep_for",
    "readings_of",
    "recover",
    "ripple",
    "setup_of",
    "three_antenna_gains",
    "tune",
    "two_port_sweeps",
    "typed_readings",
]

def account(setup: _Setup) -> Account: ...
def antenna_faults(
    setup: _Setup,
    readings: _Readings,
    before: _Readings | None = ...,
    handled: _Readings | None = ...,
    seed: int = ...,
) -> AntennaFaults: ...
def bare_pad(start_hz: float, stop_hz: float, ideal: bool = ...) -> Setup: ...
def budget(chain: Chain | _Setup) -> Budget: ...
def build(setup: _Setup, freq_hz: Real | None = ..., library: Library | None = ..., fit: bool = ...) -> Chain: ...
def card(
    setup: _Setup,
    expectation: Expectation | None = ...,
    checked: CheckResult | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
    recovery: Recovery | None = ...,
) -> Card: ...
def card_html(card: Card) -> str: ...
def check(setup: _Setup, library: Library | None = ...) -> CheckResult: ...
def check_installation(installation: _Installation) -> InstallationCheck: ...
def choose(
    need: _Need,
    rank: str = ...,
    seed: int = ...,
    library: Library | None = ...,
    progress: Callable[[float], None] | None = ...,
) -> Choice: ...
def compare_antennas(
    setup: _Setup,
    first: _Readings,
    second: _Readings,
    names: tuple[str, str] = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
    exchanged: bool = ...,
) -> AntennaComparison: ...
def compare_levels(
    table: LevelTable,
    matches: tuple[dict[str, float], dict[str, float]] | None = ...,
    site_db: float | None = ...,
    meter_return_loss_db: float | None = ...,
    repeatability_db: float | None = ...,
    reference_dbi: float = ...,
    path_db: float = ...,
    seed: int = ...,
) -> LevelComparison: ...
def compare_planes(
    setup: _Setup,
    true_vswr: float = ...,
    draws: int | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
    digits: int = ...,
) -> Planes: ...
def compare_seen(
    installation: _Installation,
    levels: tuple[SeenLevel, ...],
    meter: str = ...,
    resolution_hz: float | None = ...,
    draws: int = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> SeenLevels: ...
def dc_card(setup: _Setup) -> tuple[DcReading, ...]: ...
def expect(
    setup: _Setup,
    true_vswr: _Ratios = ...,
    draws: int | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
    digits: int = ...,
) -> Expectation: ...
def follow_folder(
    setup: _Path,
    folder: _Path,
    log: _Path = ...,
    facts: Facts | None = ...,
    once: bool = ...,
    poll: bool = ...,
    options: SweepOptions = ...,
) -> Iterator[FollowAnswer]: ...
def front_to_back(reading_db: float, site_db: float) -> tuple[float, float]: ...
def improve(
    setup: _Setup,
    need: _Need | None = ...,
    seed: int = ...,
    library: Library | None = ...,
    progress: Callable[[float], None] | None = ...,
) -> Improvement: ...
def improve_reception(
    installation: _Installation,
    progress: Callable[[float], None] | None = ...,
    seed: int = ...,
) -> Improvements: ...
def installation_html(result: Reception, name: str = ..., text: str = ...) -> str: ...
def installer_card(
    installation: _Installation,
    draws: int = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> InstallerCard: ...
def installer_card_html(card: InstallerCard) -> str: ...
def known_ends(
    given: Mapping[str, Sequence[str | Readings]],
    default_hz: float,
    at_hz: float | None = ...,
    metered: bool = ...,
    channels: Mapping[str, tuple[float, float]] | None = ...,
) -> KnownTerminations: ...
def learn_back_to_back(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    difference_db: float,
    inner_return_loss_db: float,
    between_db: float = ...,
    draws: int = ...,
    seed: int = ...,
) -> Learnt: ...
def learn_ends(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    kind: str = ...,
    seconds: float | None = ...,
    length_m: float | None = ...,
    load_ohm: float | None = ...,
    draws: int = ...,
    seed: int = ...,
    length_tolerance_m: float = ...,
) -> Learnt: ...
def learn_lead(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    length_m: float | None = ...,
    velocity_factor: float | None = ...,
    impedance_ohm: float | None = ...,
    length_tolerance_m: float = ...,
    draws: int = ...,
    seed: int = ...,
    like: Coax | None = ...,
    like_named: bool = ...,
) -> Learnt: ...
def learn_two_port(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    kind: str = ...,
    seconds: float | None = ...,
    length_m: float | None = ...,
    draws: int = ...,
    seed: int = ...,
    length_tolerance_m: float = ...,
) -> Learnt: ...
def levels(found: Budget) -> dict[str, Real]: ...
def load_installation(source: _Path, library: Library | None = ...) -> Installation: ...
def load_need(source: _Path, library: Library | None = ...) -> Need: ...
def load_setup(source: _Path, library: Library | None = ...) -> Setup: ...
def log_html(result: LogTrends) -> str: ...
def log_measurement(
    folder: _Path,
    setup: _Path,
    sweep: _Path,
    short: _Path = ...,
    kind: str = ...,
    facts: Facts | None = ...,
    options: SweepOptions = ...,
    progress: Callable[[float], None] | None = ...,
) -> Record: ...
def log_trends(folder: _Path, name: str = ..., channel: str = ..., false_alarms: float = ...) -> LogTrends: ...
def match_network(
    setup: _Setup,
    readings: _Readings,
    wanted_low_hz: float | None = ...,
    wanted_high_hz: float | None = ...,
    stock: Stock | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> Matching: ...
def multipath_error(below_db: float) -> tuple[float, float]: ...
def one_port_sweeps(paths: Mapping[str, _Paths], reference_ohm: float | None = ...) -> Sweeps: ...
def outlets(
    installation: _Installation,
    draws: int = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> Reception: ...
def page(
    setup: _Setup,
    setup_text: str = ...,
    readings: _Readings | None = ...,
    names: tuple[str, str] = ...,
    draws: int | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> Page: ...
def page_html(page: Page) -> str: ...
def parse_installation(
    raw: bytes,
    path: _Path = ...,
    folder: Path | None = ...,
    library: Library | None = ...,
) -> Installation: ...
def parse_setup(raw: bytes, path: _Path = ..., folder: Path | None = ..., library: Library | None = ...) -> Setup: ...
def place_amplifier(
    installation: _Installation,
    progress: Callable[[float], None] | None = ...,
    seed: int = ...,
) -> Placement: ...
def prove(
    setup: _Setup,
    known: KnownTerminations,
    ohms: float | None = ...,
    load_db: float | None = ...,
    load50_db: float | None = ...,
    draws: int | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> Proof: ...
def read_levels(path: _Path) -> LevelTable: ...
def read_seen(path: _Path, installation: _Installation) -> tuple[SeenLevel, ...]: ...
def read_sweep(
    path: _Path,
    options: SweepOptions = ...,
    plane_ohm: float | None = ...,
    channels: Channels | None = ...,
    unheaded: str = ...,
) -> Readings: ...
def read_sweep_for(setup: _Setup, path: _Path, options: SweepOptions = ...) -> Readings: ...
def readings_of(
    freq_hz: Any,
    *,
    reflection: Any = ...,
    magnitude: Any = ...,
    vswr: Any = ...,
    return_loss_db: Any = ...,
    ohm: Any = ...,
    reference_ohm: float | None = ...,
) -> Readings: ...
def recover(
    setup: _Setup,
    readings: _Readings,
    draws: int | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
    digits: int = ...,
) -> Recovery: ...
def ripple(readings: _Readings, setup: _Setup | None = ..., gate: bool = ...) -> Ripple: ...
def setup_of(
    chain: Sequence[str | Given],
    near: str | Given = ...,
    far: str | Given = ...,
    sweep: Given | Sequence[Any] = ...,
    calibration: str | Given = ...,
    title: str = ...,
    antenna: Given | None = ...,
    library: Sequence[str | PathLike[str]] = ...,
) -> Setup: ...
def three_antenna_gains(sum_ab_db: float, sum_ac_db: float, sum_bc_db: float) -> tuple[float, float, float]: ...
def tune(
    setup: _Setup,
    readings: _Readings,
    wanted_low_hz: float | None = ...,
    wanted_high_hz: float | None = ...,
    seed: int = ...,
    progress: Callable[[float], None] | None = ...,
) -> Tuning: ...
def two_port_sweeps(
    paths: _Paths,
    reference_ohm: tuple[float, float] | None = ...,
    ports: tuple[str, str] | None = ...,
) -> Sweeps: ...
def typed_readings(
    *texts: str,
    reference_ohm: float | None = ...,
    channels: Mapping[str, tuple[float, float]] | None = ...,
    shows_db: bool = ...,
) -> Readings: ...
