"""Measurements kept for years, one text file each: added, listed, their trends and steps; a folder of sweeps followed."""

__all__ = [
    "adding",
    "folder",
    "following",
    "record",
    "record_file",
    "trends",
]
