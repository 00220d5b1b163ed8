"""The whole measurement drawn, bounded, linearised; intervals."""

__all__ = [
    "bounds",
    "calibration",
    "contributions",
    "coverage_region",
    "intervals",
    "linear",
    "measurement",
    "monte_carlo",
    "one_sided_tests",
    "parallel",
    "reading_ranges",
    "sampling",
    "whole_sweep",
]
