"""Keys of an installation file: one class per table, each key with its kind, its description and an example."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from chain.errors import UnitError
from chain.files.quantities import CONNECTOR, FREQUENCY, REFLECTION, VOLTAGE, pattern
from chain.files.schema import ItemModel
from chain.files.schema_export import setup_schema, table_schema
from chain.files.tables import FLAG, TEXT, KeyKind, Table, key, label, named, plain_kind, whole, wrong
from chain.money import Price, parse_price

if TYPE_CHECKING:
    from library.records import Connector, Limit
from chain.reception.quantities import (
    AMPLIFIER_GAIN,
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


def _schema(kind: ReceptionKind) -> dict[str, Any]:
    return {"type": "string", "pattern": rf"^\s*{kind.pattern()}\s*$", "$comment": ", ".join(kind.units)}


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


def _quantity(kind: ReceptionKind) -> KeyKind:
    return plain_kind(text_reader(kind), _schema(kind))


GAIN_OF, NEED_OF, SPREAD_OF, LEVEL_OF = (_quantity(kind) for kind in (GAIN, NEED, SPREAD, LEVEL))
AMPLIFIER_GAIN_OF = _quantity(AMPLIFIER_GAIN)
FIELD_OF, POWER_OF, DISTANCE_OF = (_quantity(kind) for kind in (FIELD, POWER, DISTANCE))
LEVEL_AT = plain_kind(_read_level_at, TEXT.schema)
PAIR: dict[str, Any] = {
    "type": "array",
    "prefixItems": [pattern("frequency"), TEXT.schema],
    "minItems": 2,
    "maxItems": 2,
}
GAIN_TABLE = plain_kind(read_gain_table, {"anyOf": [TEXT.schema, {"type": "array", "minItems": 1, "items": PAIR}]})
WINDOW = plain_kind(read_window, TEXT.schema)
OUTPUT = plain_kind(read_output, TEXT.schema)
TEMPERATURES = plain_kind(read_temperatures, TEXT.schema)
MONEY = plain_kind(_read_money, TEXT.schema)
ANYTHING = plain_kind(lambda value: value, {})


class ReceivingAntennaModel(Table):
    """The antenna, and the noise of its surroundings."""

    required = ("gain",)

    gain: tuple[tuple[float, ...], tuple[float, ...]] | None = key(
        GAIN_TABLE,
        "Gain: one figure, or a table over frequency.",
        ["12 dBi", [["470 MHz", "10 dBi"], ["690 MHz", "13 dBi"]]],
    )
    gain_tolerance: float | None = key(SPREAD_OF, "Half-width of the gain (rectangular).", ["1.5 dB"])
    match: str | None = key(
        TEXT,
        "A VSWR or return loss (limit, phase unknown), a sweep of it, or the JSON of `chain recover`.",
        ["VSWR 2.0", "antenna.s1p", "recovered.json"],
    )
    match_kind: str | None = key(TEXT, "disc: anything up to the limit (default); ring: just that magnitude.", ["ring"])
    noise: str | None = key(
        TEXT,
        "Surroundings (city, residential, rural, quiet rural, galactic), or a noise temperature.",
        ["residential", "290 K"],
    )
    connector: Connector | None = key(CONNECTOR, "Connector of the antenna.", ["F-75 jack"])
    dc: str | None = key(TEXT, "What it is for DC: open or short.", ["short"])


class SignalModel(Table):
    """Signals to receive: channels of a region or one frequency, their mode, and where their level comes from."""

    region: str | None = key(TEXT, "Channel raster.", ["europe"])
    channels: str | None = key(TEXT, "Channels of the region.", ["21-30"])
    frequency: float | None = key(FREQUENCY, "Centre frequency, instead of channels.", ["98 MHz"])
    bandwidth: float | None = key(
        FREQUENCY, "Bandwidth that the signal fills, if not that of the raster or the mode.", ["7.77 MHz"]
    )
    mode: str | None = key(TEXT, "Mode of the library.", ["DVB-T2 256QAM 2/3"])
    need: float | None = key(NEED_OF, "Least carrier-to-noise ratio, instead of the mode's.", ["22 dB"])
    margin: float | None = key(SPREAD_OF, "Reserve asked for above it; 3 dB if left out.", ["3 dB"])
    window: tuple[float | None, float | None] | None = key(
        WINDOW, "Level window at the outlet, instead of the guide's.", ["45 to 74 dBuV", "none"]
    )
    guide: str | None = key(TEXT, "Guide whose window holds.", ["IEC/EN 60728-1"])
    field: float | None = key(FIELD_OF, "Field strength at the antenna.", ["60 dBuV/m"])
    level: tuple[float, str] | None = key(
        LEVEL_AT, "Level measured at the antenna or at an outlet.", ["52 dBuV at antenna"]
    )
    erp: float | None = key(POWER_OF, "Effective radiated power: an upper limit in free space.", ["100 kW"])
    distance: float | None = key(DISTANCE_OF, "Distance of that transmitter.", ["30 km"])
    clutter: float | None = key(SPREAD_OF, "Loss beyond free space.", ["10 dB"])
    field_spread: float | None = key(
        SPREAD_OF, "Standard deviation of field or level, drawn once for the block.", ["5.5 dB"]
    )


class InterfererModel(Table):
    """A strong neighbour that nobody wants to receive."""

    required = ("frequency", "level")

    frequency: float | None = key(FREQUENCY, "Its frequency.", ["806 MHz"])
    level: float | None = key(LEVEL_OF, "Its level at the antenna's terminals.", ["78 dBuV"])
    bandwidth: float | None = key(FREQUENCY, "What it fills; 10 MHz if left out.", ["10 MHz"])


class InstalledModel(ItemModel):
    """One part in the tree. Which figures may be given depends on the kind of part."""

    required: ClassVar[tuple[str, ...]] = ("id", "after")

    after: str | None = key(TEXT, "What it follows: antenna, an item's id, or an output as id.port.", ["split.out1"])
    reversed: bool | None = key(FLAG, "True: the other way round, its far end towards the antenna.", [True])
    outdoor: bool | None = key(FLAG, "Lead: true if it shares the outdoor temperature.", [True])
    temperature: tuple[float, float] | None = key(  # type: ignore[assignment]
        TEMPERATURES, "Lead: temperature, or the span it lives through.", ["20 °C", "-10 to 50 °C"]
    )
    gain: float | None = key(AMPLIFIER_GAIN_OF, "Amplifier: gain.", ["15 dB"])
    gain_tolerance: float | None = key(SPREAD_OF, "Amplifier: half-width of the gain.", ["1.5 dB"])
    noise_figure: float | None = key(GAIN_OF, "Amplifier: noise figure with 75 ohm at its input.", ["2 dB"])
    max_output: tuple[float, float] | None = key(
        OUTPUT, "Amplifier: output of each of two tones at an intermodulation distance.", ["103 dBuV at 60 dB"]
    )
    power: float | None = key(VOLTAGE, "Amplifier: DC it takes from its output; 0 V: mains.", ["12 V"])
    supply: float | None = key(VOLTAGE, "Injector: DC that it feeds towards the antenna.", ["12 V"])


class ReceiverModel(Table):
    """A receiver of one's own."""

    required = ("noise_figure",)

    noise_figure: float | None = key(GAIN_OF, "Noise figure with 75 ohm at its input.", ["7 dB"])
    noise_figure_tolerance: float | None = key(SPREAD_OF, "Half-width of it.", ["1 dB"])
    reflection: Limit | None = key(REFLECTION, "Limit of its input's reflection.", ["6 dB"])
    overload: float | None = key(LEVEL_OF, "Total level that overloads it.", ["84 dBuV"])


