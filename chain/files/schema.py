"""Keys of a set-up file: one class per table, each key with its kind, its description and an example.

Every field may be left out here; what a table must have it names in `required`, so that one defect does not hide the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from chain.files.quantities import (
    ANALYZER,
    ANGLE,
    ARMS,
    CAPACITANCE,
    CONNECTOR,
    ELEMENT,
    END,
    FEED,
    FREQUENCY,
    IMPEDANCE,
    INDUCTANCE,
    LENGTH,
    LOSS,
    LOSS_TOLERANCE,
    MAGNITUDE_KIND,
    PATH,
    PERCENT,
    POWER,
    RATIO,
    READING_ERROR,
    REFERENCE,
    REFLECTION,
    RETURN_LOSS,
    SHOWN,
    TEMPERATURE,
    TOLERANCE,
    VOLTAGE,
)
from chain.files.tables import FLAG, NAMES, TEXT, TEXTS, Table, inner, key, label, number, whole
from library.files.rows import PART_KINDS, fields_of

if TYPE_CHECKING:
    from chain.units import Tolerance
    from library.records import Connector, Limit

MOST_POINTS = 20001


class FrequenciesModel(Table):
    """Frequencies to compute at: from start to stop, or the channels of a region."""

    start: float | None = key(FREQUENCY, "Lowest frequency.", ["174 MHz"])
    stop: float | None = key(FREQUENCY, "Highest frequency.", ["240 MHz"])
    points: int | None = key(whole(1, MOST_POINTS), "Number of frequencies, evenly spaced, both ends included.", [133])
    region: str | None = key(TEXT, "Channel raster to use instead of start and stop.", ["europe"])
    channels: str | None = key(TEXT, "Channels of the region: single ones, spans.", ["5-12"])


class AnalyzerKeys(Table):
    """Errors that the analyzer's calibration leaves, and what the analyzer can do."""

    directivity: float | None = key(RETURN_LOSS, "Residual directivity, after calibration.", ["40 dB"])
    source_match: float | None = key(RETURN_LOSS, "Residual source match, after calibration.", ["36 dB"])
    directivity_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    source_match_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    tracking: float | None = key(READING_ERROR, "Residual reflection tracking, after calibration.", ["0.1 dB"])
    tracking_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    trace_noise: float | None = key(READING_ERROR, "Noise on the trace, one standard deviation.", ["0.02 dB"])
    repeatability: float | None = key(
        RETURN_LOSS, "Repeatability of a re-mated connector, as a return loss.", ["50 dB"]
    )
    repeatability_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    drift: float | None = key(RETURN_LOSS, "Drift since calibration, as a return loss.", ["50 dB"])
    drift_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    analyzer: str | None = key(
        ANALYZER, "Class of the analyzer, for what is not stated; handheld if left out.", ["handheld"]
    )
    shows: str | None = key(SHOWN, "What it shows at most; complex if left out.", ["vswr"])
    calibrates_at: list[str] | None = key(
        NAMES,
        "Planes it can be calibrated at: near, far, ids of items; all if left out and it shows phase, else near.",
        [["near"]],
    )
    ideal: bool | None = key(FLAG, "True: what is not stated is perfect.", [True])


class PortKeys(Table):
    """The analyzer's port itself."""

    connector: Connector | None = key(CONNECTOR, "Connector of the port.", ["N-50 jack"])
    impedance: float | None = key(IMPEDANCE, "Reference impedance; 50 ohm if left out.", ["50 ohm"])
    max_power: float | None = key(POWER, "Highest power the port may get.", ["20 dBm"])
    max_dc: float | None = key(VOLTAGE, "Highest DC voltage the port may get; 0 V: none.", ["0 V"])


class NearModel(AnalyzerKeys, PortKeys):
    """The analyzer's port, and the errors that its calibration leaves."""

    required = ("connector",)


class AttenuationModel(Table):
    """Attenuation of a coax in dB per 100 m: flat + per_sqrt_mhz*sqrt(f) + per_mhz*f, f in MHz."""

    flat: float | None = key(number(least=0, most=1e4), "Part that does not change [dB/100 m].", [0])
    per_sqrt_mhz: float | None = key(
        number(least=0, most=1e4), "Part that grows with the root of f [dB/100 m].", [1.046]
    )
    per_mhz: float | None = key(number(least=0, most=1e3), "Part that grows with f [dB/100 m].", [0.0071])


