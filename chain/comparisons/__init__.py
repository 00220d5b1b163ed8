"""Readings of one chain against each other, drawn jointly: antennas by match and by level."""

__all__ = [
    "antennas",
    "gains",
    "level_table",
    "levels",
]
