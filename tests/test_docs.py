"""The README's console blocks are run and their output compared; the commands it names exist."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _sessions():
    for block in re.findall(r"```console\n(.*?)```", README, flags=re.S):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, _, output = part.partition("\n")
            yield pytest.param(command, output.rstrip(), id=command)


def _run(words):
    settings = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(
        [sys.executable, "-m", "chain", *words], cwd=ROOT, env=settings, capture_output=True, text=True, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize(("command", "expected"), list(_sessions()))
def test_a_session_of_the_readme_prints_what_it_shows(command, expected):
    program, *words = shlex.split(command)
    assert program == "chain"
    assert [line.rstrip() for line in _run(words).rstrip().splitlines()] == [
        line.rstrip() for line in expected.splitlines()
    ]


def test_every_command_is_in_the_readme_and_the_help():
    named = set(re.findall(r"^\| `chain (\w+)", README, flags=re.M))
    listed = set(re.findall(r"^  (\w+) {2,}\S", _run(["--help"]), flags=re.M))
    assert named, "the README lists no command"
    assert named <= listed
    assert {name for name in listed if name not in named} == set()
