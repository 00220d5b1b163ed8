"""Whole-process times of light commands against the imports they cannot do without, and the memory of a long chain."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
RUNS = 11
LONG_CHAIN = """
import resource, sys
from dataclasses import replace
from chain.assembly.budget import budget
from chain.assembly.cascade import build
from chain.files.setup_file import load_setup

setup = load_setup(sys.argv[1])
lead = setup.items[2]
more = tuple(replace(lead, id=f"lead {n}", near_connector=lead.near_connector) for n in range(10))
long = replace(setup, items=(*setup.items[:2], *more), sweep=replace(setup.sweep, points=1601))
budget(build(long, fit=False))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def median_s(command: list[str]) -> float:
    """Median wall time of a command over several runs, after one to warm up [s]."""
    times = []
    for _ in range(RUNS + 1):
        start = time.perf_counter()
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL, env={**os.environ, "COLUMNS": "80"})
        times.append(time.perf_counter() - start)
    return statistics.median(times[1:])


def measure() -> dict[str, object]:
    """Ratios of start-up times, and megabytes of a chain of 12 items at 1601 points."""
    python = sys.executable
    program = str(Path(python).with_name("chain"))
    bare = median_s([python, "-c", "import click, rich.console"])
    with_numpy = median_s([python, "-c", "import numpy, click, rich.console"])
    help_s = median_s([program, "--help"])
    budget_s = median_s([program, "budget", "demo/boathouse.toml"])
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "long_chain.py"
        script.write_text(LONG_CHAIN, encoding="utf-8")
        done = subprocess.run(
            [python, str(script), "demo/boathouse.toml"], cwd=ROOT, check=True, capture_output=True, text=True
        )
    return {
        "help_s": help_s,
        "help_vs_click_and_rich": help_s / bare,
        "budget_s": budget_s,
        "budget_vs_numpy_click_and_rich": budget_s / with_numpy,
        "long_chain_mb": float(done.stdout),
    }
