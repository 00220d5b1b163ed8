"""An amplifier without its direct current and without a bypass: nothing arrives behind it, and every screen says so."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from chain.html.installation import installation_html
from chain.outlet_report import outlet_tree
from chain.outlet_report.installation import render_card
from chain.outlet_report.outlets import render, verdict_lines
from chain.plots.outlets import describe
from chain.reception.installation_file import parse_installation
from chain.reception.installer_card import card_of
from chain.reception.outlets import outlets


@pytest.fixture(scope="module")
def found():
    text = Path("demo/outlets.toml").read_text(encoding="utf-8").replace('supply = "12 V"', "")
    house = parse_installation(text.encode(), "house.toml", Path("demo"))
    items = [
        replace(each, part=replace(each.part, bypass_loss_db=0.0)) if each.id == "mast" else each
        for each in house.items
    ]
    return outlets(replace(house, items=tuple(items)), draws=400)


def printed(show, *given):
    console = Console(width=80)
    with console.capture() as capture:
        show(*given, console)
    return capture.get()


def test_card_and_tree_expect_nothing_behind_it(found):
    assert "'mast' passes nothing" in verdict_lines(found)[1]
    rows = re.findall(r"^\d\d  \d+ .*", printed(render_card, card_of(found)), re.M)
    assert len(rows) == 8
    assert all(re.fullmatch(r"\d\d  \d+  \d+ to \d+ ____( +none ____){3}", row) for row in rows)
    tree = printed(outlet_tree.render, found)
    assert len(re.findall("no level", tree)) == 12
    assert len(re.findall(r"\d+ to \d+ dBuV", tree)) == 2  # antenna and tail
    assert "Nothing arrives at workshop" in printed(render, found)


def test_the_page_says_the_same(found):
    page = re.sub("<[^>]+>", " ", installation_html(found))
    assert not re.search(r"-\d+ to -?\d+", page)
    assert len(re.findall("no level", page)) == 12
    assert describe(found)[0].series[0].x.size == 2
