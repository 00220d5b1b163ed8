"""DC that comes down the lead, and power: volts at the port, heat in every resistor, limits."""

from dataclasses import replace
from math import log10

import pytest
import strategies as build
from hypothesis import given
from hypothesis import strategies as st

from chain.analyses.checks import check
from chain.analyses.dc_feed import direct_current, pad_arms
from chain.analyses.hazards import pad_input_limit_w
from chain.assembly.graph import setup_graph
from chain.files.setup_file import parse_setup
from library.load import load_library

LIBRARY = load_library()


def chain(*items, feed="18 V", near='max_dc = "0 V"'):
    """A chain from N jack to F jack out of tables of items."""
    tables = "".join(f"[[chain]]\n{item}\n" for item in items)
    feed = f'dc_feed = "{feed}"' if feed else ""
    return parse_setup(
        f"""title = "Invented"
[sweep]
start = "174 MHz"
stop = "230 MHz"
points = 3
[near]
connector = "N-50 jack"
{near}
{tables}
[far]
connector = "F-75 jack"
{feed}
""".encode()
    )


PAD = 'id = "pad"\npart = "min-loss-pad-n-f"'
LEAD = 'id = "lead"\npart = "rg6"\nlength = "1 m"\nnear = "F-75 plug"\nfar = "F-75 plug"'


def remarks(setup, rule):
    """What one check said."""
    return [each for each in check(setup).findings if each.rule == rule]


# Minimum-loss pad fed from its 75-ohm side, 50-ohm side open for DC. Computed: Ohm's law on 43.30 + 86.60 ohm. Feeds: 5 and
# 12 V of set-top supplies, 18 V of satellite receivers (published); 24 V of masthead amplifiers (published).
@pytest.mark.parametrize(
    ("feed_v", "current_ma", "shunt_w", "all_w", "port_v"),
    [(5, 38, 0.13, 0.19, 3.3), (12, 92, 0.74, 1.1, 8.0), (18, 139, 1.66, 2.49, 12.0), (24, 185, 2.96, 4.4, 16.0)],
)
def test_pad_with_a_port_that_blocks(feed_v, current_ma, shunt_w, all_w, port_v):
    found = direct_current(setup_graph(chain(PAD, LEAD)), feed_v)
    (shunt,) = [each for each in found.resistors if each.name.startswith("shunt")]
    assert found.current_a * 1e3 == pytest.approx(current_ma, abs=0.6)
    assert shunt.power_w == pytest.approx(shunt_w, abs=0.006)
    assert found.power_w == pytest.approx(all_w, abs=0.06)
    assert found.port_v == pytest.approx(port_v, abs=0.06)
    assert found.port_v == pytest.approx(feed_v * 2 / 3, rel=1e-4)


# The same with a 50-ohm DC load on the 50-ohm side. Computed: 43.30 ohm in series with 86.60 and 50 in parallel.
@pytest.mark.parametrize(("feed_v", "port_v"), [(5, 2.1), (12, 5.1), (18, 7.6)])
def test_pad_with_a_dc_coupled_port(feed_v, port_v):
    found = direct_current(setup_graph(chain(PAD, LEAD)), feed_v, 50.0)
    assert found.port_v == pytest.approx(port_v, abs=0.05)


def test_dc_coupled_port_at_18_volts_draws_more_in_all():
    """18 V is 4.3 W from the supply, the analyzer's own input included (computed: 18^2/75.0 ohm)."""
    found = direct_current(setup_graph(chain(PAD, LEAD)), 18.0, 50.0)
    assert 18.0 * found.current_a == pytest.approx(4.3, abs=0.05)
    assert found.power_w == pytest.approx(4.32 - found.port_v**2 / 50, abs=0.01)