class OutletModel(Table):
    """An end of the tree."""

    required = ("id", "after")

    id: str | None = key(label(60), "Name of the outlet.", ["hall"])
    after: str | None = key(TEXT, "What it follows.", ["fly"])
    receiver: object = key(ANYTHING, "Kind of receiver, or a table of its figures.", ["tv"])
    end: str | None = key(TEXT, "Where no receiver hangs: open, or an impedance.", ["75 ohm"])
    connector: Connector | None = key(CONNECTOR, "Connector of the receiver or end.", ["IEC-75 jack"])
    supply: float | None = key(VOLTAGE, "DC that the receiver feeds up its lead.", ["5 V"])


class HaveInstalledModel(InstalledModel):
    """Something owned that may be built in."""

    required = ("part",)

    count: int | None = key(whole(0, 10**6), "How many there are; 1 if left out.", [1])


class OfferInstalledModel(InstalledModel):
    """Something on offer: a part, or another antenna by its gain."""

    required = ("price",)

    price: Price | None = key(MONEY, "Price of one, or of a metre.", ["18.00 EUR", "0.80 EUR/m"])
    antenna_gain: tuple[tuple[float, ...], tuple[float, ...]] | None = key(
        GAIN_TABLE, "Another antenna, by its gain.", ["15 dBi"]
    )


TABLES: dict[str, type[Table]] = {
    "antenna": ReceivingAntennaModel,
    "signal": SignalModel,
    "interferer": InterfererModel,
    "item": InstalledModel,
    "outlet": OutletModel,
    "have": HaveInstalledModel,
    "offer": OfferInstalledModel,
}


def installation_schema() -> dict[str, Any]:
    """Give the JSON Schema of an installation file."""
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


def _definition(table: type[Table], title: str) -> dict[str, Any]:
    schema = table_schema(table, title)
    schema["properties"].pop("arm", None)
    return schema
