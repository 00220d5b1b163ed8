"""Slips on the command line of somebody's first readings, and errors on a terminal of 80 columns."""

import pytest
from click.testing import CliRunner
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