class ArmModel(Table):
    """What hangs on a port of a splitter that is not on the path."""

    required = ("port", "end")

    port: str | None = key(TEXT, "Name of the splitter's port.", ["out2"])
    end: object = key(END, "An impedance, `open`, or a list of items of which the last is a load.", ["75 ohm", "open"])


class ItemModel(Table):
    """One part placed in the chain. Which figures may be given depends on the kind of part."""

    required: ClassVar[tuple[str, ...]] = ("id",)

    id: str | None = key(label(60), "Name of this item.", ["lead"])
    part: str | None = key(TEXT, "Part of the library, by its id.", ["rg59"])
    touchstone: str | None = key(
        TEXT, "File of a measured two-port, instead of a part; port 1 is the near end.", ["pad.s2p"]
    )
    reference: tuple[float, float] | None = key(
        REFERENCE, "Impedance the file is in, if its header is wrong; two for two ports.", ["75 ohm"]
    )
    reversed: bool | None = key(FLAG, "True: far end of the part towards the analyzer.", [True])
    ideal: bool | None = key(FLAG, "True: tolerances and unknown reflections dropped.", [True])
    near: Connector | None = key(CONNECTOR, "Connector of the item's end towards the analyzer.", ["BNC-75 plug"])
    far: Connector | None = key(CONNECTOR, "Connector of the item's end towards the antenna.", ["F-75 plug"])
    length: float | None = key(LENGTH, "Coax: length.", ["0.6 m"])
    length_tolerance: float | None = key(
        LENGTH, "Coax, adapter, section: half-width of the (electrical) length.", ["5 mm"]
    )
    temperature: float | None = key(TEMPERATURE, "Coax: temperature.", ["20 °C"])
    velocity_factor: float | None = key(number(above=0, most=1), "Coax: velocity factor.", [0.66])
    attenuation: AttenuationModel | None = key(
        inner(AttenuationModel, "attenuation"),
        "Coax: attenuation per 100 m.",
        [{"flat": 0, "per_mhz": 0.0071, "per_sqrt_mhz": 1.046}],
    )
    attenuation_tolerance: float | None = key(PERCENT, "Coax: half-width of the attenuation.", ["12 %"])
    impedance: float | None = key(IMPEDANCE, "Coax, adapter: characteristic impedance.", ["75 ohm"])
    impedance_tolerance: Tolerance | None = key(TOLERANCE, "Coax, section: half-width of it.", ["3 ohm", "4 %"])
    electrical_length: float | None = key(LENGTH, "Adapter: electrical length.", ["38 mm"])
    loss_at_1ghz: float | None = key(LOSS, "Adapter: loss at 1 GHz.", ["0.05 dB"])
    loss: float | None = key(LOSS, "Pad, transformer: attenuation.", ["5.7 dB"])
    loss_tolerance: float | None = key(
        LOSS_TOLERANCE, "Pad, transformer, splitter, measured two-port: half-width of the loss.", ["0.2 dB"]
    )
    reflection: Limit | None = key(
        REFLECTION,
        "Limit of the whole part's reflection at each end: a return loss or a VSWR, a table over frequency, "
        "or a magnitude that was measured.",
        ["26 dB", "VSWR 1.1", [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]],
    )
    reflection_error: Limit | None = key(
        REFLECTION, "Measured two-port: how far its reflections may lie from the file's, as a return loss.", ["36 dB"]
    )
    reflection_kind: str | None = key(
        MAGNITUDE_KIND,
        "How magnitudes are spread within the limit: disc (evenly over it), ring (at it), uniform-radius.",
        ["ring"],
    )
    near_reflection_kind: str | None = key(MAGNITUDE_KIND, "Pad: the same for its near end.", ["ring"])
    far_reflection_kind: str | None = key(MAGNITUDE_KIND, "Pad: the same for its far end.", ["ring"])
    reflection_error_kind: str | None = key(
        MAGNITUDE_KIND, "Measured two-port: the same for reflection_error.", ["ring"]
    )
    near_reflection: Limit | None = key(REFLECTION, "Pad: the same for the part's own near end alone.", ["26 dB"])
    far_reflection: Limit | None = key(REFLECTION, "Pad: for the part's own far end alone.", ["26 dB"])
    series: float | None = key(IMPEDANCE, "Pad: resistor of each series arm.", ["43.2 ohm"])
    shunt: float | None = key(IMPEDANCE, "Pad: resistor of each shunt arm.", ["86.6 ohm"])
    resistor_tolerance: float | None = key(PERCENT, "Pad of resistors: half-width of each.", ["1 %"])
    design_frequency: float | None = key(FREQUENCY, "Section of line: frequency it is cut for.", ["207 MHz"])
    path: tuple[str, str] | None = key(
        PATH,
        "Splitter: its ports on the path, near one first; measured file of several ports: their numbers.",
        [["in", "out1"], ["1", "3"]],
    )
    arm: object = key(ARMS, "Splitter: what hangs on its other ports.", [[{"port": "out2", "end": "75 ohm"}]])


