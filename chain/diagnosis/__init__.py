"""Known terminations held against kinds of fault."""

__all__ = [
    "diagnose",
    "known_ends",
    "ohmmeter_likelihood",
]
