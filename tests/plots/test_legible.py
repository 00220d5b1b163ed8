"""Every answer drawn by `.plot()`, on axes of a usual figure and on its own: no text on another, none cut off, labels beside the curves."""

from itertools import combinations

import pytest
from further import wide
from public_results import result

from chain.calls.drawing import DRAWN

pytest.importorskip("matplotlib")
PIXEL = 1.5
"""By so much boxes around texts may overlap: their margins."""


def drawn(name, own):
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if own:
        panel = result(name).plot()
    else:
        panel = result(name).plot(Figure(figsize=(6.4, 4.8), dpi=100).add_subplot())
    canvas = FigureCanvasAgg(panel.figure)
    # Every text is laid out where it stands; pixels say nothing more of it.
    panel.figure.draw_without_rendering()
    return panel, canvas.get_renderer()


def texts(panel, renderer):
    """Boxes in pixels of all texts that are seen."""
    from matplotlib.text import Text

    for each in panel.figure.findobj(Text):
        if each.get_visible() and each.get_text().strip():
            yield each.get_text(), each.get_window_extent(renderer)


OWN = "Account", "LogTrends", "Planes", "Recovery"
"""Answers that are drawn on a figure of their own as well: bands, dates, bars, and a course between limits."""


@pytest.mark.parametrize(
    ("name", "own"),
    [
        *((name, False) for name in DRAWN),
        *((name, True) for name in OWN),
        *wide(*((name, True) for name in DRAWN if name not in OWN)),
    ],
)
def test_every_text_can_be_read(name, own):
    panel, renderer = drawn(name, own)
    width, height = panel.figure.bbox.width, panel.figure.bbox.height
    found = list(texts(panel, renderer))
    assert len(found) > 4
    for text, box in found:
        assert box.x0 >= -PIXEL, text
        assert box.x1 <= width + PIXEL, text
        assert box.y0 >= -PIXEL, text
        assert box.y1 <= height + PIXEL, text
    for (one, first), (other, second) in combinations(found, 2):
        across = min(first.x1, second.x1) - max(first.x0, second.x0)
        along = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert across <= PIXEL or along <= PIXEL, (one, other)
    axes = panel.get_window_extent(renderer)
    assert axes.width > 0.3 * width
    assert axes.height > 0.35 * height
