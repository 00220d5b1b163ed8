"""Keys of an installation file: one model per table, each key with its description, an example and its reader."""

from __future__ import annotations

from typing import Annotated, Any, cast

from pydantic import Field, PlainValidator, WithJsonSchema

from chain.errors import UnitError
from chain.files.quantities import named, pattern, wrong
from chain.files.schema import REQUIRED, Coupler, Frequency, ItemModel, Reflection, Table, Voltage
from chain.files.schema_export import setup_schema
from chain.money import Price, parse_price
from chain.reception.quantities import (
    DISTANCE,
    FIELD,
    GAIN,
    LEVEL,
    NEED,
    POWER,
    SPREAD,
    ReceptionKind,
    parse_level_at,
    read_gain_table,
    read_output,
    read_temperatures,
    read_window,
    text_reader,
)

__all__ = [
    "AntennaModel",
    "HaveInstalledModel",
    "InstalledModel",
    "InterfererModel",
    "OfferInstalledModel",
    "OutletModel",
    "ReceiverModel",
    "SignalModel",
    "installation_schema",
]

TEXT: dict[str, Any] = {"type": "string"}


def _schema(kind: ReceptionKind) -> dict[str, Any]:
    return {"type": "string", "pattern": rf"^\s*{kind.pattern()}\s*$"}


def _read_level_at(value: object) -> tuple[float, str]:
    if not isinstance(value, str):
        raise wrong(f"a level is needed here, not {named(value)}", 'write it as in "52 dBuV at antenna"')
    try:
        return parse_level_at(value)
    except UnitError as error:
        raise wrong(error.message, error.help) from None


def _read_money(value: object) -> Price:
    if not isinstance(value, str):
        raise wrong(f"a price is needed here, not {named(value)}", 'write it with its currency, as in "6.50 EUR"')
    try:
        return parse_price(value)
    except UnitError as error:
        raise wrong(error.message, error.help) from None


Gain = Annotated[float | None, PlainValidator(text_reader(GAIN)), WithJsonSchema(_schema(GAIN))]
Need = Annotated[float | None, PlainValidator(text_reader(NEED)), WithJsonSchema(_schema(NEED))]
Spread = Annotated[float | None, PlainValidator(text_reader(SPREAD)), WithJsonSchema(_schema(SPREAD))]
Level = Annotated[float | None, PlainValidator(text_reader(LEVEL)), WithJsonSchema(_schema(LEVEL))]
Field_ = Annotated[float | None, PlainValidator(text_reader(FIELD)), WithJsonSchema(_schema(FIELD))]
Erp = Annotated[float | None, PlainValidator(text_reader(POWER)), WithJsonSchema(_schema(POWER))]
Distance = Annotated[float | None, PlainValidator(text_reader(DISTANCE)), WithJsonSchema(_schema(DISTANCE))]
LevelAt = Annotated[tuple[float, str] | None, PlainValidator(_read_level_at), WithJsonSchema(TEXT)]
PAIR: dict[str, Any] = {"type": "array", "prefixItems": [pattern("frequency"), TEXT], "minItems": 2, "maxItems": 2}
GAIN_TABLE = {"anyOf": [TEXT, {"type": "array", "minItems": 1, "items": PAIR}]}
AntennaGain = Annotated[
    tuple[tuple[float, ...], tuple[float, ...]] | None, PlainValidator(read_gain_table), WithJsonSchema(GAIN_TABLE)
]
WindowOf = Annotated[tuple[float | None, float | None] | None, PlainValidator(read_window), WithJsonSchema(TEXT)]
Output = Annotated[tuple[float, float] | None, PlainValidator(read_output), WithJsonSchema(TEXT)]
Span = Annotated[tuple[float, float] | None, PlainValidator(read_temperatures), WithJsonSchema(TEXT)]
Money = Annotated[Price | None, PlainValidator(_read_money), WithJsonSchema(TEXT)]
Free = Annotated[object, PlainValidator(lambda value: value), WithJsonSchema({})]


