"""A record as plain values."""

from __future__ import annotations

from dataclasses import asdict

from chain.records.record import Record
from chain.results import plain_values

__all__ = ["record_json"]


def record_json(record: Record) -> dict[str, object]:
    """Plain values of a record, keys with units; times as ISO 8601."""
    found = {**asdict(record), "time": record.time.isoformat(), "versions": dict(record.versions)}
    return plain_values(found)  # type: ignore[return-value]
