"""Files are written whole or not at all, and nothing is overwritten unasked."""

import errno
import json
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("answered_once")

BOATHOUSE = "demo/boathouse.toml"


def run(*words):
    return CliRunner().invoke(chain, list(words))


def names(folder):
    """Names of all that lies in a directory, hidden or not."""
    return sorted(path.name for path in folder.iterdir())


def test_output_goes_to_the_file_and_nothing_to_stdout(tmp_path):
    path = tmp_path / "budget.txt"
    done = run("budget", BOATHOUSE, "-o", str(path))
    assert done.exit_code == 0, done.output
    assert done.stdout == ""
    assert str(path) in done.stderr
    assert path.read_text(encoding="utf-8") == run("budget", BOATHOUSE).stdout
    assert names(tmp_path) == ["budget.txt"]


def test_json_to_a_file_without_a_word_under_quiet(tmp_path):
    path = tmp_path / "budget.json"
    done = run("budget", BOATHOUSE, "--json", "--quiet", "-o", str(path))
    assert done.output == ""
    assert json.loads(path.read_text(encoding="utf-8"))["schema_version"] == 4


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (("new", "-o"), "there.toml"),
        (("schema", "-o"), "there.json"),
        (("parts", "rg59", "-o"), "there"),
        (("budget", BOATHOUSE, "-o"), "there.ts"),
        (("budget", BOATHOUSE, "--touchstone"), "there.ts"),
    ],
)
def test_an_existing_file_is_kept_unless_forced(tmp_path, words, name):
    path = tmp_path / name
    path.write_text("mine", encoding="utf-8")
    done = run(*words, str(path))
    assert done.exit_code == 2
    assert "--force" in done.stderr
    assert done.stdout == ""
    assert path.read_text(encoding="utf-8") == "mine"
    assert run(*words, str(path), "--force").exit_code == 0
    assert path.read_text(encoding="utf-8") != "mine"
    assert names(tmp_path) == [name]


@pytest.mark.parametrize("flag", ["-o", "--touchstone"])
def test_the_input_is_never_overwritten(tmp_path, flag):
    """Not even with --force, and not under another name of the same file."""
    path, other = tmp_path / "mine.toml", tmp_path / "alias.toml"
    path.write_bytes(Path(BOATHOUSE).read_bytes())
    other.symlink_to(path)
    for name in (path, other):
        done = run("budget", str(path), flag, str(name), "--force")
        assert done.exit_code == 2
        assert path.read_bytes() == Path(BOATHOUSE).read_bytes()


def test_a_link_stays_a_link(tmp_path):
    target, link = tmp_path / "target.toml", tmp_path / "link.toml"
    target.write_text("old", encoding="utf-8")
    link.symlink_to(target)
    assert run("new", "-o", str(link), "--force").exit_code == 0
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == run("new").stdout


def test_a_device_is_written_to_and_not_replaced():
    before = Path(os.devnull).stat()
    assert run("new", "-o", os.devnull, "--force").exit_code == 0
    assert Path(os.devnull).stat().st_rdev == before.st_rdev


def test_no_directory_and_a_directory_are_refused_before_anything_is_computed(tmp_path, monkeypatch):
    def computed(_):
        raise AssertionError("computed too early")

    monkeypatch.setattr("chain.files.setup_file.load_setup", computed)
    for path in (tmp_path / "gone" / "a.txt", tmp_path):
        done = run("budget", BOATHOUSE, "-o", str(path))
        assert done.exit_code == 2, done.output
        assert str(path) in done.stderr


def test_one_that_appears_where_there_are_no_hard_links_is_kept_too(tmp_path, monkeypatch):
    path = tmp_path / "a.toml"

    def late(*_):
        path.write_text("theirs", encoding="utf-8")
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr("os.link", late)
    done = run("new", "-o", str(path))
    assert (done.exit_code, "--force" in done.stderr, path.read_text(encoding="utf-8")) == (2, True, "theirs")
    path.unlink()

    def never(*_):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr("os.link", never)
    assert run("new", "-o", str(path)).exit_code == 0
    assert names(tmp_path) == ["a.toml"]


