"""Plots as data: every figure drawn is a figure of the answer, axes hold them, colours are those published."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plot_cases import CASES, EVERY, answer, plots
from skrf.tlineFunctions import zl_2_Gamma0

from chain.analyses.improvements import Share
from chain.plots.budget import describe as describe_budget
from chain.plots.disc import constant_reactance, constant_resistance
from chain.plots.figure import (
    LOOKS,
    PALETTE,
    CurveChart,
    ReflectionChart,
    even_axis,
    frequency_axis,
    part_look,
    spread,
    vswr_axis,
)
from chain.plots.recover import describe as describe_recovery
from chain.plots.ripple import describe as describe_ripple
from chain.reflection import vswr


def by_role(chart):
    return {series.role: series for series in chart.series}


def test_the_cases_have_the_plots_that_the_table_says():
    """The parametrised tests below miss none."""
    assert [(name, number) for name in CASES for number in range(len(plots(name)))] == EVERY


def test_the_stack_is_the_budget_without_gap_or_overlap():
    """Each band stands on the one before; all of them and the interaction make the transducer loss."""
    found = answer("budget").budget
    chart = plots("budget")[0]
    bands = [series for series in chart.series if series.role == "part"]
    assert np.all(bands[0].low == 0)
    for below, above in pairwise(bands):
        assert np.array_equal(below.high, above.low)
    for band, item in zip(bands, found.items, strict=True):
        assert np.allclose(band.high - band.low, item.attenuation_db)
        assert item.id in band.label
    total = by_role(chart)["total"]
    steps = sum(joint.mismatch_loss_db for joint in found.joints)
    assert np.allclose(bands[-1].high + steps + found.interaction_db, total.y)
    assert np.array_equal(total.y, found.transducer_loss_db)


def test_a_step_between_impedances_has_its_band_in_its_place():
    """A 50-ohm barrel among 75-ohm leads shows where it stands."""
    result = answer("budget")
    joint = replace(result.budget.joints[2], mismatch_loss_db=0.18)
    joints = (*result.budget.joints[:2], joint, result.budget.joints[3])
    stepped = replace(result, budget=replace(result.budget, joints=joints))
    bands = [series for series in describe_budget(stepped)[0].series if series.role == "part"]
    assert [series.label.split(" dB ")[1] for series in bands] == [
        "adapter",
        "pad",
        f"step {joint.near}/{joint.far}",
        "lead",
    ]
    assert np.allclose(bands[2].high - bands[2].low, 0.18)


def test_the_curve_of_readings_goes_through_the_rows_and_nests():
    """The curve is the table of the text at more values; interval inside bound, reading inside interval."""
    result = answer("expect")
    roles = by_role(plots("expect")[0])
    reading, interval, bound = roles["reading"], roles["interval"], roles["bound"]
    axis = plots("expect")[0].x
    for row in result.rows:
        at = float(axis.coordinate(row.true_vswr))
        for series, values in (
            (row.reading_vswr, reading.y),
            (row.bound_high, bound.high),
            (row.reading_high, interval.high),
        ):
            assert np.interp(at, axis.coordinate(reading.x), values) == pytest.approx(series, abs=0.02)
    assert np.all(bound.low <= interval.low + 1e-12)
    assert np.all(interval.low <= reading.y + 1e-12)
    assert np.all(reading.y <= interval.high + 1e-12)
    assert np.all(interval.high <= bound.high + 1e-12)
    assert reading.x[0] == 1
    assert np.isinf(reading.x[-1])
    levels = {level.label.split()[0]: level for level in plots("expect")[0].levels}
    assert levels["ceiling"].value == result.ceiling_vswr
    assert (levels["limit"].value, levels["limit"].along) == (2.0, "y")


@pytest.mark.parametrize("name", ["sweep", "magnitude", "few"])
def test_the_sweep_is_the_recovery(name):
    """As read, recovered, interval and bound are the result's own arrays; a refused reading leaves a gap."""
    result, chart = answer(name), plots(name)[0]
    roles = by_role(chart)
    assert np.array_equal(roles["reading"].y, result.reading_vswr)
    assert np.array_equal(roles["interval"].low, result.low, equal_nan=True)
    assert np.array_equal(roles["interval"].high, result.high, equal_nan=True)
    assert np.array_equal(roles["bound"].high, result.bound_high, equal_nan=True)
    refused = np.isnan(result.low)
    assert np.array_equal(np.isnan(roles["true"].y), refused)
    assert np.array_equal(roles["true"].y[~refused], result.true_vswr[~refused])
    assert refused.any() == (name == "magnitude")
    assert [level.value for level in chart.levels] == [result.limit_vswr]
    assert roles["true"].joined == (name != "few")


