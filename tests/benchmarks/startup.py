"""The help against the imports it cannot do without, and the memory of a long chain."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from timing import ROOT, process_s, program

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


def measure() -> dict[str, object]:
    """Ratio of the help's start to its imports, and megabytes of a chain of 12 items at 1601 points."""
    bare = process_s([sys.executable, "-c", "import click, rich.console"])
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "long_chain.py"
        script.write_text(LONG_CHAIN, encoding="utf-8")
        done = subprocess.run(
            [sys.executable, str(script), "demo/boathouse.toml"], cwd=ROOT, check=True, capture_output=True, text=True
        )
    return {"help_vs_click_and_rich": process_s(program("--help")) / bare, "long_chain_mb": float(done.stdout)}
