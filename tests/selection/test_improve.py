"""Single changes of a set-up: which there are, what they bring, and in what order they come."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from chain.analyses.checks import check
from chain.analyses.improvements import interval_at
from chain.calls.setup_making import setup_of
from chain.errors import FitError
from chain.files.setup_file import load_setup
from chain.reflection import magnitude_from_vswr, vswr
from chain.selection.choose import choose
from chain.selection.improve import _loads, improve
from chain.selection.need_file import load_need, parse_need
from library.load import load_library
from library.records import Limit

pytestmark = pytest.mark.usefixtures("trials")
ROOT = Path(__file__).parent.parent.parent
NEED = '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n'


@pytest.fixture(scope="module")
def setup():
    return load_setup(ROOT / "demo" / "boathouse.toml")


@pytest.fixture(scope="module")
def shop():
    return load_need(ROOT / "demo" / "need.toml")


@pytest.fixture(scope="module")
def found(setup, shop):
    return improve(setup, shop)


def test_every_plane_is_weighed_and_costs_nothing(setup, found):
    planes = [each for each in found.changes if each.kind == "plane"]
    assert len(planes) == len(setup.items)
    assert all(each.price == 0 for each in planes)


def test_before_and_after_are_those_of_the_other_commands(setup, found):
    limit = float(magnitude_from_vswr(2.0))
    low, high = interval_at(setup, 240e6, limit, False, draws=4000)
    assert found.now_width >= 0.97 * (high - low)
    assert found.now_low < 2 < found.now_high
    after_lead = next(each for each in found.changes if each.what.startswith("calibrate after lead"))
    moved = replace(setup, calibration=replace(setup.calibration, plane="lead", load_impedance_ohm=None))
    widths = []
    for freq_hz in np.linspace(174e6, 240e6, 4):
        ends = interval_at(moved, float(freq_hz), limit, False, draws=4000)
        widths.append(ends[1] - ends[0])
    assert after_lead.width == pytest.approx(max(widths), rel=0.1)
    assert after_lead.gain == pytest.approx(found.now_width - after_lead.width)
    assert after_lead.low == pytest.approx(float(vswr(limit - after_lead.width / 2)), rel=0.1)


def test_what_gains_most_comes_first(found):
    helping = [each.gain > 0.004 for each in found.changes]
    assert helping == sorted(helping, reverse=True)
    gains = [each.gain for each in found.changes]
    # Those that no other seed would keep apart may stand in any order.
    assert all(later <= earlier + 0.012 for earlier, later in pairwise(gains))


def test_swaps_come_from_the_offers_with_their_price_and_place(setup, found):
    swap = next(each for each in found.changes if each.kind == "swap" and "precision" in each.what)
    assert (swap.price, swap.where.rpartition("/")[2]) == (19.0, "shop.csv:4")
    assert swap.what == "n-plug-bnc-plug-precision in place of adapter"
    part = next(
        each for each in load_need(ROOT / "demo" / "need.toml").offers if each.name == "n-plug-bnc-plug-precision"
    )
    assert part.item.part.limit.return_loss_db[0] > setup.items[0].part.limit.return_loss_db[0]


def test_what_gains_more_comes_first_though_the_cheaper_one_is_better_per_unit_of_money(setup):
    rows = "".join(
        f'[[offer]]\npart = "n-plug-bnc-plug"\nreflection = "{limit} dB"\nprice = "{price} EUR"\nstock = 1\n'
        for limit, price in ((32, 4), (40, 30))
    )
    changes = improve(setup, parse_need((NEED + rows).encode())).changes
    swaps = [each for each in changes if each.kind == "swap"]
    assert [each.price for each in swaps] == [30.0, 4.0]
    assert swaps[1].gain_per_money > swaps[0].gain_per_money
    assert swaps[0].gain > swaps[1].gain > 0


def test_a_part_that_another_beats_is_not_offered(setup):
    rows = "".join(
        f'[[offer]]\npart = "n-plug-bnc-plug"\nreflection = "{limit} dB"\nprice = "{price} EUR"\nstock = 1\n'
        for limit, price in ((32, 4), (30, 9))
    )
    swaps = [each for each in improve(setup, parse_need((NEED + rows).encode())).changes if each.kind == "swap"]
    assert [each.price for each in swaps] == [4.0]


@pytest.mark.usefixtures("trials")
def test_without_offers_parts_of_the_library_have_no_price(setup):
    swaps = [each for each in improve(setup).changes if each.kind == "swap"]
    assert swaps
    assert all(each.price is None and each.gain_per_money is None for each in swaps)


@pytest.mark.usefixtures("trials")
def test_a_cable_offered_in_a_lead_s_place_fits_when_the_file_names_it():
    """The cable's own conductor is the pin of its F plugs: with RG-11 or a stranded cable the file would not fit together."""
    lead = {"id": "lead", "part": "rg59", "length": "0.6 m", "near": "F-75 plug", "far": "F-75 plug"}

    def bench(part):
        return setup_of(["min-loss-pad-n-f", {**lead, "part": part}], sweep=("470 MHz", "694 MHz", 3))

    offered = [each.what.partition(" ")[0] for each in improve(bench("rg59")).changes if "place of lead" in each.what]
    assert offered
    assert all(check(bench(each)).fits for each in offered)