@given(
    arms=st.lists(st.tuples(st.sampled_from(["series", "shunt"]), st.floats(1, 1000)), min_size=1, max_size=6),
    turned=st.booleans(),
    port_ohm=st.one_of(st.none(), st.floats(10, 1000)),
)
def test_any_ladder_draws_what_its_folded_resistance_draws(arms, turned, port_ohm):
    """Independent of nodal analysis: the ladder folded up from the port, arm by arm, and its voltage divided down."""
    part = build.ladder(arms)
    setup = build.setup_of([build.item(part, "pad", reversed=turned)])
    found = direct_current(setup_graph(setup), 10.0, port_ohm)
    from_port = list(reversed(arms)) if turned else arms
    siemens, gain = (1 / port_ohm if port_ohm else 0.0), 1.0
    for kind, ohm in from_port:
        if kind == "shunt":
            siemens += 1 / ohm
        else:
            gain /= 1 + ohm * siemens
            siemens /= 1 + ohm * siemens
    assert found.current_a == pytest.approx(10.0 * siemens, rel=1e-9, abs=1e-12)
    assert found.port_v == pytest.approx(10.0 * gain, rel=1e-9)


# T and matched T pads, ohm: computed by K = 10^(A/20), series Z0 (K-1)/(K+1), shunt 2 Z0 K/(K^2-1) and by the formula
# for unequal impedances; 10 dB at 75 ohm as 39.0/52.7 and 3 dB at 50 ohm as 8.5/142 also published (textbook, reprint note).
@pytest.mark.parametrize(
    ("loss_db", "near_ohm", "far_ohm", "arms"),
    [
        (3, 50.0, 50.0, [8.550, 141.93, 8.550]),
        (10, 75.0, 75.0, [38.962, 52.705, 38.962]),
        (8, 50.0, 75.0, [10.89, 57.94, 45.31]),
        (20, 75.0, 50.0, [64.14, 12.37, 38.64]),
        (build.LEAST_LOSS_DB, 50.0, 75.0, [86.60, 43.30]),
        (5.0, 50.0, 75.0, [86.60, 43.30]),
        (0.0, 50.0, 50.0, []),
    ],
)
def test_resistors_of_a_pad_that_is_only_specified(loss_db, near_ohm, far_ohm, arms):
    found = pad_arms(build.pad(loss_db, near_ohm, far_ohm))
    assert [ohm for _, ohm in found] == pytest.approx(arms, rel=5e-4)


def test_resistors_stated_by_the_part_are_taken_as_they_are():
    assert pad_arms(LIBRARY.part("min-loss-pad-43-91")) == (("shunt", 91.0), ("series", 43.0))


def test_feed_above_what_the_port_stands_is_a_stop():
    (port,) = remarks(chain(PAD, LEAD), "dc")
    assert (port.level, port.where) == ("stop", "near")
    assert "12.0 V" in port.text
    assert "7.6 V" in port.text
    assert "takes at most 0 V" in port.text
    assert "meter" in port.remedy


def test_feed_below_what_the_port_stands_is_a_note():
    (port,) = remarks(chain(PAD, LEAD, feed="5 V", near='max_dc = "25 V"'), "dc")
    assert port.level == "note"


def test_port_of_unknown_limit_is_a_caution():
    (port,) = remarks(chain(PAD, LEAD, near=""), "dc")
    assert port.level == "caution"
    assert "not stated" in port.text


def test_resistors_past_their_rating_are_a_stop_and_within_it_a_note():
    (hot,) = remarks(chain(PAD, LEAD), "dc-heat")
    assert (hot.level, hot.where) == ("stop", "pad")
    assert "2.49 W in all" in hot.text
    (mild,) = remarks(chain(PAD, LEAD, feed="5 V"), "dc-heat")
    assert mild.level == "note"


def test_no_feed_says_nothing_and_an_unstated_one_asks_for_the_meter():
    assert remarks(chain(PAD, LEAD, feed="0 V"), "dc") == []
    assert remarks(chain(PAD, LEAD, feed="0 V"), "dc-heat") == []
    (reminder,) = remarks(chain(PAD, LEAD, feed=None), "dc")
    assert reminder.level == "caution"
    assert "meter" in reminder.remedy


TRANSFORMER = 'id = "transformer"\npart = "transformer-50-75"\nnear = "N-50 plug"\nfar = "F-75 jack"'
"""A ferrite transformer shorts DC at both ends."""