def test_channels_keep_their_edges_and_verdicts():
    result, chart = answer("sweep"), plots("sweep")[0]
    assert [(span.label, span.low, span.high, span.verdict) for span in chart.spans] == [
        (each.channel, each.low_hz, each.high_hz, each.verdict) for each in result.channels
    ]
    assert len({span.verdict for span in chart.spans}) > 1
    assert {span.verdict for span in chart.spans} <= set(LOOKS)


def test_the_reflection_chart_is_in_the_far_impedance_and_says_so():
    """Path, regions and limit in 75 ohm; the worst point's region comes first and is named."""
    result, chart = answer("sweep"), plots("sweep")[1]
    assert isinstance(chart, ReflectionChart)
    assert chart.reference_ohm == result.far_ohm == 75
    assert "75 ohm" in chart.title
    assert chart.limit == pytest.approx(1.5 / 3.5)
    path = next(trace for trace in chart.traces if trace.role == "true")
    assert np.array_equal(path.points, result.true_reflection)
    assert path.ends == ("174 MHz", "240 MHz")
    regions = [trace for trace in chart.traces if trace.closed]
    worst = int(np.argmax(result.high))
    assert np.array_equal(regions[0].points, result.region.outline[worst])
    assert regions[0].label.endswith(f"at {result.freq_hz[worst] / 1e6:g} MHz")
    assert all(np.isin(trace.points, result.region.outline).all() for trace in regions)


def test_the_named_region_is_that_of_the_worst_point_wherever_it_is():
    """The point with the highest upper end, in the middle of the sweep as well."""
    result = answer("sweep")
    high = np.where(np.arange(result.high.size) == 40, 50.0, result.high)
    named = describe_recovery(replace(result, high=high))[1].traces[0]
    assert named.label == f"region 95 % at {result.freq_hz[40] / 1e6:g} MHz"
    assert np.array_equal(named.points, result.region.outline[40])


def test_a_ripple_is_drawn_as_found():
    """As read, fitted and without ripple are the result's arrays; the gated sweep is drawn where it can be trusted."""
    result, (chart, bars) = answer("ripple"), plots("ripple")
    drawn = {series.label: series.y for series in chart.series}
    assert np.array_equal(drawn["as read"], vswr(result.reading))
    assert np.array_equal(drawn["fit"], vswr(result.fitted))
    assert np.array_equal(drawn["without ripple"], vswr(result.steady))
    assert 0 < np.count_nonzero(result.trusted) < result.freq_hz.size
    assert np.array_equal(np.isfinite(drawn["time-gated"]), result.trusted)
    assert np.array_equal(drawn["time-gated"][result.trusted], vswr(np.abs(result.gated[result.trusted])))
    assert [group.bars[0].high for group in bars.groups] == [each.reflection for each in result.components]
    assert all(not series.drawn.dash for series in chart.series if series.label == "as read")


def test_a_sweep_without_ripple_or_with_too_few_points_is_drawn_all_the_same():
    """Nothing to take out, nothing to compare: the sweep alone."""
    for kind in ("none", "too few points"):
        blank = np.full(answer("ripple").freq_hz.shape, np.nan)
        found = replace(
            answer("ripple"), verdict=kind, components=(), gated=None, trusted=None, fitted=blank, steady=blank
        )
        (chart,) = describe_ripple(found)
        assert [series.label for series in chart.series] == ["as read"]