@pytest.mark.parametrize("force", [[], ["--force"]])
def test_a_full_disk_leaves_what_was_there(tmp_path, monkeypatch, force):
    """The file is written under another name first; when that fails nothing is left and nothing lost."""
    path = tmp_path / "a.toml"
    if force:
        path.write_text("mine", encoding="utf-8")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("library.files.replacing.os.fdopen", full)
    done = run("new", "-o", str(path), *force)
    assert done.exit_code == 2
    assert "No space left on device" in done.stderr
    assert names(tmp_path) == (["a.toml"] if force else [])
    assert not force or path.read_text(encoding="utf-8") == "mine"


def test_a_file_that_appears_meanwhile_is_kept(tmp_path, monkeypatch):
    """Even one that appears after the last look, while the new text is written under another name."""
    path = tmp_path / "a.toml"
    link = os.link

    def late(*given):
        path.write_text("theirs", encoding="utf-8")
        return link(*given)

    monkeypatch.setattr("os.link", late)
    done = run("new", "-o", str(path))
    assert done.exit_code == 2
    assert "--force" in done.stderr
    assert path.read_text(encoding="utf-8") == "theirs"
    assert names(tmp_path) == ["a.toml"]


def test_new_files_follow_the_umask_and_old_ones_keep_their_mode(tmp_path):
    fresh, old = tmp_path / "fresh.toml", tmp_path / "old.toml"
    mask = os.umask(0o027)
    try:
        run("new", "-o", str(fresh))
        old.write_text("x", encoding="utf-8")
        old.chmod(0o600)
        run("new", "-o", str(old), "--force")
    finally:
        os.umask(mask)
    assert fresh.stat().st_mode & 0o777 == 0o640
    assert old.stat().st_mode & 0o777 == 0o600


def test_dash_is_standard_output():
    assert run("budget", BOATHOUSE, "-o", "-").stdout == run("budget", BOATHOUSE).stdout


SERVING = {
    "new": ["new"],
    "schema": ["schema", "setup"],
    "parts": ["parts", "rg59"],
    "check": ["check", BOATHOUSE],
    "budget": ["budget", BOATHOUSE],
    "expect": ["expect", BOATHOUSE, "--draws", "200"],
    "planes": ["planes", BOATHOUSE, "--draws", "200"],
    "recover": ["recover", BOATHOUSE, "--reading", "0.1+0.1j at 210 MHz", "--draws", "200"],
    "prove": ["prove", BOATHOUSE, "--ohms", "86.6"],
    "card": ["card", BOATHOUSE],
    "outlets": ["outlets", "demo/outlets.toml", "--draws", "200"],
    "ripple": ["ripple", "demo/ripple.csv"],
    "list": ["log", "list", "demo/log"],
    "choose": ["choose", "demo/need.toml"],
}


AT_ONCE = ("new", "schema", "parts", "check", "budget", "list")
"""Commands that draw nothing: each ending that they offer is written too."""


@pytest.mark.parametrize("name", SERVING)
def test_an_ending_that_is_not_served_is_refused_with_those_that_are(name, tmp_path):
    """And each of those is written; a picture is offered only where one can be drawn."""
    words = SERVING[name]
    for ending in ("xyz", "md", "docx", "png"):
        path = tmp_path / f"answer.{ending}"
        done = CliRunner().invoke(chain, [*words, "-o", str(path)])
        assert done.exit_code == 2, done.output
        assert not path.exists()
        assert "Traceback" not in done.output
        text = " ".join(done.stderr.split())
        assert ("--plot" in text) == (
            ending == "png" and name in ("budget", "expect", "planes", "recover", "outlets", "ripple")
        )
    served = re.findall(r"\.\w+", text.partition(" writes ")[2].partition(", no ")[0])
    assert served
    for ending in served if name in AT_ONCE else ():
        path = tmp_path / f"written{ending}"
        done = CliRunner().invoke(chain, [*words, "-o", str(path)])
        assert done.exit_code == 0, done.output
        assert path.stat().st_size > 100
