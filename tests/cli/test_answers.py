"""Every answer: three lines first, each of them short, and little text round the tables; in the unit asked for; in plain words."""

import json
import os
import random
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.table import Table
from uhf_bench import UHF_VSWR_ALONE

from chain.cli.main import chain
from chain.setup_report.tables import AnswerConsole

pytestmark = pytest.mark.usefixtures("answered_once")

DEMO = Path(__file__).parent.parent.parent / "demo"
LONGEST, MOST_LINES = 80, 12
SETUPS = ("boathouse", "plane-after-pad", "splitter", "downlead", "loops", "matched", "ripple")
SWEEPS = {
    "boathouse": ("boathouse.s1p", "boathouse.csv", "boathouse-r-x.csv", "boathouse-german.csv"),
    "plane-after-pad": ("plane-after-pad.s1p",),
    "loops": ("loops.s1p", "loops.csv", "loops-wet.s1p"),
    "ripple": ("ripple.s1p", "ripple.csv"),
}
MIDDLE_MHZ = {"splitter": 600, "ripple": 600, "matched": 580, "loops": 580}
OF_A_SETUP = (("budget",), ("expect",), ("planes",), ("choose", "--improve"))
ENDS = (
    ("--open", "1.73", "--short", "1.71", "--load", "1.05"),
    ("--open", "2.20", "--short", "2.25", "--load", "1.67"),
    ("--load", "1.35", "--load", "1.12", "--ohms", "86.6"),
    ("--open", "1.72", "--ohms", "open"),
    ("--ohms", "86.6"),
    ("--open", "RL 3 dB", "--load", "1.30"),
)
OTHERS = (
    ("choose", "need.toml"),
    ("choose", "need.toml", "--rank", "joints"),
    ("choose", "need.toml", "--rank", "cost", "--why", "1", "2"),
    ("recover", "--reading", "VSWR 1.30 at 210 MHz"),
    ("ripple", "ripple.csv"),
    ("outlets", "outlets.toml"),
    ("outlets", "outlets.toml", "--improve"),
    ("outlets", "outlets.toml", "--place"),
    ("outlets", "outlets.toml", "--seen", "outlets-seen.csv"),
    ("compare", "plane-after-pad.toml", "plane-after-pad-before.s1p", "plane-after-pad.s1p"),
    ("compare", "--levels", "levels.csv"),
    ("compare", "--levels", "front-back.csv", "--site", "20 dB", "--path", "-42"),
    ("tune", "loops.toml", "loops-wet.s1p", "--faults", "--before", "loops.s1p"),
    ("tune", "loops.toml", "loops.s1p", "--match"),
    ("recover", "plane-after-pad.toml", "plane-after-pad.s1p", "--before", "plane-after-pad-before.s1p"),
    ("log", "show", "log"),
    ("log", "show", "log", "--name", "downlead"),
    ("learn", "lead", "--open", "lead-open.s1p", "--short", "lead-short.s1p", "--length", "0.6 m", "--id", "my-lead"),
)
CHECKED = tuple(("check", f"{name}.toml") for name in (*SETUPS, "outlets"))
"""Answers that name every caution and what every assumption is about."""
WHOLE = (("card", "boathouse.toml"), ("card", "outlets.toml"), ("log", "list", "log"))
"""Sheets to fill in, or whose table is plain lines: their first three lines are as short, the rest as long as it must be."""


def cases():
    """All commands on all set-ups of the demo that they hold for, and the others."""
    for name in SETUPS:
        yield from ((*words, f"{name}.toml") for words in OF_A_SETUP)
        yield ("recover", f"{name}.toml", "--reading", f"VSWR 1.3 at {MIDDLE_MHZ.get(name, 207)} MHz")
        for sweep in SWEEPS.get(name, ()):
            yield ("recover", f"{name}.toml", sweep)
            yield ("ripple", sweep, f"{name}.toml")
            if name == "loops":
                yield ("tune", f"{name}.toml", sweep)
    for ends in ENDS:
        yield ("prove", "boathouse.toml", *ends)
    yield from OTHERS


