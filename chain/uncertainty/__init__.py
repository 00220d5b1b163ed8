"""The whole measurement drawn, bounded, linearised; intervals."""

__all__ = [
    "bounds",
    "calibration",
    "confidence_belt",
    "contributions",
    "coverage_region",
    "intervals",
    "linear",
    "measurement",
    "monte_carlo",
    "parallel",
    "sampling",
]
