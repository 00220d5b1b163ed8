"""One HTML page and the bench card: drawings, charts, live figures, templates."""

__all__ = [
    "answers",
    "installation",
    "page",
]
