"""Completion at the tab key, as a shell asks for it, and completion in an editor through the schema line."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from chain.cli.main import chain
from chain.files.new_setup import starter_text
from library.files.store import tomllib
from library.load import load_library

ROOT = Path(__file__).parent.parent.parent


def offered(line, folder=ROOT):
    """What bash is given for a line that ends where the cursor stands: (kind, value) pairs."""
    words = line.split(" ")
    settings = {"COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1), "_CHAIN_COMPLETE": "bash_complete"}
    before = Path.cwd()
    os.chdir(folder)
    try:
        done = CliRunner().invoke(chain, [], prog_name="chain", env=settings)
    finally:
        os.chdir(before)
    return [tuple(each.split(",", 1)) for each in done.stdout.split("\n") if each]


def test_part_names_are_completed_from_the_library():
    """All names that begin as typed, and those that hold the word where none begins with it."""
    expected = sorted(name for name in load_library().ids() if name.startswith("min-loss"))
    assert len(expected) > 5
    assert offered("chain parts min-loss") == [("plain", name) for name in expected]
    assert ("plain", "n-plug-bnc-plug") in offered("chain parts plug-bnc-plug")
    assert offered("chain parts no-such-part") == []


def test_set_up_need_and_sweep_files_are_reported_apart():
    """A command is offered the files that it reads, also in folders below the one typed."""
    assert offered("chain budget demo/boathouse.t") == [("plain", "demo/boathouse.toml")]
    assert ("plain", "demo/splitter.toml") in offered("chain expect ")
    assert ("plain", "demo/need.toml") not in offered("chain expect ")
    assert ("plain", "demo/boathouse.s1p") in offered("chain card demo/boathouse.toml demo/boat")
    assert offered("chain choose demo/") == [("plain", "demo/need.toml")]
    assert ("plain", "demo/boathouse.toml") in offered("chain choose --improve demo/")
    both = offered("chain recover demo/plane-after-pad.")
    assert both == [("plain", "demo/plane-after-pad.toml"), ("plain", "demo/plane-after-pad.s1p")]


def test_where_no_file_fits_or_a_name_needs_quotes_the_shell_goes_on_by_itself(tmp_path):
    """Nothing found, or a blank in a name: the shell completes paths as it knows how to quote them."""
    assert offered("chain budget ", tmp_path) == [("file", "")]
    (tmp_path / "my set-up.toml").write_text("[[chain]]\n")
    assert offered("chain budget my", tmp_path) == [("file", "my")]
    assert offered("chain budget -o any") == [("file", "any")]


def test_hidden_and_deep_folders_are_left_alone(tmp_path):
    """Two folders down at most, none that begins with a dot."""
    for folder in (".venv", "a/b", "a/b/c"):
        (tmp_path / folder).mkdir(parents=True)
        (tmp_path / folder / "s.toml").write_text("[[chain]]\n")
    assert offered("chain budget ", tmp_path) == [("plain", "a/b/s.toml")]


def test_commands_and_choices_are_completed():
    """Names of commands with their section's order, values of an option that has a few."""
    assert offered("chain bud") == [("plain", "budget")]
    assert ("plain", "never") in offered("chain budget --color n")
    assert ("plain", "--kind") in offered("chain parts --k")


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_a_real_bash_completes_after_the_line_of_the_readme(tmp_path):
    """The line that the page on scripts tells to put into ~/.bashrc, then what the tab key would do."""
    line = re.search(
        r"^- bash, .+?: `(eval .+?)`", (ROOT / "demo" / "howto-script.md").read_text(encoding="utf-8"), flags=re.M
    )
    assert line, "no line for bash is reported"
    (tmp_path / "chain").write_text(f'#!/bin/sh\nexec {sys.executable} -m chain "$@"\n')
    (tmp_path / "chain").chmod(0o755)
    script = f"""
    PATH={tmp_path}:$PATH
    {line[1]}
    COMP_WORDS=(chain parts rg21) COMP_CWORD=2
    compopt() {{ :; }}
    _chain_completion chain
    printf '%s\\n' "${{COMPREPLY[@]}}"
    """
    done = subprocess.run(["bash", "--norc", "-c", script], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.split() == sorted(name for name in load_library().ids() if name.startswith("rg21"))


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_zsh_and_fish_get_a_script(shell):
    """What `_CHAIN_COMPLETE=zsh_source chain` prints asks the program back."""
    done = CliRunner().invoke(chain, [], prog_name="chain", env={"_CHAIN_COMPLETE": f"{shell}_source"})
    assert f"_CHAIN_COMPLETE={shell}_complete" in done.stdout


def test_the_starter_names_a_schema_that_the_program_writes_and_that_accepts_it(tmp_path):
    """The first line of `chain new` points editors at a file beside it, which `chain schema` writes there."""
    runner = CliRunner()
    assert runner.invoke(chain, ["new", "-o", str(tmp_path / "mine.toml")]).exit_code == 0
    first = (tmp_path / "mine.toml").read_text(encoding="utf-8").splitlines()[0]
    place = re.fullmatch(r"#:schema (\./[\w.]+)", first)[1]
    reported = next(line for line in starter_text().splitlines()[1:] if "chain schema" in line)
    assert place.removeprefix("./") in reported
    words = re.search(r"'chain (schema [^']+)'", reported)[1].replace(">", "-o").split()
    done = subprocess.run([sys.executable, "-m", "chain", *words], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    schema = json.loads((tmp_path / place).read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(tomllib.loads((tmp_path / "mine.toml").read_text(encoding="utf-8")))


def test_the_demo_files_name_schemas_that_exist_and_accept_them():
    """Every `#:schema` line of the demo leads to a schema from where the file lies, and the file fits it."""
    named = 0
    for path in sorted((ROOT / "demo").glob("*.toml")):
        found = re.match(r"#:schema (\S+)", path.read_text(encoding="utf-8"))
        if found:
            schema = json.loads((path.parent / found[1]).read_text(encoding="utf-8"))
            Draft202012Validator(schema).validate(tomllib.loads(path.read_text(encoding="utf-8")))
            named += 1
    assert named >= 4
