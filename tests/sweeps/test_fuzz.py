"""Files of every kind damaged at random: a result or an error of the input comes of them, and nothing else.

Harmless changes give what the sound file gives. `python -m pytest -m slow tests/sweeps/test_fuzz.py` feeds 120,000 fuzzer.
"""

import json
import subprocess
import sys
from pathlib import Path

import fuzzer
import pytest
from further import wide

KINDS = ("touchstone", "table", "toml")
MOST_MB = 500
LONGEST_S = 5


def reported(*words):
    """What the runner prints, run as a program of its own, so that its memory is its own."""
    script = Path(__file__).parent.parent / "helpers" / "fuzzer.py"
    done = subprocess.run([sys.executable, str(script), *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


def check(found, count):
    assert not found["findings"], "\n".join(found["findings"][:20])
    assert not found["strays"], "a reader left files behind"
    assert found["results"] + found["errors"] == count
    # A fuzzer that only ever breaks files, or never does, would prove little.
    assert found["results"] > count / 50
    assert found["errors"] > count / 5
    assert found["longest_s"] < LONGEST_S
    assert found["memory_mb"] < MOST_MB


@pytest.mark.parametrize(
    ("kind", "count"),
    [("touchstone", 100), ("table", 100), ("toml", 50), *wide(("touchstone", 600), ("table", 600), ("toml", 300))],
)
def test_a_damaged_file_gives_a_result_or_an_error_of_the_input(kind, count):
    """Some hundreds in all, always the same ones; by .ci/run fifteen hundred more."""
    check(reported(kind, "0", str(count)), count)


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("count", [4, *wide(12)])
def test_an_extreme_set_up_gives_an_answer_or_an_error_of_the_input(count):
    """A few of them through the commands, always the same ones; many more by `fuzzer.py extreme`."""
    found = fuzzer.run("extreme", 11, count)
    assert not found["findings"], "\n".join(found["findings"])
    assert found["results"] > 2
    assert found["errors"] > 0


@pytest.mark.parametrize(
    ("kind", "number"), [("extreme", 1802), ("extreme", 2096), ("extreme", 1596), ("offers", 4371)]
)
def test_cases_that_found_a_fault_do_so_no_more(kind, number):
    """An adapter that may reflect everything, levels where nothing arrives, a gain of nothing, one misspelt part on 300 rows."""
    found = fuzzer.run(kind, number, 1)
    assert not found["findings"], "\n".join(found["findings"])
    assert found["longest_s"] < (1 if kind == "offers" else LONGEST_S)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "count"), [("touchstone", 45_000), ("table", 45_000), ("toml", 30_000)])
def test_very_many_damaged_files(kind, count):
    """More than 100,000 in all; what came of them is printed (pytest -s)."""
    found = reported(kind, "1000000", str(count))
    print(json.dumps({key: value for key, value in found.items() if key not in ("findings", "strays")}))
    check(found, count)


@pytest.mark.parametrize("kind", KINDS)
def test_a_harmless_change_changes_nothing(tmp_path, kind):
    """Remarks, blanks, line ends, encodings and the order of keys do not matter."""
    for beside in fuzzer.BESIDE:
        (tmp_path / beside).write_bytes((fuzzer.DEMO / beside).read_bytes())
    for number in range(60 if kind != "toml" else 20):
        name, text, raw = fuzzer.harmless(kind, number)
        path = tmp_path / name
        path.write_text(text, encoding="utf-8", newline="")
        sound = fuzzer.outcome(kind, str(path))
        assert not isinstance(sound, str), sound
        path.write_bytes(raw)
        changed = fuzzer.outcome(kind, str(path))
        assert not isinstance(changed, str), f"{number} {name}\n{changed}\n{raw.decode(errors='replace')}"
        assert fuzzer.alike(sound, changed), f"{number} {name}\n{raw.decode(errors='replace')}"


def test_the_same_number_is_the_same_file():
    """A finding can be had again by its number."""
    for kind in KINDS:
        assert fuzzer.damaged(kind, 7) == fuzzer.damaged(kind, 7)
        assert fuzzer.damaged(kind, 7) != fuzzer.damaged(kind, 8)


READ = """
import resource, sys, time
import numpy, skrf
from chain.sweeps import touchstone
from chain.errors import InputError
from chain.sweeps.read import read_sweep
begun = time.process_time()
try:
    touchstone.read_two_port(sys.argv[1]) if sys.argv[1].endswith("s2p") else read_sweep(sys.argv[1])
    print("result", end=" ")
except InputError as error:
    print("error", end=" ")
print(time.process_time() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
HEAD = "# MHz S RI R 50\n"
LARGE = {
    "short-lines.s1p": lambda: HEAD + "1\n" * 99_000,
    "broken.s1p": lambda: HEAD + "x y z\n" * 99_000,
    "long-line.s1p": lambda: HEAD + "1 " * 9_000_000,
    "option.s1p": lambda: "# " + " MHz" * 2000,
    "two.s2p": lambda: HEAD + "".join(f"{n} 0.1 0.2 0.5 0 0.5 0 0.1 0.2\n" for n in range(20_000)),
    "remarks.s1p": lambda: "! Port Impedance 1 2\n" * 90_000 + HEAD + "1 0 0\n",
    "blanks.s1p": lambda: HEAD + "[" + " " * 9000 + "\n1 0 0\n",
    "wide.csv": lambda: "f/MHz,VSWR\n" + ("1," * 4900 + "1\n") * 1000,
    "words.csv": lambda: ("frequency swr s11 phase " * 400 + "\n") * 1500,
    "quotes.csv": lambda: "f/MHz,VSWR\n" + ('"' * 9000 + "\n") * 1900,
    "digits.csv": lambda: "f/MHz,VSWR\n" + ("1" * 9900 + "\n") * 1900,
    "groups.csv": lambda: "f/MHz;VSWR\n" + ("1" + ".111" * 12 + ";1" + " 111" * 12 + "x\n") * 20_000,
    "rows.csv": lambda: "f/MHz,VSWR\n" + "".join(f"{n},1.5\n" for n in range(1, 90_000)),
    "one-line.csv": lambda: "1," * 9_000_000,
    "ends.csv": lambda: "\r\n" * 9_000_000,
    "bytes.csv": lambda: "\x00" * 19_000_000,
}


@pytest.mark.slow
@pytest.mark.parametrize("name", LARGE)
def test_a_large_and_hostile_file_takes_neither_long_nor_much(tmp_path, name):
    """Under five seconds of the processor and 500 MB each."""
    path = tmp_path / name
    path.write_text(LARGE[name]())
    done = subprocess.run([sys.executable, "-c", READ, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    came, seconds, megabytes = done.stdout.split()
    print(f"{name}: {float(seconds):.2f} s, {float(megabytes):.0f} MB")
    assert came == ("result" if name == "two.s2p" else "error")
    assert float(seconds) < LONGEST_S
    assert float(megabytes) < MOST_MB
