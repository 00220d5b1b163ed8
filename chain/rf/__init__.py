"""Two-ports, bilinear maps, discs, elements, and one module for each kind of part."""

__all__ = [
    "adapter",
    "bilinear",
    "coax",
    "discs",
    "elements",
    "network",
    "pad",
    "parts",
    "references",
    "regions",
    "twoport",
]
