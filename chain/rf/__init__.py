"""Two-ports, bilinear maps, discs, elements, and one module for each kind of part."""

__all__ = [
    "bilinear",
    "coax",
    "discs",
    "elements",
    "matrix",
    "network",
    "parts",
    "references",
    "regions",
    "twoport",
]
