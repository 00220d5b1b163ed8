"""Readings of one chain against each other, drawn jointly: antennas by match and by level."""

__all__ = [
    "antennas",
    "bands",
    "differences",
    "gains",
    "joint_trials",
    "level_table",
    "levels",
]
