"""The installed path to tables and JSON; computes nothing."""

__all__ = [
    "installation",
    "mending",
    "outlet_tree",
    "outlets",
    "placement",
    "seen",
]
