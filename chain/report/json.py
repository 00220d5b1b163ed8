"""Results as one JSON object."""

from __future__ import annotations

import json
from collections.abc import Mapping

__all__ = ["json_text"]


def json_text(document: Mapping[str, object]) -> str:
    """JSON text of a result that is already made of plain values.

    Parameters
    ----------
    document : lists, dicts, numbers, text, true, false and None only.

    Returns
    -------
    str, one object, a line for each of its keys.

    Raises
    ------
    ValueError : NaN or infinity is left in the document.

    Examples
    --------
    >>> print(json_text({"schema_version": 1, "sweep": [1.5, None]}), end="")
    {
     "schema_version": 1,
     "sweep": [1.5, null]
    }

    Source
    ------
    RFC 8259, which has no NaN and no infinity.
    """
    lines = [f" {json.dumps(key)}: {json.dumps(value, allow_nan=False)}" for key, value in document.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"
