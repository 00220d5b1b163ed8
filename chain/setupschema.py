"""Keys of a set-up file: one model per table, each key with its description, an example and its reader.

Every field may be left out here; what is required is listed in `REQUIRED`, so that one fault does not hide the others.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from chain.errors import UnitError, plain, quoted
from chain.units import KINDS, NUMBER, Tolerance, parse_quantity, parse_tolerance
from library.records import Connector, Limit

__all__ = [
    "ALWAYS",
    "KEYS_OF",
    "MOST_POINTS",
    "REQUIRED",
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
LARGEST_BARE = 10**15


def wrong(what: str, remedy: str = "") -> PydanticCustomError:
    """Build a fault that carries its own words, so that no text of the user's is taken for a template."""
    return PydanticCustomError("told", "{what}", {"what": what, "remedy": remedy})


def _reader(kind: str) -> Callable[[object], float]:
    def read(value: object) -> float:
        try:
            return parse_quantity(_text(value, KINDS[kind].noun, KINDS[kind].example), kind)
        except UnitError as error:
            raise wrong(error.message, error.help) from None

    return read


def _text(value: object, noun: str, example: str) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise wrong(f"{noun} is needed here, not {named(value)}", f'write it as in "{example}"')
    if isinstance(value, float) and not math.isfinite(value):
        raise wrong(f"{quoted(value)} is not a finite number", f'write it as in "{example}"')
    if abs(value) > LARGEST_BARE:
        raise wrong(f"this number has no unit, and is far too large for {noun}", f'write it as in "{example}"')
    text = f"{value} {example.split()[-1]}" if example[0].isdigit() else f"{example.split()[0]} {value}"
    raise wrong(f"{quoted(value)} has no unit", f'write "{text}", in quotes, if that is meant')


def named(value: object) -> str:
    """Name of a TOML type in words."""
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text", list: "a list", dict: "a table"}
    return names.get(type(value), "a date or time")


def _tolerance(value: object) -> Tolerance:
    try:
        return parse_tolerance(_text(value, "a tolerance", "3 ohm"), "impedance")
    except UnitError as error:
        raise wrong(error.message, error.help) from None


def _connector(value: object) -> Connector:
    if not isinstance(value, str):
        raise wrong(f"a connector is needed here, not {named(value)}", 'write it as in "BNC-75 plug"')
    from library.errors import LibraryError
    from library.mating import parse_connector

    try:
        return parse_connector(value)
    except LibraryError as error:
        remedy = (
            f"did you mean {' or '.join(map(quoted, error.near))}?" if error.near else 'write it as in "BNC-75 plug"'
        )
        raise wrong(plain(error.message), remedy) from None


def _reflection(value: object) -> Limit:
    """Limit of a reflection: one figure, a table over frequency, or a magnitude that was measured."""
    read = _reader("return_loss")
    kind = "disc"
    if isinstance(value, dict):
        unknown = sorted(set(value) - {"magnitude", "known"})
        if unknown or "magnitude" not in value or value.get("known", "ring") not in ("ring", "disc"):
            raise wrong(
                "this is no reflection", 'write { magnitude = "26 dB", known = "ring" } for a measured magnitude'
            )
        kind, value = value.get("known", "ring"), value["magnitude"]
    if not isinstance(value, list):
        return Limit((0.0,), (read(value),), kind)
    if not value or not all(isinstance(row, list) and len(row) == 2 for row in value):
        raise wrong("a table of reflections is made of pairs", 'write [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]')
    freq_hz = tuple(_reader("frequency")(row[0]) for row in value)
    if any(second <= first for first, second in pairwise(freq_hz)):
        raise wrong("the frequencies of this table do not rise", "put the lowest frequency first, each once")
    return Limit(freq_hz, tuple(read(row[1]) for row in value), kind)


def _reference(value: object) -> tuple[float, float]:
    read = _reader("impedance")
    if isinstance(value, list) and len(value) == 2:
        return read(value[0]), read(value[1])
    ohm = read(value)
    return ohm, ohm


def _path(value: object) -> tuple[str, str]:
    if not isinstance(value, list) or len(value) != 2 or not all(isinstance(each, str) for each in value):
        raise wrong("a path is two ports of the splitter", 'write it as in ["in", "out1"]')
    return value[0], value[1]


def _pattern(kind: str) -> dict[str, Any]:
    rule = KINDS[kind]
    units = "|".join(unit.replace("°", "\u00b0") for unit in rule.units)
    extra = "|[Ω\u2126]" if kind == "impedance" else ""
    figure = rf"^\s*{NUMBER.pattern}\s*({units}{extra})\s*$"
    if kind in ("return_loss", "vswr"):
        figure = rf"{figure}|^\s*VSWR\s*{NUMBER.pattern}\s*$"
    return {"type": "string", "pattern": figure}


