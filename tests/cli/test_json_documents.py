"""Every command with --json: one object, with the version of its keys, and a reason for every null in it."""

import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from pages import thin_demo

from chain.cli.main import COMMANDS
from chain.cli.main import chain as command_line
from chain.results import SCHEMA_VERSION
from chain.setup_report.schemas import ABSENT, INFINITE, NOTHING_BACK

pytestmark = pytest.mark.usefixtures("few_trials", "answered_once")

BENCH, LOOPS, HOUSE = "demo/boathouse.toml", "demo/loops.toml", "demo/outlets.toml"
LEAD = ("--open", "demo/lead-open.s1p", "--short", "demo/lead-short.s1p", "--length", "0.6 m", "--id", "my-lead")
CALLS = {
    "new": ("new", "--outlets", "3"),
    "new set-up": ("new", "--for", "vhf-tv", "--region", "europe", "--near", "N-50", "--far", "F"),
    "parts": ("parts", "pad"),
    "one part": ("parts", "rg59"),
    "check": ("check", BENCH),
    "check installation": ("check", HOUSE),
    "expect": ("expect", BENCH, "--draws", "1000"),
    "recover": ("recover", BENCH, "demo/boathouse.s1p", "--draws", "1000"),
    "recover magnitudes": ("recover", BENCH, "demo/boathouse.csv", "--draws", "1000"),
    "recover reading": ("recover", BENCH, "--reading", "VSWR 1.3 at 210 MHz", "--draws", "1000"),
    "planes": ("planes", BENCH, "--draws", "1000"),
    "budget": ("budget", BENCH),
    "prove": ("prove", BENCH, "--open", "2.20", "--load", "1.67"),
    "prove ohms": ("prove", BENCH, "--open", "1.71", "--ohms", "300"),
    "choose": ("choose", "demo/need.toml"),
    "choose improve": ("choose", "demo/need.toml", "--improve", BENCH),
    "learn": ("learn", "lead", *LEAD),
    "ripple": ("ripple", "demo/ripple.s1p"),
    "tune": ("tune", LOOPS, "demo/loops.s1p"),
    "tune faults": ("tune", LOOPS, "demo/loops.s1p", "--faults"),
    "tune match": ("tune", LOOPS, "demo/loops.s1p", "--match"),
    "compare": ("compare", LOOPS, "demo/loops.s1p", "demo/loops-wet.s1p"),
    "compare levels": ("compare", "--levels", "demo/levels.csv"),
    "compare both": ("compare", LOOPS, "demo/loops.s1p", "demo/loops-wet.s1p", "--levels", "demo/levels.csv"),
    "log list": ("log", "list", "demo/log"),
    "log show": ("log", "show", "demo/log"),
    "outlets": ("outlets", HOUSE, "--draws", "400"),
    "outlets tree": ("outlets", HOUSE, "--tree"),
    "outlets place": ("outlets", HOUSE, "--place"),
    "outlets improve": ("outlets", HOUSE, "--improve"),
    "outlets seen": ("outlets", HOUSE, "--seen", "demo/outlets-seen.csv"),
    "card": ("card", BENCH),
    "card filled": ("card", BENCH, "demo/boathouse.s1p"),
    "card installation": ("card", HOUSE),
    "report": ("report", BENCH, "--draws", "1000"),
    "report sweep": ("report", BENCH, "demo/boathouse.s1p", "--draws", "1000"),
    "log add": ("log", "add", "{folder}/log", "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p"),
    "follow": ("follow", "demo/plane-after-pad.toml", "{folder}", "--once", "--log", "{folder}/log"),
}
"""A call of each command for each kind of document that it gives."""
OF_ITS_OWN = {"schema"}
"""Commands that give the document of another standard."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A folder with a copy of the demo."""
    return thin_demo(tmp_path_factory.mktemp("documents"))


@pytest.fixture(autouse=True)
def _there(demo, monkeypatch):
    monkeypatch.chdir(demo)


def documents(name, folder):
    if name == "follow":
        for number, sweep in enumerate(("plane-after-pad-before.s1p", "plane-after-pad.s1p")):
            (folder / f"{number}.s1p").write_bytes(Path("demo", sweep).read_bytes())
    words = [each.format(folder=folder) for each in CALLS[name]]
    done = CliRunner().invoke(command_line, [*words, "--json"])
    assert done.exit_code == 0, done.output
    texts = done.stdout.splitlines() if name == "follow" else [done.stdout]
    return [json.loads(text) for text in texts]


def nulls(value, key=""):
    if value is None:
        yield key
    elif isinstance(value, dict):
        for name, each in value.items():
            yield from nulls(each, name)
    elif isinstance(value, list):
        for each in value:
            yield from nulls(each, key)


def test_every_command_is_called():
    every = {name for section in COMMANDS.values() for name in section}
    assert every - OF_ITS_OWN == {words[0] for words in CALLS.values()}


@pytest.mark.parametrize("name", CALLS)
def test_a_document_has_its_version_and_every_null_its_reason(name, tmp_path):
    for found in documents(name, tmp_path):
        assert found["schema_version"] == SCHEMA_VERSION
        reasons = found.pop("null_means", {})
        absent = set(nulls(found))
        assert absent <= set(reasons)
        assert not {key for key in absent if reasons[key] == ABSENT}, {key: reasons[key] for key in absent}


@pytest.mark.parametrize("name", ["prove", "compare levels", "expect", "outlets place"])
def test_a_reason_is_one_of_its_figure(name, tmp_path):
    """A size or a gain that is null is not infinite; a return loss is without bound where nothing comes back."""
    (found,) = documents(name, tmp_path)
    for key, reason in found["null_means"].items():
        assert (reason == INFINITE) <= (key.endswith(("vswr", "low", "high")) and not key.startswith("size")), key
        of_loss = re.search(r"return_loss_(low_|high_)?db$", key)
        assert bool(of_loss) == (reason == NOTHING_BACK), key


def losses(value):
    """Pairs of the ends of an interval of return loss, however deep."""
    if isinstance(value, dict):
        for key, low in value.items():
            if key.endswith("return_loss_low_db"):
                yield key, low, value[key.replace("_low_", "_high_")], value[key.replace("return_loss_low_db", "high")]
            yield from losses(low)
    elif isinstance(value, list):
        for each in value:
            yield from losses(each)


@pytest.mark.parametrize("name", ["recover", "planes", "card", "expect", "follow", "choose"])
def test_low_is_the_smaller_figure_of_each_unit(name, tmp_path):
    """The smaller return loss is that of the larger VSWR; the two names were the other way round in documents of version 3."""
    found = [each for document in documents(name, tmp_path) for each in losses(document)]
    assert found
    for key, low, high, vswr in found:
        rows = zip(*(each if isinstance(each, list) else [each] for each in (low, high, vswr)), strict=True)
        for smaller, larger, ratio in rows:
            assert smaller is None or larger is None or smaller <= larger, key
            if smaller is not None:
                assert smaller == pytest.approx(-20 * math.log10((ratio - 1) / (ratio + 1))), key
