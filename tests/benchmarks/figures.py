"""Measures the figures of DEVELOPERS.md again and prints their table: `python tests/benchmarks/figures.py [--all] [WORD ...]`.

Rows that take minutes are marked and left out; `--all` measures them too, and words choose the rows whose first column holds one. A
figure is what the measurement itself says: numbers of a benchmark, or the lines that a test prints; a test that fails says so.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
sys.path[:0] = [str(Path(__file__).parent), str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "helpers")]

LINES = 40
"""Most lines of a test's output that stand in a cell."""


@dataclass(frozen=True)
class Figure:
    """A row: how its first column begins in DEVELOPERS.md, what measures it, and whether that takes minutes."""

    begins: str
    measure: Callable[[], str]
    minutes: bool = False


@cache
def tested(path: str, choice: str) -> str:
    """What the tests of a file that match the choice print, or that they fail; their time at the end."""
    words = [sys.executable, "-m", "pytest", "-q", "-s", "-n", "0", "-m", "slow or statistical or not slow", path]
    done = subprocess.run(
        [*words, *(["-k", choice] if choice else [])], cwd=ROOT, capture_output=True, text=True, check=False
    )
    lines = [line.strip(". ") for line in done.stdout.splitlines()]
    reported = [
        line for line in lines if re.search(r"\d", line) and not re.match(r"[\d.]+s |=|\d+ (passed|failed)|\[", line)
    ]
    last = next(
        (line for line in reversed(lines) if " passed" in line or " failed" in line or "skipped" in line), "no test ran"
    )
    return "<br>".join([*([] if done.returncode == 0 else ["FAILS"]), *reported[-LINES:], last])


def slow(path: str, choice: str = "") -> Callable[[], str]:
    """A measurement by a test."""
    return lambda: tested(path, choice)


@cache
def part(name: str) -> list[dict[str, object]] | dict[str, object]:
    """Figures of a part of the benchmark."""
    from run import PARTS

    found = PARTS[name]()
    assert isinstance(found, (list, dict))
    return found


def rows_of(name: str, *words: str) -> Callable[[], str]:
    """A measurement by a part of the benchmark: its figures, or the rows that hold a word."""

    def reported() -> str:
        from run import shown

        found = part(name)
        if isinstance(found, list):
            found = [row for row in found if not words or any(word in str(row["what"]) for word in words)]
        return "<br>".join(" ".join(line.split()) for line in shown(found).splitlines())

    return reported


def last_line(*words: str) -> Callable[[], str]:
    """A measurement by a program of the tests, of which the last line says the figure."""

    def reported() -> str:
        done = subprocess.run([sys.executable, *words], cwd=ROOT, capture_output=True, text=True, check=False)
        lines = done.stdout.splitlines() or done.stderr.splitlines()
        return lines[-1] if lines else "nothing was printed"

    return reported


def inputs() -> str:
    """Cases of every kind that the fuzzer has tried in one run, and what it found."""
    import json

    with tempfile.TemporaryDirectory() as folder:
        state = Path(folder, "state.json")
        last_line("tests/helpers/fuzzer.py", "all", "20000", str(state))()
        found = json.loads(state.read_text(encoding="utf-8"))
    return f"{found['cases']} cases, {len(found['findings'])} findings, longest {found['longest_s']:.2f} s"


def against_scikit_rf() -> str:
    """Largest difference of a cascade of up to 12 random two-ports of mixed references, of 300."""
    import numpy as np
    from skrf import Frequency, Network
    from skrf.network import cascade_list

    from chain.rf.elements import Box, nominal

    rng, freq = np.random.default_rng(3), np.array([1e8, 3e8, 9e8])
    grid, ends, most = Frequency.from_f(freq, unit="hz"), np.broadcast_to(np.eye(2)[::-1], (3, 2, 2)), 0.0

    def wrapped(s: np.ndarray, near: float, far: float) -> Network:
        return Network(frequency=grid, s=np.array(s), z0=np.tile([near, far], (3, 1)))

    for _ in range(300):
        boxes = []
        for number in range(rng.integers(1, 13)):
            s = rng.normal(size=(3, 2, 2)) + 1j * rng.normal(size=(3, 2, 2))
            s *= 0.95 / np.linalg.norm(s, 2, axis=(1, 2))[:, None, None]
            boxes.append(Box(f"piece {number}", *rng.choice([50.0, 75.0, 93.0], 2), s))
        near, far = rng.choice([50.0, 75.0, 93.0], 2)
        parts = [wrapped(box.s, box.near_ohm, box.far_ohm) for box in boxes]
        whole = cascade_list([wrapped(ends, near, near), *parts, wrapped(ends, far, far)])
        most = max(most, float(np.abs(nominal(boxes, near, far, freq) - whole.s).max()))
    return f"largest difference {most:.1e}, 300 chains"


