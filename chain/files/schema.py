"""Keys of a set-up file: one model per table, each key with its description, an example and its reader.

Every field may be left out here; what is required is listed in `REQUIRED`, so that one fault does not hide the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from chain.files.quantities import (
    ARMS_SCHEMA,
    ELEMENT_SCHEMA,
    END_SCHEMA,
    FEED_SCHEMA,
    MAGNITUDE_KIND_SCHEMA,
    PATH_SCHEMA,
    REFERENCE_SCHEMA,
    REFLECTION_SCHEMA,
    SHOWS_SCHEMA,
    TEXT_SCHEMA,
    TOLERANCE_SCHEMA,
    pattern,
    read_analyzer,
    read_connector,
    read_element,
    read_magnitude_kind,
    read_path,
    read_reference,
    read_reflection,
    read_shows,
    read_tolerance,
    reader,
)
from chain.units import Tolerance
from library.fields import fields_of
from library.records import Connector, Limit

__all__ = [
    "ALWAYS",
    "KEYS_OF",
    "MOST_POINTS",
    "REQUIRED",
    "AnalyzerKeys",
    "AntennaModel",
    "ArmModel",
    "AttenuationModel",
    "CalibrationModel",
    "FarModel",
    "ItemModel",
    "NearModel",
    "SweepModel",
    "Table",
]

MOST_POINTS = 20001


Length = Annotated[float | None, PlainValidator(reader("length")), WithJsonSchema(pattern("length"))]
Frequency = Annotated[float | None, PlainValidator(reader("frequency")), WithJsonSchema(pattern("frequency"))]
Loss = Annotated[float | None, PlainValidator(reader("loss")), WithJsonSchema(pattern("loss"))]
LossTolerance = Annotated[
    float | None, PlainValidator(reader("loss_tolerance")), WithJsonSchema(pattern("loss_tolerance"))
]
Impedance = Annotated[float | None, PlainValidator(reader("impedance")), WithJsonSchema(pattern("impedance"))]
Inductance = Annotated[float | None, PlainValidator(reader("inductance")), WithJsonSchema(pattern("inductance"))]
Capacitance = Annotated[float | None, PlainValidator(reader("capacitance")), WithJsonSchema(pattern("capacitance"))]
Voltage = Annotated[float | None, PlainValidator(reader("voltage")), WithJsonSchema(pattern("voltage"))]
Power = Annotated[float | None, PlainValidator(reader("power")), WithJsonSchema(pattern("power"))]
Angle = Annotated[float | None, PlainValidator(reader("angle")), WithJsonSchema(pattern("angle"))]
Temperature = Annotated[float | None, PlainValidator(reader("temperature")), WithJsonSchema(pattern("temperature"))]
Percent = Annotated[float | None, PlainValidator(reader("percent")), WithJsonSchema(pattern("percent"))]
ReturnLoss = Annotated[float | None, PlainValidator(reader("return_loss")), WithJsonSchema(pattern("return_loss"))]
Ratio = Annotated[float | None, PlainValidator(reader("vswr")), WithJsonSchema(pattern("vswr"))]
Spread = Annotated[Tolerance | None, PlainValidator(read_tolerance), WithJsonSchema(TOLERANCE_SCHEMA)]
Coupler = Annotated[Connector | None, PlainValidator(read_connector), WithJsonSchema(TEXT_SCHEMA)]
Reflection = Annotated[Limit | None, PlainValidator(read_reflection), WithJsonSchema(REFLECTION_SCHEMA)]
Reference = Annotated[tuple[float, float] | None, PlainValidator(read_reference), WithJsonSchema(REFERENCE_SCHEMA)]
Ports = Annotated[tuple[str, str] | None, PlainValidator(read_path), WithJsonSchema(PATH_SCHEMA)]
Arms = Annotated[object, PlainValidator(lambda value: value), WithJsonSchema(ARMS_SCHEMA)]
Element = Annotated[str | None, PlainValidator(read_element), WithJsonSchema(ELEMENT_SCHEMA)]
Feed = Annotated[object, PlainValidator(lambda value: value), WithJsonSchema(FEED_SCHEMA)]
Spreading = Annotated[str | None, PlainValidator(read_magnitude_kind), WithJsonSchema(MAGNITUDE_KIND_SCHEMA)]
Class = Annotated[str | None, PlainValidator(read_analyzer), WithJsonSchema(TEXT_SCHEMA)]
Shows = Annotated[str | None, PlainValidator(read_shows), WithJsonSchema(SHOWS_SCHEMA)]
End = Annotated[object, PlainValidator(lambda value: value), WithJsonSchema(END_SCHEMA)]


class Table(BaseModel):
    """Base of all tables: nothing unknown, nothing converted, no NaN and no infinity."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class SweepModel(Table):
    """Frequencies to compute at: from start to stop, or the channels of a region."""

    start: Frequency = Field(None, description="Lowest frequency.", examples=["174 MHz"])
    stop: Frequency = Field(None, description="Highest frequency.", examples=["240 MHz"])
    points: int | None = Field(
        None,
        ge=1,
        le=MOST_POINTS,
        description="Number of frequencies, evenly spaced, both ends included.",
        examples=[133],
    )
    region: str | None = Field(
        None, description="Channel raster to use instead of start and stop.", examples=["europe"]
    )
    channels: str | None = Field(None, description="Channels of the region: single ones, spans.", examples=["5-12"])


