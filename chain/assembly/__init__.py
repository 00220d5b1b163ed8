"""A set-up's elements in order: connections, graph, cascade, budget, power, plane."""

__all__ = [
    "bare_pad",
    "budget",
    "cascade",
    "graph",
    "power",
]
