"""Clocks of the benchmark: medians of whole processes and of calls, after one to warm up."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
RUNS = 7
IMPORTS = "import numpy, click, rich.console"
"""What a light command cannot do without; every figure is a ratio to the time that this takes in the same run."""


def call_s(work: Callable[[], object], runs: int = RUNS) -> float:
    """Median time of a call [s]."""
    taken = []
    for _ in range(runs + 1):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken[1:])


def process_s(words: Sequence[str], runs: int = RUNS) -> float:
    """Median time of a whole process in the project's folder; one that fails counts as an error [s]."""
    return call_s(lambda: subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.DEVNULL), runs)


def imports_s(runs: int = RUNS) -> float:
    """Median time of the imports alone, as a process [s]."""
    return process_s([sys.executable, "-c", IMPORTS], runs)


def program(*words: str) -> list[str]:
    """A command line of the program."""
    return [sys.executable, "-m", "chain", *words]
