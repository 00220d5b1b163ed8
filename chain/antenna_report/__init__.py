"""Antennas tuned, compared and kept, to tables and JSON; computes nothing."""

__all__ = [
    "differences",
    "faults",
    "follow",
    "log",
    "match",
    "tune",
]
