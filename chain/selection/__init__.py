"""The need file and the search for chains."""

__all__ = [
    "choose",
    "comparison",
    "improve",
    "need",
    "need_file",
    "need_schema",
]
