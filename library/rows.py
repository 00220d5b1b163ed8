"""From a row of a data file to a record: the one table that joins the keys of the files to the fields of the records.

Built-in files are trusted (a test validates them), a user's files pass `library.schema` first; both come through here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from library import records
from library.formulas import ladder_abcd
from library.records import Connector, Evidence, Limit

__all__ = ["COLUMNS", "KINDS", "connector_of", "ladder_loss_db", "limit_of", "record"]

Row = dict[str, Any]
Reader = Callable[[Any], Any]

SAMPLES = 32
HIGHEST_LOSS_DB = 60.0
"""Return loss at which a limit is cut off: better than that is not a statement about a whole part."""


def connector_of(text: str) -> Connector:
    """Take a well-formed connector name apart; `library.mating.parse_connector` is the one that checks.

    Source: Form of a connector's name in the data files.
    """
    words, _, variant = text.partition("(")
    family, _, gender = words.strip().rpartition(" ")
    return Connector(family, gender, variant.rstrip(") "))


def limit_of(spec: dict[str, Any]) -> Limit:
    """Reflection limit from one of its four forms in a data file [dB].

    Source: RL = -20 log10((s - 1)/(s + 1)). The VSWR form is sampled so closely that straight lines keep within 0.1
    dB of it.
    """
    kind = spec.get("magnitude_kind", "disc")
    if "return_loss_db" in spec:
        return Limit((0.0,), (float(spec["return_loss_db"]),), kind)
    if "points_mhz_db" in spec:
        points = [(float(mhz) * 1e6, float(level)) for mhz, level in spec["points_mhz_db"]]
    elif "bands_mhz_db" in spec:
        points = []
        for low, high, level in spec["bands_mhz_db"]:
            # A step needs two points; the worse side keeps the shared edge.
            points += [(float(low) * 1e6 * (1 + 1e-9), float(level)), (float(high) * 1e6, float(level))]
    else:
        slope, top_hz = float(spec.get("vswr_per_ghz", 0.0)), float(spec.get("to_mhz", 0.0)) * 1e6
        count = SAMPLES if slope else 0
        hertz = [top_hz * (step / count) ** 2 for step in range(count + 1)] if count else [0.0]
        points = [(freq, _vswr_db(float(spec["vswr"]) + slope * freq / 1e9)) for freq in hertz]
    return Limit(tuple(freq for freq, _ in points), tuple(level for _, level in points), kind)


def _vswr_db(vswr: float) -> float:
    return HIGHEST_LOSS_DB if vswr <= 1.002 else -20 * math.log10((vswr - 1) / (vswr + 1))


def ladder_loss_db(arms: list[list[Any]], near_ohm: float, far_ohm: float) -> float:
    """Loss of a ladder of resistors between its two nominal impedances [dB].

    Source: Chain matrix of the ladder; S21 = 2 sqrt(Zn Zf)/(A Zf + B + C Zn Zf + D Zn).
    """
    a, b, c, d = ladder_abcd((str(place), float(ohm)) for place, ohm in arms)
    total = a * far_ohm + b + c * near_ohm * far_ohm + d * near_ohm
    return float(20 * math.log10(total / (2 * math.sqrt(near_ohm * far_ohm))))


def _times(factor: float) -> Reader:
    return lambda value: float(value) * factor


def _over(divisor: float) -> Reader:
    # Dividing by a power of ten rounds once; multiplying by 1e-9 would round twice and spoil equality with literals.
    return lambda value: float(value) / divisor


def _floats(value: Any) -> tuple[float, ...]:
    return tuple(float(each) for each in value)


def _pairs(value: Any) -> tuple[tuple[Any, ...], ...]:
    return tuple(tuple(each) for each in value)


def _arms(value: Any) -> tuple[tuple[str, float], ...]:
    return tuple((str(place), float(ohm)) for place, ohm in value)


NETWORK_ARMS: dict[str, tuple[str, str, float, str]] = {
    "series_inductor_nh": ("series", "inductor", 1e-9, ""),
    "series_capacitor_pf": ("series", "capacitor", 1e-12, ""),
    "shunt_inductor_nh": ("shunt", "inductor", 1e-9, ""),
    "shunt_capacitor_pf": ("shunt", "capacitor", 1e-12, ""),
    "line_ohm": ("series", "line", 1.0, ""),
    "open_stub_ohm": ("shunt", "line", 1.0, "open"),
    "short_stub_ohm": ("shunt", "line", 1.0, "short"),
}
"""Key of an arm's value: way, what it is, the unit in SI, and how a stub ends."""


