"""Facts about parts as plain frozen records: what the engine sees of the library.

Every figure carries its unit in its name; every record says where its figures come from.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field

from library.frozen import dataclass

STANDING = ("published", "measured", "computed", "stated", "practice", "memory")
"""Standings of a figure, from the firmest to the weakest."""
MAGNITUDE_KINDS = ("disc", "ring", "uniform-radius")
"""How the magnitudes within a limit are spread: evenly over the disc, all at the limit, evenly from zero to the limit."""


@dataclass(frozen=True)
class Evidence:
    """Standing of a figure: `published`, `computed`, `practice`, `memory`, `measured` or `stated` (by the user)."""

    kind: str
    source: str
    note: str = ""


@dataclass(frozen=True)
class Connector:
    """One connector, such as `BNC-75 jack`; `variant` is what a rule must know of it (`push-on`, `stranded conductor`)."""

    family: str
    gender: str
    variant: str = ""

    def __str__(self) -> str:
        extra = f" ({self.variant})" if self.variant else ""
        return f"{self.family} {self.gender}{extra}"


@dataclass(frozen=True)
class Limit:
    """Reflection limit of a whole part: least return loss over frequency, linear in dB between the points.

    One point is a limit at every frequency. Outside the span of several points the end value holds.
    """

    freq_hz: tuple[float, ...]
    return_loss_db: tuple[float, ...]
    kind: str = "disc"
    """What is drawn inside the limit, see `MAGNITUDE_KINDS`; the phase is never known."""


@dataclass(frozen=True)
class Family:
    """A connector family: nominal impedance (0: none defined), usual range, and the section it forms if unmatched."""

    id: str
    name: str
    standard: str
    impedance_ohm: float
    max_hz: float
    evidence: Evidence
    section_ohm: float = 0.0
    section_m: float = 0.0
    loss_db_per_sqrt_ghz: float = 0.0
    matings: int = 0
    torque_nm: tuple[float, ...] = ()
    limit: Limit | None = None
    """Reflection limit of one mated pair."""
    repeatability: float = 0.0
    """Change of a reflection on reconnecting, up to `repeatability_to_hz`; 0: not known."""
    repeatability_to_hz: float = 0.0
    variants: tuple[str, ...] = ()
    """What may stand in brackets after a connector of this family."""
    jack_max_hz: float = 0.0
    """Usual highest frequency of its ordinary jacks, where it is lower; 0: as `max_hz`."""
    variant_max_hz: tuple[tuple[str, float], ...] = ()

    def usual_hz(self, connector: Connector) -> float:
        """Usual highest frequency of one connector of the family."""
        ordinary = self.jack_max_hz if connector.gender == "jack" and self.jack_max_hz else self.max_hz
        return dict(self.variant_max_hz).get(connector.variant, ordinary)


@dataclass(frozen=True)
class MatingRule:
    """One rule of what couples with what. `near`/`far` have no order; first rule that fits wins."""

    a: str
    b: str
    verdict: str
    reason: str
    evidence: Evidence


@dataclass(frozen=True)
class MatedPair:
    """Answer of the mating rules: one of the six verdicts, with its reason."""

    verdict: str
    reason: str


@dataclass(frozen=True)
class Pad:
    """A resistive two-port: matching pad, series resistor or attenuator.

    `model` is `specification` (loss, tolerance and reflection limits) or `resistors` (the network itself).
    `arms` runs from the near to the far end: `("series", 43.3)` or `("shunt", 86.6)`.
    """

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    near_ohm: float
    far_ohm: float
    evidence: Evidence
    loss_db: float
    loss_tolerance_db: float
    near_limit: Limit | None
    far_limit: Limit | None
    arms: tuple[tuple[str, float], ...]
    model: str = "specification"
    arm_tolerance: float = 0.01
    """Relative half-width of every resistor (rectangular), model `resistors` only."""
    arm_inductance_h: float = 0.0
    arm_capacitance_f: float = 0.0
    """Parasitics: inductance in each arm, capacitance across each series arm; model `resistors` only."""
    resistor_power_w: float = 0.25
    dc: str = "pass"
    max_hz: float = 3e9
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="pad", init=False)


@dataclass(frozen=True)
class Adapter:
    """A short line between two connectors, with a loss that grows with the square root of frequency."""

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    impedance_ohm: float
    electrical_length_m: float
    length_tolerance_m: float
    loss_at_1ghz_db: float
    limit: Limit | None
    evidence: Evidence
    grade: str = "general"
    loss_tolerance: float = 0.0
    """Relative half-width of the loss (0.2 is 20 %)."""
    max_hz: float = 4e9
    dc: str = "pass"
    near_ohm: float = 0.0
    far_ohm: float = 0.0
    """Nominal impedances of the two connectors where they differ from each other (0: `impedance_ohm`)."""
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="adapter", init=False)


@dataclass(frozen=True)
class Coax:
    """A type of coaxial cable: attenuation `flat + per_sqrt_mhz*sqrt(f) + per_mhz*f`, f in MHz, dB per 100 m, or points."""

    id: str
    name: str
    impedance_ohm: float
    impedance_tolerance_ohm: float
    velocity_factor: float
    flat_db_per_100m: float
    per_sqrt_mhz_db_per_100m: float
    per_mhz_db_per_100m: float
    valid_from_hz: float
    valid_to_hz: float
    temperature_c: float
    loss_tolerance: float
    """Relative half-width of the attenuation (0.12 is 12 %)."""
    limit: Limit | None
    """Reflection limit of a made-up lead of this cable, connectors included, at each end."""
    evidence: Evidence
    static_evidence: Evidence
    attenuation_kind: str = "nominal"
    """`nominal`, or `max` where the figure is a specification limit and the cable lies below it."""
    points_hz: tuple[float, ...] = ()
    points_db_per_100m: tuple[float, ...] = ()
    """If given, replace the coefficients (interpolated in log loss over log frequency)."""
    impedance_points_hz: tuple[float, ...] = ()
    impedance_points_ohm: tuple[float, ...] = ()
    """If given, real part of the characteristic impedance over frequency (interpolated over log frequency)."""
    inner_mm: float = 0.0
    dielectric_mm: float = 0.0
    tan_delta: float = 0.0
    capacitance_pf_per_m: float = 0.0
    stranded: bool = False
    fit_max: float = 0.0
    """Largest relative residual of the coefficients against the points they were fitted to."""
    lead_evidence: Evidence | None = None
    """Standing of `limit`."""
    recalled_above_hz: float = 0.0
    """Where the attenuation goes on from memory alone; 0: nowhere."""
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="coax", init=False)


@dataclass(frozen=True)
class SectionLine:
    """Matching sections of line: impedances and lengths in wavelengths at a design frequency, near to far."""

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    near_ohm: float
    far_ohm: float
    pieces: tuple[tuple[float, float], ...]
    """Each piece: (impedance_ohm, length in wavelengths at `design_hz`)."""
    design_hz: float
    limit: Limit | None
    evidence: Evidence
    impedance_tolerance_ohm: float = 0.0
    """Half-width of the impedance of each piece."""
    length_tolerance_m: float = 0.0
    """Half-width of the electrical length of each piece."""
    max_hz: float = 3e9
    dc: str = "pass"
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="section", init=False)


@dataclass(frozen=True)
class Transformer:
    """A broadband transformer or balun between two impedances."""

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    near_ohm: float
    far_ohm: float
    turns_ratio: float
    """Turns far over near; the impedance seen at the near end is far load / turns_ratio**2. 0: the exact ratio."""
    loss_db: float
    loss_tolerance_db: float
    limit: Limit | None
    evidence: Evidence
    min_hz: float = 5e6
    max_hz: float = 862e6
    dc: str = "short"
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="transformer", init=False)


@dataclass(frozen=True)
class Splitter:
    """Three or more matched ports; `loss_db` gives the loss between each named pair (order without meaning)."""

    id: str
    name: str
    ports: tuple[str, ...]
    connectors: tuple[Connector, ...]
    impedance_ohm: float
    loss_db: tuple[tuple[str, str, float], ...]
    loss_tolerance_db: float
    limit: Limit | None
    evidence: Evidence
    min_hz: float = 5e6
    max_hz: float = 2.4e9
    dc: str = "pass"
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="splitter", init=False)


@dataclass(frozen=True)
class Termination:
    """An open, a short or a load that ends an arm or serves as a standard."""

    id: str
    name: str
    connector: Connector
    type: str
    """`open`, `short` or `load`."""
    impedance_ohm: float
    limit: Limit | None
    evidence: Evidence
    grade: str = ""
    inductance_h: float = 0.0
    capacitance_f: float = 0.0
    max_hz: float = 3e9
    evidence_of: tuple[tuple[str, Evidence], ...] = ()
    kind: str = field(default="termination", init=False)


@dataclass(frozen=True)
class Measured:
    """A two-port measured by the user, read from a Touchstone file; port 1 is the near end."""

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    near_ohm: float
    far_ohm: float
    path: str
    evidence: Evidence
    dc: str = "pass"
    between: tuple[str, str] | None = None
    """Two ports of a file of several, near one first; the others count as ended in their references."""
    reference_ohm: tuple[float, float] | None = None
    """Impedances that the file is in, where the user states them against its header."""
    loss_tolerance_db: float = 0.0
    reflection_error: Limit | None = None
    """How far its reflections may lie from the file's, as a return loss; None: nowhere else."""
    kind: str = field(default="measured", init=False)


