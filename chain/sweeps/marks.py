"""What a file shows beside its figures: how fine their last digits are, and whether the sweep was processed after it was read."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from chain.arrays import Real

REMARK = re.compile(r"\s*[!#;]")
PROCESSED = re.compile(r"\bprocessed\s*[:=]\s*([a-z][a-z -]{1,40})", re.IGNORECASE)
TRUSTED = re.compile(r"\btrusted\s*[:=]\s*([0-9.e+-]+)\s+to\s+([0-9.e+-]+)\s*Hz", re.IGNORECASE)
MOST_HEADS = 200
"""Remarks that are looked at in one file."""
FINE = 1e-5
"""Half a step of reflection that is not worth a thought: -100 dB."""


def half_steps(texts: Sequence[str], sign: str = ".") -> Real:
    """Half a step of the last digit of each figure of a column, in the figure's own unit.

    The column is as fine as its finest figure, for programs leave zeros at the end out.

    Source: Decimal notation; a figure stands for all that is rounded to it.
    """
    parts = [text.strip().lower().partition("e") for text in texts]
    decimals = max((len(front.rpartition(sign)[2]) for front, _, _ in parts if sign in front), default=0)
    powers = [int(power) if re.fullmatch(r"[+-]?\d{1,4}", power) else 0 for _, _, power in parts]
    return np.asarray(0.5 * 10.0 ** (np.clip(powers, -30, 30) - float(decimals)))


def typed_pair_steps(form: str, lines: Sequence[str], first: Real, second: Real) -> Real | None:
    """Half a step of complex figures as a reflection, from the words of their lines; None where it is not worth a thought.

    `form` is that of a Touchstone file: `ri`, `ma` or `db`. The first words are the frequencies.

    Source: |dG| of each part: dx; dr and r dphi; r ln 10/20 dL and r dphi.
    """
    words = [line.partition("!")[0].split() for line in lines]
    pairs = [half_steps([row[at] if at < len(row) else row[-1] for row in words]) for at in (1, 2)]
    if form == "ri":
        sizes = np.maximum(*pairs)
    else:
        radius = np.asarray(10 ** (first / 20) if form == "db" else np.abs(first))
        outward = radius * np.log(10) / 20 * pairs[0] if form == "db" else pairs[0]
        sizes = np.maximum(outward, radius * np.deg2rad(pairs[1]))
    return worth(sizes)


def worth(sizes: Real) -> Real | None:
    """The half steps, or None where all of them are too fine to matter."""
    return np.asarray(sizes) if np.any(sizes > FINE) else None


def _remarks(lines: Sequence[str]) -> list[str]:
    return [line for line in lines if REMARK.match(line)][:MOST_HEADS]


def processing(lines: Sequence[str]) -> str:
    """What was done to a sweep after it was measured, as a remark of its file says; empty where none does."""
    found = next((hit for line in _remarks(lines) if (hit := PROCESSED.search(line))), None)
    return found[1].strip().lower() if found else ""


def trusted_span(lines: Sequence[str]) -> tuple[float, float] | None:
    """Lowest and highest frequency at which a processed sweep holds [Hz], by a remark `trusted: LOW to HIGH Hz`; 0 to 0: none."""
    found = next((hit for line in _remarks(lines) if (hit := TRUSTED.search(line))), None)
    try:
        return (float(found[1]), float(found[2])) if found else None
    except ValueError:
        return None
