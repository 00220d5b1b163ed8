"""Results as one JSON object, every null of it with its reason."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

__all__ = ["json_text"]

INFINITE = "infinite (everything is reflected), or a reading that `refused` lists"
MAY_BE_INFINITE = ("vswr", "low", "high", "_db")
"""Ends of the names of figures that may be infinite."""
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
    """JSON text of a result that is already made of plain values.

    Source: RFC 8259, which has no NaN and no infinity.
    """
    names = dict.fromkeys(_null_names(document, ""))
    reasons = {name: REASONS.get(name) or (INFINITE if name.endswith(MAY_BE_INFINITE) else ABSENT) for name in names}
    known = document.get("null_means", {})
    whole = (
        {**document, "null_means": {**reasons, **(known if isinstance(known, Mapping) else {})}} if names else document
    )
    lines = [f" {json.dumps(key)}: {json.dumps(value, allow_nan=False)}" for key, value in whole.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


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