@dataclass(frozen=True)
class Raster:
    """A channel raster: the centre is a + b*N + c MHz, exact fractions held as strings."""

    id: str
    region: str
    service: str
    band: str
    first: int
    last: int
    a: str
    b: str
    c: str
    width_mhz: str
    evidence: Evidence
    edge_c: str = ""
    omit: tuple[int, ...] = ()
    extra: tuple[tuple[str, str], ...] = ()
    occupied_mhz: str = ""


@dataclass(frozen=True)
class AnalyzerClass:
    """Residual errors that a class of analyzer has after its own calibration, where a set-up states none."""

    id: str
    name: str
    directivity_db: float
    source_match_db: float
    tracking_db: float
    trace_noise_db: float
    repeatability_db: float
    drift_db: float
    standards: str
    """Id of the standards that usually come with it."""
    evidence: Evidence


@dataclass(frozen=True)
class StandardSet:
    """Open, short and load of a calibration behind the port, and the lead that is moved between them."""

    id: str
    name: str
    load_db: float
    load_inductance_h: float
    open_capacitance_f: float
    short_inductance_h: float
    flex_deg_at_1ghz: float
    """One-way phase by which a moved lead turns, growing with frequency; 0.5 degrees are 0.4 mm of air line."""
    evidence: Evidence


