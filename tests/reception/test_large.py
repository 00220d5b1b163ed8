"""Trees of thousands of items, wide and long, are read and solved."""

from __future__ import annotations

import json
from collections import deque
from io import StringIO

import further
import pytest
from click.testing import CliRunner
from rich.console import Console

from chain.cli.main import chain
from chain.outlet_report.outlets import render
from chain.reception import outlets as outlets_module
from chain.reception.checks import unfed_amplifiers
from chain.reception.installation_file import parse_installation

HEAD = """
title = "Large"
[antenna]
gain = "12 dBi"
match = "VSWR 2.0"
[[signal]]
region = "europe"
channels = "21-22"
mode = "DVB-T2 256QAM 2/3"
field = "75 dBuV/m"
[[item]]
id = "head"
part = "channel-amplifier"
after = "antenna"
"""
LEAD = '[[item]]\nid = "{}"\npart = "rg6"\nafter = "{}"\nlength = "{} m"\n'


def wide(outlets):
    """Four-way splitters behind one another, a lead before each and before each outlet."""
    text, ports, count = [HEAD], deque(["head"]), 0
    while len(ports) < outlets:
        count += 1
        text.append(LEAD.format(f"l{count}", ports.popleft(), 3))
        text.append(f'[[item]]\nid = "s{count}"\npart = "splitter-4"\nafter = "l{count}"\n')
        ports.extend(f"s{count}.out{way}" for way in (1, 2, 3, 4))
    for number, port in enumerate(ports):
        text.append(LEAD.format(f"f{number}", port, 4 + number % 7))
        text.append(f'[[outlet]]\nid = "o{number}"\nafter = "f{number}"\n')
    return "\n".join(text), len(ports)


def long(items):
    """Leads in a row, a metre each."""
    rows = [LEAD.format(f"l{number}", f"l{number - 1}" if number else "head", 0.1) for number in range(items)]
    return "\n".join([HEAD, *rows, f'[[outlet]]\nid = "o0"\nafter = "l{items - 1}"\n']), 1


@pytest.mark.parametrize(
    ("text", "outlets"),
    [wide(700), long(60), *further.wide(wide(1200), long(300))],
    ids=["wide", "long", "wider", "longer"],
)
def test_thousands_of_items(text, outlets, tmp_path):
    path = tmp_path / "large.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(chain, ["outlets", str(path), "--json", "--draws", "200"])
    assert done.exit_code == 0, done.output
    assert len(json.loads(done.stdout)["outlets"]) == outlets


def test_the_direct_current_is_followed_once_for_a_whole_answer(monkeypatch):
    """And not for each row that is shown: a house of hundreds of outlets would wait for minutes."""
    times = []

    def counted(installation):
        times.append(len(installation.items))
        return unfed_amplifiers(installation)

    monkeypatch.setattr(outlets_module, "unfed_amplifiers", counted)
    found = outlets_module.outlets(parse_installation(wide(16)[0].encode()), draws=200)
    render(found, Console(file=StringIO()), every=True)
    assert len(times) <= 2