class AnalyzerKeys(Table):
    """Errors that the analyzer's calibration leaves, and what the analyzer can do."""

    directivity: ReturnLoss = Field(None, description="Residual directivity, after calibration.", examples=["40 dB"])
    source_match: ReturnLoss = Field(None, description="Residual source match, after calibration.", examples=["36 dB"])
    directivity_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    source_match_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    tracking: Loss = Field(None, description="Residual reflection tracking, after calibration.", examples=["0.1 dB"])
    tracking_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    trace_noise: Loss = Field(None, description="Noise on the trace, one standard deviation.", examples=["0.02 dB"])
    repeatability: ReturnLoss = Field(
        None, description="Repeatability of a re-mated connector, as a return loss.", examples=["50 dB"]
    )
    repeatability_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    drift: ReturnLoss = Field(None, description="Drift since calibration, as a return loss.", examples=["50 dB"])
    drift_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    analyzer: Class = Field(
        None, description="Class of the analyzer, for what is not stated; handheld if left out.", examples=["handheld"]
    )
    shows: Shows = Field(None, description="What it shows at most; complex if left out.", examples=["vswr"])
    calibrates_at: list[str] | None = Field(
        None,
        min_length=1,
        description="Planes it can be calibrated at: near, far, ids of items; all if left out and it shows phase, else near.",
        examples=[["near"]],
    )
    ideal: bool | None = Field(None, description="True: what is not stated is perfect.", examples=[True])


class PortKeys(Table):
    """The analyzer's port itself."""

    connector: Coupler = Field(None, description="Connector of the port.", examples=["N-50 jack"])
    impedance: Impedance = Field(None, description="Reference impedance; 50 ohm if left out.", examples=["50 ohm"])
    max_power: Power = Field(None, description="Highest power the port stands.", examples=["20 dBm"])
    max_dc: Voltage = Field(None, description="Highest DC voltage the port stands; 0 V: none.", examples=["0 V"])


class NearModel(AnalyzerKeys, PortKeys):
    """The analyzer's port, and the errors that its calibration leaves."""


class AttenuationModel(Table):
    """Attenuation of a coax in dB per 100 m: flat + per_sqrt_mhz*sqrt(f) + per_mhz*f, f in MHz."""

    flat: float | None = Field(None, ge=0, le=1e4, description="Part that does not change [dB/100 m].", examples=[0])
    per_sqrt_mhz: float | None = Field(
        None, ge=0, le=1e4, description="Part that grows with the root of f [dB/100 m].", examples=[1.046]
    )
    per_mhz: float | None = Field(
        None, ge=0, le=1e3, description="Part that grows with f [dB/100 m].", examples=[0.0071]
    )


class ArmModel(Table):
    """What hangs on a port of a splitter that is not on the path."""

    port: str | None = Field(None, description="Name of the splitter's port.", examples=["out2"])
    end: End = Field(
        None,
        description="An impedance, `open`, or a list of items of which the last is a load.",
        examples=["75 ohm", "open"],
    )


