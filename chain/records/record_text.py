"""A record as TOML text, sealed: its last line is the digest of all that stands before, so that damage shows.

TOML 1.0. The head comes first, one key a line, so that a long list is read without parsing sweeps.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict

from chain.records.record import FORMAT, Record

__all__ = ["SEAL", "digest", "record_text", "seal_state"]

SEAL = b"\n[seal]\nsha256 = "


def record_text(record: Record) -> str:
    """Text of a record, sealed."""
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
    """Digest of a record's body, whatever its line ends have become on the way through a repository.

    Source: SHA-256, FIPS 180-4.
    """
    return hashlib.sha256(body.replace(b"\r\n", b"\n") if b"\r" in body else body).hexdigest()


def seal_state(raw: bytes) -> str:
    """Whether a record's bytes are `whole`, `altered`, or have no seal (`cut short`)."""
    text = raw.replace(b"\r\n", b"\n") if b"\r" in raw else raw
    body, seal, rest = text.rpartition(SEAL)
    if not seal:
        return "cut short"
    reported = rest.strip().strip(b'"').decode("ascii", "replace")
    return "whole" if reported == digest(body) else "altered"