def _network_arms(value: Any) -> tuple[records.NetworkArm, ...]:
    return tuple(_network_arm(each) for each in value)


def _network_arm(row: Row) -> records.NetworkArm:
    key = next(key for key in NETWORK_ARMS if row.get(key) is not None)
    way, what, unit, end = NETWORK_ARMS[key]
    return records.NetworkArm(
        way,
        what,
        float(row[key]) * unit,
        float(row.get("tolerance_percent", 0.0)) / 100,
        float(row.get("quality_factor", 0.0)),
        float(row.get("length_mm") or 0.0) / 1000,
        float(row.get("velocity_factor", 1.0)),
        float(row.get("per_sqrt_mhz_db_per_100m", 0.0)),
        float(row.get("per_mhz_db_per_100m", 0.0)),
        end,
    )


def _losses(value: Any) -> tuple[tuple[str, str, float], ...]:
    return tuple((str(first), str(second), float(loss)) for first, second, loss in value)


def _numbers(value: Any) -> tuple[tuple[float, ...], ...]:
    return tuple(_floats(each) for each in value)


def _connectors(value: Any) -> tuple[Connector, ...]:
    return tuple(connector_of(each) for each in value)


MEGA, MILLI, NANO, PICO, PERCENT = _times(1e6), _over(1e3), _over(1e9), _over(1e12), _over(100)

ENDS: dict[str, tuple[str, Reader]] = {
    "id": ("id", str),
    "name": ("name", str),
    "near": ("near_connector", connector_of),
    "far": ("far_connector", connector_of),
    "near_ohm": ("near_ohm", float),
    "far_ohm": ("far_ohm", float),
    "max_mhz": ("max_hz", MEGA),
    "dc": ("dc", str),
}