class ItemModel(Table):
    """One part placed in the chain. Which figures may be given depends on the kind of part."""

    id: str | None = Field(None, min_length=1, max_length=60, description="Name of this item.", examples=["lead"])
    part: str | None = Field(None, description="Part of the library, by its id.", examples=["rg59"])
    touchstone: str | None = Field(
        None,
        description="File of a measured two-port, instead of a part; port 1 is the near end.",
        examples=["pad.s2p"],
    )
    reference: Reference = Field(
        None, description="Impedance the file is in, if its header is wrong; two for two ports.", examples=["75 ohm"]
    )
    reversed: bool | None = Field(None, description="True: far end of the part towards the analyzer.", examples=[True])
    ideal: bool | None = Field(None, description="True: tolerances and unknown reflections dropped.", examples=[True])
    near: Coupler = Field(
        None, description="Connector of the item's end towards the analyzer.", examples=["BNC-75 plug"]
    )
    far: Coupler = Field(None, description="Connector of the item's end towards the antenna.", examples=["F-75 plug"])
    length: Length = Field(None, description="Coax: length.", examples=["0.6 m"])
    length_tolerance: Length = Field(
        None, description="Coax, adapter, section: half-width of the (electrical) length.", examples=["5 mm"]
    )
    temperature: Temperature = Field(None, description="Coax: temperature.", examples=["20 °C"])
    velocity_factor: float | None = Field(None, gt=0, le=1, description="Coax: velocity factor.", examples=[0.66])
    attenuation: AttenuationModel | None = Field(
        None,
        description="Coax: attenuation per 100 m.",
        examples=[{"flat": 0, "per_sqrt_mhz": 1.046, "per_mhz": 0.0071}],
    )
    attenuation_tolerance: Percent = Field(None, description="Coax: half-width of the attenuation.", examples=["12 %"])
    impedance: Impedance = Field(None, description="Coax, adapter: characteristic impedance.", examples=["75 ohm"])
    impedance_tolerance: Spread = Field(None, description="Coax, section: half-width of it.", examples=["3 ohm", "4 %"])
    electrical_length: Length = Field(None, description="Adapter: electrical length.", examples=["38 mm"])
    loss_at_1ghz: Loss = Field(None, description="Adapter: loss at 1 GHz.", examples=["0.05 dB"])
    loss: Loss = Field(None, description="Pad, transformer: attenuation.", examples=["5.7 dB"])
    loss_tolerance: LossTolerance = Field(
        None, description="Pad, transformer, splitter, measured two-port: half-width of the loss.", examples=["0.2 dB"]
    )
    reflection: Reflection = Field(
        None,
        description="Limit of the whole part's reflection at each end: a return loss or a VSWR, a table over frequency, "
        "or a magnitude that was measured.",
        examples=["26 dB", "VSWR 1.1", [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]],
    )
    reflection_error: Reflection = Field(
        None,
        description="Measured two-port: how far its reflections may lie from the file's, as a return loss.",
        examples=["36 dB"],
    )
    reflection_kind: Spreading = Field(
        None,
        description="How magnitudes are spread within the limit: disc (evenly over it), ring (at it), uniform-radius.",
        examples=["ring"],
    )
    near_reflection_kind: Spreading = Field(None, description="Pad: the same for its near end.", examples=["ring"])
    far_reflection_kind: Spreading = Field(None, description="Pad: the same for its far end.", examples=["ring"])
    reflection_error_kind: Spreading = Field(
        None, description="Measured two-port: the same for reflection_error.", examples=["ring"]
    )
    near_reflection: Reflection = Field(
        None, description="Pad: the same for the part's own near end alone.", examples=["26 dB"]
    )
    far_reflection: Reflection = Field(None, description="Pad: for the part's own far end alone.", examples=["26 dB"])
    series: Impedance = Field(None, description="Pad: resistor of each series arm.", examples=["43.2 ohm"])
    shunt: Impedance = Field(None, description="Pad: resistor of each shunt arm.", examples=["86.6 ohm"])
    resistor_tolerance: Percent = Field(None, description="Pad of resistors: half-width of each.", examples=["1 %"])
    design_frequency: Frequency = Field(
        None, description="Section of line: frequency it is cut for.", examples=["207 MHz"]
    )
    path: Ports = Field(
        None,
        description="Splitter: its ports on the path, near one first; measured file of several ports: their numbers.",
        examples=[["in", "out1"], ["1", "3"]],
    )
    arm: Arms = Field(
        None, description="Splitter: what hangs on its other ports.", examples=[[{"port": "out2", "end": "75 ohm"}]]
    )


