"""A sweep without its ripple as the text of a file, with its untrustworthy edges marked."""

from __future__ import annotations

from chain.echoes.records import Ripple
from chain.errors import RangeError

__all__ = ["csv_text", "touchstone_text"]

WARNING = "points that are not trusted lie where the gate blurs the band edge"
MARK = "processed: time-gated"
"""Mark by which `chain.sweeps.marks` knows such a file again."""


def csv_text(found: Ripple) -> str:
    """Gated sweep as a table of text."""
    rows = [f"{f!r},{re!r},{im!r},{int(sure)}" for f, re, im, sure in _rows(found)]
    return "\n".join([*(f"# {text}" for text in _heads(found)), "frequency_hz,real,imaginary,trusted", *rows]) + "\n"


def touchstone_text(found: Ripple, reference_ohm: float) -> str:
    """Gated sweep as a Touchstone file.

    Source: Touchstone file format specification, version 1.1.
    """
    rows = _rows(found)
    head = [*(f"! {text}" for text in _heads(found)), f"# Hz S RI R {reference_ohm:g}"]
    return "\n".join([*head, *(f"{f!r} {re!r} {im!r}" for f, re, im, _ in rows)]) + "\n"


def _heads(found: Ripple) -> list[str]:
    sure = [f for f, _, _, trusted in _rows(found) if trusted]
    span = (sure[0], sure[-1]) if sure else (0.0, 0.0)
    return [MARK, WARNING, f"trusted: {span[0]!r} to {span[1]!r} Hz"]


def _rows(found: Ripple) -> list[tuple[float, float, float, bool]]:
    if found.gated is None or found.trusted is None:
        raise RangeError("there is no gated sweep", found.gated_reason or "")
    values = zip(found.freq_hz, found.gated, found.trusted, strict=True)
    return [(float(f), float(value.real), float(value.imag), bool(sure)) for f, value, sure in values]
