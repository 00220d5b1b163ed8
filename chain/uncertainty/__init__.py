"""The whole measurement drawn, bounded, linearised; intervals."""

__all__ = [
    "bounds",
    "calibration",
    "contributions",
    "coverage_region",
    "intervals",
    "linear",
    "measurement",
    "one_sided_tests",
    "parallel",
    "reading_ranges",
    "sampling",
    "stacked",
    "streams",
    "whole_sweep",
]
