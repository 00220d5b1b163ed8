"""`--plot` as a user gives it: bare or with a file, before or after the set-up, refused where it could do harm."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from chain.cli.main import chain

pytestmark = pytest.mark.process

BOATHOUSE = "demo/boathouse.toml"
READING = ["--reading", "VSWR 1.10 at 210 MHz"]
COMMANDS = {"budget": ["budget", BOATHOUSE], "recover": ["recover", BOATHOUSE, *READING]}
TITLES = {
    "budget": "Loss from the source to the antenna",
    "expect": "Screen against antenna at",
    "planes": "What a known antenna comes out as",
    "recover": "The sweep as read, and the antenna behind it",
    "ripple": "The sweep, and what is left of it without its ripple",
}


def run(*words, status=0):
    done = CliRunner().invoke(chain, list(words))
    assert done.exit_code == status, done.output
    return done


def few_points(name, folder):
    """A command on the demo's set-up with a sweep of five points."""
    if name == "ripple":
        return [name, "demo/boathouse.csv"]
    text = Path(BOATHOUSE).read_text(encoding="utf-8")
    assert "points = 133" in text
    path = folder / "few.toml"
    path.write_text(text.replace("points = 133", "points = 5"), encoding="utf-8")
    few = ["--draws", "1000"] if name in ("expect", "planes", "recover") else []
    return [name, str(path), *few, *(READING if name == "recover" else [])]


def process(words, **settings):
    environment = {key: value for key, value in {**os.environ, **settings}.items() if value is not None}
    return subprocess.run([sys.executable, "-m", "chain", *words], env=environment, capture_output=True)


@pytest.mark.parametrize("name", TITLES)
def test_a_plot_adds_a_chart_or_a_file_and_leaves_the_text_as_it_is(name, tmp_path):
    """A bare `--plot` draws after the text; with a file the text is the same, and the picture is whole."""
    words = few_points(name, tmp_path)
    plain, drawn = run(*words).stdout, run(*words, "--plot").stdout
    assert drawn.startswith(plain)
    assert TITLES[name] in drawn[len(plain) :]
    assert TITLES[name] not in plain
    assert all(len(line) <= 80 for line in drawn.splitlines())
    path = tmp_path / f"{name}.svg"
    done = run(*words, "--plot", str(path))
    assert f"written: {path}" in done.stderr
    assert done.stdout == plain
    assert TITLES[name] in path.read_text(encoding="utf-8")
    assert path.read_text(encoding="utf-8").rstrip().endswith("</svg>")


def test_a_set_up_after_a_bare_plot_is_not_taken_for_the_picture(tmp_path):
    """`--plot SETUP` is a bare `--plot`, and the set-up stays as it is."""
    before = Path(BOATHOUSE).read_bytes()
    drawn = run("budget", "--plot", BOATHOUSE).stdout
    assert drawn == run("budget", BOATHOUSE, "--plot").stdout == run("budget", BOATHOUSE, "--plot=").stdout
    assert Path(BOATHOUSE).read_bytes() == before
    picture = tmp_path / "a.png"
    assert run("budget", "--plot", str(picture), BOATHOUSE).stdout == run("budget", BOATHOUSE).stdout
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("given", ["a.pdf", "a", "a.png.bak", ".png"])
def test_another_suffix_is_refused_with_a_remedy(given, tmp_path):
    path = tmp_path / given
    done = run("budget", BOATHOUSE, "--plot", str(path), status=2)
    assert ".png or .svg" in done.stderr
    assert not path.exists()
    assert done.stdout == ""


def test_an_existing_file_stays_unless_forced(tmp_path):
    path = tmp_path / "a.png"
    path.write_text("mine", encoding="utf-8")
    done = run("budget", BOATHOUSE, "--plot", str(path), status=2)
    assert "--force" in done.stderr
    assert done.stdout == "", "refused only after the work"
    assert path.read_text(encoding="utf-8") == "mine"
    run("budget", BOATHOUSE, "--plot", str(path), "--force")
    assert path.read_bytes().startswith(b"\x89PNG")
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.png"]


