"""The Python surface: what a caller may hand over, set-ups built in code, answers drawn on axes."""

__all__ = [
    "given",
    "readings_given",
    "setup_making",
]