class AntennaModel(Table):
    """The antenna, and the noise of its surroundings."""

    gain: AntennaGain = Field(
        None,
        description="Gain: one figure, or a table over frequency.",
        examples=["12 dBi", [["470 MHz", "10 dBi"], ["690 MHz", "13 dBi"]]],
    )
    gain_tolerance: Spread = Field(None, description="Half-width of the gain (rectangular).", examples=["1.5 dB"])
    match: str | None = Field(
        None,
        description="A VSWR or return loss (limit, phase unknown), a sweep of it, or the JSON of `chain recover`.",
        examples=["VSWR 2.0", "antenna.s1p", "recovered.json"],
    )
    match_kind: str | None = Field(
        None, description="disc: anything up to the limit (default); ring: just that magnitude.", examples=["ring"]
    )
    noise: str | None = Field(
        None,
        description="Surroundings (city, residential, rural, quiet rural, galactic), or a noise temperature.",
        examples=["residential", "290 K"],
    )
    connector: Coupler = Field(None, description="Connector of the antenna.", examples=["F-75 jack"])
    dc: str | None = Field(None, description="What it is for DC: open or short.", examples=["short"])


class SignalModel(Table):
    """Signals to receive: channels of a region or one frequency, their mode, and where their level comes from."""

    region: str | None = Field(None, description="Channel raster.", examples=["europe"])
    channels: str | None = Field(None, description="Channels of the region.", examples=["21-30"])
    frequency: Frequency = Field(None, description="Centre frequency, instead of channels.", examples=["98 MHz"])
    bandwidth: Frequency = Field(
        None,
        description="Bandwidth that the signal fills, if not that of the raster or the mode.",
        examples=["7.77 MHz"],
    )
    mode: str | None = Field(None, description="Mode of the library.", examples=["DVB-T2 256QAM 2/3"])
    need: Need = Field(None, description="Least carrier-to-noise ratio, instead of the mode's.", examples=["22 dB"])
    margin: Spread = Field(None, description="Reserve asked for above it; 3 dB if left out.", examples=["3 dB"])
    window: WindowOf = Field(
        None, description="Level window at the outlet, instead of the guide's.", examples=["45 to 74 dBuV", "none"]
    )
    guide: str | None = Field(None, description="Guide whose window holds.", examples=["IEC/EN 60728-1"])
    field: Field_ = Field(None, description="Field strength at the antenna.", examples=["60 dBuV/m"])
    level: LevelAt = Field(
        None, description="Level measured at the antenna or at an outlet.", examples=["52 dBuV at antenna"]
    )
    erp: Erp = Field(None, description="Effective radiated power: an upper limit in free space.", examples=["100 kW"])
    distance: Distance = Field(None, description="Distance of that transmitter.", examples=["30 km"])
    clutter: Spread = Field(None, description="Loss beyond free space.", examples=["10 dB"])
    field_spread: Spread = Field(
        None, description="Standard deviation of field or level, drawn once for the block.", examples=["5.5 dB"]
    )


class InterfererModel(Table):
    """A strong neighbour that nobody wants to receive."""

    frequency: Frequency = Field(None, description="Its frequency.", examples=["806 MHz"])
    level: Level = Field(None, description="Its level at the antenna's terminals.", examples=["78 dBuV"])
    bandwidth: Frequency = Field(None, description="What it fills; 10 MHz if left out.", examples=["10 MHz"])


class InstalledModel(ItemModel):
    """One part in the tree. Which figures may be given depends on the kind of part."""

    after: str | None = Field(
        None, description="What it follows: antenna, an item's id, or an output as id.port.", examples=["split.out1"]
    )
    outdoor: bool | None = Field(None, description="Lead: true if it shares the outdoor temperature.", examples=[True])
    temperature: Span = Field(  # type: ignore[assignment]
        None, description="Lead: temperature, or the span it lives through.", examples=["20 °C", "-10 to 50 °C"]
    )
    gain: Gain = Field(None, description="Amplifier: gain.", examples=["15 dB"])
    gain_tolerance: Spread = Field(None, description="Amplifier: half-width of the gain.", examples=["1.5 dB"])
    noise_figure: Gain = Field(None, description="Amplifier: noise figure with 75 ohm at its input.", examples=["2 dB"])
    max_output: Output = Field(
        None,
        description="Amplifier: output of each of two tones at an intermodulation distance.",
        examples=["103 dBuV at 60 dB"],
    )
    power: Voltage = Field(None, description="Amplifier: DC it takes from its output; 0 V: mains.", examples=["12 V"])
    supply: Voltage = Field(None, description="Injector: DC that it feeds towards the antenna.", examples=["12 V"])


