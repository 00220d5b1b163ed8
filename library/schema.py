"""Shape of the library's data files and of a user's part file, which are one and the same.

A part file is TOML. Each table below may stand in it any number of times, as `[[pad]]`, `[[coax]]` and so on; values are bare
numbers in the unit at the end of their key. A user's part goes before the built-in one of the same id. An
example of a whole file::

    [[pad]]
    id = "my-pad"
    near = "BNC-50 jack"
    far = "F-75 jack"
    near_ohm = 50
    far_ohm = 75
    loss_db = 5.8
    loss_tolerance_db = 0.3
    near_reflection = {return_loss_db = 24}
    far_reflection = {points_mhz_db = [[47, 26], [862, 21]]}
    source = "own sweep of last spring"
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from library.expand import end_ohm
from library.schematypes import (
    Arm,
    Direct,
    Exact,
    Extra,
    Id,
    Loss,
    Mates,
    Name,
    NotNegative,
    Numbers,
    Percent,
    Piece,
    Positive,
    Reflection,
    Row,
    Sourced,
    Span,
    Standing,
    Text,
    Tolerance,
    Verdict,
    Way,
)

__all__ = ["PartFile", "library_schema"]


LINE_ARMS = ("line_ohm", "open_stub_ohm", "short_stub_ohm")
NETWORK_ARMS = ("series_inductor_nh", "series_capacitor_pf", "shunt_inductor_nh", "shunt_capacitor_pf", *LINE_ARMS)


class PartRow(Sourced):
    """What every part has."""

    id: Annotated[Id, Field(description="What set-up files call the part.")]
    name: Annotated[Text | None, Field(description="What people call it.")] = None


class TwoPortRow(PartRow):
    """A part with a near (analyzer's) and a far (antenna's) end."""

    near: Annotated[Name, Field(description="Connector at the near end.")]
    far: Annotated[Name, Field(description="Connector at the far end.")]
    near_ohm: Annotated[Positive, Field(description="Nominal impedance of the near end.")]
    far_ohm: Annotated[Positive, Field(description="Nominal impedance of the far end.")]
    max_mhz: Annotated[Positive | None, Field(description="Usual highest frequency.")] = None
    dc: Direct = "pass"


class PadRow(TwoPortRow):
    """A pad or attenuator."""

    model: Annotated[Literal["specification", "resistors"] | None, Field(description="Left out: by what is given.")] = (
        None
    )
    loss_db: Annotated[NotNegative | None, Field(description="Loss between its own impedances.")] = None
    loss_tolerance_db: Annotated[Tolerance, Field(description="Half-width of the loss.")] = 0.0
    near_reflection: Annotated[Reflection | None, Field(description="Limit at the near end, far end matched.")] = None
    far_reflection: Annotated[Reflection | None, Field(description="Limit at the far end, near end matched.")] = None
    arms: Annotated[list[Arm], Field(default_factory=list, description="Resistors from near to far, in ohm.")]
    arm_tolerance_percent: Annotated[Percent, Field(description="Half-width of every resistor.")] = 1.0
    arm_inductance_nh: Annotated[NotNegative, Field(description="Inductance in each arm.")] = 0.0
    arm_capacitance_pf: Annotated[NotNegative, Field(description="Capacitance across each series arm.")] = 0.0
    resistor_power_w: Annotated[Positive, Field(description="Rating of each resistor.")] = 0.25

    @model_validator(mode="after")
    def _described(self) -> PadRow:
        if self.model == "resistors" and not self.arms:
            raise ValueError("model 'resistors' needs arms")
        if not self.arms and self.loss_db is None:
            raise ValueError("loss_db or arms is needed")
        return self


class AdapterRow(PartRow):
    """An adapter: a short line."""

    near: Annotated[Name, Field(description="Connector at the near end.")]
    far: Annotated[Name, Field(description="Connector at the far end.")]
    impedance_ohm: Annotated[Positive, Field(description="Impedance of the line.")]
    near_ohm: Annotated[NotNegative, Field(description="Nominal impedance of the near connector, if another.")] = 0.0
    far_ohm: Annotated[NotNegative, Field(description="Nominal impedance of the far connector, if another.")] = 0.0
    electrical_length_mm: Annotated[NotNegative, Field(description="Length in vacuum of the same delay.")]
    length_tolerance_mm: Annotated[NotNegative, Field(description="Half-width of the length.")] = 0.0
    loss_at_1ghz_db: Annotated[NotNegative, Field(description="Loss at 1 GHz; it grows with sqrt(f).")] = 0.0
    loss_tolerance_percent: Annotated[Percent, Field(description="Half-width of the loss.")] = 0.0
    reflection: Annotated[Reflection | None, Field(description="Limit of the whole adapter.")] = None
    grade: Annotated[Text, Field(description="Class of quality.")] = "general"
    max_mhz: Annotated[Positive | None, Field(description="Usual highest frequency.")] = None
    dc: Direct = "pass"


class GradeRow(Sourced):
    """A class of quality that adapter sets refer to."""

    id: Id
    reflection: Reflection
    loss_at_1ghz_db: NotNegative
    max_mhz: Positive


class AdapterSetRow(Row):
    """Adapters between two families, in all ways of genders and several grades at once."""

    near: Text
    far: Text
    genders: Annotated[list[Way] | None, Field(description="Left out: every sensible way.")] = None
    grades: Annotated[list[Text], Field(min_length=1)]
    plain: Annotated[str, Field(description="Grade that goes by the plain id where 'general' is not among them.")] = ""
    max_mhz: Positive
    length_mm: Annotated[Span, Field(description="Least and greatest electrical length.")]
    length_evidence: Standing
    length_source: Text
    impedance_ohm: Positive | None = None
    reflection: Reflection | None = None
    loss_at_1ghz_db: NotNegative | None = None
    lossless_section: Annotated[bool, Field(description="A bare line, without a reflection limit.")] = False
    evidence: Standing | None = None
    source: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _impedance_known(self) -> AdapterSetRow:
        if self.impedance_ohm is None and not any(end_ohm(family) for family in (self.near, self.far)):
            raise ValueError("impedance_ohm is needed, neither family's id ends in one")
        return self


class CoaxRow(PartRow):
    """A type of coaxial cable; coefficients or points."""

    impedance_ohm: Annotated[Positive, Field(description="Characteristic impedance at high frequencies.")]
    impedance_tolerance_ohm: Annotated[NotNegative, Field(description="Half-width of the impedance.")] = 0.0
    velocity_factor: Annotated[float, Field(gt=0, le=1, description="Velocity over that of light.")]
    flat_db_per_100m: Annotated[NotNegative, Field(description="Part of the loss that does not change.")] = 0.0
    per_sqrt_mhz_db_per_100m: Annotated[NotNegative, Field(description="Loss per sqrt(MHz): conductors.")] = 0.0
    per_mhz_db_per_100m: Annotated[NotNegative, Field(description="Loss per MHz: dielectric.")] = 0.0
    points_mhz: Annotated[
        list[Positive], Field(default_factory=list, description="Frequencies of loss points, instead of coefficients.")
    ]
    points_db_per_100m: Annotated[list[Positive], Field(default_factory=list, description="Loss at `points_mhz`.")]
    valid_from_mhz: Annotated[NotNegative, Field(description="Lowest frequency the loss is known at.")]
    valid_to_mhz: Annotated[Positive, Field(description="Highest frequency the loss is known at.")]
    temperature_c: Annotated[float, Field(ge=-60, le=200, description="Temperature of the figures.")] = 20.0
    fit_max_percent: Annotated[NotNegative, Field(description="Largest misfit of the coefficients.")] = 0.0
    loss_tolerance_percent: Annotated[Percent, Field(description="Half-width of the loss.")] = 0.0
    attenuation_kind: Annotated[Literal["nominal", "max"], Field(description="max: a specification limit.")] = "nominal"
    impedance_points_mhz: Annotated[
        list[Positive], Field(default_factory=list, description="Frequencies of impedance points.")
    ]
    impedance_points_ohm: Annotated[
        list[Positive], Field(default_factory=list, description="Real part at `impedance_points_mhz`.")
    ]
    capacitance_pf_per_m: NotNegative = 0.0
    inner_mm: Annotated[NotNegative, Field(description="Diameter of the inner conductor.")] = 0.0
    dielectric_mm: Annotated[NotNegative, Field(description="Diameter over the dielectric.")] = 0.0
    tan_delta: Annotated[float, Field(ge=0, lt=1, description="Loss tangent taken for the physics floor.")] = 0.0
    stranded: Annotated[bool, Field(description="Whether the inner conductor is stranded.")] = False
    lead_reflection: Annotated[Reflection | None, Field(description="Limit of a lead made up of it, at each end.")] = (
        None
    )
    lead_evidence: Standing = "stated"
    lead_source: str = ""
    static_evidence: Annotated[Standing, Field(description="Standing of impedance, velocity, diameters.")] = "stated"
    static_source: str = ""
    recalled_above_mhz: Annotated[NotNegative, Field(description="Where the loss goes on from memory alone.")] = 0.0

    @model_validator(mode="after")
    def _consistent(self) -> CoaxRow:
        if self.valid_from_mhz >= self.valid_to_mhz:
            raise ValueError("valid_from_mhz must lie below valid_to_mhz")
        for mhz, values, name in (
            (self.points_mhz, self.points_db_per_100m, "points"),
            (self.impedance_points_mhz, self.impedance_points_ohm, "impedance_points"),
        ):
            if len(mhz) != len(values):
                raise ValueError(f"{name}: as many values as frequencies are needed")
            if mhz != sorted(set(mhz)):
                raise ValueError(f"{name}: frequencies must rise")
        if not self.points_mhz and not (
            self.flat_db_per_100m or self.per_sqrt_mhz_db_per_100m or self.per_mhz_db_per_100m
        ):
            raise ValueError("loss coefficients or loss points are needed")
        if self.points_mhz and (self.points_mhz[0] > self.valid_from_mhz or self.points_mhz[-1] < self.valid_to_mhz):
            raise ValueError("the points must reach from valid_from_mhz to valid_to_mhz")
        return self


class SectionRow(TwoPortRow):
    """Matching sections of line."""

    pieces: Annotated[list[Piece], Field(min_length=1, description="[ohm, wavelengths at design_mhz], near to far.")]
    design_mhz: Annotated[Positive, Field(description="Frequency the lengths are for.")]
    impedance_tolerance_ohm: Annotated[NotNegative, Field(description="Half-width of each piece's impedance.")] = 0.0
    length_tolerance_mm: Annotated[NotNegative, Field(description="Half-width of each piece's electrical length.")] = (
        0.0
    )
    reflection: Annotated[Reflection | None, Field(description="What the making adds at most.")] = None


class TransformerRow(TwoPortRow):
    """A broadband transformer or balun."""

    turns_ratio: Annotated[NotNegative, Field(description="Turns far over near; left out: the exact ratio.")] = 0.0
    loss_db: Annotated[NotNegative, Field(description="Loss between its own impedances.")]
    loss_tolerance_db: Annotated[Tolerance, Field(description="Half-width of the loss.")] = 0.0
    reflection: Annotated[Reflection | None, Field(description="Limit at either end.")] = None
    min_mhz: Annotated[NotNegative, Field(description="Lowest frequency.")] = 5.0


class NetworkArmRow(Row):
    """One arm of a matching network: exactly one of the first seven keys, which says what it is."""

    series_inductor_nh: Annotated[Positive | None, Field(description="Coil in the way.")] = None
    series_capacitor_pf: Annotated[Positive | None, Field(description="Capacitor in the way.")] = None
    shunt_inductor_nh: Annotated[Positive | None, Field(description="Coil across the way.")] = None
    shunt_capacitor_pf: Annotated[Positive | None, Field(description="Capacitor across the way.")] = None
    line_ohm: Annotated[Positive | None, Field(description="Piece of line in the way: its impedance.")] = None
    open_stub_ohm: Annotated[Positive | None, Field(description="Piece of line across the way, its end open.")] = None
    short_stub_ohm: Annotated[Positive | None, Field(description="The same, its end shorted.")] = None
    tolerance_percent: Annotated[Percent, Field(description="Half-width of the value; of a line's length.")] = 0.0
    quality_factor: Annotated[NotNegative, Field(description="Of a coil or capacitor; 0: no loss.")] = 0.0
    length_mm: Annotated[Positive | None, Field(description="Length of a line.")] = None
    velocity_factor: Annotated[float, Field(gt=0, le=1, description="Of a line.")] = 1.0
    per_sqrt_mhz_db_per_100m: Annotated[NotNegative, Field(description="Attenuation of a line at 1 MHz.")] = 0.0
    per_mhz_db_per_100m: Annotated[NotNegative, Field(description="Attenuation that grows with f.")] = 0.0

    @model_validator(mode="after")
    def _one_thing(self) -> NetworkArmRow:
        told = self.model_dump()
        if sum(told[key] is not None for key in NETWORK_ARMS) != 1:
            raise ValueError(f"exactly one of {', '.join(NETWORK_ARMS)} is needed")
        if any(told[key] is not None for key in LINE_ARMS) != (self.length_mm is not None):
            raise ValueError("length_mm is needed for a line, and for nothing else")
        return self


class NetworkRow(TwoPortRow):
    """A matching network of coils, capacitors and pieces of line."""

    arms: Annotated[list[NetworkArmRow], Field(min_length=1, max_length=6, description="Its arms, near to far.")]


class SplitterRow(PartRow):
    """A part with three or more matched ports."""

    ports: Annotated[list[Text], Field(min_length=3, description="Names of the ports.")]
    connectors: Annotated[list[Name], Field(min_length=3, description="Connector of each port.")]
    impedance_ohm: Annotated[Positive, Field(description="Nominal impedance of every port.")]
    loss_db: Annotated[list[Loss], Field(min_length=2, description="[port, port, dB]; pairs left out are isolated.")]
    loss_tolerance_db: Annotated[Tolerance, Field(description="Half-width of the losses.")] = 0.0
    reflection: Annotated[Reflection | None, Field(description="Limit of every port.")] = None
    min_mhz: Annotated[NotNegative, Field(description="Lowest frequency.")] = 5.0
    max_mhz: Annotated[Positive | None, Field(description="Usual highest frequency.")] = None
    dc: Direct = "pass"

    @model_validator(mode="after")
    def _named(self) -> SplitterRow:
        if len(self.connectors) != len(self.ports) or len(set(self.ports)) != len(self.ports):
            raise ValueError("every port needs a name of its own and one connector")
        unknown = {port for pair in self.loss_db for port in pair[:2]} - set(self.ports)
        if unknown:
            raise ValueError(f"loss_db names ports that do not exist: {', '.join(sorted(unknown))}")
        return self


class TerminationFigures(Sourced):
    """Figures that single terminations and sets share."""

    type: Annotated[Literal["open", "short", "load"], Field(description="What it is.")]
    reflection: Annotated[Reflection | None, Field(description="Limit of a load.")] = None
    inductance_nh: Annotated[NotNegative, Field(description="Series inductance.")] = 0.0
    capacitance_pf: Annotated[NotNegative, Field(description="Parallel capacitance.")] = 0.0
    max_mhz: Annotated[Positive | None, Field(description="Usual highest frequency.")] = None
    grade: Annotated[str, Field(description="Class of quality.")] = ""


class TerminationRow(TerminationFigures):
    """An open, a short or a load."""

    id: Id
    name: Text | None = None
    connector: Annotated[Name, Field(description="Its connector.")]
    impedance_ohm: Annotated[NotNegative, Field(description="Nominal impedance of a load.")] = 0.0

    @model_validator(mode="after")
    def _loaded(self) -> TerminationRow:
        if self.type == "load" and not self.impedance_ohm:
            raise ValueError("a load needs impedance_ohm")
        return self


class TerminationSetRow(TerminationFigures):
    """Terminations alike but for their connectors."""

    families: Annotated[list[Text], Field(min_length=1)]
    genders: Annotated[list[Literal["plug", "jack"]], Field(min_length=1)]

    @model_validator(mode="after")
    def _impedance_known(self) -> TerminationSetRow:
        if self.type == "load" and not all(end_ohm(family) for family in self.families):
            raise ValueError("a load's families need ids that end in their impedance")
        return self


class FamilyRow(Sourced):
    """A connector family."""

    id: Annotated[Id, Field(description="What connector names begin with.")]
    name: Text
    standard: Text
    impedance_ohm: Annotated[NotNegative, Field(description="Nominal impedance; 0: none defined.")]
    max_mhz: Annotated[Positive, Field(description="Usual highest frequency.")]
    pair_reflection: Annotated[Reflection | None, Field(description="Limit of one mated pair.")] = None
    section_ohm: Annotated[NotNegative, Field(description="The pair as a piece of line: its impedance.")] = 0.0
    section_mm: Annotated[NotNegative, Field(description="The pair as a piece of line: its electrical length.")] = 0.0
    loss_db_per_sqrt_ghz: Annotated[NotNegative, Field(description="Loss of one mated pair at 1 GHz.")] = 0.0
    matings: Annotated[int, Field(ge=0, description="Rated life.")] = 0
    torque_nm: Annotated[
        list[Positive], Field(default_factory=list, max_length=2, description="Least and greatest torque.")
    ]
    repeatability: Annotated[float, Field(ge=0, lt=1, description="Change of a reflection on reconnecting.")] = 0.0
    repeatability_to_mhz: NotNegative = 0.0
    variants: Annotated[
        list[Text], Field(default_factory=list, description="What may stand in brackets after its connectors.")
    ]
    jack_max_mhz: Annotated[NotNegative, Field(description="Usual highest frequency of ordinary jacks, if lower.")] = (
        0.0
    )
    variant_max_mhz: Annotated[
        dict[str, Positive], Field(default_factory=dict, description="Usual highest frequency of single variants.")
    ]


class AnalyzerRow(Sourced):
    """Errors that a class of analyzer has left after its own calibration."""

    id: Annotated[Id, Field(description="What set-up files call it.")]
    name: Text | None = None
    directivity_db: Annotated[Positive, Field(description="Residual directivity, as a return loss.")]
    source_match_db: Annotated[Positive, Field(description="Residual source match, as a return loss.")]
    tracking_db: Annotated[NotNegative, Field(description="Residual reflection tracking.")]
    trace_noise_db: Annotated[NotNegative, Field(description="Noise on the trace, one standard deviation.")]
    repeatability_db: Annotated[Positive, Field(description="Of a re-mated connector, as a return loss.")]
    drift_db: Annotated[Positive, Field(description="Since calibration, as a return loss.")]
    standards: Annotated[Text, Field(description="Id of the standards that usually come with it.")] = "shop"


class StandardsRow(Sourced):
    """Standards of a calibration behind the port."""

    id: Annotated[Id, Field(description="What analyzers call them.")]
    name: Text | None = None
    load_db: Annotated[Positive, Field(description="Return loss of the load.")]
    load_inductance_nh: Annotated[NotNegative, Field(description="In series with the load, at most.")] = 0.0
    open_capacitance_pf: Annotated[NotNegative, Field(description="Fringe capacitance, at most.")] = 0.0
    short_inductance_nh: Annotated[NotNegative, Field(description="Inductance of the short, at most.")] = 0.0
    flex_deg_at_1ghz: Annotated[NotNegative, Field(description="One-way phase of a moved lead at 1 GHz.")] = 0.0


class MatingRow(Sourced):
    """A mating rule."""

    pairs: Annotated[list[Mates], Field(min_length=1, description="Connectors that meet, order without meaning.")]
    verdict: Verdict
    reason: Text


class RasterRow(Sourced):
    """A channel raster."""

    id: Id
    region: Annotated[Text, Field(description="Rasters a user picks together.")]
    service: str = ""
    band: str = ""
    first: Annotated[int, Field(ge=0, le=9999)] = 1
    last: Annotated[int, Field(ge=0, le=9999)] = 0
    a: Exact = "0"
    b: Exact = "0"
    c: Exact = "0"
    width_mhz: Annotated[Exact, Field(description="Width of a channel.")]
    occupied_mhz: Annotated[Exact | None, Field(description="Bandwidth the signal fills.")] = None
    edge_c: Annotated[Exact | None, Field(description="Value of c for the edges, if another.")] = None
    omit: list[int] = Field(default_factory=list)
    extra: Annotated[list[Extra], Field(default_factory=list, description="[name, centre in MHz] outside the formula.")]
    subsets: Annotated[
        dict[str, Numbers], Field(default_factory=dict, description="Regions that use a part of the raster.")
    ]


class PartFile(Row):
    """A file of parts, or of connector families, mating rules and channel rasters."""

    format: Annotated[Literal[1], Field(description="Version of this shape.")] = 1
    pad: list[PadRow] = Field(default_factory=list)
    adapter: list[AdapterRow] = Field(default_factory=list)
    grade: list[GradeRow] = Field(default_factory=list)
    adapter_set: list[AdapterSetRow] = Field(default_factory=list)
    coax: list[CoaxRow] = Field(default_factory=list)
    section: list[SectionRow] = Field(default_factory=list)
    transformer: list[TransformerRow] = Field(default_factory=list)
    network: list[NetworkRow] = Field(default_factory=list)
    splitter: list[SplitterRow] = Field(default_factory=list)
    termination: list[TerminationRow] = Field(default_factory=list)
    termination_set: list[TerminationSetRow] = Field(default_factory=list)
    family: list[FamilyRow] = Field(default_factory=list)
    mating: list[MatingRow] = Field(default_factory=list)
    analyzer: list[AnalyzerRow] = Field(default_factory=list)
    standards: list[StandardsRow] = Field(default_factory=list)
    raster: list[RasterRow] = Field(default_factory=list)


def library_schema() -> dict[str, Any]:
    """Give the JSON Schema of a part file.

    Source: The models of this module.
    """
    return PartFile.model_json_schema()