def test_one_file_for_two_things_is_refused(tmp_path):
    """Neither the text nor the two-port may share the picture's file, and no input is overwritten."""
    path = tmp_path / "a.svg"
    for other, said in (("-o", "no .svg"), ("--touchstone", "named twice")):
        done = run("budget", BOATHOUSE, other, str(path), "--plot", str(path), "--force", status=2)
        assert said in done.stderr
        assert done.stdout == ""
        assert not path.exists()
    setup = tmp_path / "set-up.svg"
    setup.write_bytes(Path(BOATHOUSE).read_bytes())
    assert "not overwritten" in run("budget", str(setup), "--plot", str(setup), "--force", status=2).stderr
    assert setup.read_bytes() == Path(BOATHOUSE).read_bytes()


def test_a_chart_beside_json_is_refused_and_a_picture_is_not(tmp_path):
    assert "--plot FILE.svg" in run("budget", BOATHOUSE, "--json", "--plot", status=2).stderr
    path = tmp_path / "a.svg"
    done = run("budget", BOATHOUSE, "--json", "--plot", str(path))
    assert done.stdout == run("budget", BOATHOUSE, "--json").stdout
    assert path.exists()


def test_a_chart_goes_into_the_file_that_was_named(tmp_path):
    path = tmp_path / "a.txt"
    run("budget", BOATHOUSE, "--plot", "-o", str(path))
    assert TITLES["budget"] in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "encoding"), [("budget", "cp1252"), ("recover", "ascii")])
def test_poor_encodings_get_an_ascii_chart(name, encoding):
    done = process([*COMMANDS[name], "--plot"], PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    text = done.stdout.decode(encoding)
    chart = text[text.index(TITLES[name]) :]
    assert chart.isascii()
    assert "?" not in chart
    assert "+--" in chart


def test_without_matplotlib_one_sentence_says_what_to_install(tmp_path):
    """Said before anything is computed or written; charts on the terminal do without it."""
    (tmp_path / "matplotlib.py").write_text("raise ImportError('not here')", encoding="utf-8")
    path = tmp_path / "a.png"
    done = process(["expect", BOATHOUSE, "--plot", str(path)], PYTHONPATH=str(tmp_path))
    assert done.returncode == 2
    lines = done.stderr.decode().splitlines()
    extra = re.search(r'^plot = \["(.+)"\]$', Path("pyproject.toml").read_text(encoding="utf-8"), flags=re.M)
    assert lines == [
        "error: drawing to a file needs matplotlib, which is not installed",
        f"help: pip install '{extra[1]}'",
    ]
    assert done.stdout == b""
    assert not path.exists()
    assert process(["budget", BOATHOUSE, "--plot"], PYTHONPATH=str(tmp_path)).returncode == 0


def test_help_and_a_refusal_stay_light():
    """Neither needs numpy, rich or matplotlib."""
    code = (
        "import sys\n"
        "from chain.cli.main import chain\n"
        "for words in (['recover', '--help'], ['budget', 'demo/boathouse.toml', '--plot', 'a.pdf']):\n"
        "    try:\n"
        "        chain.main(words, standalone_mode=False)\n"
        "    except Exception as error:\n"
        "        assert type(error).__name__ == 'Refusal', error\n"
        "print(sorted({'numpy', 'rich', 'matplotlib', 'pydantic', 'networkx', 'skrf'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]", done.stderr


def test_a_chart_on_the_terminal_does_not_import_matplotlib():
    code = (
        "import sys\n"
        "from chain.cli.main import chain\n"
        "chain.main(['budget', 'demo/boathouse.toml', '--plot'], standalone_mode=False)\n"
        "print('matplotlib' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "False", done.stderr
