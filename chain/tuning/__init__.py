"""Which way to bend an antenna: resonances, the change of length and what then; what a network could do."""

__all__ = [
    "crossings",
    "faults",
    "matching",
    "networks",
    "records",
    "spans",
    "tune",
]
