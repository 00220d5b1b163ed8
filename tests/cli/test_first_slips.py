"""Slips on the command line of somebody's first readings, and errors on a terminal of 80 columns."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from pages import thinned
from screens import says

from chain.cli.main import _wrapped, chain

pytestmark = pytest.mark.usefixtures("answered_once")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("demo/boathouse.toml", "--reading", "1.3", "at", "210", "MHz"), ("quotes", '--reading "1.3 at 210 MHz"')),
        (("demo/boathous.tml", "--reading", "1.3 at 210 MHz"), ("no file", "boathous.tml", "demo/boathouse.toml")),
    ],
)
def test_slips_of_a_reading_say_what_to_write(words, said):
    done = CliRunner().invoke(chain, ["recover", *words])
    assert done.exit_code == 2
    assert says(done.stderr, *said)


def test_long_errors_are_broken_at_words_and_lines_of_a_file_are_not(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    source = f"  1 | {'x ' * 50}"
    text = f"mine.toml:1:1: error: {'word ' * 40}\n{source}\n    | {' ' * 90}^\nhelp: {'other ' * 30}"
    lines = _wrapped(text).splitlines()
    assert source.rstrip() in [each.rstrip() for each in lines]
    assert all(len(each) <= 80 for each in lines if " | " not in each)
    assert " ".join(" ".join(lines).split()) == " ".join(text.split())


def test_a_page_is_not_poured_on_a_terminal(monkeypatch):
    monkeypatch.setattr("chain.cli.report.on_terminal", lambda: True)
    done = CliRunner().invoke(chain, ["report", "demo/boathouse.toml"])
    assert done.exit_code == 2
    assert says(done.stderr, "terminal", "-o boathouse.html")
    assert not done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("recover", "demo/boathouse.toml", "--reading", "1.3"), "write it as in '1.3 at 210 MHz'"),
        (("recover", "--reading", "210 1.3"), "write '1.3 at 210 MHz' if that is meant"),
        (("recover", "--reading", "VSRW 1.3 at 210 MHz"), "did you mean 'VSWR 1.3'?"),
        (("recover", "demo/boathouse.toml", "--reading", "VSWR 1.3 at 210 kHz"), "is MHz in place of kHz meant?"),
        (("new", "--far", "F-50"), "did you mean 'F-75 plug' or 'F-75 jack'?"),
        (("new", "--outlets", "3", "--limit", "2"), "--limit is of the measured antenna"),
        (("tune", "demo/loops.toml", "demo/loops.s1p", "-o", "out.html"), "give --page out.html"),
        (("recover", "demo/boathouse.toml", "demo/boathouse.csv", "-o", "out.s1p"), "read a sweep with phase"),
    ],
)
def test_a_slip_gets_the_words_that_mend_it(words, said, tmp_path, monkeypatch):
    (tmp_path / "demo").mkdir()
    for name in ("boathouse", "loops"):
        thinned(name, tmp_path / "demo")
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(chain, words)
    assert done.exit_code == 2
    assert says(done.stderr, said)


def test_no_option_is_guessed_by_its_dashes():
    done = CliRunner().invoke(chain, ["choose", "demo/need.toml", "--plot"])
    assert done.exit_code == 2
    assert "did you mean" not in done.stderr


@pytest.mark.usefixtures("few_trials")
def test_a_sweep_may_stand_before_its_set_up(tmp_path):
    setup, _ = thinned("loops", tmp_path)
    files = [str(setup), str(tmp_path / "loops.csv")]
    one, two = (CliRunner().invoke(chain, ["tune", *each]) for each in (files, files[::-1]))
    assert one.exit_code == two.exit_code == 0
    assert one.stdout == two.stdout


def test_what_must_not_be_connected_is_named_a_stop_with_its_watts(tmp_path):
    path = tmp_path / "fed.toml"
    text = Path("demo/boathouse.toml").read_text("utf-8")
    path.write_text(text.replace('dc_feed = "0 V"', 'dc_feed = "12 V"', 1), "utf-8")
    lines = CliRunner().invoke(chain, ["check", str(path)]).stdout.splitlines()
    assert lines[0].startswith("Do not connect this yet: 12 V")
    assert lines[1].startswith("Stop, pad: 12 V DC puts up to ")
    assert " W into its resistors" in lines[1]
