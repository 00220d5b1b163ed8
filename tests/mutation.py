"""Mutation run: break one place of the engine at a time and see whether the tests notice. `python tests/mutation.py --count 80`.

The sample is drawn from the seed over every place that can be changed in the rooms named below; the score and each survivor are printed.
A mutant meets the tests and examples of its room first, and only where none notices it those of the rooms that use it: one process for
the tests of a room (`helpers/mutants.py`).
Run it in a clone of its own, for it reads the tree as it goes.
`--state FILE` keeps what was found, and a run that was broken off goes on from there; `--again` meets its survivors again.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "helpers"))

from mutants import changed_tree, places

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("rf", "assembly", "uncertainty", "analyses", "diagnosis", "echoes", "characterize", "selection", "sweeps")
USERS = {
    "rf": ("assembly", "uncertainty", "published"),
    "assembly": ("uncertainty", "published", "analyses"),
    "uncertainty": ("analyses", "published"),
    "sweeps": ("analyses", "cli"),
    "analyses": ("cli", "calls", "setup_report"),
    "characterize": ("cli", "published"),
    "diagnosis": ("cli", "setup_report"),
    "echoes": ("cli", "setup_report"),
    "selection": ("cli",),
}
"""Rooms whose tests a mutant meets that those of its own do not notice."""


@dataclass(frozen=True)
class Mutant:
    """One change: the file, its line, the number of its node, and what stands there before and after."""

    path: Path
    line: int
    number: int
    before: str
    after: str

    @property
    def room(self) -> str:
        """The room whose module it changes."""
        return self.path.parent.name

    def __str__(self) -> str:
        return f"{self.path.relative_to(ROOT)}:{self.line}: {self.before} -> {self.after}"


def sample(count: int, seed: int, rooms: tuple[str, ...]) -> list[Mutant]:
    """Mutants drawn evenly over all places."""
    every = [
        (path, number, line)
        for room in rooms
        for path in sorted((ROOT / "chain" / room).glob("*.py"))
        for number, line in places(path)
    ]
    return [
        Mutant(path, line, number, *changed_tree(path, number)[1:])
        for path, number, line in random.Random(seed).sample(every, count)
    ]


def tree() -> str:
    """A digest of what the tests run."""
    found = hashlib.sha256()
    for path in sorted(each for top in ("chain", "library", "tests") for each in (ROOT / top).rglob("*.*")):
        found.update(path.read_bytes() if path.suffix in (".py", ".txt", ".toml", ".csv") else b"")
    return found.hexdigest()[:16]


def meet(mutants: list[Mutant], folders: list[str], kept: Path) -> Iterator[tuple[str, bool]]:
    """Whether the tests of some folders notice each of the mutants, as soon as it is known."""
    out, into = os.pipe()
    asked = {
        "mutants": [(str(each), str(each.path), each.line, each.number) for each in mutants],
        "kept": str(kept / f"{tree()}-{'-'.join(folders).replace('/', '.')}.json"),
        "to": into,
    }
    options = ["-q", "-n", "0", "-p", "no:cacheprovider", "-p", "mutants", *folders]
    with subprocess.Popen(
        [sys.executable, "-m", "pytest", *options],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        pass_fds=[into],
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests" / "helpers")]),
            "MUTANTS": json.dumps(asked),
        },
    ) as run:
        os.close(into)
        with os.fdopen(out, encoding="utf-8") as answers:
            for answer in answers:
                place, noticed = json.loads(answer)
                if not place:
                    raise SystemExit(f"the unbroken tree fails {noticed}")
                yield place, noticed
    if run.returncode:
        raise SystemExit(f"the unbroken tests of {' '.join(folders)} cannot be run")


def main() -> None:
    """Run the sample and print its score."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=80)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--room", action="append", choices=ROOMS)
    asked.add_argument("--state", type=Path)
    asked.add_argument("--again", action="store_true")
    asked.add_argument("--jobs", type=int, default=2)
    reported = asked.parse_args()
    known: dict[str, bool] = {}
    if reported.state and reported.state.exists():
        known = json.loads(reported.state.read_text(encoding="utf-8"))
    if reported.again:
        known = {place: found for place, found in known.items() if found}
    every = sample(reported.count, reported.seed, tuple(reported.room or ROOMS))
    unmet = [each for each in every if str(each) not in known]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(reported.jobs) as workers:
        kept = reported.state.with_suffix(".entered") if reported.state else Path(folder)
        kept.mkdir(exist_ok=True)

        def find(room: str) -> None:
            left = {str(each): each for each in unmet if each.room == room}
            for folders in ([f"tests/{room}", f"chain/{room}"], [f"tests/{each}" for each in USERS[room]]):
                last = folders[0] != f"tests/{room}"
                for place, noticed in meet(list(left.values()), folders, kept) if left else ():
                    if noticed or last:
                        known[place] = noticed
                        print("caught  " if noticed else "SURVIVES", place, flush=True)
                        if reported.state:
                            reported.state.write_text(json.dumps(dict(known), indent=1), encoding="utf-8")
                left = {place: each for place, each in left.items() if place not in known}

        list(workers.map(find, reported.room or ROOMS))
    caught = sum(known[str(each)] for each in every)
    print(f"caught {caught} of {len(every)} ({caught / len(every):.0%}), seed {reported.seed}")


if __name__ == "__main__":
    main()