def test_shares_and_planes_are_those_of_the_answers():
    shares = {group.label: group.bars[0].high for group in plots("sweep")[-1].groups}
    assert shares == {each.id: each.share for each in answer("sweep").contributions}
    planes, chart = answer("planes"), plots("planes")[0]
    for plane, group in zip(planes.planes, chart.groups, strict=True):
        assert [(bar.low, bar.high) for bar in group.bars] == [
            (plane.low, plane.high),
            (plane.limit_low, plane.limit_high),
        ]
        assert group.chosen == (plane.plane == planes.recommended)
    assert [level.value for level in chart.levels] == [1.5, 2.0]


def test_more_contributions_than_room_leave_the_sum_whole():
    """The smallest are drawn as one."""
    many = tuple(Share(f"part {number}", 0.05) for number in range(20))
    groups = describe_recovery(replace(answer("few"), contributions=many))[-1].groups
    assert sum(group.bars[0].high for group in groups) == pytest.approx(1.0)
    assert groups[-1].label == "others"


@pytest.mark.parametrize(("name", "number"), EVERY)
def test_axes_hold_what_is_drawn_and_state_units(name, number):
    plot = plots(name)[number]
    if isinstance(plot, ReflectionChart):
        assert "ohm" in plot.title
        return
    axes = [plot.x, plot.y] if isinstance(plot, CurveChart) else [plot.x]
    for axis in axes:
        assert axis.unit in ("MHz", "VSWR", "dB", "%", "magnitude")
        assert axis.title.endswith(f", {axis.unit}")
        places = axis.share([tick.value for tick in axis.ticks])
        assert len(places) >= 2
        assert np.all((places >= -1e-9) & (places <= 1 + 1e-9))
        assert np.all(np.diff(places) > 0)
    series = plot.series if isinstance(plot, CurveChart) else ()
    for values, axis in [(each, plot.x) for s in series for each in (s.x,)] + [
        (each, plot.y) for s in series for each in (s.y, s.low, s.high) if each is not None
    ]:
        shares = axis.share(values)
        assert np.all(np.isnan(shares) | ((shares >= -1e-9) & (shares <= 1 + 1e-9)))


def test_every_role_of_one_plot_differs_without_colour():
    """Dashes or hatching, and the character on a terminal, tell roles apart."""
    lines = [LOOKS[role] for role in ("reading", "true", "bound", "limit", "ceiling")]
    assert len({look.dash for look in lines}) == len(lines)
    for group in (
        ("reading", "true", "interval", "bound", "limit", "ceiling"),
        ("pass", "fail", "not proven", "impossible"),
    ):
        assert len({LOOKS[role].ascii for role in group}) == len(group)
        assert len({(LOOKS[role].dash, LOOKS[role].hatch, LOOKS[role].shade) for role in group}) == len(group)
    assert all(look.ascii.isascii() for look in LOOKS.values())
    parts = [part_look(number) for number in range(26)]
    assert len({look.ascii for look in parts}) == 26
    assert len({(look.colour, look.hatch) for look in parts}) == 26


def test_the_palette_is_the_published_one():
    """Okabe and Ito, Color Universal Design (2008), as RGB in Wong, Nature Methods 8 (2011) 441 (memory); and matplotlib's."""
    published = {
        "black": (0, 0, 0),
        "orange": (230, 159, 0),
        "sky blue": (86, 180, 233),
        "bluish green": (0, 158, 115),
        "yellow": (240, 228, 66),
        "blue": (0, 114, 178),
        "vermillion": (213, 94, 0),
        "reddish purple": (204, 121, 167),
    }
    assert {name: "#{:02X}{:02X}{:02X}".format(*rgb) for name, rgb in published.items()} == PALETTE
    import matplotlib

    known = dict(matplotlib.color_sequences).get("okabe_ito")
    if known is not None:
        assert [tuple(round(255 * part) for part in rgb) for rgb in known] == list(published.values())
    assert {look.colour for look in LOOKS.values()} <= set(PALETTE.values())


