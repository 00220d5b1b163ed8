"""Two-ports, bilinear maps, discs, elements, and how each kind of part becomes elements."""

__all__ = [
    "discs",
    "elements",
    "matrix",
    "network",
    "parts",
    "twoport",
]
