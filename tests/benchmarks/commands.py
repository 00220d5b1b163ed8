"""What a user runs, timed as it is run: every command as a whole process on the demo, beside the imports it cannot do without.

Rounds are interleaved: each runs the imports and every command once, so that what disturbs the machine disturbs all alike. A
row gives the median time of the processes, its ratio to the imports of its kind, the least processor time and its ratio, and
the bar that the ratio is held to. On a machine that is busy with other work the processor's ratio is the one to look at,
though it counts both cores.
"""

from __future__ import annotations

import os
import random
import statistics
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from choose import write_need
from timing import IMPORTS, ROOT, RUNS, Timed, program, python, run_timed

SETUP, SWEEP, WITHOUT_PHASE = "demo/boathouse.toml", "demo/boathouse.s1p", "demo/boathouse.csv"
OFFERS = 20_000
OUTLETS, CHANNELS, OUTLET_DRAWS = 500, 50, 4_000
HELP_IMPORTS = "import click, rich.console"


class Row(NamedTuple):
    """A command, the bar of its ratio (0: none), and whether numpy is among the imports it is held against."""

    what: str
    words: Sequence[str]
    bar: float
    light: bool = False
    runs: int = RUNS


def rows(folder: Path) -> list[Row]:
    """Every command of the table, in its order."""
    need, house = write_need(folder, OFFERS), write_installation(folder)
    page, picture = str(folder / "page.html"), str(folder / "picture.svg")
    ends = ["--open", "2.20", "--load", "1.67", "--at", "207 MHz"]
    recover = ["recover", SETUP, SWEEP]
    by_trials = ["--draws", "4000"]
    return [
        Row("--help", ["--help"], 0.75, True),
        Row("check", ["check", SETUP], 2.0),
        Row("budget", ["budget", SETUP], 2.0),
        Row("recover --reading", ["recover", SETUP, "--reading", "VSWR 1.30 at 210 MHz"], 3.0),
        Row("expect", ["expect", SETUP], 3.5),
        Row("recover, 133 complex points", recover, 8.0),
        Row("recover, the same without phase", ["recover", SETUP, WITHOUT_PHASE], 11.0),
        Row("recover, complex, --draws 4000", [*recover, *by_trials], 5.0),
        Row("recover, no phase, --draws 4000", ["recover", SETUP, WITHOUT_PHASE, *by_trials], 6.0),
        Row("planes", ["planes", SETUP], 4.0),
        Row("card", ["card", SETUP], 5.0),
        Row("prove", ["prove", SETUP, *ends], 6.0),
        Row("ripple", ["ripple", "demo/ripple.s1p", "demo/ripple.toml"], 6.0),
        Row("report with a sweep", ["report", SETUP, SWEEP, "--force", "--quiet", "-o", page], 12.0),
        Row("recover --plot FILE", [*recover, "--plot", picture, "--force"], 12.0),
        Row(f"choose, {OFFERS} offers", ["choose", need], 10.0, runs=3),
        Row(f"outlets, {OUTLETS} x {CHANNELS} x {OUTLET_DRAWS}", ["outlets", house], 0.0, runs=1),
    ]


def write_installation(folder: Path, outlets: int = OUTLETS, channels: int = CHANNELS) -> str:
    """Write an invented installation: splitters and leads from the antenna to so many outlets, so many channels."""
    rng = random.Random(1)
    lines = ['[antenna]\ngain = "12 dBi"\nconnector = "F-75 jack"\n']
    for number in range(channels):
        where = f'frequency = "{474 + 4 * number} MHz"\nbandwidth = "7.77 MHz"'
        lines.append(f'[[signal]]\n{where}\nneed = "20 dB"\nfield = "70 dBuV/m"\nfield_spread = "3 dB"\n')

    def lead(name: str, after: str) -> str:
        lines.append(
            f'[[item]]\nid = "{name}"\npart = "rg6"\nafter = "{after}"\nlength = "{rng.uniform(1, 12):.1f} m"\n'
        )
        return name

    ends = [lead("trunk", "antenna")]
    for number in range(outlets):
        if len(ends) >= outlets:
            break
        split = f"split-{number}"
        lines.append(f'[[item]]\nid = "{split}"\npart = "splitter-4"\nafter = "{ends.pop(0)}"\n')
        ends += [lead(f"lead-{number}-{port}", f"{split}.out{port}") for port in range(1, 5)]
    lines += [
        f'[[outlet]]\nid = "room-{n}"\nafter = "{end}"\nreceiver = "tv"\n' for n, end in enumerate(ends[:outlets])
    ]
    lines += [
        f'[[outlet]]\nid = "spare-{n}"\nafter = "{end}"\nend = "75 ohm"\n' for n, end in enumerate(ends[outlets:])
    ]
    path = folder / f"house-{outlets}-{channels}.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return str(path)


def measure(runs: int = RUNS) -> list[dict[str, object]]:
    """One row per command: seconds and ratios to the imports of the same rounds, beside the bar."""
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as folder:
        wanted = rows(Path(folder))
        commands = {row.what: program(*row.words) for row in wanted}
        bases = {True: python("-c", HELP_IMPORTS), False: python("-c", IMPORTS)}
        taken: dict[object, list[Timed]] = {name: [] for name in (*bases, *commands)}
        for number in range(runs + 1):
            for name, words in bases.items():
                taken[name].append(run_timed(words))
            for row in wanted:
                # The first round warms up; what takes long does without.
                if number < row.runs + (row.runs == RUNS):
                    taken[row.what].append(run_timed(commands[row.what]))
    return [_row(row, taken[row.what], taken[row.light]) for row in wanted]


def _row(row: Row, taken: Sequence[Timed], imports: Sequence[Timed]) -> dict[str, object]:
    counted = taken[1:] if len(taken) > row.runs else taken
    wall_s = statistics.median(each.wall_s for each in counted)
    processor_s = min(each.processor_s for each in counted)
    ratio = wall_s / statistics.median(each.wall_s for each in imports[1:])
    return {
        "what": row.what,
        "process_s": wall_s,
        "ratio": ratio,
        "bar": row.bar or "",
        "holds": "" if not row.bar else "yes" if ratio <= row.bar else "no",
        "processor_s": processor_s,
        "processor_ratio": processor_s / min(each.processor_s for each in imports[1:]),
        "peak_mb": max(each.peak_mb for each in counted),
    }
