"""What reaches the screen: narrow and wide terminals, pipes, no colour, poor encodings, text that would steer a terminal."""

import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from rich.cells import cell_len

pytestmark = pytest.mark.process

COMMANDS = {
    "check": ["check", "demo/boathouse.toml"],
    "budget": ["budget", "demo/boathouse.toml"],
    "expect": ["expect", "demo/boathouse.toml", "--draws", "2000"],
    "planes": ["planes", "demo/boathouse.toml", "--draws", "2000"],
    "recover": [
        "recover",
        "demo/boathouse.toml",
        "--reading",
        "VSWR 1.10 at 210.25 MHz",
        "--reading",
        "VSWR 1.02 at 180 MHz",
    ],
    "complex": ["recover", "demo/boathouse.toml", "--reading", "0.05-0.02j at 210 MHz"],
    "parts": ["parts", "rg59"],
    "list": ["parts", "coax", "foam", "--at", "200 MHz"],
}
ESCAPE = "\x1b"


def run(words, **settings):
    """A real process, its output as bytes; settings of None are taken out of the environment."""
    return answered(tuple(words), tuple(settings.items()))


@cache
def answered(words, settings):
    plain = {
        "COLUMNS": None,
        "NO_COLOR": None,
        "FORCE_COLOR": None,
        "PYTHONIOENCODING": "utf-8",
        "TERM": "xterm-256color",
    }
    environment = {key: value for key, value in {**os.environ, **plain, **dict(settings)}.items() if value is not None}
    done = subprocess.run([sys.executable, "-m", "chain", *words], env=environment, capture_output=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def figures(text):
    return re.findall(r"\d+\.\d\d", text)


@pytest.mark.parametrize("name", COMMANDS)
def test_fits_80_columns_without_escapes_in_a_pipe(name):
    text = run(COMMANDS[name]).decode()
    assert ESCAPE not in text
    for line in text.splitlines():
        assert cell_len(line) <= 80
        assert line == line.rstrip()


@pytest.mark.parametrize("columns", [40, 60, 120])
@pytest.mark.parametrize("name", ["check", "budget", "recover", "parts"])
def test_fits_other_widths_and_loses_no_figure(name, columns):
    """Below the width of a table its rows become paragraphs; the figures stay the same."""
    wide = run(COMMANDS[name]).decode()
    text = run(COMMANDS[name], COLUMNS=str(columns)).decode()
    assert all(cell_len(line) <= columns for line in text.splitlines())
    assert sorted(figures(text)) == sorted(figures(wide))


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1"])
@pytest.mark.parametrize("name", ["check", "budget", "expect", "parts"])
def test_poor_encodings_get_plain_lines_and_spelt_signs(name, encoding):
    text = run(COMMANDS[name], PYTHONIOENCODING=encoding).decode(encoding)
    assert figures(text) == figures(run(COMMANDS[name]).decode())
    assert "---" in text
    assert "─" not in text
    assert "?" not in text.replace("[?]", "")


def test_colour_by_request_and_by_environment():
    words = COMMANDS["check"]
    assert ESCAPE in run([*words, "--color", "always"]).decode()
    assert ESCAPE not in run([*words, "--color", "never"]).decode()
    assert ESCAPE not in run(words).decode()
    coloured = run([*words, "--color", "always"], NO_COLOR="1").decode()
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]", coloured)


def test_text_of_the_user_s_is_shown_as_it_is(tmp_path):
    """Neither markup nor escapes of a title or an id take effect."""
    path = tmp_path / "steer.toml"
    text = Path("demo/boathouse.toml").read_text(encoding="utf-8")
    (title,) = (line for line in text.splitlines() if line.startswith("title"))
    path.write_text(text.replace(title, 'title = "[bold]x[/nothing] \\u001b[31m \\u202e :smile:"'), encoding="utf-8")
    shown = run(["card", str(path), "--color", "always"]).decode()
    assert "[bold]x[/nothing] ?[31m ? :smile:" in shown
    assert "\x1b[31m" not in shown
    assert "\u202e" not in shown


def test_an_unknown_word_does_not_steer_the_terminal():
    done = subprocess.run(
        [sys.executable, "-m", "chain", "parts", "\x1b[31mred"], capture_output=True, text=True, env={**os.environ}
    )
    assert done.returncode == 2
    assert ESCAPE not in done.stderr


def test_help_and_version_import_nothing_heavy():
    """What starts in a blink must not pay for numpy, pydantic, networkx, scikit-rf or rich."""
    code = (
        "import sys\n"
        "from chain.cli.main import chain\n"
        "for words in (['--help'], ['--version']):\n"
        "    chain.main(words, standalone_mode=False)\n"
        "heavy = {'numpy', 'pydantic', 'networkx', 'skrf', 'rich', 'pandas', 'matplotlib', 'scipy', 'tree_sitter'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]", done.stdout + done.stderr


@pytest.mark.parametrize(
    ("words", "absent"), [(["parts", "rg59"], "numpy"), (["budget", "demo/boathouse.toml"], "skrf")]
)
def test_commands_import_only_what_they_need(words, absent):
    run_it = f"chain.main({words!r}, standalone_mode=False)"
    code = f"import sys\nfrom chain.cli.main import chain\n{run_it}\nprint({absent!r} in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "False", done.stderr