class FarModel(Table):
    """The antenna's connector, the impedance it is meant for, and the limit it is judged by."""

    connector: Coupler = Field(None, description="Connector of the antenna.", examples=["F-75 jack"])
    impedance: Impedance = Field(None, description="Reference impedance; 75 ohm if left out.", examples=["75 ohm"])
    limit: Ratio = Field(
        None, description="Limit the antenna is judged by: a VSWR or a return loss.", examples=["VSWR 2.0"]
    )
    dc_feed: Voltage = Field(None, description="DC that may come down the lead.", examples=["12 V"])
    antenna_q: float | None = Field(
        None,
        gt=0,
        le=10_000,
        description="Narrowest resonance the antenna may have, as frequency over bandwidth: noise is averaged within a third of it; "
        "30 is usual, 100 is safe.",
        examples=[30],
    )


class AntennaModel(Table):
    """What the antenna is made of; only `chain tune` asks for it."""

    element: Element = Field(
        None,
        description="What is driven: one half-wave element, a folded one, a loop of one wavelength, or several driven or "
        "closely coupled elements.",
        examples=["half-wave"],
    )
    length: Length = Field(None, description="Length of the element, tip to tip or once round.", examples=["0.71 m"])
    diameter: Length = Field(None, description="Thickness of its rod or tube.", examples=["12 mm"])
    feed: Feed = Field(
        None,
        description="Items between the antenna's connector and the element's own terminals, such as a transformer.",
        examples=[[{"id": "balun", "part": "balun-300-75"}]],
    )


class CalibrationModel(Table):
    """Where the analyzer was calibrated, and what with."""

    plane: str | None = Field(None, description="`near`, or the id of an item: after it.", examples=["near", "pad"])
    load: ReturnLoss = Field(
        None,
        description="Return loss of the load used; left out: 20 dB with a handheld, 26 dB with a bench analyzer.",
        examples=["32 dB"],
    )
    load_kind: Spreading = Field(None, description="How it is spread, as reflection_kind.", examples=["ring"])
    load_impedance: Impedance = Field(None, description="Impedance the load is meant to be.", examples=["75 ohm"])
    load_inductance: Inductance = Field(None, description="Inductance in series with the load.", examples=["2 nH"])
    open_capacitance: Capacitance = Field(None, description="Fringe capacitance of the open.", examples=["0.1 pF"])
    short_inductance: Inductance = Field(None, description="Inductance of the short.", examples=["0.5 nH"])
    flex: Angle = Field(None, description="One-way phase by which the leads move when handled.", examples=["1 deg"])
    swap_adapter: str | None = Field(
        None,
        description="Adapter of the library that was exchanged after calibration, by its id.",
        examples=["n-plug-bnc-plug"],
    )
    known: list[str] | None = Field(
        None, description="Standards whose stated value the calibration uses: load, open, short.", examples=[["load"]]
    )
    ideal: bool | None = Field(
        None, description="True: standards that are not stated are perfect, and no lead moves.", examples=[True]
    )


REQUIRED: Mapping[type[Table], tuple[str, ...]] = {
    SweepModel: (),
    NearModel: ("connector",),
    ItemModel: ("id",),
    ArmModel: ("port", "end"),
    AttenuationModel: (),
    FarModel: ("connector",),
    AntennaModel: (),
    CalibrationModel: (),
}

ENDS = ("near", "far", "reversed")
ALWAYS = ("id", "part", "ideal")
BESIDE: Mapping[str, tuple[str, ...]] = {
    "pad": (*ENDS, "reflection", "series", "shunt"),
    "adapter": ENDS,
    "coax": (*ENDS, "length", "length_tolerance", "temperature", "attenuation"),
    "section": ENDS,
    "transformer": ENDS,
    "network": ENDS,
    "splitter": ("near", "far", "path", "arm"),
    "termination": ("near",),
    "measured": (*ENDS, "touchstone", "reference", "path"),
}
"""Keys of each kind of part that stand for no single field of its record."""


def _keys_of(kind: str) -> tuple[str, ...]:
    own = [each for each in fields_of(kind) if each.item]
    keys = [*BESIDE[kind], *(each.item for each in own)]
    kinds = [f"{each.item}_kind" for each in own if each.takes.startswith("Reflection")]
    return (*keys, *(["reflection_kind"] if kind == "pad" else []), *kinds)


KEYS_OF: Mapping[str, tuple[str, ...]] = {kind: _keys_of(kind) for kind in BESIDE}
"""Keys that each kind of part takes, beside those that all take."""
