"""Screens are short: at 80 columns few lines of text stand round the tables, and the answer comes first."""

import re

import pytest
from click.testing import CliRunner
from pages import thin_demo

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("few_trials", "answered_once")

SETUP, SWEEP = "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p"
COMMANDS = {
    "check": ["check", "demo/boathouse.toml"],
    "check of a house": ["check", "demo/outlets.toml"],
    "budget": ["budget", "demo/boathouse.toml"],
    "expect": ["expect", "demo/boathouse.toml"],
    "planes": ["planes", "demo/boathouse.toml"],
    "choose": ["choose", "demo/need.toml"],
    "improve": ["choose", "--improve", "demo/boathouse.toml", "demo/need.toml"],
    "recover a reading": ["recover", "demo/boathouse.toml", "--reading", "VSWR 1.30 at 210 MHz"],
    "recover a sweep": ["recover", SETUP, SWEEP],
    "recover by magnitude": ["recover", "demo/boathouse.toml", "demo/boathouse.csv"],
    "recover before and after": ["recover", SETUP, SWEEP, "--before", "demo/plane-after-pad-before.s1p"],
    "prove": ["prove", "demo/boathouse.toml", "--open", "2.20", "--short", "2.25", "--load", "1.67"],
    "prove sound": [
        "prove",
        "demo/boathouse.toml",
        "--open",
        "1.73",
        "--short",
        "1.71",
        "--load",
        "1.05",
        "--load50",
        "1.12",
    ],
    "compare": ["compare", SETUP, "demo/plane-after-pad-before.s1p", SWEEP],
    "levels": ["compare", "--levels", "demo/levels.csv"],
    "front and back": ["compare", "--levels", "demo/front-back.csv", "--site", "20 dB"],
    "tune": ["tune", "demo/loops.toml", "demo/loops.s1p"],
    "faults": ["tune", "demo/loops.toml", "demo/loops-wet.s1p", "--faults", "--before", "demo/loops.s1p"],
    "ripple": ["ripple", "demo/ripple.s1p", "demo/ripple.toml"],
    "ripple alone": ["ripple", "demo/ripple.csv"],
    "outlets": ["outlets", "demo/outlets.toml"],
    "place": ["outlets", "demo/outlets.toml", "--place"],
    "mend": ["outlets", "demo/outlets.toml", "--improve"],
    "seen": ["outlets", "demo/outlets.toml", "--seen", "demo/outlets-seen.csv"],
    "log show": ["log", "show", "demo/log"],
    "log add": ["log", "add", "kept", SETUP, SWEEP],
    "learn": [
        "learn",
        "lead",
        "--open",
        "demo/lead-open.s1p",
        "--short",
        "demo/lead-short.s1p",
        "--length",
        "0.6 m",
        "-o",
        "my.toml",
    ],
    "parts": ["parts", "coax", "foam"],
}
MOST_LINES = 12


def text_lines(screen):
    """Lines that are no part of a table: of its heads, which touch its rule, and of its rows, which follow it."""
    blocks = [each.splitlines() for each in re.split(r"\n\s*\n", screen.strip("\n"))]
    return [line for block in blocks for line in block if not any(re.match(r" *\u2500{5}", each) for each in block)]


@pytest.fixture(scope="module")
def screens(tmp_path_factory):
    """A copy of demo to write beside."""
    return thin_demo(tmp_path_factory.mktemp("short"))


@pytest.mark.parametrize("name", COMMANDS)
def test_few_lines_stand_round_the_tables(name, screens, monkeypatch):
    monkeypatch.chdir(screens)
    done = CliRunner().invoke(chain, COMMANDS[name], env={"COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    text = text_lines(done.stdout)
    assert len(text) <= MOST_LINES, "\n".join(text)
