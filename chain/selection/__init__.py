"""The need file and the search for chains."""

__all__ = [
    "choose",
    "comparison",
    "improve",
    "need_file",
    "need_schema",
]
