"""What a 50-ohm analyzer shows of a 75-ohm antenna, and what the antenna truly is."""

__version__ = "0.1.0"