def test_transformer_next_to_the_lead_shorts_the_supply():
    setup = chain(TRANSFORMER, LEAD)
    assert direct_current(setup_graph(setup), 18.0).shorted
    (short,) = remarks(setup, "dc")
    assert short.level == "caution"
    assert "short" in short.text
    assert remarks(setup, "dc-heat") == []


def test_pad_before_a_transformer_takes_the_whole_feed_in_its_series_arm():
    """Computed: 18 V across 43.30 ohm alone, the shunt arm shorted."""
    attenuator = 'id = "pad"\npart = "min-loss-pad-resistors-f"\nnear = "F-75 jack"\nfar = "F-75 jack"'
    setup = chain(TRANSFORMER, LEAD, attenuator, LEAD.replace('"lead"', '"tail"'))
    found = direct_current(setup_graph(setup), 18.0)
    assert found.power_w == pytest.approx(18**2 / 43.3013, rel=1e-4)
    assert found.port_v == 0.0
    (port,) = remarks(setup, "dc")
    assert port.level == "note"
    assert "do not reach" in port.text


def test_part_that_blocks_dc_keeps_it_from_what_lies_nearer():
    block = replace(build.adapter(75.0), dc="block")
    setup = build.setup_of([build.item(build.pad(), "pad"), build.item(block, "block")])
    found = direct_current(setup_graph(setup), 18.0)
    assert found.port_v == 0.0
    assert found.power_w == 0.0


SPLITTER = 'id = "split"\npart = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\nend = {end}'
TAIL = LEAD.replace('"lead"', '"tail"')


@pytest.mark.parametrize(
    ("end", "where"), [('"75 ohm"', "split.out2"), ('[{id = "load", part = "load-f-plug"}]', "load")]
)
def test_load_on_an_arm_of_a_splitter_is_heated(end, where):
    """Computed: 18^2/75 ohm; a splitter that passes DC puts the feed on all its ports."""
    (arm,) = [
        each for each in remarks(chain(PAD, LEAD, SPLITTER.format(end=end), TAIL), "dc-heat") if each.where == where
    ]
    assert arm.level == "caution"
    assert "4.32 W" in arm.text


def test_open_arm_and_shorted_arm():
    open_arm = chain(PAD, LEAD, SPLITTER.format(end='"open"'), TAIL)
    assert [each.where for each in remarks(open_arm, "dc-heat")] == ["pad"]
    shorted = chain(PAD, LEAD, SPLITTER.format(end='[{id = "stub", part = "short-f-plug"}]'), TAIL)
    assert direct_current(setup_graph(shorted), 18.0).shorted


# Most power into a minimum-loss pad whose resistors have a rating: W/0.5774, computed from the split 57.7/15.5/26.8 %.
@pytest.mark.parametrize(
    ("rating_w", "input_dbm"), [(1 / 16, 20.3), (0.1, 22.4), (0.125, 23.4), (0.25, 26.4), (0.5, 29.4), (1.0, 32.4)]
)
@pytest.mark.parametrize("from_far", [True, False])
def test_power_a_pad_stands(rating_w, input_dbm, from_far):
    limit_w = pad_input_limit_w(replace(build.pad(), resistor_power_w=rating_w), from_far)
    assert 10 * log10(limit_w * 1e3) == pytest.approx(input_dbm, abs=0.06)
    assert limit_w == pytest.approx(rating_w / 0.57735, rel=1e-4)


def test_power_limits_are_reported_for_pad_and_port():
    pad, port = remarks(chain(PAD, LEAD, near='max_power = "20 dBm"'), "power")
    assert (pad.where, port.where) == ("pad", "near")
    assert "26.4 dBm" in pad.text
    # 20 dBm and the pad's least loss, 5.72 - 0.2 dB.
    assert "25.5 dBm" in port.text
    # 2 W are 33.0103 dBm, which nobody states.
    assert "at most 33 dBm," in remarks(chain(PAD, LEAD, near='max_power = "2 W"'), "power")[1].text


def test_no_pad_and_no_stated_port_limit_say_nothing_of_power():
    lead = 'id = "a"\npart = "n-plug-bnc-plug"'
    assert remarks(chain(lead), "power") == []
