"""Mutation run: break one place of the engine at a time and see whether the tests notice. `python tests/mutation.py --count 80`.

The sample is drawn from the seed over every place that can be changed in the rooms named below; the score and each survivor are printed.
A first run of the unbroken tree tells which tests enter which function (`helpers/entered.py`). A mutant meets the examples of its room and
the tests of it and of the rooms that use it, those that enter its function and no others, the quickest first; the first that fails ends it.
`--state FILE` keeps what was found, room by room, and a run that was broken off goes on from there; `--again` meets its survivors again.
"""

from __future__ import annotations

import argparse
import ast
import copy
import hashlib
import json
import os
import queue
import random
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
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
"""Rooms whose tests a mutant meets after those of its own."""
SWAPS: dict[type, type] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.GtE,
    ast.LtE: ast.Gt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Lt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
CALLS = {
    "minimum": "maximum",
    "maximum": "minimum",
    "min": "max",
    "max": "min",
    "sin": "cos",
    "cos": "sin",
    "conj": "real",
    "any": "all",
}
NO_TESTS = 5
SLACK_S, SLOWER = 30, 5
"""Processor time after which a mutant does not end: so much, and so many times what its tests take unbroken."""


@dataclass(frozen=True)
class Mutant:
    """One change: the file, its line, and what stands there instead."""

    path: Path
    line: int
    before: str
    after: str
    source: str


def _changed(node: ast.AST) -> bool:
    """Change a node in place; False where it is none of the kinds that are changed."""
    match node:
        case ast.BinOp() | ast.BoolOp() if type(node.op) in SWAPS:
            node.op = SWAPS[type(node.op)]()
        case ast.Compare(ops=[op]) if type(op) in SWAPS:
            node.ops = [SWAPS[type(op)]()]
        case ast.UnaryOp(op=ast.USub() | ast.Not()):
            node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
            if isinstance(node.op, ast.Not):
                node.operand = ast.UnaryOp(ast.Not(), node.operand)
        case ast.Constant(value=bool(value)):
            node.value = not value
        case ast.Constant(value=int(value) | float(value)):
            node.value = value * 2 if value else 1
        case ast.Attribute(attr=name) if name in CALLS:
            node.attr = CALLS[name]
        case ast.Name(id=name) if name in CALLS:
            node.id = CALLS[name]
        case _:
            return False
    return True