COLUMNS: dict[str, dict[str, tuple[str, Reader]]] = {
    "family": {
        "id": ("id", str),
        "name": ("name", str),
        "standard": ("standard", str),
        "impedance_ohm": ("impedance_ohm", float),
        "max_mhz": ("max_hz", MEGA),
        "section_ohm": ("section_ohm", float),
        "section_mm": ("section_m", MILLI),
        "loss_db_per_sqrt_ghz": ("loss_db_per_sqrt_ghz", float),
        "matings": ("matings", int),
        "torque_nm": ("torque_nm", _floats),
        "variants": ("variants", tuple),
        "jack_max_mhz": ("jack_max_hz", MEGA),
        "variant_max_mhz": ("variant_max_hz", lambda value: tuple((str(k), float(v) * 1e6) for k, v in value.items())),
        "pair_reflection": ("limit", limit_of),
        "repeatability": ("repeatability", float),
        "repeatability_to_mhz": ("repeatability_to_hz", MEGA),
    },
    "pad": ENDS
    | {
        "model": ("model", str),
        "loss_db": ("loss_db", float),
        "loss_tolerance_db": ("loss_tolerance_db", float),
        "near_reflection": ("near_limit", limit_of),
        "far_reflection": ("far_limit", limit_of),
        "arms": ("arms", _arms),
        "arm_tolerance_percent": ("arm_tolerance", PERCENT),
        "arm_inductance_nh": ("arm_inductance_h", NANO),
        "arm_capacitance_pf": ("arm_capacitance_f", PICO),
        "resistor_power_w": ("resistor_power_w", float),
    },
    "adapter": ENDS
    | {
        "impedance_ohm": ("impedance_ohm", float),
        "electrical_length_mm": ("electrical_length_m", MILLI),
        "length_tolerance_mm": ("length_tolerance_m", MILLI),
        "loss_at_1ghz_db": ("loss_at_1ghz_db", float),
        "loss_tolerance_percent": ("loss_tolerance", PERCENT),
        "reflection": ("limit", limit_of),
        "grade": ("grade", str),
    },
    "coax": {
        "id": ("id", str),
        "name": ("name", str),
        "impedance_ohm": ("impedance_ohm", float),
        "impedance_tolerance_ohm": ("impedance_tolerance_ohm", float),
        "velocity_factor": ("velocity_factor", float),
        "flat_db_per_100m": ("flat_db_per_100m", float),
        "per_sqrt_mhz_db_per_100m": ("per_sqrt_mhz_db_per_100m", float),
        "per_mhz_db_per_100m": ("per_mhz_db_per_100m", float),
        "valid_from_mhz": ("valid_from_hz", MEGA),
        "valid_to_mhz": ("valid_to_hz", MEGA),
        "temperature_c": ("temperature_c", float),
        "loss_tolerance_percent": ("loss_tolerance", PERCENT),
        "lead_reflection": ("limit", limit_of),
        "attenuation_kind": ("attenuation_kind", str),
        "points_mhz": ("points_hz", lambda value: tuple(float(mhz) * 1e6 for mhz in value)),
        "points_db_per_100m": ("points_db_per_100m", _floats),
        "impedance_points_mhz": ("impedance_points_hz", lambda value: tuple(float(mhz) * 1e6 for mhz in value)),
        "impedance_points_ohm": ("impedance_points_ohm", _floats),
        "inner_mm": ("inner_mm", float),
        "dielectric_mm": ("dielectric_mm", float),
        "tan_delta": ("tan_delta", float),
        "capacitance_pf_per_m": ("capacitance_pf_per_m", float),
        "stranded": ("stranded", bool),
        "fit_max_percent": ("fit_max", PERCENT),
        "recalled_above_mhz": ("recalled_above_hz", MEGA),
    },
    "section": ENDS
    | {
        "pieces": ("pieces", _numbers),
        "design_mhz": ("design_hz", MEGA),
        "impedance_tolerance_ohm": ("impedance_tolerance_ohm", _times(1.0)),
        "length_tolerance_mm": ("length_tolerance_m", MILLI),
        "reflection": ("limit", limit_of),
    },
    "transformer": ENDS
    | {
        "turns_ratio": ("turns_ratio", float),
        "loss_db": ("loss_db", float),
        "loss_tolerance_db": ("loss_tolerance_db", float),
        "reflection": ("limit", limit_of),
        "min_mhz": ("min_hz", MEGA),
    },
    "network": ENDS | {"arms": ("arms", _network_arms)},
    "splitter": {
        "id": ("id", str),
        "name": ("name", str),
        "ports": ("ports", tuple),
        "connectors": ("connectors", _connectors),
        "impedance_ohm": ("impedance_ohm", float),
        "loss_db": ("loss_db", _losses),
        "loss_tolerance_db": ("loss_tolerance_db", float),
        "reflection": ("limit", limit_of),
        "min_mhz": ("min_hz", MEGA),
        "max_mhz": ("max_hz", MEGA),
        "dc": ("dc", str),
    },
    "termination": {
        "id": ("id", str),
        "name": ("name", str),
        "connector": ("connector", connector_of),
        "type": ("type", str),
        "impedance_ohm": ("impedance_ohm", float),
        "reflection": ("limit", limit_of),
        "grade": ("grade", str),
        "inductance_nh": ("inductance_h", NANO),
        "capacitance_pf": ("capacitance_f", PICO),
        "max_mhz": ("max_hz", MEGA),
    },
    "analyzer": {key: (key, str) for key in ("id", "name", "standards")}
    | {
        key: (key, float)
        for key in (
            "directivity_db",
            "source_match_db",
            "tracking_db",
            "trace_noise_db",
            "repeatability_db",
            "drift_db",
        )
    },
    "standards": {
        "id": ("id", str),
        "name": ("name", str),
        "load_db": ("load_db", float),
        "load_inductance_nh": ("load_inductance_h", NANO),
        "open_capacitance_pf": ("open_capacitance_f", PICO),
        "short_inductance_nh": ("short_inductance_h", NANO),
        "flex_deg_at_1ghz": ("flex_deg_at_1ghz", float),
    },
    "raster": {
        key: (key, str)
        for key in ("id", "region", "service", "band", "a", "b", "c", "width_mhz", "edge_c", "occupied_mhz")
    }
    | {"first": ("first", int), "last": ("last", int), "omit": ("omit", tuple), "extra": ("extra", _pairs)},
}
"""Per kind of row: key in the file, field of the record, and how the value is read (units become SI here)."""

