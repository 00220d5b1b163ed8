"""Answers about one set-up to tables and JSON, and what all reports share; computes nothing."""

__all__ = [
    "budget",
    "card",
    "check",
    "choose",
    "expect",
    "learn",
    "numbers",
    "parts",
    "phrases",
    "planes",
    "prove",
    "recover",
    "ripple",
    "schemas",
    "tables",
]
