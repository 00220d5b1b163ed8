"""Two-ports, bilinear maps, discs, elements, and how each kind of part becomes elements."""

__all__ = [
    "bilinear",
    "coax",
    "discs",
    "elements",
    "matrix",
    "network",
    "parts",
    "regions",
    "twoport",
]