class ReceiverModel(Table):
    """A receiver of one's own."""

    noise_figure: Gain = Field(None, description="Noise figure with 75 ohm at its input.", examples=["7 dB"])
    noise_figure_tolerance: Spread = Field(None, description="Half-width of it.", examples=["1 dB"])
    reflection: Reflection = Field(None, description="Limit of its input's reflection.", examples=["6 dB"])
    overload: Level = Field(None, description="Total level that overloads it.", examples=["84 dBuV"])


class OutletModel(Table):
    """An end of the tree."""

    id: str | None = Field(None, min_length=1, max_length=60, description="Name of the outlet.", examples=["hall"])
    after: str | None = Field(None, description="What it follows.", examples=["fly"])
    receiver: Free = Field(None, description="Kind of receiver, or a table of its figures.", examples=["tv"])
    end: str | None = Field(None, description="Where no receiver hangs: open, or an impedance.", examples=["75 ohm"])
    connector: Coupler = Field(None, description="Connector of the receiver or end.", examples=["IEC-75 jack"])
    supply: Voltage = Field(None, description="DC that the receiver feeds up its lead.", examples=["5 V"])


class HaveInstalledModel(InstalledModel):
    """Something owned that may be built in."""

    count: int | None = Field(None, ge=0, le=10**6, description="How many there are; 1 if left out.", examples=[1])


class OfferInstalledModel(InstalledModel):
    """Something on offer: a part, or another antenna by its gain."""

    price: Money = Field(None, description="Price of one, or of a metre.", examples=["18.00 EUR", "0.80 EUR/m"])
    antenna_gain: AntennaGain = Field(None, description="Another antenna, by its gain.", examples=["15 dBi"])


cast("dict[type[Table], tuple[str, ...]]", REQUIRED).update(
    {
        AntennaModel: ("gain",),
        SignalModel: (),
        InterfererModel: ("frequency", "level"),
        InstalledModel: ("id", "after"),
        ReceiverModel: ("noise_figure",),
        OutletModel: ("id", "after"),
        HaveInstalledModel: ("part",),
        OfferInstalledModel: ("price",),
    }
)

TABLES: dict[str, type[Table]] = {
    "antenna": AntennaModel,
    "signal": SignalModel,
    "interferer": InterfererModel,
    "item": InstalledModel,
    "outlet": OutletModel,
    "have": HaveInstalledModel,
    "offer": OfferInstalledModel,
}


def installation_schema() -> dict[str, Any]:
    """Give the JSON Schema of an installation file.

    Source: The models of this module.
    """
    setup = setup_schema()
    lists = ("signal", "interferer", "item", "outlet", "have", "offer")
    return {
        "$schema": setup["$schema"],
        "title": "A receiving installation, antenna to outlets",
        "description": "A tree of parts; quantities are texts with a unit.",
        "type": "object",
        "properties": {
            "title": setup["properties"]["title"],
            "library": setup["properties"]["library"],
            "antenna": {"$ref": "#/$defs/antenna"},
            **{name: {"type": "array", "items": {"$ref": f"#/$defs/{name}"}} for name in lists},
        },
        "required": ["antenna", "signal", "outlet"],
        "additionalProperties": False,
        "$defs": {
            "attenuation": setup["$defs"]["attenuation"],
            **{name: _definition(model, name) for name, model in TABLES.items()},
        },
    }


def _definition(model: type[Table], title: str) -> dict[str, Any]:
    schema = model.model_json_schema()
    schema.pop("$defs", None)
    schema["title"] = title
    for key in ("path", "arm", "reversed"):
        schema["properties"].pop(key, None)
    for key, value in schema["properties"].items():
        told = {word: each for word, each in value.items() if word not in ("default", "title", "anyOf")}
        choices = [each for each in value.get("anyOf", []) if each != {"type": "null"}]
        if any("AttenuationModel" in each.get("$ref", "") for each in choices):
            choices = [{"$ref": "#/$defs/attenuation"}]
        schema["properties"][key] = (
            {**choices[0], **told} if len(choices) == 1 else {**told, "anyOf": choices} if choices else told
        )
    if REQUIRED[model]:
        schema["required"] = list(REQUIRED[model])
    return schema