@pytest.mark.parametrize("ohm", [15.0, 75.0, 375.0])
def test_circles_of_the_chart_are_those_of_scikit_rf(ohm):
    """Reflections that scikit-rf computes from impedances lie on the circles drawn."""
    other = np.geomspace(0.5, 2e4, 200)
    for sign in (1, -1):
        expected = np.asarray(zl_2_Gamma0(75.0, ohm + sign * 1j * other)).ravel()
        circle = constant_resistance(ohm, 75.0)
        assert np.abs(expected[:, None] - circle).min(axis=1).max() < 0.02
        expected = np.asarray(zl_2_Gamma0(75.0, other + sign * 1j * ohm)).ravel()
        arc = constant_reactance(sign * ohm, 75.0)
        assert np.abs(expected[:, None] - arc).min(axis=1).max() < 0.02
        assert np.abs(arc).max() <= 1 + 1e-9


@given(st.lists(st.floats(-0.5, 1.5), max_size=12), st.floats(0.01, 0.3))
def test_labels_never_collide_and_keep_their_order(wanted, gap):
    """Places of direct labels: inside the room, apart by the gap or by what the room allows, in the order wanted."""
    places = spread(wanted, gap, 0.0, 1.0)
    assert np.all((places >= -1e-9) & (places <= 1 + 1e-9))
    order = np.argsort(np.asarray(wanted), kind="stable")
    if len(wanted) > 1:
        least = min(gap, 1 / (len(wanted) - 1))
        assert np.all(np.diff(places[order]) >= least - 1e-9)


@given(st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_a_vswr_axis_is_spaced_by_reflection(first, second):
    """Equal steps of reflection are equal steps of the axis; an infinite VSWR has its place."""
    axis = vswr_axis("antenna", float("inf"))
    places = axis.share([(1 + first) / (1 - first), (1 + second) / (1 - second)])
    assert places == pytest.approx([first, second])
    assert axis.share([1.0, float("inf")]).tolist() == [0.0, 1.0]
    assert np.isnan(axis.share(float("nan")))


@given(st.floats(1.0, 20.0), st.floats(1.0, 20.0))
def test_a_vswr_axis_holds_both_ends_and_has_ticks(first, second):
    """Whatever the span, four ticks or more of different text inside it, and both values on the axis."""
    axis = vswr_axis("screen", max(first, second), min(first, second))
    assert np.all((axis.share([first, second]) >= -1e-9) & (axis.share([first, second]) <= 1 + 1e-9))
    places = axis.share([tick.value for tick in axis.ticks])
    assert len({tick.text for tick in axis.ticks}) == len(axis.ticks) >= 3
    assert np.all((places >= -1e-6) & (places <= 1 + 1e-6))


@given(st.floats(-1e3, 1e9), st.floats(1e-3, 1e9))
def test_ticks_are_round_few_and_distinct(low, span):
    """Two to seven ticks inside the axis, and no two of one text."""
    axis = even_axis("x", "u", low, low + span)
    texts = [tick.text for tick in axis.ticks]
    assert 2 <= len(texts) <= 8
    assert len(set(texts)) == len(texts)
    for tick in axis.ticks:
        assert low - 1e-6 * span <= tick.value <= low + span + 1e-6 * span
        assert float(tick.text) == pytest.approx(tick.value, rel=1e-9, abs=1e-6 * span)


@pytest.mark.parametrize(
    ("freq_hz", "unit"), [(5e4, "kHz"), (174e6, "MHz"), (2.4e9, "MHz"), (12e9, "GHz"), (50.0, "Hz")]
)
def test_frequencies_get_the_unit_that_suits_them(freq_hz, unit):
    assert frequency_axis([freq_hz]).unit == unit