def error_boxes() -> str:
    """Largest difference of a part learnt by three ends from scikit-rf's own two-port, of 300 random ones."""
    import numpy as np

    from chain.characterize.two_port import box_of_ends

    rng, most = np.random.default_rng(4), 0.0
    freq = np.linspace(1e8, 9e8, 81)
    for _ in range(300):
        sizes, turns = rng.uniform(0, 0.3, 2), np.exp(2j * np.pi * rng.random(2))
        near, far = (np.full(81, size * turn) for size, turn in zip(sizes, turns, strict=True))
        through = rng.uniform(0.3, 0.9) * np.exp(-2j * np.pi * freq * rng.uniform(1e-11, 1e-10))
        s = np.stack([np.stack([near, through], -1), np.stack([through, far], -1)], -2)
        ends = {"open": 1.0, "short": -1.0, "load": 0.0}
        seen = {name: near + through**2 * end / (1 - far * end) for name, end in ends.items()}
        most = max(most, float(np.abs(box_of_ends(freq, seen) - s).max()))
    return f"largest difference {most:.1e}, 300 parts"


def readings() -> str:
    """Time of reading tables and a Touchstone file."""
    import numpy as np
    from timing import call_s

    from chain.sweeps.read import read_sweep

    reported = []
    with tempfile.TemporaryDirectory() as folder:
        for points, name in ((201, "a.csv"), (20_001, "b.csv"), (20_001, "c.s1p")):
            path = Path(folder, name)
            head, line = (
                ("frequency_mhz,vswr\n", "{:.4f},1.5")
                if name.endswith("csv")
                else ("# MHz S RI R 50\n", "{:.4f} 0.1 0.2")
            )
            path.write_text(head + "\n".join(line.format(mhz) for mhz in np.linspace(100, 900, points)) + "\n")
            reported.append(
                f"{points} points of {name[2:]}: {call_s(lambda path=path: read_sweep(str(path)), 3) * 1e3:.0f} ms"
            )
    return "<br>".join(reported)


def pictures() -> str:
    """Time that a picture adds to the whole program, and a chart of characters to the answer in a running one."""
    from click.testing import CliRunner
    from timing import call_s, process_s, program

    from chain.cli.main import chain

    words = ["budget", "demo/boathouse.toml", "--quiet"]
    with tempfile.TemporaryDirectory() as folder:
        picture = process_s(program(*words, "--plot", str(Path(folder, "a.png")), "--force"), 3)
        reported = f"PNG {picture - process_s(program(*words), 3):.2f} s"
    plain, drawn = (call_s(lambda more=more: CliRunner().invoke(chain, [*words, *more])) for more in ([], ["--plot"]))
    return f"{reported}<br>terminal {1e3 * (drawn - plain):.0f} ms"