class FarModel(Table):
    """The antenna's connector, the impedance it is meant for, and the limit it is judged by."""

    required = ("connector",)

    connector: Connector | None = key(CONNECTOR, "Connector of the antenna.", ["F-75 jack"])
    impedance: float | None = key(IMPEDANCE, "Reference impedance; 75 ohm if left out.", ["75 ohm"])
    limit: float | None = key(RATIO, "Limit the antenna is judged by: a VSWR or a return loss.", ["VSWR 2.0"])
    dc_feed: float | None = key(VOLTAGE, "DC that may come down the lead.", ["12 V"])
    antenna_q: float | None = key(
        number(above=0, most=10_000),
        "Narrowest resonance the antenna may have, as frequency over bandwidth: noise is averaged within a third of it; "
        "30 is usual, 100 is safe.",
        [30],
    )


class AntennaModel(Table):
    """What the antenna is made of; only `chain tune` asks for it."""

    element: str | None = key(
        ELEMENT,
        "What is driven: one half-wave element, a folded one, a loop of one wavelength, or several driven or "
        "closely coupled elements.",
        ["half-wave"],
    )
    length: float | None = key(LENGTH, "Length of the element, tip to tip or once round.", ["0.71 m"])
    diameter: float | None = key(LENGTH, "Thickness of its rod or tube.", ["12 mm"])
    feed: object = key(
        FEED,
        "Items between the antenna's connector and the element's own terminals, such as a transformer.",
        [[{"id": "balun", "part": "balun-300-75"}]],
    )


class CalibrationModel(Table):
    """Where the analyzer was calibrated, and what with."""

    plane: str | None = key(TEXT, "`near`, or the id of an item: after it.", ["near", "pad"])
    load: float | None = key(
        RETURN_LOSS,
        "Return loss of the load used; left out: 20 dB with a handheld, 26 dB with a bench analyzer.",
        ["32 dB"],
    )
    load_kind: str | None = key(MAGNITUDE_KIND, "How it is spread, as reflection_kind.", ["ring"])
    load_impedance: float | None = key(IMPEDANCE, "Impedance the load is meant to be.", ["75 ohm"])
    load_inductance: float | None = key(INDUCTANCE, "Inductance in series with the load.", ["2 nH"])
    open_capacitance: float | None = key(CAPACITANCE, "Fringe capacitance of the open.", ["0.1 pF"])
    short_inductance: float | None = key(INDUCTANCE, "Inductance of the short.", ["0.5 nH"])
    flex: float | None = key(ANGLE, "One-way phase by which the leads move when handled.", ["1 deg"])
    swap_adapter: str | None = key(
        TEXT, "Adapter of the library that was exchanged after calibration, by its id.", ["n-plug-bnc-plug"]
    )
    known: list[str] | None = key(
        TEXTS, "Standards whose stated value the calibration uses: load, open, short.", [["load"]]
    )
    ideal: bool | None = key(FLAG, "True: standards that are not stated are perfect, and no lead moves.", [True])


ALWAYS = ("id", "part", "ideal")
BESIDE: Mapping[str, tuple[str, ...]] = {
    **{kind: each.item_keys for kind, each in PART_KINDS.items()},
    "measured": ("near", "far", "reversed", "touchstone", "reference", "path"),
}
"""Keys of each kind of part that stand for no single field of its record."""


def _keys_of(kind: str) -> tuple[str, ...]:
    own = [each for each in fields_of(kind) if each.item]
    keys = [*BESIDE[kind], *(each.item for each in own)]
    kinds = [f"{each.item}_kind" for each in own if each.takes.startswith("Reflection")]
    return (*keys, *(["reflection_kind"] if kind == "pad" else []), *kinds)


KEYS_OF: Mapping[str, tuple[str, ...]] = {kind: _keys_of(kind) for kind in BESIDE}
"""Keys that each kind of part takes, beside those that all take."""
