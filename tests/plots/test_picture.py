"""Pictures: valid PNG and SVG, the answer's figures on their axes, the same bytes each time, the user's text as it is."""

import io
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import matplotlib
import numpy as np
import pytest
from further import wide
from matplotlib.figure import Figure
from PIL import Image
from plot_cases import CASES, plots

from chain.plots.figure import CurveChart, ReflectionChart
from chain.plots.panels import draw_bars, draw_curves
from chain.plots.picture import picture
from chain.plots.smith_chart import draw_reflection

SVG = "{http://www.w3.org/2000/svg}"
LIGHT = ("budget", "few")
HOSTILE = '$\\alpha$ </text><script>alert(1)</script> & "q" %s {x} \\frac 漢字'


def panel_of(plot):
    """The plot on axes of its own."""
    panel = Figure(figsize=(9, 6)).add_axes((0, 0, 1, 1))
    kind = (
        draw_curves
        if isinstance(plot, CurveChart)
        else draw_reflection
        if isinstance(plot, ReflectionChart)
        else draw_bars
    )
    kind(panel, plot, (0, 0, 1, 1), (9, 6))
    return panel


def words(svg):
    """Every text of an SVG file."""
    return ["".join(element.itertext()) for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("name", [*LIGHT, *wide(*(name for name in CASES if name not in LIGHT))])
def test_png_is_valid_and_of_a_sensible_size(name):
    made = picture(plots(name), "png", "Boathouse")
    image = Image.open(io.BytesIO(made))
    image.verify()
    assert image.format == "PNG"
    assert image.size[0] == 1350
    assert 500 < image.size[1] < 2500
    assert len(made) < 1_000_000
    assert {key.lower() for key in image.info} <= {"dpi"}
    pixels = np.asarray(Image.open(io.BytesIO(made)).convert("L"))
    assert 0.01 < np.mean(pixels < 250) < 0.7


@pytest.mark.parametrize("name", CASES)
def test_svg_is_well_formed_and_holds_every_label(name):
    """Titles, axes with units, ticks and direct labels are text, not outlines, so that they can be read and searched."""
    shown = words(picture(plots(name), "svg", "Boathouse"))
    assert "Boathouse" in shown
    for plot in plots(name):
        assert plot.title in shown
        if isinstance(plot, ReflectionChart):
            assert {f"{ohm:g}" for ohm in plot.circle_ohm} <= set(shown)
            assert {trace.label for trace in plot.traces if trace.label} - set(shown) <= {"antenna"}
            continue
        assert plot.x.title in shown
        assert {tick.text for tick in plot.x.ticks} <= set(shown)
        if isinstance(plot, CurveChart):
            assert plot.y.title in shown
            assert {series.label for series in plot.series} <= set(shown)
            assert {level.label for level in plot.levels} <= set(shown)
            assert {span.label for span in plot.spans} | {span.shown for span in plot.spans} <= set(shown)
        else:
            assert {bar.text for group in plot.groups for bar in group.bars} <= set(shown)


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_figures_give_the_same_bytes(kind):
    """Neither a date nor a random identifier gets into the file, and no setting of the user's changes it."""
    first = picture(plots("expect"), kind, "Boathouse")
    with matplotlib.rc_context({"font.size": 20, "text.usetex": True, "axes.facecolor": "black", "lines.linewidth": 9}):
        assert picture(plots("expect"), kind, "Boathouse") == first
        assert matplotlib.rcParams["font.size"] == 20
    assert b"202" not in re.sub(rb"[0-9a-f]{8,}|\d+\.\d+|<!--.*?-->|20260", b"", first) or kind == "png"


def test_nothing_is_loaded_from_elsewhere():
    """No script, no image, no link out of the file."""
    root = ElementTree.fromstring(picture(plots("sweep"), "svg", "Boathouse"))
    for element in root.iter():
        assert element.tag.split("}")[-1] not in ("script", "image", "foreignObject", "a")
        for key, value in element.attrib.items():
            if key.endswith("href"):
                assert value.startswith("#")
            assert not key.lower().startswith("on")


def test_text_of_the_user_s_is_neither_mathematics_nor_markup():
    """Dollar signs, angle brackets and signs that the font lacks pass through; no warning is raised."""
    plot = plots("budget")[0]
    series = (replace(plot.series[0], label=f"0.02 dB {HOSTILE}"[:40]), *plot.series[1:])
    made = picture([replace(plot, series=series)], "svg", HOSTILE)
    shown = words(made)
    assert HOSTILE in shown
    assert series[0].label in shown
    assert not list(ElementTree.fromstring(made).iter(f"{SVG}script"))
    assert Image.open(io.BytesIO(picture([replace(plot, series=series)], "png", HOSTILE))).size[0] == 1350


def test_a_long_title_stands_in_lines():
    shown = words(picture(plots("budget"), "svg", "boathouse " * 20))
    assert sum(text.startswith("boathouse boathouse") for text in shown) == 3


@pytest.mark.parametrize("name", ["budget", "expect", "sweep", "magnitude"])
def test_curves_on_the_axes_are_the_figures(name):
    """Limits of the axes, ticks, lines and bands are those described."""
    plot = plots(name)[0]
    panel = panel_of(plot)
    assert panel.get_xlim() == pytest.approx([float(plot.x.coordinate(end)) for end in (plot.x.low, plot.x.high)])
    assert panel.get_ylim() == pytest.approx([float(plot.y.coordinate(end)) for end in (plot.y.low, plot.y.high)])
    assert panel.get_xlabel() == plot.x.title
    assert panel.get_ylabel() == plot.y.title
    assert [text.get_text() for text in panel.get_yticklabels()] == [tick.text for tick in plot.y.ticks]
    assert panel.get_yticks() == pytest.approx([float(plot.y.coordinate(tick.value)) for tick in plot.y.ticks])
    drawn = {line.get_label(): line for line in panel.lines}
    filled = {band.get_label(): band for band in panel.collections}
    for series in plot.series:
        if series.y is not None:
            assert drawn[series.label].get_xdata() == pytest.approx(plot.x.coordinate(series.x))
            assert drawn[series.label].get_ydata() == pytest.approx(plot.y.coordinate(series.y), nan_ok=True)
        else:
            corners = np.concatenate([path.vertices[:, 1] for path in filled[series.label].get_paths()])
            for edge in (series.low, series.high):
                known = plot.y.coordinate(edge)[~np.isnan(edge)]
                assert np.abs(known[:, None] - corners).min(axis=1).max() < 1e-9
    for level in plot.levels:
        axis, data = (plot.y, "get_ydata") if level.along == "x" else (plot.x, "get_xdata")
        assert getattr(drawn[level.label], data)()[0] == pytest.approx(float(axis.coordinate(level.value)))


@pytest.mark.parametrize("name", ["few", "sweep"])
def test_points_that_no_line_joins_stand_beside_their_label(name):
    """The same point as on the axes, right of them, once for each such series; none for lines."""
    plot = plots(name)[0]
    panel = panel_of(plot)
    lonely = [each for each in plot.series if each.y is not None and not each.joined]
    assert bool(lonely) == (name == "few")
    beside = [
        line
        for line in panel.lines
        if line.get_marker() in "os" and line.get_xdata()[0] > 1 and line.get_transform() == panel.transAxes
    ]
    shown = {line.get_label(): line for line in panel.lines}
    expected = [(shown[each.label].get_marker(), shown[each.label].get_color()) for each in lonely]
    assert [(line.get_marker(), line.get_color()) for line in beside] == expected


def test_no_two_labels_of_a_long_chain_overlap():
    """Twenty bands of a hair's breadth keep their labels apart."""
    plot = plots("budget")[0]
    band = plot.series[0]
    thin = tuple(
        replace(band, label=f"0.02 dB item {n}", low=band.low + 0.01 * n, high=band.low + 0.01 * (n + 1))
        for n in range(20)
    )
    panel = panel_of(replace(plot, series=thin))
    places = sorted(text.get_position()[1] for text in panel.texts if text.get_text().startswith("0.02 dB"))
    assert len(places) == 20
    assert min(np.diff(places)) * panel.get_position().height * 6 >= 0.16


def test_bars_on_the_axes_are_the_figures():
    plot = plots("planes")[0]
    panel = panel_of(plot)
    found = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in panel.patches]
    expected = [
        tuple(float(plot.x.coordinate(end)) for end in (bar.low, bar.high)) for g in plot.groups for bar in g.bars
    ]
    assert np.allclose(found, expected)
    heights = [bar.get_y() for bar in panel.patches]
    assert heights == sorted(heights)
    assert panel.yaxis_inverted()
    bold = [text.get_text() for text in panel.get_yticklabels() if text.get_fontweight() == "bold"]
    assert bold == ["best: after 'lead'"]


def test_reflections_on_the_chart_are_the_figures():
    """Path, limit and named region stand where they are, on equal scales."""
    plot = plots("sweep")[1]
    panel = panel_of(plot)
    assert panel.get_aspect() == 1
    drawn = {line.get_label(): line for line in panel.lines}
    path = next(trace for trace in plot.traces if trace.role == "true")
    assert np.array_equal(drawn["antenna"].get_xdata() + 1j * drawn["antenna"].get_ydata(), path.points)
    limit = drawn[plot.limit_label]
    assert np.hypot(limit.get_xdata(), limit.get_ydata()) == pytest.approx(plot.limit)
    region = next(trace for trace in plot.traces if trace.label.startswith("region"))
    corners = next(patch for patch in panel.patches if patch.get_label() == region.label).get_xy()
    assert np.allclose(corners[:-1, 0] + 1j * corners[:-1, 1], region.points)


def test_a_region_stands_about_its_reflection():
    """The centre of each region drawn lies on the path."""
    traces = plots("sweep")[1].traces
    path = next(trace for trace in traces if trace.role == "true").points
    for trace in traces:
        if trace.closed:
            assert np.abs(path - trace.points.mean()).min() < 0.02