def shown(words, monkeypatch, allowed=(0,)):
    """Lines of an answer without its tables."""
    plain = AnswerConsole.print

    def without_tables(self, *objects, **options):
        if not (objects and isinstance(objects[0], Table)):
            plain(self, *objects, **options)

    monkeypatch.setattr(AnswerConsole, "print", without_tables)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(DEMO)
    done = CliRunner().invoke(chain, list(words))
    assert done.exit_code in allowed, done.output
    page = done.stdout if words[0] != "learn" else done.stderr
    return page.splitlines()


def hold(lines, most=MOST_LINES):
    """Three short lines, the third with what to do next, then little."""
    first = lines[: lines.index("")] if "" in lines else lines
    assert all(len(line) <= LONGEST for line in lines), lines
    opening = first[:3]
    assert not any(line.startswith((" ", "warning:")) for line in opening), lines
    assert not any(line.endswith("...") for line in opening[:1]), lines
    for before, line in pairwise(opening):
        # A line that was wrapped would go on in the next one.
        assert before.endswith((".", "?")), lines
        assert line[:1].isupper() or not line[:1].isalpha(), lines
    assert len([line for line in lines if line]) <= most, lines


@pytest.mark.parametrize("words", [("budget", "boathouse.toml"), *CHECKED], ids=" ".join)
def test_three_short_lines_first(words, monkeypatch):
    hold(shown(words, monkeypatch))


CAUTIONS = {
    "static": "never work on it in a thunderstorm",
    "power lines": "a licensed rigger have the last word",
    "mains": "may carry mains voltage",
    "DC": "Masthead amplifiers and dishes are fed",
}