def places(path: Path) -> list[tuple[int, int]]:
    """Numbers of the nodes inside function bodies that can be changed, with their lines; no annotation, no text of an error."""
    found, tree = [], ast.parse(path.read_text(encoding="utf-8"))
    inside = set()
    for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        for statement in function.body:
            inside |= {id(node) for node in ast.walk(statement)}
    for raised in (node for node in ast.walk(tree) if isinstance(node, (ast.Raise, ast.JoinedStr))):
        inside -= {id(node) for node in ast.walk(raised)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in inside and hasattr(node, "lineno") and _changed(copy.copy(node)):
            found.append((number, node.lineno))
    return found


def mutant(path: Path, number: int) -> Mutant:
    """The file with its node of that number changed, written by `ast.unparse`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node = list(ast.walk(tree))[number]
    before = ast.unparse(node)
    _changed(node)
    return Mutant(path, node.lineno, before, ast.unparse(node), ast.unparse(ast.fix_missing_locations(tree)))  # type: ignore[attr-defined]


def sample(count: int, seed: int, rooms: tuple[str, ...]) -> list[Mutant]:
    """Mutants drawn evenly over all places."""
    every = [
        (path, number)
        for room in rooms
        for path in sorted((ROOT / "chain" / room).glob("*.py"))
        for number, _ in places(path)
    ]
    return [mutant(*each) for each in random.Random(seed).sample(every, count)]


Copies = queue.SimpleQueue[Path]
Entered = dict[str, tuple[float, list[tuple[str, int]]]]
"""For each test its seconds and the functions of `chain` that it enters, each by file and first line; under no name those of all."""


def entered(copy_of: Path, folder: str) -> Entered:
    """Run the tests of a folder, unbroken, and see which functions each enters."""
    reported = copy_of / "entered.json"
    done = _run(copy_of, ["-p", "entered", folder], {"ENTERED": str(reported)})
    if done.returncode not in (0, NO_TESTS):
        raise SystemExit(f"the unbroken tree fails its tests:\n{done.stdout.decode()[-3000:]}")
    cut = len(str(copy_of)) + 1
    found = json.loads(reported.read_text(encoding="utf-8"))
    return {test: (seconds, [(path[cut:], line) for path, line in each]) for test, (seconds, each) in found.items()}


def all_entered(rooms: list[str], copies: Copies, workers: ThreadPoolExecutor, kept: Path | None) -> Entered:
    """The same of all rooms and of those that use them, folder by folder; what was kept of the same tree is not run again."""
    users = sorted({each for room in rooms for each in (room, *USERS.get(room, ()))})
    folders = [
        *(f"tests/{each}" for each in users if (ROOT / "tests" / each).is_dir()),
        *(f"chain/{each}" for each in rooms),
    ]
    tree = hashlib.sha256()
    for path in sorted(each for top in ("chain", "library", "tests") for each in (ROOT / top).rglob("*.*")):
        tree.update(path.read_bytes() if path.suffix in (".py", ".txt", ".toml", ".csv") else b"")
    known: dict[str, Entered] = {}
    if kept and kept.exists():
        of, before = json.loads(kept.read_text(encoding="utf-8"))
        known = before if of == tree.hexdigest() else {}

    def run(folder: str) -> None:
        if folder not in known:
            copy_of = copies.get()
            known[folder] = entered(copy_of, folder)
            copies.put(copy_of)
            if kept:
                kept.write_text(json.dumps([tree.hexdigest(), dict(known)]), encoding="utf-8")

    list(workers.map(run, folders))
    out: Entered = {"": (0.0, [])}
    for folder in folders:
        for test, (seconds, functions) in known[folder].items():
            out[test] = seconds, [*out.get(test, (0.0, []))[1], *(tuple(each) for each in functions)]
    return out


def tests_of(path: Path, line: int, known: Entered) -> list[tuple[float, str]]:
    """Tests of a module's room and of its users that enter the function of a line, the quickest first, with their seconds."""
    room, own = path.parent.name, str(path.relative_to(ROOT))
    homes = (f"chain/{room}/", *(f"tests/{each}/" for each in (room, *USERS.get(room, ()))))
    holding = {
        (own, min([node.lineno, *(each.lineno for each in node.decorator_list)]))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.lineno <= line <= (node.end_lineno or line)
    }
    always = bool(holding.intersection(known[""][1]))
    return sorted(
        (seconds, test)
        for test, (seconds, functions) in known.items()
        if test.startswith(homes) and (always or not holding.isdisjoint(functions))
    )


def noticed(each: Mutant, copy_of: Path, known: Entered) -> bool:
    """Whether a test fails, or does not end, with the mutant in a copy of the tree."""
    path = copy_of / each.path.relative_to(ROOT)
    tests = tests_of(each.path, each.line, known)
    if not tests:
        return False
    longest_s = SLACK_S + SLOWER * sum(seconds for seconds, _ in tests)
    original = path.read_text(encoding="utf-8")
    path.write_text(each.source, encoding="utf-8")
    try:
        return _run(copy_of, ["-x", *(test for _, test in tests)], {}, longest_s).returncode != 0
    finally:
        path.write_text(original, encoding="utf-8")


def _run(
    copy_of: Path, options: list[str], variables: dict[str, str], longest_s: float | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Run tests in a copy of the tree, for so many seconds of processor time at most."""
    limit = "unlimited" if longest_s is None else str(int(longest_s))
    return subprocess.run(
        [
            "bash",
            "-c",
            'ulimit -t "$0" && exec "$@"',
            limit,
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-n",
            "0",
            "-p",
            "no:cacheprovider",
            *options,
        ],
        cwd=copy_of,
        capture_output=True,
        check=False,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(copy_of), str(copy_of / "tests" / "helpers")]),
            "PYTHONDONTWRITEBYTECODE": "1",
            **variables,
        },
    )


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
    every = {
        f"{each.path.relative_to(ROOT)}:{each.line}: {each.before} -> {each.after}": each
        for each in sample(reported.count, reported.seed, tuple(reported.room or ROOMS))
    }
    copies: Copies = queue.SimpleQueue()
    left_out = shutil.ignore_patterns(".git", ".venv*", ".ci-venv", "__pycache__", ".*_cache")
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(reported.jobs) as workers:
        for number in range(reported.jobs):
            copies.put(Path(folder).resolve() / str(number))
            shutil.copytree(ROOT, Path(folder).resolve() / str(number), ignore=left_out)
        kept, caught, index = reported.state and reported.state.with_suffix(".entered"), 0, 0

        def find(place: str, reach: Entered) -> str:
            if place not in known:
                copy_of = copies.get()
                known[place] = noticed(every[place], copy_of, reach)
                copies.put(copy_of)
                if reported.state:
                    reported.state.write_text(json.dumps(dict(known), indent=1), encoding="utf-8")
            return place

        # Rooms that few others use need the tests of few: a score of a part of the sample is there long before the whole.
        for room in sorted(
            {each.path.parent.name for each in every.values()}, key=lambda room: (len(USERS.get(room, ())), room)
        ):
            places_of = [place for place, each in every.items() if each.path.parent.name == room]
            reach = all_entered([room], copies, workers, kept)
            for place in workers.map(find, places_of, [reach] * len(places_of)):
                index, caught = index + 1, caught + known[place]
                print(f"{index}/{len(every)} {'caught  ' if known[place] else 'SURVIVES'} {place}", flush=True)
                print(f"caught {caught} of {index} ({caught / index:.0%}), seed {reported.seed}", flush=True)


if __name__ == "__main__":
    main()
