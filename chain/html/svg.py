"""Elements of an inline drawing: attributes written for HTML, every text escaped by the serializer."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree.ElementTree import Element, SubElement, tostring

from chain.errors import plain
from chain.plots.figure import PALETTE, Look

Value = str | float | int
NAMES = {colour: name.replace(" ", "-") for name, colour in PALETTE.items()}


def _text(value: Value) -> str:
    if isinstance(value, str):
        return plain(value)
    return f"{value:.1f}".removesuffix(".0")


def add(parent: Element, tag: str, text: str = "", /, **attributes: Value) -> Element:
    """Add an element."""
    named = {name.rstrip("_").replace("_", "-"): _text(value) for name, value in attributes.items()}
    made = SubElement(parent, tag, named)
    made.text = plain(text) or None
    return made


def colour(look: Look) -> str:
    """Colour of a look as the page's style names it, so that it follows light and dark."""
    return f"var(--{NAMES[look.colour]})"


def drawing_root(width: float, height: float, name: str, title: str, description: str = "") -> Element:
    """Root of a drawing that scales with its place, with what it shows in words.

    Source: Scalable Vector Graphics 2: viewBox; WAI-ARIA role img.
    """
    ids = f"{name}-title" + (f" {name}-desc" if description else "")
    root = Element("svg", {"viewBox": f"0 0 {_text(width)} {_text(height)}", "role": "img", "aria-labelledby": ids})
    add(root, "title", title, id=f"{name}-title")
    if description:
        add(root, "desc", description, id=f"{name}-desc")
    return root


def markup(root: Element) -> str:
    """Text of a drawing for an HTML page."""
    return tostring(root, "unicode", short_empty_elements=False)


def path_of(points: Iterable[tuple[float, float]], closed: bool = False) -> str:
    """Path through points (Scalable Vector Graphics 2, path data)."""
    text = "L".join(f"{_text(float(x))} {_text(float(y))}" for x, y in points)
    return f"M{text}{'Z' if closed else ''}" if text else ""


def shortened(text: str, most: int) -> str:
    """Text cut to a length, with a sign that it was."""
    return text if len(text) <= most else f"{text[: most - 1]}…"