@pytest.mark.parametrize("words", CHECKED, ids=" ".join)
def test_a_check_says_every_caution_once_and_in_full(words, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(DEMO)
    plain, sources = (CliRunner().invoke(chain, [*words, *more]).stdout for more in ((), ("--assumed",)))
    if words != ("check", "outlets.toml"):
        for name, text in CAUTIONS.items():
            assert sum(line.startswith(f"{name} ") for line in plain.splitlines()) == 1
            assert text in " ".join(plain.split())
    assert "..." not in plain
    # Every place of which something is assumed, with where it is from only when that is asked for.
    places = re.findall(r"^  (\w[\w, ]*): ", sources, re.MULTILINE)
    assert len(places) > 3
    assert all(re.search(rf"^{place} +\S", plain, re.MULTILINE) for place in places)
    assert "evidence" in sources
    assert "evidence" not in plain


@pytest.mark.statistical
@pytest.mark.parametrize("words", [*cases(), *WHOLE], ids=" ".join)
def test_every_answer_is_short(words, monkeypatch):
    hold(shown(words, monkeypatch), 99 if words in WHOLE else MOST_LINES)


IN_DB = (
    ("tune", "loops.toml", "loops.s1p", "--match"),
    ("tune", "loops.toml", "loops.s1p"),
    ("tune", "loops.toml", "loops.csv"),
    ("ripple", "ripple.s1p"),
    ("compare", "plane-after-pad.toml", "plane-after-pad-before.s1p", "plane-after-pad.s1p"),
    ("planes", "boathouse.toml"),
    ("choose", "need.toml"),
    ("prove", "boathouse.toml", "--open", "1.73", "--short", "1.71", "--load", "1.05"),
    ("recover", "loops.toml", "loops.csv"),
)


@pytest.mark.statistical
@pytest.mark.parametrize("words", IN_DB, ids=" ".join)
def test_an_answer_in_return_loss_is_as_short(words, monkeypatch):
    lines = shown((*words, "--units", "rl"), monkeypatch)
    hold(lines)
    assert "VSWR" not in " ".join(lines[:3])


@pytest.mark.usefixtures("few_trials")
def test_the_limit_s_unit_is_the_answer_s(tmp_path, monkeypatch):
    """A limit in dB makes return loss the unit of lines and tables; --units has the last word; JSON has both."""
    path = tmp_path / "loss.toml"
    text = (DEMO / "boathouse.toml").read_text(encoding="utf-8")
    path.write_text(text.replace('"VSWR 2.0"', '"14 dB"'), encoding="utf-8")
    words = ["recover", str(path), "--reading", "RL 20 dB at 210 MHz", "--draws", "4000"]
    monkeypatch.setenv("COLUMNS", "80")
    reported = CliRunner().invoke(chain, words).stdout
    assert "14 dB return loss" in reported
    assert "RL, dB" in reported
    assert "VSWR" not in reported
    reported = CliRunner().invoke(chain, [*words, "--units", "vswr"]).stdout
    assert "VSWR 1.499" in reported
    assert "RL" not in reported
    reported = CliRunner().invoke(chain, [*words, "--units", "both"]).stdout
    assert "RL, dB" in reported
    assert "VSWR" in reported
    page = json.loads(CliRunner().invoke(chain, [*words, "--json"]).stdout)
    assert {"true_vswr", "true_return_loss_db"} <= set(page)


def test_only_the_answer(monkeypatch):
    assert len(shown(("budget", "boathouse.toml", "-q"), monkeypatch)) == 3


def test_help_of_a_command_and_the_version():
    for words, reported in (
        (["help", "check"], "Usage: chain check"),
        (["help"], "Usage: chain"),
        (["-V"], "chain, version"),
    ):
        done = CliRunner().invoke(chain, words)
        assert (done.exit_code, done.stdout.startswith(reported)) == (0, True), done.output


@pytest.mark.parametrize("words", [["chekc"], ["check"], ["check", "--no-such"], ["expect", "x.toml", "--digits", "9"]])
def test_one_style_of_error(words):
    """Of the command line as of a file: error, then help."""
    done = CliRunner().invoke(chain, words)
    first, *more = done.stderr.splitlines()
    assert done.exit_code == 2
    assert first.startswith("error: ")
    assert more[-1].startswith("help: ")


@pytest.mark.process
@pytest.mark.parametrize(
    "settings", [{"LC_ALL": "C"}, {"LC_ALL": "POSIX"}, {"LANG": "C"}, {"PYTHONIOENCODING": "ascii"}]
)
def test_an_ascii_locale_gets_ascii(settings):
    others = {
        key: value for key, value in os.environ.items() if not key.startswith(("LC_", "LANG", "PYTHONIO", "PYTHONUTF"))
    }
    words = [sys.executable, "-m", "chain", "check", str(DEMO / "boathouse.toml"), "-v"]
    done = subprocess.run(words, env={**others, **settings}, capture_output=True)
    assert done.returncode == 0, done.stderr
    done.stdout.decode("ascii")
    assert b"deg C" in done.stdout


STALE = re.compile(
    r"lies inside the interval|Most to blame|told least well|told and not applied|drawn again|of its square|until the file states"
    r"|Mates without harm|nominally nothing|travelled once more|taken as none|add to a near level|of another antenna\?"
    r"|count alike beforehand|each unit of money|so small a loss is told|its two resistors, 1|One alone, by its id"
)
"""What people could not read on screens."""


def test_what_people_could_not_read_does_not_come_back():
    folders = [DEMO.parent / "chain", DEMO.parent / "library"]
    files = [
        path
        for folder in folders
        for path in folder.rglob("*")
        if path.suffix in (".py", ".html", ".js", ".toml", ".csv")
    ]
    found = [(path.name, STALE.search(path.read_text(encoding="utf-8"))) for path in files]
    assert [(name, hit[0]) for name, hit in found if hit] == []


NAMES = ("a", "lead", "first-adapter-at-the-analyzer", "pad", "the-long-lead-in-the-loft", "barrel")


def bench(seed):
    """A bench drawn at random: parts that join, names of any length, a limit in either unit, any plane, perhaps known parts."""
    draw = random.Random(seed)
    names = draw.sample(NAMES, 3)
    low = draw.choice((60, 174, 470))
    high = low + draw.choice((8, 66, 220))
    limit = draw.choice(("VSWR 1.5", "VSWR 2.0", "10 dB", "14 dB", "VSWR 3", ""))
    more = draw.choice(("", 'shows = "vswr"\n', 'analyzer = "bench"\n', "ideal = true\n"))
    title = draw.choice(("Short", "The aerial on the roof of the boathouse, seen from the workbench in the cellar"))
    feed = draw.choice(("", 'dc_feed = "0 V"\n', 'dc_feed = "18 V"\n'))
    turned = draw.choice(("", "", "reversed = true\n")) if draw.random() < 0.3 else ""
    items = [
        f'[[chain]]\nid = "{names[0]}"\npart = "n-plug-bnc-plug"\n',
        f'[[chain]]\nid = "{names[1]}"\npart = "min-loss-pad"\n{turned}',
        f'[[chain]]\nid = "{names[2]}"\npart = "{draw.choice(("rg59", "rg6"))}"\nlength = "{draw.choice((0.4, 3, 20))} m"\n'
        'near = "BNC-75 plug"\nfar = "F-75 plug"\n',
    ]
    plane = draw.choice(("near", *names))
    stated = f'limit = "{limit}"\n' if limit else ""
    return (
        f'title = "{title}"\n[near]\nconnector = "N-50 jack"\n{more}[far]\nconnector = "F-75 jack"\n{stated}{feed}'
        f'{"".join(items)}[calibration]\nplane = "{plane}"\n[sweep]\nstart = "{low} MHz"\nstop = "{high} MHz"\npoints = 12\n'
    )


@pytest.mark.statistical
@pytest.mark.parametrize("seed", range(4))
def test_random_benches(seed, tmp_path, monkeypatch):
    """Short whatever the names, the limit and what is assumed."""
    path = tmp_path / "bench.toml"
    path.write_text(bench(seed), encoding="utf-8")
    middle = re.search(r'start = "(\d+)', bench(seed))[1]
    draw = random.Random(seed)
    readings = (f"VSWR {draw.uniform(1, 1.6):.2f} at {middle} MHz", f"RL {draw.uniform(8, 30):.1f} dB at {middle} MHz")
    ended = [
        "prove",
        str(path),
        "--open",
        f"VSWR {draw.uniform(1.4, 3):.2f}",
        "--load",
        f"VSWR {draw.uniform(1, 2):.2f}",
    ]
    for words in (
        ["check", str(path)],
        ["budget", str(path)],
        ["expect", str(path)],
        ["expect", str(path), "--units", "both"],
        ["planes", str(path)],
        ["planes", str(path), "--units", "rl"],
        *(["recover", str(path), "--reading", reading] for reading in readings),
        ended,
    ):
        lines = shown(words, monkeypatch, (0, 1))
        hold(lines)


CHANNELS = f'title = "UHF"\n{UHF_VSWR_ALONE}'
GROUPS = {"pass": "Good", "fail": "Bad"}


@pytest.fixture
def television(tmp_path):
    """A bench with channels, for an analyzer that shows VSWR alone."""
    path = tmp_path / "uhf.toml"
    path.write_text(CHANNELS, encoding="utf-8")
    return path


def named_channels(line):
    """Channels that a line names, by group."""
    found = {}
    for group, names in re.findall(r"([A-Z][a-z ]+): ([0-9][0-9, -]*)\.", line):
        for part in names.split(", "):
            first, _, last = part.partition("-")
            found.update(dict.fromkeys(range(int(first), int(last or first) + 1), group))
    return found


def test_one_reading_a_channel_answers_which_are_good(television, tmp_path, monkeypatch):
    """Each channel is in the second line once, as it was judged, and the first says on how many it is bad."""
    read = {21: 1.2, 25: 1.1, 30: 1.05, 35: 1.3, 48: 1.6}
    sweep = tmp_path / "read.csv"
    sweep.write_text(
        "\n".join(["channel,vswr", *(f"{name},{ratio}" for name, ratio in read.items())]), encoding="utf-8"
    )
    words = ["recover", str(television), str(sweep), "--draws", "2000"]
    first, second, *_ = shown(words, monkeypatch)
    verdicts = dict(
        zip(read, json.loads(CliRunner().invoke(chain, [*words, "--json"]).stdout)["verdicts"], strict=True)
    )
    named = named_channels(second)
    assert set(named) == set(read)
    for name, verdict in verdicts.items():
        assert (named[name] == "Good") == (verdict == "pass")
        assert (named[name] == "Bad") == (verdict == "fail")
    assert f"on {list(verdicts.values()).count('fail')} of {len(read)} channels" in first


@pytest.mark.usefixtures("few_trials")
def test_many_channels_are_counted_and_the_good_ones_named(television, tmp_path, monkeypatch):
    sweep = tmp_path / "read.csv"
    rows = [f"{name},1.{(7 * name) % 9}{name % 10}" for name in range(21, 49)]
    sweep.write_text("\n".join(["channel,vswr", *rows]), encoding="utf-8")
    words = ["recover", str(television), str(sweep), "--draws", "2000"]
    lines = shown(words, monkeypatch)
    hold(lines)
    verdicts = json.loads(CliRunner().invoke(chain, [*words, "--json"]).stdout)["verdicts"]
    good = {21 + at for at, verdict in enumerate(verdicts) if verdict == "pass"}
    assert good
    assert set(named_channels(lines[1].partition(";")[0])) == good


@pytest.mark.usefixtures("few_trials")
def test_no_place_is_advised_that_the_analyzer_cannot_calibrate_at(television):
    """An analyzer without phase is sent to the reading, any other to the planes."""
    plain = CliRunner().invoke(chain, ["expect", str(television), "-q"]).stdout
    assert "chain planes" not in plain
    television.write_text(CHANNELS.replace('"vswr"', '"complex"'), encoding="utf-8")
    assert "chain planes" in CliRunner().invoke(chain, ["expect", str(television), "-q"]).stdout


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("words", [["prove", "--open", "11.4"], ["recover", "--reading", "11.4 on channel 30"]])
def test_a_bare_number_is_asked_back_where_the_screen_shows_return_loss(words, television):
    """11.4 dB taken for VSWR 11.4 would be another antenna; the proposals are taken for different readings."""
    television.write_text(CHANNELS.replace('"vswr"', '"return loss"'), encoding="utf-8")
    command, option, figure = words
    done = CliRunner().invoke(chain, [command, str(television), option, figure])
    assert done.exit_code == 2
    ratio, loss = re.findall("'([^']+)'", done.stderr.splitlines()[-1])
    answers = {
        CliRunner().invoke(chain, [command, str(television), option, figure.replace("11.4", each), "-q"]).stdout
        for each in (ratio, loss)
    }
    assert len(answers) == 2
    assert any(answers)


def test_a_comparison_of_far_apart_sweeps_is_still_a_table(television, tmp_path, monkeypatch):
    """Changes beyond the scale do not break the table into paragraphs at 80 columns."""
    for name, ratios in (("one", (1.05, 1.6, 1.2)), ("other", (1.6, 1.05, 1.7))):
        rows = [f"{channel},{ratio}" for channel, ratio in zip((21, 30, 48), ratios, strict=True)]
        (tmp_path / f"{name}.csv").write_text("\n".join(["channel,vswr", *rows]), encoding="utf-8")
    lines = shown(["compare", str(television), str(tmp_path / "one.csv"), str(tmp_path / "other.csv")], monkeypatch)
    hold(lines)
    assert "|reflection| by" not in " ".join(lines)


@pytest.mark.usefixtures("few_trials")
def test_what_an_open_end_hides_is_said_in_ohm(television, monkeypatch):
    """The ohms across an open end make the reflection that the JSON gives."""
    words = ["prove", str(television), "--open", "1.6", "--short", "1.6", "--load", "1.05"]
    found = json.loads(CliRunner().invoke(chain, [*words, "--json"]).stdout)
    (hidden,) = [each for each in found["could_hide"] if each["what"] == "open end not open"]
    text = " ".join(shown(words, monkeypatch))
    ohm = float(re.search(r"open end with ([\d.]+) ohm across it", text)[1])
    assert (ohm - 75) / (ohm + 75) == pytest.approx(hidden["size"], abs=0.01)


@pytest.mark.usefixtures("few_trials")
def test_a_reading_that_nothing_connected_shows_asks_whether_the_antenna_is_on():
    """The figure of an open end is no antenna; one that is merely poor is not asked that."""
    cases = (("demo/boathouse.toml", "VSWR 1.95", True), ("demo/plane-after-pad.toml", "VSWR 3.5", False))
    for setup, reading, asked in cases:
        found = CliRunner().invoke(chain, ["recover", setup, "--reading", f"{reading} at 210 MHz", "-q"]).stdout
        assert found.startswith("Bad")
        assert ("is the antenna on?" in found.splitlines()[2]) == asked


def test_without_a_file_nothing_is_called_stated():
    """A bare reading is judged with what is typical, and what comes next is a file of one's own."""
    lines = CliRunner().invoke(chain, ["recover", "--reading", "VSWR 1.30 at 210 MHz", "-q"]).stdout.splitlines()
    assert "assumed" in lines[1]
    assert "Stated" not in lines[1]
    assert "chain new" in lines[2]
