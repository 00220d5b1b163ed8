"""Results to tables and JSON; computes nothing."""

__all__ = [
    "budget",
    "card",
    "check",
    "choose",
    "compare",
    "differences",
    "expect",
    "learn",
    "numbers",
    "outlet_tree",
    "outlets",
    "parts",
    "phrases",
    "planes",
    "prove",
    "recover",
    "ripple",
    "schemas",
    "tables",
    "tune",
]
