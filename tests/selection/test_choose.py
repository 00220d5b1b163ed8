"""Chains chosen from real parts: what is buildable, what it adds up to, how it is put in order, and what is missing."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from chain_world import every_chain, front_of
from screens import says

from chain.analyses.checks import check
from chain.analyses.improvements import interval_at
from chain.assembly.cascade import build
from chain.cli.choose import RANKS
from chain.errors import RangeError
from chain.reflection import magnitude_from_vswr, vswr
from chain.selection.choose import RESOLVED, choose
from chain.selection.comparison import comparison
from chain.selection.missing import _joint_table
from chain.selection.need_file import load_need, parse_need
from chain.selection.ranking import plane_intervals
from chain.selection.search import best_chains
from chain.selection.stock import NANO, own_values, search_space, setup_of
from chain.setups import Calibration
from chain.uncertainty.measurement import measurement_of, nominal_maps
from library.load import load_library

pytestmark = pytest.mark.usefixtures("trials")
ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "demo" / "need.toml"


def need_of(rows, near="N-50 jack", far="F-75 jack", more=""):
    """Need with rows (part, price, stock[, more keys]); price None: owned."""
    text = f'[need]\nnear = "{near}"\nfar = "{far}"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n{more}\n'
    for part, price, stock, *keys in rows:
        text += (
            f"[[have]]\ncount = {stock}\n" if price is None else f'[[offer]]\nprice = "{price} EUR"\nstock = {stock}\n'
        )
        text += f'part = "{part}"\n' + "".join(keys) + "\n"
    return parse_need(text.encode(), "need.toml")


LEAD = 'near = "BNC-75 plug"\nfar = "F-75 plug"\n'
CLASSIC = [("n-plug-bnc-plug", 6.5, 3), ("min-loss-pad", None, 1), ("rg59", 3, 2, LEAD)]


@pytest.fixture(scope="module")
def demo():
    return choose(load_need(DEMO))


def test_the_front_of_the_example_is_that_of_plain_enumeration(demo):
    room = search_space(load_need(DEMO))
    expected = {row for row in front_of(every_chain(room.catalogue, 4)) if row[0] <= 4000}
    found = {
        (round(100 * each.cost), round(NANO * each.loss_db), round(NANO * each.sum_reflection), each.joints)
        for each in demo.chains
    }
    assert expected == found
    assert len(found) == len(demo.chains)


def test_every_chain_fits_together_and_keeps_within_stock_and_budget(demo):
    stock = {(offer.name, offer.where): offer.stock for offer in demo.need.offers}
    for chain in demo.chains:
        assert check(chain.setup).fits
        used = Counter((item.part, item.where) for item in chain.items)
        assert all(stock[key] >= count for key, count in used.items())
        assert chain.cost <= 40
        assert chain.cost == pytest.approx(sum(each.count * each.price for each in chain.buy))
        assert not {each.where for each in chain.buy} & {item.where for item in chain.items if item.owned}
        assert len(chain.items) <= 4
        assert chain.joints == len(chain.items) + 1 == len(chain.meetings)


def test_a_chain_counted_by_hand():
    chain = choose(need_of(CLASSIC)).chains[0]
    assert [item.part for item in chain.items] == ["n-plug-bnc-plug", "min-loss-pad", "rg59"]
    assert chain.cost == 9.5
    # Worst at 240 MHz: adapter 0.05 sqrt(0.24) dB; pad 10 log10(2 + sqrt 3) dB; 0.6 m of cable by its coefficients.
    cable = load_library().part("rg59")
    per_100m = cable.flat_db_per_100m + cable.per_sqrt_mhz_db_per_100m * 240**0.5 + cable.per_mhz_db_per_100m * 240
    assert chain.loss_db == pytest.approx(0.05 * 0.24**0.5 + 10 * np.log10(2 + 3**0.5) + 0.006 * per_100m, abs=1e-3)
    # Return losses of 26, 26 and 20 dB as magnitudes.
    assert chain.sum_reflection == pytest.approx(10**-1.3 + 10**-1.3 + 0.1, abs=1e-6)


def test_a_step_of_impedance_counts_with_what_it_loses_and_reflects():
    # Straight from 50 to 75 ohm: reflection 1/5, loss -10 log10(1 - 1/25) = 0.177 dB (computed).
    chain = choose(need_of([("n-plug-f-plug", 5, 1)])).chains[0]
    adapter = chain.setup.items[0].part
    steps = [
        (adapter.impedance_ohm - 50) / (adapter.impedance_ohm + 50),
        (75 - adapter.impedance_ohm) / (75 + adapter.impedance_ohm),
    ]
    lost = sum(-10 * np.log10(1 - rho * rho) for rho in steps)
    own_loss, own_reflection = own_values(chain.setup.items[0], np.linspace(174e6, 240e6, 21))
    assert lost == pytest.approx(0.1773, abs=1e-4)
    assert chain.loss_db == pytest.approx(own_loss + lost, abs=1e-6)
    assert chain.sum_reflection == pytest.approx(own_reflection + 0.2, abs=1e-6)


def test_destructive_joints_are_never_used_and_costed_ones_are_reported():
    # A 50-ohm N plug spreads the contact of a 75-ohm N jack.
    ruinous = [("n-plug-n-plug", 1, 5), ("n75-jack-n75-jack", 1, 5), ("n75-plug-f-plug", 1, 5)]
    assert choose(need_of(ruinous)).chains == ()
    wrong = choose(need_of([("n-plug-bnc-jack", 1, 1), ("bnc75-plug-f-plug", 1, 1)])).chains[0]
    costed = [each for each in wrong.meetings if each.verdict == "costed"]
    assert len(costed) == 1
    assert "wrong" in costed[0].reason
    assert wrong.sum_reflection > sum(item.reflection for item in wrong.items)


def test_a_piece_is_turned_round_where_that_makes_it_fit():
    chain = choose(need_of(CLASSIC, near="F-75 jack", far="N-50 jack", more='near_impedance = "75 ohm"')).chains[0]
    assert [(item.part, item.reversed) for item in chain.items] == [
        ("rg59", True),
        ("min-loss-pad", True),
        ("n-plug-bnc-plug", True),
    ]
    assert check(chain.setup).fits


BACK = [("n-plug-bnc-plug", 6, 1), ("bnc-jack-bnc-jack", 2, 1)]


def test_a_piece_is_used_twice_only_if_there_are_two():
    once = choose(need_of(BACK, far="N-50 jack", more='far_impedance = "50 ohm"'))
    assert once.chains == ()
    assert "needed twice" in once.missing.reason
    twice = choose(need_of([("n-plug-bnc-plug", 6, 2), BACK[1]], far="N-50 jack", more='far_impedance = "50 ohm"'))
    assert [item.id for item in twice.chains[0].items] == ["n-plug-bnc-plug", "bnc-jack-bnc-jack", "n-plug-bnc-plug-2"]
    assert [(each.part, each.count) for each in twice.chains[0].buy] == [
        ("n-plug-bnc-plug", 2),
        ("bnc-jack-bnc-jack", 1),
    ]


@pytest.mark.parametrize("rank", RANKS)
def test_chains_are_put_in_the_order_asked_for(demo, rank):
    found = choose(load_need(DEMO), rank=rank)
    figure = {
        "interval": lambda each: each.best.width,
        "cost": lambda each: each.cost,
        "loss": lambda each: each.loss_db,
        "reflection": lambda each: each.sum_reflection,
        "joints": lambda each: each.joints,
    }[rank]
    values = [figure(each) for each in found.chains]
    slack = RESOLVED if rank == "interval" else 0
    assert all(value <= later + slack for at, value in enumerate(values) for later in values[at:])
    assert [each.number for each in found.chains] == list(range(1, len(found.chains) + 1))
    assert {each.items for each in found.chains} == {each.items for each in demo.chains}


def test_the_interval_is_the_one_that_the_other_commands_give(demo):
    for chain in (demo.chains[0], demo.chains[-1]):
        best = chain.best
        low, high = interval_at(chain.setup, best.worst_hz, float(magnitude_from_vswr(2.0)), True, draws=4000)
        assert best.width == pytest.approx(high - low, rel=0.1)
        assert best.low == pytest.approx(float(vswr(low)), rel=0.05)
        assert best.low < 2 < best.high
        measurement = measurement_of(chain.setup, build(chain.setup))
        assert best.ceiling_vswr == pytest.approx(
            float(vswr(nominal_maps(measurement).ceiling()[0].max())), rel=1e-6
        ) or (best.ceiling_vswr > 1e6)


def test_planes_are_those_allowed_and_the_best_is_recommended():
    for planes in (["near"], ["after-pad"], ["near", "far"]):
        found = choose(need_of(CLASSIC, more=f"planes = {planes}".replace("'", '"')))
        seen = [each.plane for each in found.chains[0].planes]
        assert sorted(seen) == sorted(planes)
        widths = [each.width for each in found.chains[0].planes]
        assert widths == sorted(widths)
    assert found.chains[0].best.after == "rg59"
    assert "75-ohm load" in found.chains[0].best.standards


def test_a_chain_without_the_allowed_plane_says_so():
    found = choose(need_of([("n-plug-f-plug", 5, 1)], more='planes = ["after-pad"]'))
    assert found.chains[0].best is None
    assert found.to_dict()["chains"][0]["plane"] is None


def test_a_load_that_is_owned_is_the_one_used():
    # The pad shows a BNC-75 jack: a plug fits it.
    found = choose(need_of([*CLASSIC, ("load-bnc75-plug-precision", None, 1)], more='planes = ["after-pad"]'))
    best = found.chains[0].best
    assert "load-bnc75-plug-precision owned" in best.standards
    assert best.load_db == min(load_library().part("load-bnc75-plug-precision").limit.return_loss_db)
    assert "assumed" in choose(need_of(CLASSIC, more='planes = ["after-pad"]')).chains[0].best.standards


def test_a_poorer_load_gives_a_wider_interval():
    widths = [
        choose(need_of(CLASSIC, more=f'planes = ["far"]\nload = "{load} dB"')).chains[0].best.width
        for load in (20, 30, 40)
    ]
    assert widths[0] > widths[1] > widths[2]


def test_nothing_within_the_budget():
    found = choose(need_of(CLASSIC, more='budget = "9.49 EUR"'))
    assert (found.chains, found.missing, found.beyond) == ((), None, 9.5)
    assert choose(need_of(CLASSIC, more='budget = "9.50 EUR"')).beyond is None


@pytest.mark.parametrize(
    ("rows", "near", "far", "part"),
    [
        ([("min-loss-pad", None, 1), ("rg59", 3, 2, LEAD)], "N-50 jack", "BNC-50 jack", "n-plug-bnc-plug"),
        ([("n-plug-bnc-plug", 6, 1), ("min-loss-pad", None, 1)], "BNC-75 jack", "F-75 jack", "bnc75-plug-f-plug"),
        ([("rg59", 3, 2, LEAD)], "N-50 jack", "BNC-75 plug", "min-loss-pad-n-bnc"),
        ([("rg59", 3, 2, LEAD.replace("BNC", "IEC"))], "N-50 jack", "F-75 jack", "n-plug-f-plug"),
    ],
)
def test_nothing_fits_names_the_pair_and_a_part_that_closes_it(rows, near, far, part):
    need = need_of(rows)
    found = choose(need)
    assert found.chains == ()
    assert (found.missing.near, found.missing.far) == (near, far)
    assert found.to_dict()["missing"][0]["parts"][0] == found.missing.parts[0]
    assert found.missing.parts[0] == part
    # With the part that is named, something fits.
    assert choose(need_of([*rows, (found.missing.parts[0], 1, 1)])).chains


def test_nothing_fits_and_no_single_part_would_do():
    found = choose(need_of([("rg59", 3, 2, LEAD)], near="SMB-50 plug", far="UHF jack"))
    assert says(found.missing.reason, "no single part")
    # The pair that the library's own search for bridges names in its example.
    assert found.missing.parts[0] == "bnc-jack-smb-jack + bnc-plug-uhf-plug"


def test_nothing_fits_because_the_chain_would_be_too_long():
    found = choose(need_of(CLASSIC, more="most_items = 2"))
    assert says(found.missing.reason, "3 items", "most_items", "2")


def test_dc_and_a_lead_as_conditions():
    blocker = (
        '[[adapter]]\nid = "blocker"\nnear = "N-50 plug"\nfar = "BNC-50 plug"\nimpedance_ohm = 50\n'
        'electrical_length_mm = 40\nreflection = {return_loss_db = 20}\ndc = "block"\n'
    )
    need = need_of([*CLASSIC, ("bnc75-plug-f-plug", 1, 1)])
    assert all(item.part != "rg59" for item in choose(need).chains[0].items)
    leads = choose(replace(need, needs_lead=True))
    assert all(any(item.part == "rg59" for item in chain.items) for chain in leads.chains)
    assert leads.chains
    without = choose(replace(need, dc="block"))
    assert says(without.missing.reason, "DC")
    assert says(without.missing.remedy, "rated", "volts")
    assert "price per metre" not in without.missing.remedy
    text = '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n'
    rows = "".join(
        f'[[have]]\npart = "{name}"\n' for name in ("blocker", "n-plug-bnc-plug", "min-loss-pad", "bnc75-plug-f-plug")
    )
    for dc, first in (("block", "blocker"), ("pass", "n-plug-bnc-plug")):
        found = choose(parse_need((text + f'dc = "{dc}"\n' + rows + blocker).encode(), "need.toml"))
        assert [chain.items[0].part for chain in found.chains] == [first]


def test_parts_that_cannot_serve_are_reported_with_file_and_line():
    found = choose(need_of([*CLASSIC, ("sma-plug-bnc-plug", 5, 1), ("balun-300-75", 5, 1)]))
    reported = [each for each in found.warnings if each.startswith("need.toml:")]
    assert any(says(each, "'sma-plug-bnc-plug'", "SMA-50 plug") for each in reported)
    assert any(says(each, "'balun-300-75'", "screw-300") for each in reported)
    cable = need_of([*CLASSIC, ("rg6", 1, 1, LEAD)])
    late = choose(replace(cable, sweep=replace(cable.sweep, stop_hz=50e9, start_hz=49e9)))
    assert any(says(each, "band") for each in late.warnings)


def test_the_same_seed_gives_the_same_answer():
    need = need_of(CLASSIC)
    assert choose(need, seed=4).to_dict() == choose(need, seed=4).to_dict()
    assert choose(need, seed=4).chains[0].best.width != choose(need, seed=5).chains[0].best.width


def test_progress_runs_to_the_end():
    seen = []
    choose(load_need(DEMO), progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1


def test_the_answer_as_plain_values(demo):
    found = demo.to_dict()
    keys = {
        "items",
        "buy",
        "cost",
        "loss_db",
        "sum_reflection",
        "joints",
        "ceiling_vswr",
        "plane",
        "low",
        "high",
        "pareto",
    }
    assert keys <= set(found["chains"][0])
    assert found["missing"] == []
    assert "exact" in found["exact"]
    assert "order" in found["reranked"]
    assert found["currency"] == "EUR"


def test_two_chains_compared_add_up(demo):
    found = comparison(demo, 1, len(demo.chains))
    one, two = demo.chains[0], demo.chains[-1]
    assert sum(step.cost for step in found.steps) == pytest.approx(two.cost - one.cost)
    assert sum(step.loss_db for step in found.steps) == pytest.approx(two.loss_db - one.loss_db)
    assert sum(step.reflection for step in found.steps) == pytest.approx(two.sum_reflection - one.sum_reflection)
    assert [step.first for step in found.steps if step.first][:-1] == [
        f"{item.part}{', owned' if item.owned else ''}" for item in one.items
    ]
    same = comparison(demo, 1, 1)
    assert all(abs(step.cost) + abs(step.loss_db) + abs(step.reflection) < 1e-9 for step in same.steps)


@pytest.mark.parametrize("number", [0, 99])
def test_a_chain_that_is_not_there(demo, number):
    with pytest.raises(RangeError, match=f"no chain {number}"):
        comparison(demo, 1, number)


def test_sights_at_fewer_frequencies_agree():
    room = search_space(need_of(CLASSIC))
    setup = setup_of(room, best_chains(room.catalogue, 4)[0])
    assert setup.calibration == Calibration()
    few, many = (plane_intervals(room, [setup], points, 1)[0][0].width for points in (5, 21))
    assert few == pytest.approx(many, rel=0.1)


def test_the_least_that_a_gap_costs_is_a_sum_of_reflections():
    """Of joints as numbers from 0 to 1; of parts one after the other, from the analyzer on and from the antenna back."""
    shop = search_space(load_need(DEMO)).catalogue
    joints = _joint_table(shop)
    assert np.isinf(joints[~shop.mates]).all()
    assert 0 < joints[shop.mates].max() <= 1
