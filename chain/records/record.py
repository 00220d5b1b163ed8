"""A measurement as it is kept: what was read, with which set-up, and what was made of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from chain.errors import plain

__all__ = ["FORMAT", "KINDS", "ChannelRecord", "Record", "SweepRecord", "slug"]

FORMAT = 1
KINDS = ("antenna", "lead")
LONGEST_SLUG = 40


@dataclass(frozen=True)
class ChannelRecord:
    """One channel of a record.

    Of an antenna: VSWR at its worst point with its interval, and the mismatch loss of the channel. Of a lead: its loss one
    way, of which `fixed_db` is no cable's. `repeat_db` is the standard uncertainty of `loss_db` from one reading to the next.
    """

    name: str
    low_hz: float
    high_hz: float
    loss_db: float
    repeat_db: float
    vswr: float | None = None
    vswr_low: float | None = None
    vswr_high: float | None = None
    reflection: float | None = None
    reflection_repeat: float | None = None
    fixed_db: float | None = None
    verdict: str = ""


@dataclass(frozen=True)
class SweepRecord:
    """One sweep as read: rows of (frequency, real, imaginary) or, without phase, of (frequency, magnitude)."""

    end: str
    source: str
    source_sha256: str
    points: tuple[tuple[float, ...], ...]
    processed: str = ""
    """What was done to it after it was measured, such as `time-gated`."""


@dataclass(frozen=True)
class Record:
    """A measurement and its answer."""

    time: datetime
    name: str
    kind: str
    answer: str
    verdict: str
    title: str
    plane: str
    setup: str
    setup_sha256: str
    standards: str
    channels: tuple[ChannelRecord, ...]
    sweeps: tuple[SweepRecord, ...]
    temperature_c: float | None = None
    operator: str = ""
    note: str = ""
    warnings: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()

    @property
    def stem(self) -> str:
        """Name of its file without number and suffix."""
        return f"{self.time:%Y-%m-%d-%H%M}-{slug(self.name)}"


def slug(text: str) -> str:
    """A text as part of a file's name: letters, digits and single dashes, nothing that a path or a shell would notice."""
    words = re.sub(r"[^\w]+", "-", plain(text).casefold().replace("_", "-")).strip("-")
    return words[:LONGEST_SLUG].strip("-") or "measurement"
