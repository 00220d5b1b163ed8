"""What a user runs, timed as it is run: every command as a whole process, and its public function in a session of Python."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from timing import ROOT, RUNS, call_s, imports_s, process_s, program

import chain

SETUP, SWEEP, NEED = "demo/boathouse.toml", "demo/boathouse.s1p", "demo/need.toml"
RIPPLE = ("demo/ripple.s1p", "demo/ripple.toml")
ENDS = {"open": ["2.20"], "load": ["1.67"]}
ENDS_HZ = 207e6


def lines(folder: str) -> dict[str, list[str]]:
    """Command lines by what the table calls them."""
    page = str(Path(folder, "page.html"))
    known = [word for end, values in ENDS.items() for word in (f"--{end}", *values)]
    return {
        "--help": ["--help"],
        "check": ["check", SETUP],
        "budget": ["budget", SETUP],
        "expect": ["expect", SETUP],
        "planes": ["planes", SETUP],
        "choose": ["choose", NEED],
        "recover, one reading": ["recover", SETUP, "--reading", "VSWR 1.30 at 210 MHz"],
        "recover, sweep of 133 points": ["recover", SETUP, SWEEP],
        "prove": ["prove", SETUP, *known, "--at", "207 MHz"],
        "ripple": ["ripple", *RIPPLE],
        "report with a sweep": ["report", SETUP, SWEEP, "--force", "--quiet", "-o", page],
    }


def functions() -> dict[str, float]:
    """Median time of each public function on the same files, in one session [s]."""
    setup, readings = chain.load_setup(SETUP), chain.read_sweep(SWEEP)
    typed = chain.typed_readings("VSWR 1.30 at 210 MHz")
    need, ends = chain.load_need(NEED), chain.known_ends(ENDS, ENDS_HZ)
    sweep, whole = chain.read_sweep(RIPPLE[0]), chain.load_setup(RIPPLE[1])
    works = {
        "check": lambda: chain.check(setup),
        "budget": lambda: chain.budget(setup),
        "expect": lambda: chain.expect(setup),
        "planes": lambda: chain.compare_planes(setup),
        "choose": lambda: chain.choose(need),
        "recover, one reading": lambda: chain.recover(setup, typed),
        "recover, sweep of 133 points": lambda: chain.recover(setup, readings),
        "prove": lambda: chain.prove(setup, ends),
        "ripple": lambda: chain.ripple(sweep, whole),
        "report with a sweep": lambda: chain.page_html(chain.page(setup, readings=readings)),
    }
    return {name: call_s(work) for name, work in works.items()}


def measure(runs: int = RUNS) -> list[dict[str, object]]:
    """One row per command: seconds and ratios to the imports, as a process and as a function."""
    os.chdir(ROOT)
    imports = imports_s(runs)
    calls = functions()
    rows: list[dict[str, object]] = [{"what": "the imports alone", "process_s": imports, "process_ratio": 1.0}]
    with tempfile.TemporaryDirectory() as folder:
        for name, words in lines(folder).items():
            taken = process_s(program(*words), runs)
            row = {"what": name, "process_s": taken, "process_ratio": taken / imports}
            if name in calls:
                row |= {"function_s": calls[name], "function_ratio": calls[name] / imports}
            rows.append(row)
    return rows