@dataclass(frozen=True)
class NetworkArm:
    """One arm of a matching network: `way` is `series` or `shunt`, `what` an `inductor`, a `capacitor`, or a line.

    A line in series is a piece of the way; in shunt it is a stub, `open` or `short` at its far end. `value` is in henry or farad,
    for a line its impedance in ohm. `quality_factor` is of a coil or capacitor (0: no loss); attenuations are of a line.
    """

    way: str
    what: str
    value: float
    tolerance: float = 0.0
    """Relative half-width of the value, of a line's length (0.05 is 5 %)."""
    quality_factor: float = 0.0
    length_m: float = 0.0
    velocity_factor: float = 1.0
    per_sqrt_mhz_db_per_100m: float = 0.0
    per_mhz_db_per_100m: float = 0.0
    end: str = ""


@dataclass(frozen=True)
class Network:
    """A matching network of coils, capacitors and pieces of line, near to far."""

    id: str
    name: str
    near_connector: Connector
    far_connector: Connector
    near_ohm: float
    far_ohm: float
    arms: tuple[NetworkArm, ...]
    evidence: Evidence
    max_hz: float = 3e9
    dc: str = "pass"
    kind: str = field(default="network", init=False)


Part = Pad | Adapter | Coax | SectionLine | Transformer | Network | Splitter | Termination | Measured


STATIC_FIGURES = ("impedance_ohm", "impedance_tolerance_ohm", "velocity_factor", "inner_mm", "dielectric_mm")
ATTENUATION = ("attenuation", "loss_tolerance")


def evidence_for(part: Part, figure: str, highest_hz: float = 0.0) -> Evidence:
    """Where one figure of a part comes from, up to a frequency.

    Source: The part's own row; a figure that it does not single out has the standing of the whole.
    """
    single: dict[str, Evidence] = dict(getattr(part, "evidence_of", ()))
    if figure in single:
        return single[figure]
    if isinstance(part, Coax):
        if figure == "limit" and part.lead_evidence is not None:
            return part.lead_evidence
        if figure in STATIC_FIGURES:
            return part.static_evidence
        if figure in ATTENUATION and 0 < part.recalled_above_hz < highest_hz:
            return Evidence("memory", part.evidence.source, part.evidence.note)
    return part.evidence


def weakest(standings: Iterable[str]) -> str:
    """The weakest of several standings; empty where there is none."""
    return max(standings, key=STANDING.index, default="")