ABSENT: dict[str, dict[str, Any]] = {
    "pad": {"loss_tolerance_db": 0.0, "near_limit": None, "far_limit": None, "arms": ()},
    "adapter": {"length_tolerance_m": 0.0, "loss_at_1ghz_db": 0.0, "limit": None},
    "coax": {
        "flat_db_per_100m": 0.0,
        "per_sqrt_mhz_db_per_100m": 0.0,
        "per_mhz_db_per_100m": 0.0,
        "impedance_tolerance_ohm": 0.0,
        "temperature_c": 20.0,
        "loss_tolerance": 0.0,
        "limit": None,
    },
    "section": {"limit": None},
    "transformer": {"turns_ratio": 0.0, "loss_tolerance_db": 0.0, "limit": None},
    "splitter": {"loss_tolerance_db": 0.0, "limit": None},
    "termination": {"impedance_ohm": 0.0, "limit": None},
    "standards": {
        "load_inductance_h": 0.0,
        "open_capacitance_f": 0.0,
        "short_inductance_h": 0.0,
        "flex_deg_at_1ghz": 0.0,
    },
    "analyzer": {"standards": "shop"},
    "raster": {"a": "0", "b": "0", "c": "0", "first": 1, "last": 0},
}
"""What a row may leave out although its record has no default."""

KINDS: dict[str, Any] = {
    "family": records.Family,
    "pad": records.Pad,
    "adapter": records.Adapter,
    "coax": records.Coax,
    "section": records.SectionLine,
    "transformer": records.Transformer,
    "network": records.Network,
    "splitter": records.Splitter,
    "termination": records.Termination,
    "analyzer": records.AnalyzerClass,
    "standards": records.StandardSet,
    "raster": records.Raster,
}
"""Kind of row (the name of its table in a file) and the record it becomes."""


def record(kind: str, row: Row) -> Any:
    """Make the record of a row.

    Source: `COLUMNS`.
    """
    columns = COLUMNS[kind]
    fields = dict(ABSENT.get(kind, {}))
    fields |= {columns[key][0]: columns[key][1](value) for key, value in row.items() if key in columns}
    if "name" in columns:
        fields.setdefault("name", row["id"])
    fields["evidence"] = Evidence(row.get("evidence", "stated"), row.get("source", ""), row.get("note", ""))
    if row.get("evidence_of"):
        fields["evidence_of"] = tuple(
            (columns[key][0] if key in columns else key, Evidence(standing, row.get("source", "")))
            for key, standing in row["evidence_of"].items()
        )
    if kind == "pad":
        fields.setdefault("model", "resistors" if fields["arms"] else "specification")
        fields.setdefault("loss_db", ladder_loss_db(row.get("arms", []), fields["near_ohm"], fields["far_ohm"]))
    if kind == "coax":
        static = row.get("static_evidence", row.get("evidence", "stated"))
        fields["static_evidence"] = Evidence(str(static), str(row.get("static_source", row.get("source", ""))))
        lead = Evidence(str(row.get("lead_evidence", "stated")), str(row.get("lead_source", "")))
        fields["lead_evidence"] = lead if fields["limit"] else None
    return KINDS[kind](**fields)
