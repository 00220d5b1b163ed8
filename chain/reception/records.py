"""An installation as plain frozen records: antenna, signals, items in a tree, outlets; figures resolved and in SI units."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any

from chain.results import ResultTable
from library.frozen import dataclass
from library.reception import Amplifier, Inline, Receiver
from library.records import Connector, Part

if TYPE_CHECKING:
    from library.parts import Library

ANTENNA = "antenna"
"""Name of the root that items follow."""

AnyPart = Part | Amplifier | Inline


@dataclass(frozen=True)
class AntennaMatch:
    """What is known of the antenna's reflection in 75 ohm: complex over frequency, or a magnitude whose phase is unknown.

    `kind` is `known` (complex), `ring` (that magnitude) or `disc` (anything up to it). `high` is the upper magnitude at the
    edge of its interval where a recovery states one.
    """

    kind: str
    freq_hz: tuple[float, ...]
    reflection: tuple[complex, ...]
    high: tuple[float, ...] = ()
    text: str = ""


@dataclass(frozen=True)
class ReceivingAntenna:
    """Gain over frequency [dBi] with its half-width, match, noise of the surroundings, and where DC on its lead ends."""

    gain_hz: tuple[float, ...]
    gain_dbi: tuple[float, ...]
    gain_tolerance_db: float
    match: AntennaMatch
    noise: str
    """Name of a class of surroundings, or empty where `noise_k` holds."""
    noise_k: float = 290.0
    connector: Connector | None = None
    dc: str = "unknown"
    """`open`, `short` or `unknown`: what the antenna is for DC."""


@dataclass(frozen=True)
class SignalSource:
    """Where a signal's level comes from: `field` [dBuV/m], `level` [dBuV] at the antenna or an outlet, or `erp`."""

    kind: str
    value: float
    at: str = ANTENNA
    spread_db: float = 0.0
    """Standard deviation, drawn once for the whole block."""
    words: str = ""


@dataclass(frozen=True)
class Channel:
    """One channel to receive: its edges, what the signal fills, what its mode needs, and the window of its level."""

    name: str
    low_hz: float
    high_hz: float
    bandwidth_hz: float
    mode: str
    service: str
    need_db: float
    margin_db: float
    """Reserve asked for above `need_db`."""
    window_low_dbuv: float | None
    window_high_dbuv: float | None
    signal: int
    """Index of the [[signal]] block it belongs to."""

    @property
    def centre_hz(self) -> float:
        """Middle of the channel [Hz]."""
        return (self.low_hz + self.high_hz) / 2


@dataclass(frozen=True)
class Interferer:
    """A strong neighbour that nobody wants to receive: its level at the antenna's terminals [dBuV]."""

    freq_hz: float
    level_dbuv: float
    bandwidth_hz: float = 10e6


@dataclass(frozen=True)
class InstalledItem:
    """One part in the tree. `after` names what it follows: an item's id, or an output of one as `id.port`."""

    id: str
    part: AnyPart
    after: str
    length_m: float = 0.0
    outdoor: bool = False
    temperature_low_c: float = 20.0
    temperature_high_c: float = 20.0
    input_connector: Connector | None = None
    output_connector: Connector | None = None
    ideal: bool = False
    reversed: bool = False
    span_hz: tuple[float, float] | None = None
    """Frequencies that a measured two-port covers."""

    @property
    def branching(self) -> bool:
        """Whether it is solved as a matrix: splitters, and two-ports that reflect by themselves."""
        return len(self.outputs) > 1 or self.part.kind in ("measured", "section", "network")

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of the item's outputs, as others follow them."""
        ports = getattr(self.part, "ports", None)
        return tuple(f"{self.id}.{port}" for port in ports[1:]) if ports else (self.id,)


@dataclass(frozen=True)
class Outlet:
    """An end of the tree: a receiver, or `end` (`open`, or an impedance in `end_ohm`) where none hangs there."""

    id: str
    after: str
    receiver: Receiver | None = None
    end: str = ""
    end_ohm: float = 75.0
    connector: Connector | None = None


@dataclass(frozen=True)
class Supply:
    """One source of DC: an injector, or a receiver that feeds its lead."""

    at: str
    volts: float


@dataclass(frozen=True)
class PartOffer:
    """A part that is owned or on offer, with its price in hundredths of the currency (0: owned), per piece or metre."""

    part: AnyPart | ReceivingAntenna
    name: str
    hundredths: int
    per_metre: bool = False
    count: int = 1


@dataclass(frozen=True, repr=False)
class Installation(ResultTable):
    """A whole receiving installation, antenna to outlets."""

    title: str
    antenna: ReceivingAntenna
    sources: tuple[SignalSource, ...]
    channels: tuple[Channel, ...]
    items: tuple[InstalledItem, ...]
    outlets: tuple[Outlet, ...]
    interferers: tuple[Interferer, ...] = ()
    supplies: tuple[Supply, ...] = ()
    offers: tuple[PartOffer, ...] = ()
    currency: str = ""
    assumed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    path: str = ""
    own_library: Library | None = field(default=None, compare=False)

    @property
    def library(self) -> Library:
        """Connector families and mating rules that hold here."""
        from library.load import load_library

        return self.own_library or load_library()

    def headline(self) -> str:
        """Title, and how much there is of it."""
        return f"{self.title}: {len(self.outlets)} outlets, {len(self.channels)} channels, {len(self.items)} items"

    def table(self) -> dict[str, Any]:
        """One row per item, antenna first."""
        return {
            "id": [each.id for each in self.items],
            "part": [each.part.id for each in self.items],
            "after": [each.after for each in self.items],
            "length_m": [each.length_m or None for each in self.items],
        }
