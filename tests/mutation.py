"""Mutation run: break one place of the engine at a time and see whether the tests notice. `python tests/mutation.py --count 80`.

The sample is drawn from the seed over every place that can be changed in the rooms named below; the score and each survivor are printed.
A mutant meets the examples of its own module first, then the tests that name it, those of its room, and those of rooms that use it; the
first that fails ends it. `--state FILE` keeps what was found, and a run that was broken off goes on from there.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
ROOMS = ("rf", "assembly", "uncertainty", "analyses", "diagnosis", "echoes", "characterize", "selection", "sweeps")
USERS = {
    "rf": ("assembly", "uncertainty", "published"),
    "assembly": ("uncertainty", "published", "analyses"),
    "uncertainty": ("analyses", "published"),
    "sweeps": ("analyses",),
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
LONGEST_S = 600


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


def tests_of(path: Path) -> list[list[str]]:
    """Tests that a mutant of a module meets, in groups, the likeliest to notice first."""
    room, name = path.parent.name, path.stem
    folders = [ROOT / "tests" / each for each in (room, *USERS.get(room, ())) if (ROOT / "tests" / each).is_dir()]
    naming = re.compile(rf"chain\.{room}(\.{name}\b| import .*\b{name}\b)")
    every = [each for folder in folders for each in sorted(folder.glob("test_*.py"))]
    own = [each for each in every if naming.search(each.read_text(encoding="utf-8"))]
    examples = [path, *(each for each in [ROOT / "tests" / room / f"examples_{name}.txt"] if each.exists())]
    groups = [examples, own, [each for each in every if each not in own and each.parent.name == room]]
    groups += [[each for each in every if each not in own and each.parent == folder] for folder in folders[1:]]
    return [[str(each.relative_to(ROOT)) for each in group] for group in groups if group]


def noticed(each: Mutant, copy_of: Path) -> bool:
    """Whether a test fails, or does not end, with the mutant in a copy of the tree."""
    path = copy_of / each.path.relative_to(ROOT)
    original = path.read_text(encoding="utf-8")
    path.write_text(each.source, encoding="utf-8")
    try:
        return any(_fails(copy_of, group) for group in tests_of(each.path))
    finally:
        path.write_text(original, encoding="utf-8")


def _fails(copy_of: Path, tests: list[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(
            command,
            cwd=copy_of,
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
            env={**os.environ, "PYTHONPATH": str(copy_of), "PYTHONDONTWRITEBYTECODE": "1"},
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode not in (0, 5)


def main() -> None:
    """Run the sample and print its score."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=80)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--room", action="append", choices=ROOMS)
    asked.add_argument("--state", type=Path)
    told = asked.parse_args()
    known: dict[str, bool] = {}
    if told.state and told.state.exists():
        known = json.loads(told.state.read_text(encoding="utf-8"))
    every = sample(told.count, told.seed, tuple(told.room or ROOMS))
    with tempfile.TemporaryDirectory() as folder:
        copy_of = Path(folder) / "tree"
        left_out = shutil.ignore_patterns(".git", ".venv*", ".ci-venv", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, copy_of, ignore=left_out)
        for index, each in enumerate(every, 1):
            place = f"{each.path.relative_to(ROOT)}:{each.line}: {each.before} -> {each.after}"
            if place not in known:
                known[place] = noticed(each, copy_of)
                if told.state:
                    told.state.write_text(json.dumps(known, indent=1), encoding="utf-8")
            print(f"{index}/{len(every)} {'caught  ' if known[place] else 'SURVIVES'} {place}", flush=True)
            found = sum(known.values())
            print(f"caught {found} of {len(known)} ({found / len(known):.0%}), seed {told.seed}", flush=True)


if __name__ == "__main__":
    main()
