"""Known terminations held against kinds of fault."""

__all__ = [
    "diagnose",
    "faults",
    "next_reading",
    "ohmmeter_likelihood",
    "records",
    "session",
    "terminations",
]