REFLECTION_SCHEMA: dict[str, Any] = {
    "anyOf": [
        _pattern("return_loss"),
        {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "array",
                "prefixItems": [_pattern("frequency"), _pattern("return_loss")],
                "minItems": 2,
                "maxItems": 2,
            },
        },
        {
            "type": "object",
            "properties": {"magnitude": _pattern("return_loss"), "known": {"enum": ["ring", "disc"]}},
            "required": ["magnitude"],
            "additionalProperties": False,
        },
    ]
}
ANY_TEXT: dict[str, Any] = {"type": "string"}
TOLERANCE_SCHEMA: dict[str, Any] = {"anyOf": [_pattern("impedance"), _pattern("percent")]}
REFERENCE_SCHEMA: dict[str, Any] = {
    "anyOf": [
        _pattern("impedance"),
        {"type": "array", "items": _pattern("impedance"), "minItems": 2, "maxItems": 2},
    ]
}
PATH_SCHEMA: dict[str, Any] = {"type": "array", "items": ANY_TEXT, "minItems": 2, "maxItems": 2}
ARMS_SCHEMA: dict[str, Any] = {"type": "array", "items": {"$ref": "#/$defs/arm"}}
END_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"const": "open"},
        _pattern("impedance"),
        {"type": "array", "minItems": 1, "items": {"$ref": "#/$defs/item"}},
    ]
}

Length = Annotated[float | None, PlainValidator(_reader("length")), WithJsonSchema(_pattern("length"))]
Frequency = Annotated[float | None, PlainValidator(_reader("frequency")), WithJsonSchema(_pattern("frequency"))]
Loss = Annotated[float | None, PlainValidator(_reader("loss")), WithJsonSchema(_pattern("loss"))]
Impedance = Annotated[float | None, PlainValidator(_reader("impedance")), WithJsonSchema(_pattern("impedance"))]
Inductance = Annotated[float | None, PlainValidator(_reader("inductance")), WithJsonSchema(_pattern("inductance"))]
Capacitance = Annotated[float | None, PlainValidator(_reader("capacitance")), WithJsonSchema(_pattern("capacitance"))]
Voltage = Annotated[float | None, PlainValidator(_reader("voltage")), WithJsonSchema(_pattern("voltage"))]
Power = Annotated[float | None, PlainValidator(_reader("power")), WithJsonSchema(_pattern("power"))]
Angle = Annotated[float | None, PlainValidator(_reader("angle")), WithJsonSchema(_pattern("angle"))]
Temperature = Annotated[float | None, PlainValidator(_reader("temperature")), WithJsonSchema(_pattern("temperature"))]
Percent = Annotated[float | None, PlainValidator(_reader("percent")), WithJsonSchema(_pattern("percent"))]
ReturnLoss = Annotated[float | None, PlainValidator(_reader("return_loss")), WithJsonSchema(_pattern("return_loss"))]
Ratio = Annotated[float | None, PlainValidator(_reader("vswr")), WithJsonSchema(_pattern("vswr"))]
Spread = Annotated[Tolerance | None, PlainValidator(_tolerance), WithJsonSchema(TOLERANCE_SCHEMA)]
Coupler = Annotated[Connector | None, PlainValidator(_connector), WithJsonSchema(ANY_TEXT)]
Reflection = Annotated[Limit | None, PlainValidator(_reflection), WithJsonSchema(REFLECTION_SCHEMA)]
Reference = Annotated[tuple[float, float] | None, PlainValidator(_reference), WithJsonSchema(REFERENCE_SCHEMA)]
Ports = Annotated[tuple[str, str] | None, PlainValidator(_path), WithJsonSchema(PATH_SCHEMA)]
Arms = Annotated[object, PlainValidator(lambda value: value), WithJsonSchema(ARMS_SCHEMA)]
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


