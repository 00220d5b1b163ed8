"""Known terminations held against kinds of fault."""

__all__ = [
    "diagnose",
    "next_reading",
    "ohmmeter_likelihood",
    "records",
    "terminations",
]
