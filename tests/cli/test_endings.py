"""Every way a command can end: exit status, short texts on stderr, and no traceback for any input."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from screens import says

from chain.cli.main import chain

pytestmark = pytest.mark.process

BOATHOUSE = "demo/boathouse.toml"


def run(*words):
    return CliRunner().invoke(chain, list(words))


def changed(tmp_path, old, new):
    """The boathouse with one piece of its text replaced."""
    text = Path(BOATHOUSE).read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "changed.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("command", ["check", "budget", "expect", "planes"])
def test_a_missing_set_up_is_the_input_s_fault(command):
    done = run(command, "nowhere.toml")
    assert done.exit_code == 2
    assert "nowhere.toml" in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.output


def test_all_defects_at_once_each_in_its_place(tmp_path):
    """Two faults, two places, two carets, one suggestion each."""
    path = changed(tmp_path, 'limit = "VSWR 2.0"', 'limt = "VSWR 2.0"')
    text = Path(path).read_text(encoding="utf-8").replace('"0.6 m"', '"0,6 m"')
    Path(path).write_text(text, encoding="utf-8")
    done = run("budget", path)
    assert done.exit_code == 2
    lines = text.splitlines()
    for word in ("limt", '"0,6 m"'):
        number = next(index for index, line in enumerate(lines, 1) if word in line)
        assert f"{path}:{number}:" in done.stderr
    assert done.stderr.count("^") >= 2
    assert "did you mean 'limit'?" in done.stderr
    assert "2 errors in" in done.stderr


def test_a_misspelt_command_or_option_gets_a_suggestion():
    done = run("expct", BOATHOUSE)
    assert (done.exit_code, "did you mean 'chain expect'?" in done.stderr) == (2, True)
    done = run("expect", BOATHOUSE, "--jsn")
    assert (done.exit_code, "--json" in done.stderr) == (2, True)


@pytest.mark.parametrize(
    "words",
    [
        ("recover",),
        ("recover", BOATHOUSE),
        ("recover", BOATHOUSE, "demo/splitter.toml", "--reading", "VSWR 1.3 at 210 MHz"),
        ("recover", BOATHOUSE, "demo/boathouse.csv", "--reading", "VSWR 1.3 at 210 MHz"),
        ("recover", BOATHOUSE, "--reading", "VSWR 1.3"),
        ("recover", BOATHOUSE, "--reading", "VSWR 0.9 at 210 MHz"),
        ("recover", BOATHOUSE, "--reading", "VSWR 1;3 at 210 MHz"),
        ("recover", BOATHOUSE, "--reading", "VSWR 1.3 at 210 furlongs"),
        ("recover", BOATHOUSE, "--reading", "VSWR 1.3 at 9000 GHz"),
        ("recover", BOATHOUSE, "nowhere.s1p"),
        ("recover", BOATHOUSE, BOATHOUSE.replace(".toml", ".nothing")),
        ("expect", BOATHOUSE, "--true", "2.0"),
        ("expect", BOATHOUSE, "--true", "VSWR nan"),
        ("planes", BOATHOUSE, "--true", "RL 0 dB"),
        ("parts", "rg59", "--at", "200"),
        ("parts", "rg59", "--length", "-3 m"),
        ("parts", "--library", "nowhere.toml"),
        ("schema", "nothing"),
        ("budget", "demo"),
        ("budget", "\udcff.toml"),
    ],
)
def test_wrong_input_ends_with_2_and_a_remedy(words):
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert done.stderr.strip()
    assert done.stdout == ""
    assert "Traceback" not in done.output
    assert "fault of this program" not in done.stderr


def test_a_reading_above_the_ceiling_is_refused_with_likely_causes():
    done = run("recover", BOATHOUSE, "--reading", "VSWR 2.9 at 200 MHz")
    assert done.exit_code == 2
    for cause in ("pad is missing", "wrong way round", "calibrated at another plane"):
        assert cause in done.stderr


def test_enforce(tmp_path):
    """Status 1 where a check says no, unless asked otherwise; else only where it was asked for and a limit is not met."""
    unfit = changed(tmp_path, 'far = "F-75 plug"', 'far = "BNC-75 plug"')
    assert run("check", unfit).exit_code == 1
    assert run("check", unfit, "--enforce").exit_code == 1
    assert run("check", unfit, "--no-fail").exit_code == 0
    assert run("check", BOATHOUSE, "--enforce").exit_code == 0
    reading = ("--reading", "VSWR 1.3 at 210 MHz")
    assert run("recover", BOATHOUSE, *reading).exit_code == 0
    assert run("recover", BOATHOUSE, *reading, "--enforce").exit_code == 1
    assert run("recover", BOATHOUSE, "--reading", "VSWR 1.01 at 210 MHz", "--enforce").exit_code == 0
    few = ("--draws", "4000")
    assert run("expect", BOATHOUSE, "--enforce", *few).exit_code == 0
    hopeless = changed(tmp_path, '"VSWR 2.0"', '"VSWR 1.2"')
    assert run("expect", hopeless, "--enforce", *few).exit_code == 1
    assert run("expect", hopeless, *few).exit_code == 0


def test_parts_that_do_not_fit_stop_every_other_command(tmp_path):
    unfit = changed(tmp_path, 'far = "F-75 plug"', 'far = "BNC-75 plug"')
    for command in ("budget", "expect", "recover"):
        extra = ["--reading", "VSWR 1.1 at 200 MHz"] if command == "recover" else []
        done = run(command, unfit, *extra)
        assert done.exit_code == 2, command
        assert "lead" in done.stderr
        assert "BNC-75 plug" in done.stderr


def test_a_fault_of_the_program_is_3_and_shows_its_traceback_on_request(monkeypatch):
    def broken(_):
        raise ZeroDivisionError("on purpose")

    monkeypatch.setattr("chain.files.setup_file.load_setup", broken)
    done = run("budget", BOATHOUSE)
    assert done.exit_code == 3
    assert "ZeroDivisionError" in done.stderr
    assert "Traceback" not in done.stderr
    assert "Traceback" in run("budget", BOATHOUSE, "--debug").stderr


def test_an_interrupt_is_130(monkeypatch):
    def stopped(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("chain.files.setup_file.load_setup", stopped)
    done = run("budget", BOATHOUSE)
    assert done.exit_code == 130
    assert "Traceback" not in done.output


def test_a_closed_pipe_is_no_error():
    """The reader may stop after one line of many, more than a pipe holds; stderr stays empty."""
    # Unbuffered, Python takes a write that was cut short for a whole one.
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    words = [sys.executable, "-m", "chain", "parts", "--json"]
    with subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        process.stdout.readline()
        process.stdout.close()
        complaint = process.stderr.read()
        assert process.wait(timeout=60) == 0
    assert complaint == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_no_fault_of_the_program():
    """Exit status 2 and one sentence, not 3."""
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = subprocess.run(
            [sys.executable, "-m", "chain", "parts", "rg59"], stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == 2
    assert says(done.stderr, "error", "output", "written")
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["expect", "budget", "recover"])
def test_what_may_not_be_connected_is_said_by_every_command(tmp_path, command):
    """12 V on the lead and a port that stands none: on stderr, and among the warnings of the answer."""
    text = Path(BOATHOUSE).read_text(encoding="utf-8").replace('dc_feed = "0 V"', 'dc_feed = "12 V"')
    setup = tmp_path / "fed.toml"
    setup.write_text(text, encoding="utf-8")
    more = {"recover": ["--reading", "VSWR 1.3 at 210 MHz"], "expect": ["--draws", "1000"]}.get(command, [])
    done = run(command, str(setup), *more, "--json")
    assert done.exit_code == 0, done.output
    assert says(done.stderr.splitlines()[0], "stop", "connect")
    warnings = json.loads(done.stdout)["warnings"]
    assert [each.split(":")[0] for each in warnings[:2]] == ["stop, near", "stop, pad"]
    assert says(warnings[1], "antenna", "pad")
    assert not [each for each in json.loads(run("budget", BOATHOUSE, "--json").stdout)["warnings"] if "stop" in each]


def test_no_arguments_show_the_help():
    done = run()
    assert "chain new" in done.output
    assert done.exit_code == 2


@settings(max_examples=60)
@given(st.binary(max_size=400))
def test_no_bytes_in_a_set_up_give_a_traceback(tmp_path_factory, raw):
    path = tmp_path_factory.mktemp("any") / "any.toml"
    path.write_bytes(raw)
    done = run("check", str(path))
    assert done.exit_code == 2
    assert "Traceback" not in done.output


@settings(max_examples=60)
@given(st.text(max_size=40))
def test_no_reading_gives_a_traceback(text):
    done = run("recover", "--reading", f"{text} at 210 MHz")
    assert done.exit_code in (0, 2), done.output
    assert "Traceback" not in done.output