class NearModel(Table):
    """The analyzer's port, and the errors that its calibration leaves."""

    connector: Coupler = Field(None, description="Connector of the port.", examples=["N-50 jack"])
    impedance: Impedance = Field(None, description="Reference impedance; 50 ohm if left out.", examples=["50 ohm"])
    directivity: ReturnLoss = Field(None, description="Residual directivity, after calibration.", examples=["40 dB"])
    source_match: ReturnLoss = Field(None, description="Residual source match, after calibration.", examples=["36 dB"])
    tracking: Loss = Field(None, description="Residual reflection tracking, after calibration.", examples=["0.1 dB"])
    trace_noise: Loss = Field(None, description="Noise on the trace, one standard deviation.", examples=["0.02 dB"])
    repeatability: ReturnLoss = Field(
        None, description="Repeatability of a re-mated connector, as a return loss.", examples=["50 dB"]
    )
    drift: ReturnLoss = Field(None, description="Drift since calibration, as a return loss.", examples=["50 dB"])
    max_power: Power = Field(None, description="Highest power the port stands.", examples=["20 dBm"])
    max_dc: Voltage = Field(None, description="Highest DC voltage the port stands; 0 V: none.", examples=["0 V"])


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
    length_tolerance: Length = Field(None, description="Coax, adapter: half-width of the length.", examples=["5 mm"])
    temperature: Temperature = Field(None, description="Coax: temperature.", examples=["20 °C"])
    velocity_factor: float | None = Field(None, gt=0, le=1, description="Coax: velocity factor.", examples=[0.66])
    attenuation: AttenuationModel | None = Field(None, description="Coax: attenuation per 100 m.")
    attenuation_tolerance: Percent = Field(None, description="Coax: half-width of the attenuation.", examples=["12 %"])
    impedance: Impedance = Field(None, description="Coax, adapter: characteristic impedance.", examples=["75 ohm"])
    impedance_tolerance: Spread = Field(None, description="Coax: half-width of it.", examples=["3 ohm", "4 %"])
    electrical_length: Length = Field(None, description="Adapter: electrical length.", examples=["38 mm"])
    loss_at_1ghz: Loss = Field(None, description="Adapter: loss at 1 GHz.", examples=["0.05 dB"])
    loss: Loss = Field(None, description="Pad, transformer: attenuation.", examples=["5.7 dB"])
    loss_tolerance: Loss = Field(
        None, description="Pad, transformer, splitter: half-width of the loss.", examples=["0.2 dB"]
    )
    reflection: Reflection = Field(
        None,
        description="Limit of the whole part's reflection at each end: a return loss or a VSWR, a table over frequency, "
        "or a magnitude that was measured.",
        examples=["26 dB", "VSWR 1.1", [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]],
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
    path: Ports = Field(None, description="Splitter: its ports on the path, near one first.", examples=[["in", "out1"]])
    arm: Arms = Field(None, description="Splitter: what hangs on its other ports.")


class FarModel(Table):
    """The antenna's connector, the impedance it is meant for, and the limit it is judged by."""

    connector: Coupler = Field(None, description="Connector of the antenna.", examples=["F-75 jack"])
    impedance: Impedance = Field(None, description="Reference impedance; 75 ohm if left out.", examples=["75 ohm"])
    limit: Ratio = Field(
        None, description="Limit the antenna is judged by: a VSWR or a return loss.", examples=["VSWR 2.0"]
    )
    dc_feed: Voltage = Field(None, description="DC that may come down the lead.", examples=["12 V"])


class CalibrationModel(Table):
    """Where the analyzer was calibrated, and what with."""

    plane: str | None = Field(None, description="`near`, or the id of an item: after it.", examples=["near", "pad"])
    load: ReturnLoss = Field(None, description="Return loss of the load used.", examples=["32 dB"])
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


REQUIRED: Mapping[type[Table], tuple[str, ...]] = {
    SweepModel: (),
    NearModel: ("connector",),
    ItemModel: ("id",),
    ArmModel: ("port", "end"),
    AttenuationModel: (),
    FarModel: ("connector",),
    CalibrationModel: (),
}

ENDS = ("near", "far", "reversed")
ALWAYS = ("id", "part", "ideal")
KEYS_OF: Mapping[str, tuple[str, ...]] = {
    "pad": (
        *ENDS,
        "loss",
        "loss_tolerance",
        "reflection",
        "near_reflection",
        "far_reflection",
        "series",
        "shunt",
        "resistor_tolerance",
    ),
    "adapter": (*ENDS, "impedance", "electrical_length", "length_tolerance", "loss_at_1ghz", "reflection"),
    "coax": (
        *ENDS,
        "length",
        "length_tolerance",
        "temperature",
        "velocity_factor",
        "attenuation",
        "attenuation_tolerance",
        "impedance",
        "impedance_tolerance",
        "reflection",
    ),
    "section": (*ENDS, "design_frequency", "reflection"),
    "transformer": (*ENDS, "loss", "loss_tolerance", "reflection"),
    "splitter": ("near", "far", "path", "arm", "loss_tolerance", "reflection"),
    "termination": ("near", "impedance", "reflection"),
    "measured": (*ENDS, "touchstone", "reference"),
}
"""Keys that each kind of part takes, beside those that all take."""
