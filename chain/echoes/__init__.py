"""Periodic ripple in a sweep: model, search, detection, lengths, gating."""

__all__ = [
    "analyse",
    "records",
]
