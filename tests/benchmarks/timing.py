"""Clocks of the benchmark: whole processes with their processor time and memory, and calls, after one to warm up."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parent.parent.parent
RUNS = 7
IMPORTS = "import numpy, click, rich.console"
"""What a light command cannot do without; every figure is a ratio to the time that this takes in the same run."""
COMPILED = tempfile.TemporaryDirectory(prefix="compiled-")
"""Where the processes keep compiled modules, as an installed program has them: otherwise each would compile all of it again."""


class Timed(NamedTuple):
    """One run of a process: time on the clock, that of the processors, and the most memory it held."""

    wall_s: float
    processor_s: float
    peak_mb: float


def call_s(work: Callable[[], object], runs: int = RUNS) -> float:
    """Median time of a call [s]."""
    taken = []
    for _ in range(runs + 1):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return statistics.median(taken[1:])


def run_timed(words: Sequence[str]) -> Timed:
    """Run a whole process in the project's folder; one that fails counts as an error."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = COMPILED.name
    begun = time.perf_counter()
    with tempfile.TemporaryFile() as reported:
        running = subprocess.Popen(words, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=reported)
        _, status, used = os.wait4(running.pid, 0)
        wall_s = time.perf_counter() - begun
        running.returncode = os.waitstatus_to_exitcode(status)
        if running.returncode:
            reported.seek(0)
            raise RuntimeError(f"{' '.join(words)}: {reported.read().decode(errors='replace')[-2000:]}")
    return Timed(wall_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def process_s(words: Sequence[str], runs: int = RUNS) -> float:
    """Median time of a whole process [s]."""
    return statistics.median(run_timed(words).wall_s for _ in range(runs + 1))


def imports_s(runs: int = RUNS) -> float:
    """Median time of the imports alone, as a process [s]."""
    return process_s(python("-c", IMPORTS), runs)


def python(*words: str) -> list[str]:
    """A command line of the interpreter."""
    return [sys.executable, *words]


def program(*words: str) -> list[str]:
    """A command line of the program."""
    return python("-m", "chain", *words)
