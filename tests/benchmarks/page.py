"""One page of 201 points at 10,000 draws, as a whole process: with and without a sweep; bytes of the page and its script."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent.parent
POINTS, DRAWS, RUNS = 201, 10_000, 3


def _files(folder: Path) -> tuple[Path, Path]:
    """Set-up of the boathouse at so many points, and an invented sweep at the same ones."""
    setup, sweep = folder / "setup.toml", folder / "sweep.s1p"
    text = (ROOT / "demo" / "boathouse.toml").read_text(encoding="utf-8")
    changed = text.replace("points = 133", f"points = {POINTS}")
    assert changed != text
    setup.write_text(changed, encoding="utf-8")
    freq_hz = np.linspace(174e6, 240e6, POINTS)
    seen = 0.08 * np.exp(-1j * freq_hz / 2e7)
    rows = [f"{freq:.0f} {each.real:.6f} {each.imag:.6f}" for freq, each in zip(freq_hz, seen, strict=True)]
    sweep.write_text("\n".join(["# Hz S RI R 50", *rows, ""]), encoding="utf-8")
    return setup, sweep


def _least_s(words: list[str]) -> tuple[float, float]:
    """Least wall time and least processor time of a whole process over several runs [s, s]."""
    walls, works = [], []
    for _ in range(RUNS):
        begun, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(words, check=True, cwd=ROOT)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        walls.append(time.perf_counter() - begun)
        works.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(walls), min(works)


def measure() -> dict[str, object]:
    """Seconds and bytes of the page."""
    program = str(Path(sys.executable).with_name("chain"))
    with tempfile.TemporaryDirectory() as folder:
        setup, sweep = _files(Path(folder))
        page = Path(folder) / "page.html"
        tail = ["--draws", str(DRAWS), "--quiet", "--force", "-o", str(page)]
        alone_s, alone_work_s = _least_s([program, "report", str(setup), *tail])
        alone_bytes = page.stat().st_size
        sweep_s, sweep_work_s = _least_s([program, "report", str(setup), str(sweep), *tail])
        return {
            "page_s": alone_s,
            "page_processor_s": alone_work_s,
            "page_with_sweep_s": sweep_s,
            "page_with_sweep_processor_s": sweep_work_s,
            "page_kb": alone_bytes / 1000,
            "page_with_sweep_kb": page.stat().st_size / 1000,
            "page_script_kb": (ROOT / "chain" / "html" / "assets" / "page.js").stat().st_size / 1000,
        }