FIGURES = (
    Figure("guaranteed bound against the worst", slow("tests/uncertainty/test_bounds.py", "tight"), True),
    Figure("the same, plane far, magnitude", slow("tests/uncertainty/test_bounds.py", "tight"), True),
    Figure("the same, plane far, complex", slow("tests/uncertainty/test_bounds.py", "tight"), True),
    Figure("a chain of 12 items", rows_of("startup")),
    Figure("search of 20,000 offers", rows_of("choose"), True),
    Figure("search of 2,000 offers", rows_of("choose"), True),
    Figure("coverage of 95 % intervals", slow("tests/uncertainty/test_coverage.py"), True),
    Figure("the same with poor parts", slow("tests/uncertainty/test_coverage.py", "every_class"), True),
    Figure("the same on ten benches", slow("tests/uncertainty/test_random_benches.py", "sixty"), True),
    Figure("what another seed", slow("tests/uncertainty/test_seeds_and_power.py", "seed"), True),
    Figure("28 channels of three points", slow("tests/uncertainty/test_random_benches.py", "28"), True),
    Figure("antennas at the limit", slow("tests/uncertainty/test_random_benches.py", "of_the_day_fail"), True),
    Figure("power: 133", slow("tests/uncertainty/test_seeds_and_power.py", "power"), True),
    Figure("coverage with every part twice as bad", slow("tests/uncertainty/test_coverage.py"), True),
    Figure(
        "coverage with every reflection at its limit",
        slow("tests/uncertainty/test_coverage.py", "at_their_limits"),
        True,
    ),
    Figure("`chain recover demo/boathouse.toml", rows_of("commands", "recover"), True),
    Figure("cascade against scikit-rf", against_scikit_rf),
    Figure("error box of a part by three ends", error_boxes),
    Figure("learnt loss of the cable pair", slow("tests/characterize/test_characterize.py", "published_cable")),
    Figure("coverage of learnt losses", slow("tests/characterize/test_coverage_learnt.py"), True),
    Figure("`prove` against an independent world", slow("tests/diagnosis/test_diagnose_world.py"), True),
    Figure("`prove` over sessions", slow("tests/diagnosis/test_diagnose_sessions.py", "thousand"), True),
    Figure("120,000 damaged", slow("tests/sweeps/test_fuzz.py", "very_many"), True),
    Figure("damaged and harmlessly changed", inputs, True),
    Figure("extreme legal set-ups", inputs, True),
    Figure("mutants of the engine", last_line("tests/mutation.py", "--count", "80"), True),
    Figure("coverage of second minus first antenna", slow("tests/comparisons/test_antennas.py", "every_class"), True),
    Figure("width of the difference", slow("tests/comparisons/test_antennas.py", "half_as_wide")),
    Figure("`tune` in an independent", slow("tests/tuning/test_world.py", "what_they_say"), True),
    Figure("`tune --faults`", slow("tests/tuning/test_fault_world.py", "many"), True),
    Figure(
        "steps reported in series", slow("tests/records/test_change_points.py", "without_a_step or noticed_wherever")
    ),
    Figure("list of 10,000 records", slow("tests/records/test_log.py", "thousand"), True),
    Figure("ripple: 500 sweeps", slow("tests/echoes/test_world.py"), True),
    Figure("ripple: false alarms", slow("tests/echoes/test_world.py"), True),
    Figure("ripple by VSWR alone", slow("tests/echoes/test_world.py", "vswr_alone"), True),
    Figure("page of 201 points", rows_of("page"), True),
    Figure("page and card in Chromium", slow("tests/html/test_page_browser.py", "axe or print"), True),
    Figure("16 large and hostile", slow("tests/sweeps/test_fuzz.py", "large_and_hostile"), True),
    Figure("reading 201 points", readings),
    Figure("a picture", pictures),
)


def stated() -> dict[str, str]:
    """First and second column of the figures' table in DEVELOPERS.md."""
    text = (
        (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Figures measured")[2].partition("\n## ")[0]
    )
    cells = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    return {first: second for first, second in cells[1:]}


def main(words: list[str]) -> None:
    """Print the table of the rows that were asked for."""
    wanted = [word for word in words if not word.startswith("-")]
    print("| what | stands there | measured now | seconds |\n|---|---|---|---|")
    for first, second in stated().items():
        (row,) = [each for each in FIGURES if first.startswith(each.begins)]
        asked = any(word in first for word in wanted) if wanted else "--all" in words or not row.minutes
        begun = time.perf_counter()
        reported = (
            row.measure() if asked else "minutes: ask for it by a word, or by --all" if row.minutes else "not asked for"
        )
        print(f"| {first} | {second} | {reported} | {time.perf_counter() - begun:.0f} |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
