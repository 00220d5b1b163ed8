"""Parts of the user's own from sweeps: read, fitted, their errors drawn, written as a part file."""

__all__ = [
    "characterize",
    "error_model",
    "intervals",
    "part_making",
    "part_use",
    "records",
    "sweeps",
]
