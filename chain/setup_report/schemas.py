"""Results as one JSON object, every null of it with its reason."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from typing import Any

INFINITE = "infinite (everything is reflected), or a reading that `refused` lists"
MAY_BE_INFINITE = ("vswr", "low", "high", "_db")
"""Ends of the names of figures that may be infinite."""
ENDS = tuple(
    f"{what}{end}" for what in ("", "bound_", "reading_", "true_", "limit_", "now_") for end in ("low", "high")
)
"""Names of ends of intervals, which are VSWRs where they stand beside one."""
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
}
"""Why a figure of that name is null, where the two reasons above are not meant."""


def json_text(document: Mapping[str, object]) -> str:
    """JSON text of a result that is already made of plain values (RFC 8259, which has no NaN and no infinity)."""
    document = _in_both_units(document)
    names = dict.fromkeys(_null_names(document, ""))
    reasons = {name: REASONS.get(name) or (INFINITE if name.endswith(MAY_BE_INFINITE) else ABSENT) for name in names}
    known = document.get("null_means", {})
    whole = dict(document)
    if names:
        whole["null_means"] = {**reasons, **(known if isinstance(known, Mapping) else {})}
    del document
    # What has become text is let go: a long sweep's numbers take several times the memory of their text.
    lines = [f" {json.dumps(key)}: {json.dumps(whole.pop(key), allow_nan=False)}" for key in list(whole)]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _in_both_units(value: Any) -> Any:
    """A document with a return loss beside every VSWR, and beside the ends of their intervals; one of 1 has none."""
    if isinstance(value, (list, tuple)) and value and isinstance(value[0], (Mapping, list, tuple)):
        return [_in_both_units(each) for each in value]
    if not isinstance(value, Mapping):
        return value
    found = {key: _in_both_units(each) for key, each in value.items()}
    if not any(str(key).endswith("vswr") for key in found):
        return found
    for key, each in value.items():
        name = f"{key.removesuffix('vswr').rstrip('_')}_return_loss_db".lstrip("_")
        numbers = each if isinstance(each, (list, tuple)) else [each]
        if (
            (key.endswith("vswr") or key in ENDS)
            and name not in found
            and all(map(_is_number, numbers))
            and each is not None
        ):
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
