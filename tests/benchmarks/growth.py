"""Growth of time with draws, points and items, and the most memory of commands at many points: as whole processes.

An exponent is that of the processor time beyond the imports, between two sizes; the sizes are far enough apart that what every
run costs alike does not hide it.
"""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from commands import CHANNELS, OUTLET_DRAWS, OUTLETS, write_installation
from timing import IMPORTS, ROOT, program, python, run_timed

MOST_EXPONENT, MOST_MB = 1.1, 300.0
DRAWS = (16_000, 128_000)
POINTS = (501, 5_001)
ITEMS = (20, 200)
WIDE = 20_001
LEAST_S = 0.01
PART = 5
"""A large installation is compared with one of a fifth of its outlets, channels or draws."""


def write_points(folder: Path, points: int, phase: bool = True) -> tuple[str, str]:
    """Write the boathouse's set-up with so many points, and an invented sweep at the same ones."""
    setup, sweep = folder / f"setup-{points}.toml", folder / f"sweep-{points}.{'s1p' if phase else 'csv'}"
    text = (ROOT / "demo" / "boathouse.toml").read_text(encoding="utf-8")
    setup.write_text(text.replace("points = 133", f"points = {points}"), encoding="utf-8")
    freq_hz = np.linspace(174e6, 240e6, points)
    seen = 0.08 * np.exp(-1j * freq_hz / 2e7)
    if phase:
        lines = ["# Hz S RI R 50", *(f"{f:.0f} {z.real:.6f} {z.imag:.6f}" for f, z in zip(freq_hz, seen, strict=True))]
    else:
        lines = [
            "Frequency (Hz),VSWR",
            *(f"{f:.0f},{(1 + abs(z)) / (1 - abs(z)):.4f}" for f, z in zip(freq_hz, seen, strict=True)),
        ]
    sweep.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return str(setup), str(sweep)


def write_items(folder: Path, items: int) -> str:
    """Write a set-up of a pad and so many short leads and couplers, at 51 points."""
    lines = ['[sweep]\nstart = "174 MHz"\nstop = "240 MHz"\npoints = 51\n[near]\nconnector = "N-50 jack"\n']
    lines.append('[far]\nconnector = "F-75 jack"\nlimit = "VSWR 2.0"\n[[chain]]\nid = "pad"\npart = "min-loss-pad"\n')
    lines.append('near = "N-50 plug"\nfar = "F-75 jack"\n')
    for number in range(items - 1):
        ends = ("plug", "plug") if number % 2 == 0 else ("jack", "jack")
        lines.append(f'[[chain]]\nid = "lead-{number}"\npart = "rg59"\nlength = "0.3 m"\n')
        lines.append(f'near = "F-75 {ends[0]}"\nfar = "F-75 {ends[1]}"\n')
    path = folder / f"items-{items}.toml"
    path.write_text("".join(lines), encoding="utf-8")
    return str(path)


def measure() -> list[dict[str, object]]:
    """Rows of exponents with the bar, and rows of memory with the bar."""
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # As the program imports them: without the threads of a matrix library.
        alone = f"import os; os.environ['OPENBLAS_NUM_THREADS'] = '1'; {IMPORTS}"
        start_s = min(run_timed(python("-c", alone)).processor_s for _ in range(3))
        return [*_exponents(folder, start_s), *_memory(folder)]


def _exponents(folder: Path, start_s: float) -> list[dict[str, object]]:
    demo = ["recover", "demo/boathouse.toml", "demo/boathouse.s1p", "--draws"]
    pairs: dict[str, tuple[Sequence[float], list[list[str]]]] = {
        "recover, draws": (DRAWS, [[*demo, str(each)] for each in DRAWS]),
        "recover, points": (POINTS, [["recover", *write_points(folder, each), "--draws", "4000"] for each in POINTS]),
        "expect, points": (POINTS, [["expect", write_points(folder, each)[0], "--draws", "4000"] for each in POINTS]),
        "expect, items": (ITEMS, [["expect", write_items(folder, each), "--draws", "2000"] for each in ITEMS]),
        "recover, items": (
            ITEMS,
            [["recover", write_items(folder, each), "--reading", "VSWR 1.3 at 210 MHz"] for each in ITEMS],
        ),
        "planes, items": (ITEMS, [["planes", write_items(folder, each)] for each in ITEMS]),
        "card, items": (ITEMS, [["card", write_items(folder, each)] for each in ITEMS]),
        "budget, items": (ITEMS, [["budget", write_items(folder, each)] for each in ITEMS]),
        "check, items": (ITEMS, [["check", write_items(folder, each)] for each in ITEMS]),
    }
    house = ["outlets", write_installation(folder)]
    shares = {
        "outlets": (OUTLETS, ["outlets", write_installation(folder, outlets=OUTLETS // PART)]),
        "channels": (CHANNELS, ["outlets", write_installation(folder, channels=CHANNELS // PART)]),
        "draws": (OUTLET_DRAWS, [*house, "--draws", str(OUTLET_DRAWS // PART)]),
    }
    pairs |= {f"outlets, {what}": ((size // PART, size), [less, house]) for what, (size, less) in shares.items()}
    found = []
    for what, (sizes, commands) in pairs.items():
        # By turns, or a machine that slows down meanwhile would pass for growth.
        runs = [[run_timed(program(*words)).processor_s for words in commands] for _ in range(2)]
        less, more = map(min, *runs)
        # What takes no longer than the clock's own steps counts as one of them.
        beyond = [max(each - start_s, LEAST_S) for each in (less, more)]
        exponent = math.log(beyond[1] / beyond[0]) / math.log(sizes[1] / sizes[0])
        found.append(
            {
                "what": f"{what} {sizes[0]} to {sizes[1]}",
                "exponent": exponent,
                "processor_s": more,
                "bar": MOST_EXPONENT,
            }
        )
    return found


def _memory(folder: Path) -> list[dict[str, object]]:
    setup, sweep = write_points(folder, WIDE)
    without = write_points(folder, WIDE, False)[1]
    page, picture = str(folder / "page.html"), str(folder / "picture.svg")
    commands = {
        "check": ["check", setup],
        "budget": ["budget", setup],
        "expect": ["expect", setup, "--draws", "1000"],
        "planes": ["planes", setup],
        "card": ["card", setup],
        "recover": ["recover", setup, sweep, "--draws", "1000"],
        "recover --json": ["recover", setup, sweep, "--draws", "1000", "--json"],
        "recover, no phase": ["recover", setup, without, "--draws", "1000"],
        "recover --plot": ["recover", setup, sweep, "--draws", "1000", "--plot", picture, "--force"],
        "report": ["report", setup, sweep, "--draws", "1000", "--force", "--quiet", "-o", page],
        "ripple": ["ripple", sweep, setup],
        "200 items, budget": ["budget", write_items(folder, 200)],
    }
    found = []
    for what, words in commands.items():
        used = run_timed(program(*words))
        found.append(
            {"what": f"{what}, {WIDE} points", "peak_mb": used.peak_mb, "processor_s": used.processor_s, "bar": MOST_MB}
        )
    return found
