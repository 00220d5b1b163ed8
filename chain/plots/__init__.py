"""Answers described as plots, and the plots drawn: characters on a terminal, PNG and SVG files."""

__all__ = [
    "budget",
    "differences",
    "disc",
    "expect",
    "figure",
    "log",
    "match",
    "outlets",
    "picture",
    "planes",
    "recover",
    "ripple",
    "terminal",
    "tune",
]
