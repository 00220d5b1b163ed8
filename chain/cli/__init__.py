"""Parse, call, print."""

__all__ = [
    "main",
]