@pytest.mark.usefixtures("trials")
def test_an_adapter_too_many_is_removed(setup):
    first, pad, lead = setup.items
    plug_jack = load_library().part("bnc75-plug-bnc75-jack")
    ends = plug_jack.near_connector, plug_jack.far_connector
    extra = replace(first, id="saver", part=plug_jack, near_connector=ends[0], far_connector=ends[1])
    longer = replace(setup, items=(first, pad, extra, lead))
    assert check(longer).fits
    removals = [each for each in improve(longer).changes if each.kind == "remove"]
    assert [each.what for each in removals] == ["remove saver"]
    assert removals[0].price == 0
    assert removals[0].gain > 0
    assert [each for each in improve(setup).changes if each.kind == "remove"] == []


@pytest.mark.usefixtures("trials")
def test_better_loads_are_weighed_for_a_plane_behind_the_port(setup):
    after_pad = replace(setup, calibration=replace(setup.calibration, plane="pad", load_db=25.0))
    offers = '[[offer]]\npart = "load-bnc75-plug-precision"\nprice = "45 EUR"\nstock = 1\n'
    offers += '[[offer]]\npart = "load-f-plug-precision"\nprice = "1 EUR"\nstock = 1\n'
    loads = [each for each in improve(after_pad, parse_need((NEED + offers).encode())).changes if each.kind == "load"]
    # The F load fits no BNC jack.
    assert [each.price for each in loads] == [45.0]
    assert loads[0].gain > 0
    generic = [each for each in improve(after_pad).changes if each.kind == "load"]
    assert [each.price for each in generic] == [None]


def test_a_load_counts_by_its_worst_frequency(setup):
    """26 dB at low frequencies and 20 dB at high ones is no better than the 25 dB at hand."""
    after_pad = replace(setup, calibration=replace(setup.calibration, plane="pad", load_db=25.0))
    need = parse_need((NEED + '[[offer]]\npart = "load-bnc75-plug-precision"\nprice = "45 EUR"\n').encode())
    (offer,) = need.offers
    poorer = replace(offer.model.part, limit=Limit((0.0, 2e8), (26.0, 20.0)))
    worse = replace(need, offers=(replace(offer, model=replace(offer.model, part=poorer)),))
    for each, now in ((need, 1), (worse, 0)):
        assert len([idea for idea in _loads(after_pad, each, load_library()) if idea.price is not None]) == now


def test_a_set_up_that_does_not_fit_together_is_refused(setup):
    broken = replace(setup, items=setup.items[1:])
    with pytest.raises(FitError, match="do not fit together"):
        improve(broken)


@pytest.mark.usefixtures("trials")
def test_a_set_up_without_a_limit_says_what_was_taken(setup):
    bare = replace(setup, far=replace(setup.far, limit_vswr=None))
    found = improve(bare)
    assert found.limit_vswr == 2.0
    assert any("limit VSWR 2 (none stated)" in each for each in found.assumed)
    assert found.to_dict()["changes"][0]["gain"] > 0


@pytest.mark.usefixtures("trials")
def test_a_matching_network_stays_with_its_antenna():
    """No change of a set-up that `tune --match` wrote takes its network out or puts another part in its place."""
    found = improve(load_setup(ROOT / "demo" / "matched.toml"))
    assert found.changes
    assert not [each.what for each in found.changes if each.what.endswith("match") and each.kind in ("remove", "swap")]
    assert any(each.kind == "plane" and "after match" in each.what for each in found.changes)


def test_a_matching_network_that_is_owned_is_read_and_makes_no_chain_better(tmp_path):
    """A need that lists the written network: the same chains as without it."""
    text = """{library}
[need]
near = "N-50 jack"
far = "F-75 jack"
start = "578 MHz"
stop = "634 MHz"
limit = "VSWR 2.0"
most_items = 5
[[have]]
part = "n-plug-bnc-plug"
[[have]]
part = "min-loss-pad"
[[have]]
part = "rg59"
length = "2 m"
near = "BNC-75 plug"
far = "F-75 plug"
"""
    parts = (ROOT / "demo" / "matched-parts.toml").as_posix()
    chains = []
    for library, more in (("", ""), (f'library = ["{parts}"]', '[[have]]\npart = "matching-network"\n')):
        path = tmp_path / "need.toml"
        path.write_text(text.format(library=library) + more, encoding="utf-8")
        chains.append([[each.part for each in one.items] for one in choose(load_need(str(path))).chains])
    assert chains[0] == chains[1] == [["n-plug-bnc-plug", "min-loss-pad", "rg59"]]


@pytest.mark.usefixtures("trials")
def test_the_best_chain_of_a_need_is_for_the_analyzer_of_the_set_up():
    """One that calibrates at its own port alone is not offered a chain that is best calibrated at its far end."""
    need = load_need("demo/need.toml")
    setup = load_setup("demo/boathouse.toml")
    handheld = replace(setup, near=replace(setup.near, shows="vswr"))
    port = choose(replace(need, near=handheld.near, planes=("near",))).chains[0]
    far = choose(need).chains[0]
    parts = [" > ".join(item.part for item in each.items) for each in (port, far)]
    assert parts[0] != parts[1]
    own = "The best chain of the need with this set-up's analyzer (planes: near): "
    said = improve(handheld, need).elsewhere
    assert said.startswith(own + parts[0])
    assert "chain choose" not in said
    assert "The need allows after-pad, far too" in said
    # The command is named where it answers the same.
    assert improve(setup, need).elsewhere.startswith(f"The best chain of the need ('chain choose'): {parts[1]}")
