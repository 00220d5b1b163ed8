"""Results as one JSON object, every null of it with its reason."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any

from chain.results import return_loss_name

INFINITE = "infinite (everything is reflected), or a reading that `refused` lists"
NOTHING_BACK = "nothing is reflected, or the VSWR beside it is null"
OF_VSWR = (
    "vswr",
    "bound_low",
    "bound_high",
    "reading_low",
    "reading_high",
    "true_low",
    "true_high",
    "now_low",
    "now_high",
)
"""Ends of the names of VSWRs, which may be infinite; `low` and `high` alone are VSWRs too."""
ABSENT = "does not apply here"
REASONS = {
    "true_reflection": "the readings have no phase",
    "true_ohm": "the readings have no phase, or the impedance is infinite",
    "region": "the readings have no phase",
    "linear": "the readings have no phase",
    "cure": "no single change narrows the interval enough to be named",
    "limit_vswr": "no limit is stated",
    "aim_bound_vswr": "see aim_bound_reason",
    "aim_reading_vswr": "see aim_reading_reason",
    "loss_db": "see reason",
    "return_loss_db": "no limit of its reflection is stated",
    "nominal_return_loss_db": "the part as modelled reflects nothing, or its model says nothing of it",
    "limit": "no limit of its reflection is stated",
    "near_limit": "no limit of its reflection is stated",
    "far_limit": "no limit of its reflection is stated",
    "lead_evidence": "no limit of its reflection is stated",
    "accuracy": "the number of trials was given",
    "alone": "nothing else was asked",
    "apart": "neither the first nor the last record stands apart",
    "by_slope": "the readings have no phase, or a resonance says it better",
    "chance_at_limit": "no limit is stated, or the sweep is judged by its channels",
    "cim_db": "no amplifier is on the way",
    "comparison": "sweeps before and after alone are compared",
    "contradiction": "the readings go together",
    "db_per_unit": "it is free, or its price is not known",
    "dead_amplifier": "no amplifier is suspected",
    "end_ohm": "an open",
    "expected_ohm": "an open",
    "far_reflection": "no set-up was given",
    "fixed_db": "only a lead's error has a part that all its records share",
    "gain_db": "the reference antenna's gain is not stated",
    "first_high": "no simulated chain agrees with the readings so far, or off the scale",
    "first_low": "no simulated chain agrees with the readings so far, or off the scale",
    "gain_high_db": "it was not drawn",
    "gain_low_db": "it was not drawn",
    "change_db": "more on one side than losses are told apart",
    "since_first_db": "more on one side than losses are told apart, on both, or a single record",
    "half_width_db": "what it belongs to is null",
    "trend_db_per_year": "the records are fewer than four, span less than half a year, or lose more than is told apart",
    "trend_half_width_db": "what it belongs to is null",
    "gated_reason": "there is a gated sweep",
    "grade": "no limit is stated, or no sweep was given",
    "high_ohm": "an open",
    "holds": "it was not drawn",
    "if_it_can": "the file says where the analyzer can be calibrated, or it shows a phase",
    "improvement": "no single change narrows the interval",
    "limit_dbuv": "no limit is stated",
    "lossier_lead_db": "the channels do not all gain alike, as more loss ahead of one antenna would make them",
    "low_ohm": "an open",
    "ohm": "an open",
    "ohms": "no ohmmeter was read",
    "ohms_high": "an open",
    "ohms_low": "an open",
    "problem": "the sweep was answered",
    "reading_reflection": "the readings have no phase",
    "reference_dbi": "no gain of a reference antenna is stated",
    "reflection_error": "two sweeps cannot tell the two-port",
    "ripple": "nothing repeats in the sweep",
    "room_high_db": "it was not drawn",
    "room_low_db": "it was not drawn",
    "s": "two sweeps cannot tell the two-port",
    "second_high": "no simulated chain agrees with the readings so far, or off the scale",
    "second_low": "no simulated chain agrees with the readings so far, or off the scale",
    "since_first": "it is the first sweep, or there is no answer",
    "since_last": "it is the first sweep, or there is no answer",
    "size": "this kind of fault has no size",
    "size_high": "this kind of fault has no size",
    "size_low": "this kind of fault has no size",
    "telling": "nothing is open",
    "temperature_c": "it was not stated",
    "verdict": "no sweep was given, or none that could be answered",
    "magnitude_high": "linear propagation is not valid there, see reasons",
    "magnitude_low": "linear propagation is not valid there, see reasons",
    "trial": "the readings resolve by themselves which way to go",
    "window": "no limit on that side",
}
"""Why a figure of that name is null, where the two reasons above are not meant."""


def row_text(document: Mapping[str, object]) -> str:
    """JSON text of a result on one line."""
    return json.dumps(with_reasons(_in_both_units(document)), allow_nan=False) + "\n"


def json_text(document: Mapping[str, object]) -> str:
    """JSON text of a result that is already made of plain values (RFC 8259, which has no NaN and no infinity)."""
    whole = with_reasons(_in_both_units(document))
    del document
    # What has become text is let go: a long sweep's numbers take several times the memory of their text.
    lines = [f" {json.dumps(key)}: {json.dumps(whole.pop(key), allow_nan=False)}" for key in list(whole)]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def with_reasons(document: Mapping[str, object]) -> dict[str, object]:
    """The document with the reason of every null under `null_means`, where it has one."""
    whole = dict(document)
    names = dict.fromkeys(_null_names(document, ""))
    if names:
        known = document.get("null_means", {})
        whole["null_means"] = {
            **{name: _reason(name) for name in names},
            **(known if isinstance(known, Mapping) else {}),
        }
    return whole


def _reason(name: str) -> str:
    """Why a figure of a name is null, where its document does not say more."""
    if name in REASONS:
        return REASONS[name]
    if name.endswith(("return_loss_db", "return_loss_low_db", "return_loss_high_db")):
        return NOTHING_BACK
    return INFINITE if name in ("low", "high") or name.endswith(OF_VSWR) else ABSENT


def _in_both_units(value: Any) -> Any:
    """A document with a return loss beside every VSWR, and beside the ends of intervals that stand with one; one of 1 has none."""
    if isinstance(value, (list, tuple)) and value and isinstance(value[0], (Mapping, list, tuple)):
        return [_in_both_units(each) for each in value]
    if not isinstance(value, Mapping):
        return value
    found = {key: _in_both_units(each) for key, each in value.items()}
    if not any(str(key).endswith("vswr") for key in found):
        return found
    for key, each in value.items():
        name = return_loss_name(str(key))
        numbers = each if isinstance(each, (list, tuple)) else [each]
        if name and name not in found and all(map(_is_number, numbers)) and each is not None:
            losses = [_return_loss_db(number) for number in numbers]
            found[name] = losses if isinstance(each, (list, tuple)) else losses[0]
    return found


def _is_number(value: object) -> bool:
    return value is None or (isinstance(value, (int, float)) and not isinstance(value, bool))


def _return_loss_db(ratio: float | None) -> float | None:
    """Return loss of a VSWR [dB]: -20 log10((S - 1)/(S + 1))."""
    return None if ratio is None or ratio <= 1 else -20 * math.log10((ratio - 1) / (ratio + 1))


def _null_names(value: object, name: str) -> Iterator[str]:
    """Keys under which a null stands, however deep."""
    if value is None:
        yield name
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from _null_names(each, str(key))
    elif isinstance(value, (list, tuple)):
        for each in value:
            yield from _null_names(each, name)
