"""A measurement as it is kept: what was read, with which set-up, what was made of it; its text, sealed."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime

from chain.errors import plain
from chain.results import SCHEMA_VERSION, Named, plain_values

FORMAT = 1
KINDS = ("antenna", "lead")
MOST_POINTS, MOST_WITHOUT_PHASE = 201, 67
"""Points of a sweep that are answered; without phase every phase must be tried, which takes longer."""
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


@dataclass(frozen=True, repr=False)
class Record(Named):
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

    def headline(self) -> str:
        """When, what and with which answer."""
        return f"{self.time:%Y-%m-%d %H:%M} {self.name} ({self.kind}): {self.answer}"

    @property
    def stem(self) -> str:
        """Name of its file without number and suffix."""
        return f"{self.time:%Y-%m-%d-%H%M}-{slug(self.name)}"


def slug(text: str) -> str:
    """A text as part of a file's name: letters, digits and single dashes, nothing that a path or a shell would notice."""
    words = re.sub(r"[^\w]+", "-", plain(text).casefold().replace("_", "-")).strip("-")
    return words[:LONGEST_SLUG].strip("-") or "measurement"


SEAL = b"\n[seal]\nsha256 = "


def record_text(record: Record) -> str:
    """A record as TOML 1.0 text, sealed: its last line is the digest of all that stands before, so that damage shows.

    The head comes first, one key a line, so that a long list is read without parsing sweeps.
    """
    head = {
        "format": FORMAT,
        "time": record.time.isoformat(timespec="seconds"),
        "name": record.name,
        "kind": record.kind,
        "answer": record.answer,
        "verdict": record.verdict,
        "title": record.title,
        "plane": record.plane,
        "standards": record.standards,
        "setup": record.setup,
        "setup_sha256": record.setup_sha256,
        "temperature_c": record.temperature_c,
        "operator": record.operator or None,
        "note": record.note or None,
        "warnings": list(record.warnings) or None,
    }
    lines = ["# A measurement. Plain text, kept as it was written: the seal at the end shows any change.", *_keys(head)]
    lines += ["", "[versions]", *_keys(dict(record.versions))]
    for channel in record.channels:
        lines += ["", "[[channel]]", *_keys(asdict(channel))]
    for sweep in record.sweeps:
        wide = len(sweep.points[0]) == 3
        columns = ["frequency_hz", "real", "imaginary"] if wide else ["frequency_hz", "magnitude"]
        facts: dict[str, object] = {"end": sweep.end, "source": sweep.source, "source_sha256": sweep.source_sha256}
        facts |= {"processed": sweep.processed, "columns": columns}
        rows = [f"  [{', '.join(repr(float(value)) for value in row)}]," for row in sweep.points]
        lines += ["", "[[sweep]]", *_keys(facts), "points = [", *rows, "]"]
    body = "\n".join(lines) + "\n"
    return f"{body}\n[seal]\nsha256 = {json.dumps(digest(body.encode('utf-8')))}\n"


def _keys(values: Mapping[str, object]) -> list[str]:
    return [f"{key} = {_value(value)}" for key, value in values.items() if value is not None and value != ""]


def _value(value: object) -> str:
    if isinstance(value, str):
        # JSON's escapes are TOML's but for the delete character, which TOML wants escaped.
        text = "".join(sign if sign.isprintable() or sign in "\n\t" else "?" for sign in value)
        return json.dumps(text, ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(_value(each) for each in value)}]"
    return repr(float(value)) if isinstance(value, float) else repr(value)


def digest(body: bytes) -> str:
    """Digest of a record's body, whatever its line ends have become on the way through a repository. Source: SHA-256, FIPS 180-4."""
    return hashlib.sha256(body.replace(b"\r\n", b"\n") if b"\r" in body else body).hexdigest()


def seal_state(raw: bytes) -> str:
    """Whether a record's bytes are `whole`, `altered`, or have no seal (`cut short`)."""
    text = raw.replace(b"\r\n", b"\n") if b"\r" in raw else raw
    body, seal, rest = text.rpartition(SEAL)
    if not seal:
        return "cut short"
    reported = rest.strip().strip(b'"').decode("ascii", "replace")
    return "whole" if reported == digest(body) else "altered"


def record_json(record: Record) -> dict[str, object]:
    """Plain values of a record, keys with units; times as ISO 8601."""
    found = {
        "schema_version": SCHEMA_VERSION,
        **asdict(record),
        "time": record.time.isoformat(),
        "versions": dict(record.versions),
    }
    return plain_values(found)  # type: ignore[return-value]
